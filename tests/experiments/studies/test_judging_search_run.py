"""A search from its config to its result: what is read, what is kept of what was found, and what stands beside it."""

import math
from dataclasses import fields, replace
from types import SimpleNamespace

import numpy as np
import pytest
from scipy import stats

from experiments.analysis.draws import intervals
from experiments.analysis.finds import Find, Tally
from experiments.analysis.optimizer import Effort, Evaluated, evaluate_recipe
from experiments.analysis.shop import ShopSteps, Tolerance
from experiments.analysis.variants import LINE_RADII
from experiments.request.blade import SharedBlade
from experiments.request.uncertainty import Input, Sampling
from experiments.run.workers import HERE, silent
from experiments.studies.search import study
from sim.blade.recipe import Sweep
from sim.blade.section import Section
from sim.errors import BladeError
from sim.measures import STATIC, evaluate
from sim.skater.body import Skater
from sim.trial import Candidate, Trial
from tests.experiments.analysis.hand import FT, SECTION, TEN, blade, request, setting
from tests.experiments.analysis.judging.opinions_by_hand import OPINIONS
from tests.experiments.analysis.test_exactly import SHOP_WORDS
from tests.experiments.analysis.test_space_reading import ASKED

DRAG, HOLD = "turn_drag", "push_hold_angle"
OWN = {
    "uncertainty": {"name": "hand", "inputs": {
        "radius_factor": {"distribution": "normal", "mean": 1.0, "sd": 0.01, "why": "w"},
        "hollow_factor": {"distribution": "uniform", "low": 0.9, "high": 1.1, "why": "w"}}},
    "draws": 4, "seed": 3, "space": ASKED | {"count": [1, 1]}, "grinding": SHOP_WORDS, "objectives": [DRAG, HOLD],
    "robust": "nominal", "worst_quantile": 0.8, "robust_draws": 4, "evaluations": 24, "population": 8, "front_size": 3,
    "compare_random": False, "starting_curve": None, "caps": [],
    "radius_step": "1/4 ft", "boundary_step": "1 mm", "start_from": [],
}  # fmt: skip
BLADE = {"length_m": 0.28, "blend_m": 0.02, "level_m": 0.0, "pitch_rad": 0.0, "heel_sweep": Sweep(),
         "toe_sweep": Sweep()}  # fmt: skip
SHARED = SharedBlade(**{f.name: BLADE[f.name] if f.name in BLADE else getattr(SECTION, f.name)
                        for f in fields(SharedBlade)})  # fmt: skip


@pytest.fixture
def read(monkeypatch):
    """The plan of these keys, over a request put together by hand."""

    def made(asked=None, **change):
        asked = asked or request([TEN, blade(9, name="nine")])
        monkeypatch.setattr(study, "read_stated", lambda rest: SimpleNamespace(blade=SHARED))
        monkeypatch.setattr(study, "assemble", lambda stated: asked)
        return study.read(OWN | change, {})

    return made


# ---------------------------------------------------------------- what is read


def test_a_plan_says_all_that_was_asked(read):
    plan = read()
    problem = plan.problem
    assert plan.effort == Effort(8, 24, 3) and (plan.front_size, plan.random) == (3, False)
    assert problem.objectives == ((DRAG, "lower"), (HOLD, "higher")) and (problem.how, problem.caps) == (None, ())
    assert problem.space.radii_m == (2.0, 4.5) and problem.space.base is TEN.recipe and problem.section is TEN.section
    assert problem.limits.least_radius_m == pytest.approx(6 * FT) and problem.stock is None
    assert [(errors, one.scenarios) for one, errors in problem.settings] == [({}, {})]
    assert (plan.sampling.draws, plan.sampling.seed, len(plan.sampling.inputs)) == (4, 3, 2)
    assert read(compare_random=True).random is True


def test_mean_and_worst_are_over_every_skater_and_draw_and_worst_is_a_quantile(read):
    two = replace(request([TEN]), settings=(setting(), setting(skater=Skater("heavy", 100.0))))
    for how, quantile, count in (("mean", None, 8), ("worst", 0.8, 8)):
        problem = read(two, robust=how).problem
        assert (problem.how, len(problem.settings)) == (quantile, count)
        assert {round(one.skater.mass_kg) for one, _ in problem.settings} == {80, 100}
    assert len(read(robust="worst", robust_draws=7).problem.settings) == 7
    with pytest.raises(BladeError, match="several skaters need a choice between them"):
        read(two)


def test_points_of_what_is_known_lie_within_the_space(read):
    """2 m and 4.5 m with an error of rounding are the corners; 9 ft by its logarithm; 15 ft and two zones are none."""
    known = [blade(r / FT, name=f"k{i}") for i, r in enumerate((2.0 * (1 - 5e-10), 4.5 * (1 + 5e-10), 9 * FT))]
    plan = read(request([*known, blade(15, name="long"), blade(8, 9, name="two")]), space=OWN["space"] | {
        "level": ["0 mm", "0 mm"], "blend": ["20 mm", "20 mm"]})  # fmt: skip
    assert [p.tolist() for p in plan.starts[:2]] == [[0.0], [1.0]] and len(plan.starts) == 3
    assert plan.starts[2] == pytest.approx([math.log(9 * FT / 2) / math.log(2.25)])


def test_the_starting_curve_is_what_steel_counts_from(read):
    stock = read(starting_curve={"family": "single_radius", "radii": ["12 ft"]}).problem.stock
    assert stock.length_m == pytest.approx(0.28) and stock.at(0.14)[3] == pytest.approx(1 / (12 * FT))


def test_caps_come_as_a_list_or_alone(read):
    one = {"measure": DRAG, "at_most": 7}
    for caps, count in (([one], 1), (one, 1), ([one, {"measure": HOLD, "at_least": 0.2}], 2)):
        found = read(caps=caps).problem.caps
        assert found[0] == (DRAG, 1.0, 7.0) and len(found) == count
    values, _ = evaluate(Trial(TEN, setting()), (DRAG,))
    ((_, _, value),) = read(caps={"measure": DRAG, "ratio_at_most": 1.05}).problem.caps
    assert value == pytest.approx(1.05 * values[DRAG], rel=1e-9)
    for fine in (1e-12, 1e12):
        assert read(caps=[one | {"at_most": fine}]).problem.caps[0][2] == fine
    for bad, words in (({"measure": DRAG, "at_most": 1.01e12}, "within"), ({"measure": DRAG, "at_most": 0.99e-12},
                       "within"), ({"measure": DRAG}, "give one of"), (one | {"at_least": 5}, "give one of"),
                       ({"measure": "stride_ice_loss", "at_most": 1}, "only a static measure")):  # fmt: skip
        with pytest.raises(BladeError, match=rf"caps\[1\].*{words}"):
            read(caps=[one, bad])


@pytest.mark.parametrize(
    ("key", "fine", "refused"),
    [
        ("worst_quantile", [0.5, 1.0], [0.499, 1.001]), ("robust_draws", [2, 4096], [1, 4097]),
        ("front_size", [1, 60], [0, 61]), ("evaluations", [8, 500_000], [7, 500_001]), ("draws", [2, 64], [1]),
        ("robust", ["nominal", "mean", "worst"], ["best"]), ("compare_random", [True], ["perhaps"]),
        ("objectives", [[DRAG, HOLD]], [[DRAG], [DRAG, "pitch_bias"]]),
    ],
)  # fmt: skip
def test_a_search_up_to_its_ends_and_no_farther(read, key, fine, refused):
    for value in fine:
        read(**{key: value})
    for value in refused:
        with pytest.raises(BladeError, match=key):
            read(**{key: value})


def test_draws_are_counted_for_the_blades_of_the_front_or_of_the_request(read):
    """Two million blades in all draws: 60 of the front leave 33,333, 50 of the request 40,000; for 3, 100,000 fit."""
    read(front_size=60, draws=33_333)
    read(front_size=3, draws=100_000)
    with pytest.raises(BladeError, match="at most 33333 draws"):
        read(front_size=60, draws=33_334)
    many = request([blade(9 + k / 100, name=f"b{k}") for k in range(50)])
    with pytest.raises(BladeError, match="at most 40000 draws"):
        read(many, front_size=3, draws=80_001)


# ---------------------------------------------------------------- what is found


def evaluated(costs, beyond=None) -> Evaluated:
    costs = np.asarray(costs, float)
    beyond = np.full((len(costs), 2), -1.0) if beyond is None else np.asarray(beyond, float)
    return Evaluated(np.linspace(0.2, 0.8, len(costs))[:, None], costs, beyond, np.zeros(len(costs), int))


@pytest.fixture
def ran(read, monkeypatch):
    """The result of a search that finds these costs, two steps of half of them, and what its parts were asked."""

    def made(found, random=None, progress=silent, finds=True, **change):
        plan = read(compare_random=random is not None, **change)
        plan = replace(plan, request=replace(plan.request, line_m=(6 * FT, 7 * FT, 16 * FT)))
        asked = {}

        def optimized(problem, workers, starts, effort, on_step):
            on_step(len(found.points) // 2)
            on_step(len(found.points))
            return found

        def searched(problem, workers, count, seed):
            asked["random"] = count, seed
            return random

        monkeypatch.setattr(study, "optimize", optimized)
        monkeypatch.setattr(study, "random_search", searched)
        able = np.arange(LINE_RADII) % 2 == 0
        line = np.arange(2.0 * LINE_RADII).reshape(-1, 2)
        monkeypatch.setattr(study, "_blades", lambda *a: asked.update(blades=a[1:4]) or ("the blades",))
        monkeypatch.setattr(study, "_single_radii", lambda plan, radii, workers: (np.array([5.0, 7.0]), line, able))
        monkeypatch.setattr(study, "_taus", lambda blades, names: (blades, names))
        monkeypatch.setattr(
            study, "finds_of", lambda *a: asked.update(finds=a) or (list(a[1].front()) if finds else [], Tally(9))
        )
        return study.run(plan, HERE, progress), asked

    return made


def test_volumes_grow_from_a_corner_a_twentieth_beyond_the_front(ran):
    """Costs (1, 2) and (2, 1): the corner is (2.1, 2.1). Boxes of ln 2.1 by ln 1.05 and the other way, which share
    ln 1.05 by ln 1.05. The blade beyond a limit adds nothing, and (2, 2) is no better than both."""
    a, b = math.log(2.1), math.log(1.05)
    found = evaluated([[1, 2], [0.1, 0.1], [2, 1], [2, 2]], [[-1, -1], [0.1, -1], [-1, -1], [-1, -1]])
    steps = []
    result, asked = ran(found, progress=lambda *step: steps.append(step))
    assert result.volumes == pytest.approx(np.array([[2, a * b], [4, 2 * a * b - b * b]]))
    assert steps == [(2, 24), (4, 24)], "of all evaluations asked for"
    assert result.random is None and math.isnan(result.random_volume) and "random" not in asked
    assert result.found is found and result.blades == ("the blades",)


def test_a_random_search_of_as_many_points_stands_beside_it(ran):
    steps = []
    random = evaluated([[1.0, 1.0], [0.5, 0.5]], [[-1, -1], [1, -1]])
    result, asked = ran(evaluated([[1, 2], [2, 1]]), random, lambda *step: steps.append(step))
    assert asked["random"] == (2, 3) and steps == [(1, 48), (2, 48)]
    assert result.random is random and result.random_volume == pytest.approx(math.log(2.1) ** 2)


def test_chosen_blades_pairs_and_line_of_a_result(ran):
    """The two ends of the front; pairs of all objectives; 6 to 16 ft in 33 even steps of the logarithm."""
    objectives = [DRAG, HOLD, "critical_ankle_stiffness"]
    found = evaluated([[1, 2, 2], [1.1, 1.9, 2], [3, 1, 1], [1.2, 1.8, 2]])
    result, asked = ran(found, objectives=objectives, front_size=2)
    chosen, pairs, radii = asked["blades"]
    problem, of, steps, tolerance, single, most, _ = asked["finds"]
    assert of is found and problem.objectives[0] == (DRAG, "lower") and most == 2
    step = pytest.approx(FT / 4)
    assert (steps, tolerance) == (ShopSteps(step, 1e-3), Tolerance(0.01, step, 1e-3, 1e-3))
    assert single.tolist() == [[4.0 * k, 4.0 * k + 1] for k in range(17)], "only single radii that may be found"
    assert list(chosen) == list(found.front()) and result.tally == Tally(9)
    assert pairs == result.pairs == ((DRAG, HOLD), (DRAG, objectives[2]), (HOLD, objectives[2]))
    assert len(radii) == LINE_RADII and np.diff(np.log(radii)) == pytest.approx([math.log(16 / 6) / 32] * 32)
    assert radii[0] == pytest.approx(6 * FT)
    assert result.reference.tolist() == [5.0, 7.0] and result.line.shape == (LINE_RADII, 2) and result.radii is radii
    assert result.taus == (("the blades",), tuple(objectives))
    values, _ = evaluate(Trial(TEN, setting()), STATIC)
    assert result.values == pytest.approx(values, rel=1e-9)


def test_only_pairs_taken_the_way_of_the_registry_have_a_gain(ran):
    """A longer loaded arc is neither better nor worse by itself, and more drag is not what a single radius is for."""
    arc = {"measure": "glide_loaded_arc", "better": "lower"}
    result, _ = ran(evaluated([[1, 2, 2], [2, 1, 1]]), objectives=[DRAG, HOLD, arc])
    assert result.pairs == ((DRAG, HOLD),)
    result, _ = ran(evaluated([[1, 2], [2, 1]]), objectives=[{"measure": DRAG, "better": "higher"}, HOLD])
    assert result.pairs == ()


def test_a_front_without_finds_has_no_blades(ran):
    result, asked = ran(evaluated([[1, 2], [2, 1]]), finds=False)
    assert result.blades == () and "blades" not in asked


def test_objectives_that_the_reference_has_none_of_are_refused(read, monkeypatch):
    monkeypatch.setattr(study, "_single_radii", lambda *_: (np.array([1.0, np.nan]), None, None))
    with pytest.raises(BladeError, match="objectives: one of them cannot be had of the reference"):
        study.run(read(), HERE, silent)


def test_no_blade_that_can_be_ground_is_a_refusal(ran):
    with pytest.raises(BladeError, match="no blade of this space can be ground"):
        ran(evaluated([[1, 2], [2, 1]], [[1, -1], [-1, 1]]))


# ---------------------------------------------------------------- what stands behind each blade


def first_of_two(asked):
    """The request with a second skater, of whom the front says nothing."""
    return replace(asked, settings=(*asked.settings, setting(skater=Skater("heavy", 100.0), reference=blade(7))))


def test_each_blade_of_the_front_has_its_own_numbers(read, monkeypatch):
    """Everything is told by the radius: points 0.2, 0.5 and 0.8 of the logarithm from 2 to 4.5 m."""
    plan = read()
    plan = replace(plan, request=replace(first_of_two(plan.request), opinions=OPINIONS))
    recipes = [replace(TEN.recipe, radii_m=(2.0 * 2.25**u,)) for u in (0.8, 0.2)]
    finds = [Find(r, r, np.array([k]), np.array([1.0 + k, 2.0])) for k, r in enumerate(recipes)]
    asked = []

    def spread(plan, blades, pairs, inputs, workers):
        asked.append([i.name for i in inputs])
        sizes = np.array([b.recipe.radii_m[0] for b in blades])
        return np.array([[[q * r * len(inputs)] for r in sizes] for q in (1, 2, 3)])

    def gains(blades, one, *_):
        return np.array([[k + b.recipe.radii_m[0] * one.skater.mass_kg / 8] for k, b in enumerate(blades)])

    monkeypatch.setattr(study, "_gains", spread)
    monkeypatch.setattr(study, "nominal_gains", gains)
    monkeypatch.setattr(study, "without_each_zone", lambda recipe: [recipe, recipe])
    monkeypatch.setattr(study, "nearest", lambda b, known: (f"{len(known)}", b.recipe.radii_m[0]))
    monkeypatch.setattr(study, "_rolled", lambda b, one: {"stride_ice_loss": 30 * b.recipe.radii_m[0]})
    monkeypatch.setattr(study, "check", lambda recipe, limits, stock: [f"{recipe.radii_m[0]:.3f}"])
    monkeypatch.setattr(study, "widened", lambda problem, finds, *_: [(f.recipe.radii_m,) for f in finds])
    blades = study._blades(plan, finds, ((DRAG, HOLD),), np.array([2.0, 4.0]), HERE)
    assert [b.candidate.name for b in blades] == ["found 1", "found 2"]
    for b, find in zip(blades, finds):
        r = find.recipe.radii_m[0]
        assert b.candidate.recipe == replace(find.recipe, name=b.candidate.name)
        assert b.candidate.section is TEN.section
        assert (b.point is find.point, b.costs is find.costs) == (True, True)
        assert b.gains[:, 0] == pytest.approx([2.2 * r, 4 * r, 5.8 * r])  # both inputs
        assert b.grinding[:, 0] == pytest.approx([1.1 * r, 2 * r, 2.9 * r])  # errors of grinding alone
        assert (b.said[0].kind, b.ground[0].kind) == ("beyond", "beyond") and b.said[0].median == pytest.approx(4 * r)
        assert b.alone == pytest.approx([10 * r]) and b.without[:, 0] == pytest.approx([1 + 10 * r, 2 + 10 * r])
        assert (b.nearest, b.rolled) == (("2", pytest.approx(r)), {"stride_ice_loss": pytest.approx(30 * r)})
        assert b.limits == (f"{r:.3f}",) and b.bounds == (find.recipe.radii_m,)
        values, _ = evaluate(Trial(blade(r / FT), setting()), STATIC)
        assert b.values == pytest.approx(values, rel=1e-9)
    assert asked == [["radius_factor", "hollow_factor"], ["radius_factor"]]
    none = replace(plan.sampling, inputs=plan.sampling.inputs[1:])
    blades = study._blades(replace(plan, sampling=none), finds, ((DRAG, HOLD),), np.array([2.0, 4.0]), HERE)
    assert all(np.isnan(b.grinding).all() and np.isfinite(b.gains).all() for b in blades), "no error of grinding"
    assert {b.ground[0].kind for b in blades} == {"unknown"}


def test_intervals_of_the_front_are_quantiles_of_its_own_draws(read, monkeypatch):
    """Gains 0 to 100 % in 101 draws of the first blade and 2 more of the second: 5, 50 and 95 % are 0.05, 0.5, 0.95."""
    plan, asked = read(draws=77, seed=8), []
    plan = replace(plan, request=first_of_two(plan.request))

    def drawn(front, inputs, draws, seed, workers):
        asked.append((front, inputs, draws, seed))
        return SimpleNamespace(gain=np.linspace(0, 1, 101)[:, None, None] + np.array([0.0, 2.0])[None, :, None])

    monkeypatch.setattr(study, "run_draws", drawn)
    found = intervals(study._gains(plan, [blade(8), blade(9)], ((DRAG, HOLD),), ("inputs",), HERE))
    assert found[:, :, 0] == pytest.approx(np.array([[0.05, 2.05], [0.5, 2.5], [0.95, 2.95]]))
    ((front, inputs, draws, seed),) = asked
    assert (inputs, draws, seed) == (("inputs",), 77, 8) and front.pairs == ((DRAG, HOLD),)
    assert [c.candidate.recipe.radii_m[0] / FT for c in front.cases] == pytest.approx([8, 9])
    assert front.settings == plan.request.settings[:1]
    assert front.candidates == tuple(c.candidate for c in front.cases), "under the first skater"


def test_the_line_of_single_radii_is_on_the_section_that_is_searched(read):
    """Costs of 8 and 11 ft and of the reference, each worked out alone; the hold turned round."""
    shallow = Section(2.9e-3, 20e-3)
    plan = read(request([TEN], one=setting(scenarios={"stride": None})))
    plan = replace(plan, problem=replace(plan.problem, section=shallow), request=first_of_two(plan.request))
    least = replace(plan.problem.limits, least_radius_m=8.5 * FT)
    plan = replace(plan, problem=replace(plan.problem, limits=least))
    base, line, able = study._single_radii(plan, np.array([8 * FT, 11 * FT]), HERE)

    def alone(feet):
        values, _ = evaluate(Trial(Candidate("x", blade(feet).recipe, shallow), setting()), (DRAG, HOLD))
        return [values[DRAG], 1 / values[HOLD]]

    assert base == pytest.approx(alone(10), rel=1e-9) and able.tolist() == [False, True]
    assert line == pytest.approx(np.array([alone(8), alone(11)]), rel=1e-9)


@pytest.mark.parametrize(("robust", "quantile", "place"), [("worst", 1.0, -1), ("worst", 0.5, 1)])
def test_the_reference_is_divided_by_its_own_worst_case(read, robust, quantile, place):
    """Three draws of the hollow: a blade that is the reference costs what the reference costs, and that is the worst
    (the middle) of the three, each worked out alone."""
    plan = read(robust=robust, worst_quantile=quantile, robust_draws=3)
    costs, _, _ = study._single_radii(plan, np.array([9 * FT]), HERE)
    here, _ = evaluate_recipe(plan.problem, TEN.recipe)
    assert costs == pytest.approx(here, rel=1e-12)
    drags = []
    for one, errors in plan.problem.settings:
        recipe = replace(TEN.recipe, radii_m=(10 * FT * errors["radius_factor"],))
        there = Candidate("x", recipe, replace(SECTION, hollow_m=SECTION.hollow_m * errors["hollow_factor"]))
        drags.append(evaluate(Trial(there, one), (DRAG,))[0][DRAG])
    assert costs[0] == pytest.approx(sorted(drags)[place], rel=1e-9) and len(set(drags)) == 3


def test_only_movements_that_are_asked_for_are_rolled(monkeypatch):
    monkeypatch.setattr(study, "evaluate", lambda trial, names: (dict.fromkeys(names, 1.0), {}))
    for scenarios, names in (({}, set()), ({"stride": 0}, {"stride_ice_loss"}), ({"nudge": 0, "tight_turn": 0}, {
            "nudge_settling_time", "turn_exit_speed", "turn_time"})):  # fmt: skip
        assert set(study._rolled(TEN, setting(scenarios=scenarios))) == names


def test_the_errors_that_each_blade_shares_are_those_of_its_section():
    assert set(study.SHARED_ERRORS) == {"radius_factor", "boundary_shift", "level_shift", "hollow_factor",
                                        "thickness_shift", "edge_shift", "height_shift", "span_factor"}  # fmt: skip
    inputs = (Input("mass_factor", stats.uniform(0.9, 0.2), "t"), Input("edge_shift", stats.norm(0, 1e-5), "t"))
    found, lost = study._settings(request([TEN]), "worst", Sampling(inputs, 9, 1), 3, (DRAG,))
    assert (
        lost == 0
        and len(found) == 3
        and all(set(errors) == {"edge_shift"} and not one.scenarios for one, errors in found)
    )
