"""Stance map and sensitivity: what moves with what, and indices that are known on paper."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from experiments.analysis.draws import Draws, columns_of
from experiments.analysis.variants import LINE_RADII, gains, statics
from experiments.request.fields import Fields
from experiments.request.uncertainty import Input
from experiments.run.workers import HERE, silent
from experiments.studies.certainty.tables import write_beats, write_ranks
from experiments.studies.sensitivity import study as sensitivity
from experiments.studies.sensitivity.figures import farthest
from experiments.studies.stance_map import study as stance_map
from experiments.studies.stance_map.tables import _best as stance_map_best
from experiments.studies.stance_map.words import axis_text, moves_text
from sim.errors import BladeError
from sim.measures import REGISTRY, STATIC
from tests.experiments.analysis.hand import (
    FT,
    ICE,
    PAIRS,
    STATES,
    TEN,
    blade,
    changed,
    draws_of,
    request,
    section_of,
    setting,
)
from tests.experiments.analysis.judging.opinions_by_hand import OPINIONS

# ---------------------------------------------------------------- stance map


def test_the_glide_line_moves_the_glide_alone():
    found = changed(setting(), stance_map.standing_at(setting(), "glide", 0.01))
    assert found == {"states.glide.line_m": 0.01}


def test_the_turn_line_moves_the_turn_and_the_pivot_on_the_forefoot():
    found = changed(setting(), stance_map.standing_at(setting(), "turn", 0.05))
    assert found == {"states.turn.line_m": 0.05, "states.pivot_forefoot.line_m": 0.065}


def test_at_the_stated_stance_nothing_has_moved():
    """The pivot on the forefoot is stated 15 mm ahead of the turn, and stays so."""
    for axis, line in (("glide", -0.015), ("turn", 0.030)):
        assert changed(setting(), stance_map.standing_at(setting(), axis, line)) == {}
    assert stance_map.followers(setting(), "glide") == []
    assert stance_map.followers(setting(), "turn") == [("pivot_forefoot", pytest.approx(0.015))]
    found = moves_text(setting())
    assert found.startswith("The glide line moves alone; the turn line moves with the forefoot pivot's, 15 mm ahead of")
    assert axis_text(setting(), "turn") == "turn load line, mm (toe +; moves with it, forefoot pivot: +15 mm)"
    pivot = replace(STATES["pivot_forefoot"], line_m=0.01)
    behind = setting(states=STATES | {"pivot_forefoot": pivot})
    assert "forefoot pivot's, 20 mm behind it" in moves_text(behind)


def test_the_stated_lines_are_among_those_of_the_map():
    """-20, 0, 20 mm have no -15 and no 30; a nanometre off is the stated line, 1.1 um off is not."""
    wide = {"from": "-20 mm", "to": "20 mm", "count": 3}
    plan = stance_map.checked_plan(request([TEN]), Fields({"glide_lines": wide, "turn_lines": dict(wide)}, ""))
    assert plan.glide_m.tolist() == pytest.approx([-0.02, -0.015, 0, 0.02])
    assert plan.turn_m.tolist() == pytest.approx([-0.02, 0, 0.02, 0.03])
    assert len(stance_map.with_stated(np.array([0.0, 1e-9]), 0.0)) == 1
    assert len(stance_map.with_stated(np.array([0.0, 1.1e-6]), 0.0)) == 2
    assert stance_map.with_stated(np.array([0.0, 0.03]), 0.03).tolist() == [0.0, 0.03]
    made = replace(EMPTY_MAP, glide_m=plan.glide_m, turn_m=plan.turn_m)
    assert stance_map.stated_place(plan, made) == (1, 3)


@pytest.mark.parametrize(("axis", "moved"), [("glide", {"glide"}), ("turn", {"turn", "pivot_forefoot"})])
def test_a_line_moves_the_measures_of_its_states_and_no_others(axis, moved):
    """On the model itself: every static measure is either of a moved state, or the same to the last bit."""
    here, there = (statics(blade(8, 12), s, STATIC) for s in (setting(), stance_map.standing_at(setting(), axis, 0.02)))
    differ = {n for n, a, b in zip(STATIC, here, there) if a != b}
    fixed = {"turn_lean", "pitch_bias", "heel_over_toe"}  # set by speed and path, or averaged over lines of their own
    assert differ <= {n for n in STATIC if REGISTRY[n].state in moved}
    assert differ >= {n for n in STATIC if REGISTRY[n].state in moved} - fixed - {"turn_scrape", "glide_inside_share"}


def test_the_map_is_put_together_candidate_pair_glide_turn():
    """Costs: ankle g, drag t for the blade; the line R^-1 and R^2 for the same place. Its gain: (a^2 b)^(-1/3)."""
    glide, turn = np.array([0.30, 0.25]), np.array([9.0, 10.0, 12.0])
    radii = np.geomspace(2.0, 5.0, 41)
    table = {
        "critical_ankle_stiffness": np.array([[a, 2 * a, *(1 / radii)] for a in glide]),
        "turn_drag": np.array([[b, b, *radii**2] for b in turn]),
    }
    pair = ("critical_ankle_stiffness", "turn_drag")
    recipes = [blade(9, 11).recipe] * 2
    found = stance_map._crossed_gains(table, [pair, pair[::-1]], [(2, radii)] * 2, radii, recipes)
    assert found.shape == (2, 2, 2, 3)
    one = (glide[:, None] ** 2 * turn) ** (-1 / 3)
    assert found[0, 0] == pytest.approx(one, rel=1e-3) and found[0, 1] == pytest.approx(one, rel=1e-3)
    two = ((2 * glide[:, None]) ** 2 * turn) ** (-1 / 3)
    assert found[1, 0] == pytest.approx(two, rel=1e-3)


def test_a_map_of_two_by_three_stances_is_each_stance_worked_out_alone():
    plain, shallow = blade(8, 12, name="a"), blade(13, 8, name="b", section=section_of(2.9e-3, 18e-3))
    asked = request([plain, shallow], pairs=PAIRS[:2])
    lines = np.array([-0.03, 0.0]), np.array([0.0, 0.03, 0.05])
    found = stance_map.run(stance_map.Plan(asked, *lines), HERE, silent)
    assert found.gain.shape == (2, 2, 2, 3)
    radii = np.geomspace(6 * FT, 16 * FT, LINE_RADII)
    for g, t in ((0, 2), (1, 0)):
        there = stance_map.standing_at(stance_map.standing_at(setting(), "glide", lines[0][g]), "turn", lines[1][t])
        values = np.array([statics(x, there, STATIC) for x in (plain, shallow)])
        table = {n: values[:, j] for j, n in enumerate(STATIC)}
        alone = gains([plain, shallow], table, PAIRS[:2], radii, there)
        assert found.gain[:, :, g, t] == pytest.approx(alone, rel=1e-9)
        assert found.measures["turn_drag"][t] == pytest.approx(table["turn_drag"])
        assert found.measures["glide_drag_coefficient"][g] == pytest.approx(table["glide_drag_coefficient"])
    middle = {name: int(np.argmin(abs(v - (0 if name == "temperature_shift" else 1))))
              for name, (v, _) in stance_map.SURROUNDINGS.items()}  # fmt: skip
    for name, i in middle.items():  # the stated place is among the others
        values = np.array([statics(x, setting(), STATIC) for x in (plain, shallow)])
        alone = gains([plain, shallow], {n: values[:, j] for j, n in enumerate(STATIC)}, PAIRS[:2], radii, setting())
        assert found.around[name][i] == pytest.approx(alone, rel=1e-9), name


def test_what_surrounds_the_stated_place():
    ends = {name: (v[0], v[-1], len(v)) for name, (v, _) in stance_map.SURROUNDINGS.items()}
    assert ends == {"mass_factor": (0.6, 1.4, 9), "temperature_shift": (-6.0, 4.0, 6), "hollow_factor": (0.75, 1.75, 9)}


@pytest.mark.parametrize(("name", "value"), [("mass_factor", 1.4), ("temperature_shift", -6.0), ("hollow_factor", 1.5)])
def test_surroundings_are_applied_to_blades_and_their_lines(name, value):
    """Each against a setting and blades that are written out by hand."""
    hollow = section_of(2.9e-3, 12.7e-3 * (1.5 if name == "hollow_factor" else 1))
    ice = replace(ICE, temperature_c=-11.0) if name == "temperature_shift" else ICE
    body = replace(setting().skater, mass_kg=112.0 if name == "mass_factor" else 80.0)
    there = setting(ice=ice, skater=body, reference=blade(10, name="ten", section=hollow))
    radii, mine = np.geomspace(6 * FT, 16 * FT, 9), blade(8, 12, section=hollow)
    values = {n: np.array([v]) for n, v in zip(STATIC, statics(mine, there, STATIC))}
    found = stance_map.gains_at(((blade(8, 12),), setting(), PAIRS[:2], radii), (name, value))
    assert found == pytest.approx(gains([mine], values, PAIRS[:2], radii, there), rel=1e-9)
    here = stance_map.gains_at(((blade(8, 12),), setting(), PAIRS[:2], radii), ("scuff", 0.02))
    assert not np.allclose(found, here, rtol=1e-6)


def test_ice_above_freezing_has_no_gain():
    found = stance_map.gains_at(((TEN, TEN), setting(), PAIRS[:2], np.array([2.0, 3.0])), ("temperature_shift", 5.5))
    assert found.shape == (2, 2) and np.isnan(found).all()


def test_pairs_of_one_glide_and_one_turn_measure_make_a_map():
    both = (PAIRS[0], PAIRS[1], ("turn_drag", "push_hold_angle"), ("turn_drag", "pivot_forefoot_toe_in"), PAIRS[2])
    assert stance_map.crossed_pairs(request([TEN], pairs=both)) == PAIRS[:2]
    with pytest.raises(BladeError, match="a stance map needs a pair"):
        stance_map.crossed_pairs(request([TEN], pairs=both[2:]))


def test_most_places_of_a_map():
    """1 blade x 1 pair x 202 x 202 places, the stated ones too, are 40804: 491 blades are too many for 20 million."""
    wide = {"from": "-10 mm", "to": "10 mm", "count": 201}
    fields = {"glide_lines": wide, "turn_lines": wide}
    asked = request([TEN])
    for count, fine in ((490, True), (491, False)):
        many = replace(asked, cases=asked.cases * count)
        if fine:
            plan = stance_map.checked_plan(many, Fields(dict(fields), ""))
            assert (plan.glide_m[0], plan.glide_m[-1], len(plan.turn_m)) == (-0.015, 0.01, 202)
        else:
            with pytest.raises(BladeError, match="20000000"):
                stance_map.checked_plan(many, Fields(dict(fields), ""))


# ---------------------------------------------------------------- sensitivity


def planned(**more):
    """Three inputs named in another order than the columns of the draws: errors of grinding come last there."""
    inputs = (Input("radius_factor", stats.uniform(0, 1), "test"), Input("scuff", stats.uniform(0, 1), "test"),
              Input("mass_factor", stats.uniform(0, 1), "test"))  # fmt: skip
    made = {"request": request([TEN], pairs=()), "inputs": inputs, "outputs": ("turn_drag",), "trajectories": 10,
            "base_samples": 512, "seed": 3}  # fmt: skip
    return sensitivity.Plan(**(made | more))


def answering(function):
    """In place of the draws: the ratio of the turn drag is a function of the inputs by name, the reference 10 N."""

    def drawn(asked, inputs, draws, seed, workers, progress, points):
        by_name = {name: points[:, j] for j, (name, _) in enumerate(columns_of(inputs, asked.candidates))}
        values, base = np.ones((draws, 1, len(STATIC))), np.ones((draws, len(STATIC)))
        base[:, STATIC.index("turn_drag")] = 10.0
        values[:, 0, STATIC.index("turn_drag")] = 10.0 * function(**by_name)
        return Draws(("ten",), (), (), points, values, base, np.ones((draws, 1, 0)), np.zeros((draws, 1)))

    return drawn


def test_indices_of_a_sum_are_shares_of_its_variance(monkeypatch):
    """y = 3 a + 2 b + 0 c of three even inputs: first-order 9/13, 4/13 and 0, total the same; Morris' mu* are the
    slopes 3, 2 and 0 and his sigma nothing, but for levels at the ends that are drawn in by half a percent."""
    sloped = answering(lambda radius_factor, scuff, mass_factor: 3 * radius_factor + 2 * scuff + 0 * mass_factor)
    monkeypatch.setattr(sensitivity, "run_draws", sloped)
    found = sensitivity.run(planned(), HERE, silent)
    assert found.outputs == ("turn_drag",) and found.subject == "ten"
    shares = {"radius_factor": 9 / 13, "scuff": 4 / 13, "mass_factor": 0.0}
    slopes = {"radius_factor": 3.0, "scuff": 2.0, "mass_factor": 0.0}
    assert list(found.sobol("turn_drag")) == ["radius_factor", "scuff"], "screening: the third moves nothing"
    for name, index in found.sobol("turn_drag").items():
        assert (index.first, index.total) == (pytest.approx(shares[name], abs=0.03),) * 2, name
    for x in [x for x in found.indices if x.method == "morris"]:
        assert x.first == pytest.approx(slopes[x.input], rel=0.02) and x.total < 0.05 and x.total_confidence is None


def test_a_product_decides_only_together(monkeypatch):
    """y = (a - 1/2)(b - 1/2): first-order indices 0, total indices 1."""
    product = answering(lambda radius_factor, scuff, mass_factor: 1 + (radius_factor - 0.5) * (mass_factor - 0.5))
    monkeypatch.setattr(sensitivity, "run_draws", product)
    found = sensitivity.run(planned(), HERE, silent).sobol("turn_drag")
    assert [round(found[n].first, 1) for n in ("radius_factor", "mass_factor")] == pytest.approx([0, 0], abs=0.1)
    assert list(found) == ["radius_factor", "mass_factor"]
    assert [found[n].total for n in found] == pytest.approx([1, 1], abs=0.06)


def test_what_moves_nothing_in_the_screening_is_held_at_its_median(monkeypatch):
    """Of three inputs the first alone moves anything: 8 x 3 points follow, the others at one half in all of them."""
    seen = []
    alone = answering(lambda radius_factor, scuff, mass_factor: radius_factor + 0 * scuff + 0 * mass_factor)
    monkeypatch.setattr(sensitivity, "run_draws", lambda *a: seen.append(a[-1]) or alone(*a))
    found = sensitivity.run(planned(base_samples=8), HERE, silent)
    columns = [name for name, _ in columns_of(planned().inputs, planned().request.candidates)]
    assert len(seen[1]) == 8 * 3 and list(found.sobol("turn_drag")) == ["radius_factor"]
    for name in ("scuff", "mass_factor"):
        assert (seen[1][:, columns.index(name)] == 0.5).all()
    assert len(np.unique(seen[1][:, columns.index("radius_factor")])) > 8


def test_points_follow_the_laws_and_stay_off_their_infinite_ends(monkeypatch):
    """Levels 0 and 1 are cut at 0.005: 2.576 standard deviations of a normal law."""
    seen = []
    monkeypatch.setattr(sensitivity, "run_draws", lambda *a: seen.append(a[-1]) or answering(lambda scuff: scuff)(*a))
    one = (Input("scuff", stats.norm(5.0, 2.0), "test"),)
    sensitivity.run(planned(inputs=one), HERE, silent)
    morris, sobol = seen
    assert (morris.min(), morris.max()) == pytest.approx((5 - 2 * 2.5758, 5 + 2 * 2.5758), abs=1e-3)
    assert (sobol.mean(), sobol.std()) == pytest.approx((5.0, 2.0), rel=0.02)


def test_what_does_not_vary_has_no_index_and_a_failed_draw_is_refused(monkeypatch):
    monkeypatch.setattr(sensitivity, "run_draws", answering(lambda scuff, **_: 1.0 + 0 * scuff))
    assert sensitivity.run(planned(), HERE, silent).indices == ()
    monkeypatch.setattr(sensitivity, "run_draws", answering(lambda scuff, **_: np.where(scuff > 0.99, np.nan, scuff)))
    with pytest.raises(BladeError, match="turn_drag could not be computed in"):
        sensitivity.run(planned(), HERE, silent)


def test_a_draw_counts_as_failed_when_nothing_is_known_of_it(monkeypatch):
    """A measure that is not asked for may be missing."""
    draws = answering(lambda scuff, **_: scuff)

    def lost(*given, all_of_it):
        made = draws(*given)
        made.values[0, :, :] = np.nan if all_of_it else made.values[0]
        made.values[0, :, STATIC.index("push_hold_angle")] = np.nan
        return made

    monkeypatch.setattr(sensitivity, "run_draws", lambda *a: lost(*a, all_of_it=False))
    assert sensitivity.run(planned(), HERE, silent).indices
    monkeypatch.setattr(sensitivity, "run_draws", lambda *a: lost(*a, all_of_it=True))
    with pytest.raises(BladeError, match=r"sensitivity: 1 of \d+ draws failed; narrow the inputs"):
        sensitivity.run(planned(), HERE, silent)


@pytest.mark.parametrize(("total", "confidence", "end"), [(1.06, 0.19, 1.03 * 1.25), (0.2, 0.1, 1.0)])
def test_the_axis_of_indices_ends_past_the_farthest_confidence(total, confidence, end):
    index = sensitivity.Index("sobol", "y", "x", 0.1, 0.1, total, confidence)
    screened = sensitivity.Index("morris", "y", "x", 9.0, 9.0, 9.0, None)
    assert farthest(sensitivity.Sensitivity("a", (screened, index))) == pytest.approx(end)
    assert sensitivity.Sensitivity("a", (screened,)).outputs == ()


# ---------------------------------------------------------------- their tables


def test_the_best_stance_in_the_table_and_the_share_beyond():
    plan = replace(EMPTY_MAP, glide_m=np.array([-0.03, 0.0]), turn_m=np.array([0.0, 0.03, 0.05]))
    chart = np.array([[1.0051, 1.0049, 1.2], [0.9, np.nan, 1.0]])
    found = stance_map_best(plan, chart, (1, 2), OPINIONS)
    assert found == ["0.900", "1.000", "1.200", "-30 / +50", "40 %"]
    assert stance_map_best(plan, chart * np.nan, (0, 0), OPINIONS) == ["n/a", "n/a", "n/a", "", ""]


EMPTY_MAP = stance_map.StanceMap((), (), (), np.zeros(0), np.zeros(0), np.zeros(0), {}, (), {})


def test_shares_of_places_and_of_wins_in_the_files(tmp_path):
    """Four draws of two blades, higher is better: the first wins two, one is shared, one lost."""
    score = np.array([[2.0, 1.0], [3.0, 1.0], [1.0, 1.0], [0.0, 1.0]])
    made = draws_of({"turn_drag": score}, ["a", "b"], score=score)
    write_ranks(tmp_path / "ranks.csv", made)
    assert (tmp_path / "ranks.csv").read_text().split()[1:] == ["a,1.250,0.7500,0.2500", "b,1.500,0.5000,0.5000"]
    write_beats(tmp_path / "beats.csv", made, "w")
    lines = (tmp_path / "beats.csv").read_text().splitlines()
    assert lines[1:3] == ["weighting w,a,0.5000,0.6250", "weighting w,b,0.3750,0.5000"]
    assert "turn_drag,a,0.5000,0.3750" in lines, "less drag is better"
