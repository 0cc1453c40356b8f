"""What a search stands on: draws that can be built, caps from the reference, a person's own recipes to start from."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from experiments.analysis.draws import sample
from experiments.request.uncertainty import Input, Sampling
from experiments.studies.search import study
from sim.errors import BladeError
from sim.measures import evaluate
from sim.skater.body import Skater
from sim.trial import Candidate, Trial
from tests.experiments.analysis.hand import FT, SECTION, TEN, blade, request, setting
from tests.experiments.studies.test_judging_search_run import DRAG, HOLD, OWN, read

__all__ = ["read"]  # a fixture


def test_draws_that_cannot_be_built_are_left_out_for_every_skater_until_too_few_are_left():
    """A hollow of 12.7 mm times a factor from -1 to 1: none of 0 or less, and on a hollow of under half a thickness
    (factor 0.115) nobody stands. Two skaters keep the same draws."""
    two = replace(request([TEN]), settings=(setting(), setting(skater=Skater("heavy", 100.0))))
    for low, count, fine in ((-0.5, 8, True), (-4.0, 8, False)):
        inputs = (Input("hollow_factor", stats.uniform(low, 1.1 - low), "t"),)
        drawn = sample(inputs, [("hollow_factor", -1)], count, 1)[:, 0]
        able = [f for f in drawn if f > 2.9 / 2 / 12.7]
        if not fine:
            assert len(able) < 4
            with pytest.raises(BladeError, match=f"robust_draws: only {len(able)} of 8 draws"):
                study._settings(two, "mean", Sampling(inputs, 9, 1), count, (DRAG,))
            continue
        assert 4 <= len(able) < 8
        found, lost = study._settings(two, "mean", Sampling(inputs, 9, 1), count, (DRAG,))
        assert lost == 8 - len(able) and len(found) == 2 * len(able)
        assert [e["hollow_factor"] for _, e in found] == pytest.approx([*able, *able])
        assert [s.skater.mass_kg for s, _ in found] == [80.0] * len(able) + [100.0] * len(able)


def test_draws_in_which_the_reference_has_no_measure_do_not_count(monkeypatch):
    """Half of eight draws and two of three are enough; one fewer is not."""
    inputs = (Input("mass_factor", stats.uniform(0.9, 0.2), "t"),)
    for count, good, fine in ((8, 4, True), (8, 3, False), (3, 2, True), (2, 1, False)):
        for missing in (math.nan, 0.0, -1.0):
            rows = iter([1.0] * good + [missing] * (count - good))
            monkeypatch.setattr(study, "statics", lambda *_, rows=rows: np.array([1.0, next(rows)]))
            if fine:
                found, lost = study._settings(request([TEN]), "mean", Sampling(inputs, 9, 1), count, (DRAG, HOLD))
                assert (len(found), lost) == (good, count - good)
            else:
                with pytest.raises(BladeError, match=f"only {good} of {count} draws"):
                    study._settings(request([TEN]), "mean", Sampling(inputs, 9, 1), count, (DRAG, HOLD))


def test_a_ratio_cap_counts_from_the_mean_of_the_reference_over_the_settings(read):
    """The cap of a search over two skaters of 60 and 100 kg: 0.9 of the mean of what each has with 10 ft."""
    two = replace(request([TEN]), settings=tuple(setting(skater=Skater(f"s{m}", m)) for m in (60.0, 100.0)))
    own = OWN["uncertainty"] | {"inputs": {"passive_share": {"distribution": "uniform", "low": 0.8, "high": 0.9,
                                                             "why": "w"}}}  # fmt: skip
    cap = {"measure": DRAG, "ratio_at_most": 0.9}
    ((_, _, value),) = read(two, robust="mean", uncertainty=own, caps=[cap]).problem.caps
    each = [evaluate(Trial(TEN, setting(skater=Skater("x", m))), (DRAG,))[0][DRAG] for m in (60.0, 100.0)]
    assert value == pytest.approx(0.9 * sum(each) / 2, rel=1e-9)


def test_a_draw_is_judged_by_the_reference_that_costs_are_divided_by(monkeypatch):
    """That of the first skater, under every skater."""
    asked = []
    monkeypatch.setattr(study, "statics", lambda one, there, names: asked.append(one) or np.array([1.0]))
    heavy = setting(skater=Skater("heavy", 100.0), reference=blade(7))
    inputs = (Input("mass_factor", stats.uniform(0.9, 0.2), "t"),)
    study._settings(replace(request([TEN]), settings=(setting(), heavy)), "mean", Sampling(inputs, 9, 1), 2, (DRAG,))
    assert len(asked) == 4 and {one.recipe.radii_m for one in asked} == {TEN.recipe.radii_m}


def test_the_reference_of_a_ratio_cap_has_the_errors_of_each_draw(read):
    """Three draws of the hollow and the radius; each worked out alone."""
    problem = read(robust="worst", robust_draws=3, caps=[{"measure": DRAG, "ratio_at_most": 0.9}]).problem
    drags = []
    for one, errors in problem.settings:
        recipe = replace(TEN.recipe, radii_m=(10 * FT * errors["radius_factor"],))
        there = Candidate("x", recipe, replace(SECTION, hollow_m=SECTION.hollow_m * errors["hollow_factor"]))
        drags.append(evaluate(Trial(there, one), (DRAG,))[0][DRAG])
    assert problem.caps[0][2] == pytest.approx(0.9 * sum(drags) / 3, rel=1e-9)


# ---------------------------------------------------------------- a person's own recipes


def test_a_search_starts_from_a_persons_own_recipes_first(read, tmp_path):
    """9 ft lies in a space of one radius from 2 to 4.5 m, two zones and 16 ft do not."""
    space = OWN["space"] | {"level": ["0 mm", "0 mm"], "blend": ["20 mm", "20 mm"]}
    mine = [{"name": "mine", "family": "single_radius", "radii": ["9 ft"]},
            {"name": "two", "family": "zoned", "radii": ["9 ft", "10 ft"]},
            {"family": "single_radius", "radii": ["16 ft"]}]  # fmt: skip
    there = tmp_path / "mine.yaml"
    there.write_text(
        "- {name: mine, family: single_radius, radii: [9 ft]}\n- {name: two, family: zoned, radii: [9 ft, 10 ft]}\n"
        "- {family: single_radius, radii: [16 ft]}\n",
        encoding="utf-8",
    )
    for given in (mine, str(there)):
        plan = read(start_from=given, space=space)
        assert (plan.own, plan.left_out) == (("mine",), ("two", "16 ft"))
        assert plan.starts[0] == pytest.approx([math.log(9 * FT / 2) / math.log(2.25)])
        assert len(plan.starts) == len(read(space=space).starts) + 1
    assert read().own == () == read(start_from=None).left_out
    read(start_from=[mine[0]] * 8)
    with pytest.raises(BladeError, match="start_from: 9 recipes; list at most 8"):
        read(start_from=[mine[0]] * 9)
    with pytest.raises(BladeError, match=r"start_from\[0\]"):
        read(start_from=[{"family": "zoned"}])


def test_a_cap_on_what_the_reference_has_not_is_refused(read, monkeypatch):
    monkeypatch.setattr(study, "statics", lambda *_: np.array([math.nan]))
    with pytest.raises(BladeError, match=r"caps\[0\]: turn_drag cannot be had of the reference"):
        read(caps=[{"measure": DRAG, "ratio_at_most": 1.0}])
