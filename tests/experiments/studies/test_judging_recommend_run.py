"""A recommendation from its config to its result: what is read, which blades are weighed, on which runner."""

import math
from dataclasses import dataclass, fields, replace
from types import SimpleNamespace

import numpy as np
import pytest

from experiments.analysis.judging.decide import Decision
from experiments.analysis.judging.verdict import Verdict
from experiments.analysis.shop import ShopSteps
from experiments.request.comparison import Stated
from experiments.request.fields import Fields
from experiments.request.objectives import Weighting
from experiments.run.workers import HERE, silent
from experiments.studies.recommend import steel, study, use
from experiments.studies.recommend.steel import Stock
from sim.blade.recipe import Recipe, Sweep
from sim.blade.stock import Removal
from sim.errors import BladeError
from sim.measures import REGISTRY, STATIC
from tests.experiments.analysis.hand import FT, TEN, blade, draws_of, request
from tests.experiments.analysis.judging.opinions_by_hand import OPINIONS
from tests.experiments.analysis.test_exactly import SHOP_WORDS
from tests.experiments.analysis.test_limits import SHOP
from tests.experiments.studies.test_judging_search_and_sizes import stated as adult
from tests.experiments.studies.test_judging_search_run import OWN, SHARED

NAN = math.nan
HEIGHTS_MM = (5, 60)  # of the steel of any runner
STEPS = ShopSteps(FT / 4, 1e-3)
STOCK = Stock((NAN,), NAN, SHOP, STEPS)
SKATER = adult()
SCHEME = Weighting("needs", {"turn_drag": 1.0}, {"turn_drag": "lower"})
NEEDS = use.Needs(("u", {}), (), 0.0, "mid", SCHEME, {})
WORN = Recipe("worn", "zoned", (9.26 * FT, 11.9 * FT), (0.1201, 0.1199), 0.2800000004, 0.0184,
              heel_sweep=Sweep(0.02, 0.120000001), toe_sweep=Sweep(0.02, 0.11))  # fmt: skip


def reading(recipe=WORN):
    """A trace that was read as this recipe; its level point only where that was asked for."""
    return SimpleNamespace(unknowns=0, recipe=lambda name, level_from_trace: replace(
        recipe, name=name, level_m=0.004 if level_from_trace else 0.0))  # fmt: skip


def order(ground=None, level=False, needs=NEEDS, blades=None) -> study.WorkOrder:
    blades = blades or [SimpleNamespace(reading=reading())]
    return study.WorkOrder(SimpleNamespace(blades=blades, ground=ground), needs, "", level, STOCK)


def asked(**more) -> Stated:
    bare = Stated(**dict.fromkeys(f.name for f in fields(Stated)))
    return replace(bare, blade=SHARED, skaters=(SKATER,), **more)


# ---------------------------------------------------------------- the work order


@pytest.fixture
def ordered(monkeypatch):
    def made(blades=1, **words):
        monkeypatch.setattr(study, "read_bench", lambda f, stated: SimpleNamespace(blades=[1] * blades, of=stated))
        own = {"gauge_level": False, "grinding": SHOP_WORDS, "radius_step": "1/4 ft", "boundary_step": "1 mm"} | words
        return study._read_order(Fields(own, ""), "stated", NEEDS)

    return made


def test_a_work_order_says_what_was_stated(ordered):
    plain = ordered()
    assert (plain.initials, plain.gauge_level, plain.bench.of, plain.needs) == ("", False, "stated", NEEDS)
    assert math.isnan(plain.stock.heights_m[0]) and math.isnan(plain.stock.least_m) and not plain.stock.known
    assert plain.stock.limits.least_zone_m == pytest.approx(0.025)
    assert plain.stock.steps.radius_m == pytest.approx(FT / 4)
    full = ordered(initials="ABCDEFGHIJKL", gauge_level=True, runner_height="21 mm", least_height="20.5 mm")
    assert (full.initials, full.gauge_level) == ("ABCDEFGHIJKL", True)
    assert (full.stock.heights_m, full.stock.least_m) == ((pytest.approx(0.021),), pytest.approx(0.0205))
    assert full.stock.known


def test_each_blade_of_a_pair_may_have_its_own_height(ordered):
    assert ordered(2, runner_height="21 mm").stock.heights_m == pytest.approx((0.021, 0.021))
    assert ordered(2, runner_height=["21 mm", "20.5 mm"]).stock.heights_m == pytest.approx((0.021, 0.0205))
    with pytest.raises(BladeError, match="runner_height: 2 heights, but 1 blade was traced; give one, or one for each"):
        ordered(1, runner_height=["21 mm", "20.5 mm"])
    with pytest.raises(BladeError, match="runner_height: 3 heights, but 2 blades were traced"):
        ordered(2, runner_height=["21 mm"] * 3)
    with pytest.raises(BladeError, match=r"runner_height: 4\.0 mm is no height of steel"):
        ordered(2, runner_height=["21 mm", "4 mm"])


def test_initials_have_twelve_letters_at_most(ordered):
    with pytest.raises(BladeError, match="initials: use plain text of 1 to 12"):
        ordered(initials="ABCDEFGHIJKLM")


def test_a_runner_is_so_high(ordered):
    for fine in HEIGHTS_MM:
        ordered(runner_height=f"{fine} mm")
    for mm in (HEIGHTS_MM[0] - 0.1, HEIGHTS_MM[1] + 0.1):
        with pytest.raises(BladeError, match=f"runner_height: {mm:.1f} mm is no height of steel; use .* mm to .* mm"):
            ordered(runner_height=f"{mm} mm")


@pytest.fixture
def read(monkeypatch):
    """The plan of a recommendation whose parts are put together by hand; `seen` holds what they were given."""
    seen = {}

    def made(skaters=(SKATER,), blades=3, shift=0.0, **change):
        one = request([blade(9 + k / 10, name=f"b{k}") for k in range(blades)])
        monkeypatch.setattr(study, "own_folder", lambda place: seen.update(shop=place) or ["entries"])
        monkeypatch.setattr(study, "read_stated", lambda rest, entries: SimpleNamespace(skaters=skaters))
        monkeypatch.setattr(study, "read_needs", lambda use, wishes, says, stands: replace(NEEDS, shift_m=shift))
        monkeypatch.setattr(study, "_read_order", lambda f, stated, needs: f.flag("gauge_level") or order(needs=needs))
        monkeypatch.setattr(study, "_blades", lambda stated, order: one)
        own = {"uncertainty": OWN["uncertainty"], "draws": 16, "seed": 3, "gauge_level": False, "use": {},
               "wishes": {}, "says": [], "stands": "mid"}  # fmt: skip
        return study.read(own | change, {})

    made.seen = seen
    return made


def test_a_recommendation_is_for_one_skater(read):
    read()
    for wrong in ((SKATER, SKATER), (replace(SKATER, where="skaters.a"),)):
        with pytest.raises(BladeError, match="a recommendation is for one skater"):
            read(wrong)


def test_the_plan_has_the_needs_weighting_the_stance_and_the_draws(read):
    plan = read(shift=-0.01)
    assert plan.request.scheme is SCHEME and plan.request.settings[0].states["glide"].line_m == pytest.approx(-0.025)
    assert (plan.sampling.draws, plan.sampling.seed) == (16, 3) and plan.order.needs.shift_m == -0.01
    assert read.seen["shop"] is None
    read(shop="my recipes")
    assert read.seen["shop"] == "my recipes"
    with pytest.raises(BladeError, match="draws: 15 is not a plain number within 16"):
        read(draws=15)
    with pytest.raises(BladeError, match="draws: 80000 draws for 50 blades"):
        read(blades=50, draws=80_000)
    with pytest.raises(BladeError, match="shops: unknown key"):
        read(shops="x")


# ---------------------------------------------------------------- the blades


@pytest.fixture
def on_runner(monkeypatch):
    """What is asked for the new blades on a runner that was measured."""

    def made(measured, **shared):
        seen = []
        monkeypatch.setattr(study, "assemble", lambda stated: seen.append(stated) or request([blade(8)]))
        there = order(blades=[SimpleNamespace(reading=reading(measured))])
        study._blades(replace(asked(), blade=replace(SHARED, **shared)), there)
        return seen[0]

    return made


@pytest.mark.parametrize(
    ("stated_mm", "sweeps_mm", "blend_mm"),
    [(30, (20, 20), 30), (50, (20, 20), 40), (50, (30, 22), 44), (50, (30, 0), 50), (70, (0, 30), 60),
     (150, (0, 0), 150), (250, (0, 0), 200)],
)  # fmt: skip
def test_a_blend_is_no_longer_than_the_ends_leave_room_for(on_runner, stated_mm, sweeps_mm, blend_mm):
    """Half of a blend lies on the end's sweep: twice the shorter sweep; without any, 200 mm."""
    heel, toe = (Sweep(x / 1e3, 0.12) for x in sweeps_mm)
    found = on_runner(replace(WORN, heel_sweep=heel, toe_sweep=toe), blend_m=stated_mm / 1e3)
    assert found.blade.blend_m == pytest.approx(blend_mm / 1e3)


def test_new_blades_stand_on_the_measured_runner_to_the_nanometre_with_level_edges(on_runner):
    found = on_runner(WORN, proud_m=20e-6)
    assert found.blade.proud_m == 0.0 and found.skaters[0].blade_length_m == pytest.approx(0.28, abs=1e-13)
    assert found.blade.heel_sweep.radius_m == pytest.approx(0.120000001, abs=1e-13)
    assert found.blade.toe_sweep == Sweep(0.02, 0.11) and found.blade.hollow_m == SHARED.hollow_m
    assert study._nanometre(0.2800000004) == 0.28 and study._nanometre(0.1234567891) == pytest.approx(
        0.123456789, abs=1e-13
    )


@pytest.fixture
def weighed(monkeypatch):
    """The blades that are weighed: the shop has 8 ft and 12 ft."""

    def made(order, names=("eight", "twelve"), proud_m=0.0):
        shop = [blade(f, name=n) for f, n in zip((8, 12), names)]
        monkeypatch.setattr(study, "assemble", lambda stated: request(shop))
        return study._blades(replace(asked(), blade=replace(SHARED, proud_m=proud_m)), order)

    return made


def test_the_blade_as_measured_comes_first_and_is_the_reference_then_the_same_fresh(weighed):
    """Radii of the fresh one to a quarter foot, zones to the millimetre; edges proud are the worn blade's alone."""
    found = weighed(order(), proud_m=30e-6)
    assert [c.candidate.name for c in found.cases] == ["blade as measured", "the same curve again", "eight", "twelve"]
    assert [c.index for c in found.cases] == [0, 1, 2, 3]
    measured, again = (c.candidate for c in found.cases[:2])
    (one,) = found.settings
    assert one.reference is measured and all(c.setting is one for c in found.cases)
    assert measured.recipe.radii_m == WORN.radii_m and measured.section.proud_m == 30e-6
    assert measured.reading is not None and again.reading is None
    assert again.recipe.radii_m == pytest.approx((9.25 * FT, 12 * FT)) and again.recipe.shares == (120.0, 120.0)
    assert again.section.proud_m == 0.0 and again.section.hollow_m == measured.section.hollow_m
    assert (study.MEASURED_AT, study.REFRESHED_AT) == (0, 1)


def test_the_same_curve_fresh_is_what_it_was_last_ground_to_on_its_own_ends(weighed):
    ground = Recipe("ground", "rear_flat", (12 * FT, 9 * FT), length_m=0.285, heel_sweep=Sweep(0.03, 0.2))
    again = weighed(order(ground)).cases[1].candidate.recipe
    assert (again.name, again.family, again.radii_m) == ("the same curve again", "rear_flat", (12 * FT, 9 * FT))
    assert (again.length_m, again.heel_sweep, again.toe_sweep) == (WORN.length_m, WORN.heel_sweep, WORN.toe_sweep)


def test_a_level_point_is_the_traces_only_where_the_gauge_was_level(weighed):
    for level, where in ((True, 0.004), (False, 0.0)):
        assert weighed(order(level=level)).cases[0].candidate.recipe.level_m == where


@pytest.mark.parametrize("name", ["blade as measured", "the same curve again"])
def test_names_that_the_sheet_uses_are_taken(weighed, name):
    with pytest.raises(BladeError, match=f"shop: '{name}' is a name that the sheet uses itself"):
        weighed(order(), names=("eight", name))


# ---------------------------------------------------------------- the stance


def test_a_stated_stance_is_taken_and_nothing_widened():
    there, sampling = order(needs=replace(NEEDS, shift_m=0.02)), SimpleNamespace(inputs=())
    assert study._stance(there, request([TEN]), sampling) == (0.02, there, sampling)


def test_stance_from_the_wear_needs_a_recipe_and_some_wear_of_the_first_blade(monkeypatch):
    """Of a pair the first file's first blade is weighed; the other's wear would give another stance."""
    blades = [SimpleNamespace(reading="first"), SimpleNamespace(reading="second")]
    asked = replace(NEEDS, shift_m=NAN)
    with pytest.raises(BladeError, match="wear shows only against the recipe last ground"):
        study._stance(order(needs=asked, blades=blades), request([TEN]), None)
    place = {"first": SimpleNamespace(value=-0.005, low=-0.005, high=-0.005), "second": None}
    monkeypatch.setattr(study, "wear", lambda of, ground: SimpleNamespace(centroid_m=place[of]))
    there = order("ground", needs=asked, blades=blades)
    shift, found, _ = study._stance(there, request([TEN]), study.Sampling((), 16, 1))
    assert shift == pytest.approx(0.01) == found.needs.shift_m
    assert found.needs.stands.startswith("10 mm ahead of the usual place, read from the wear (worn most near -5 mm;")
    with pytest.raises(BladeError, match="no wear stands out of the noise"):
        study._stance(order("ground", needs=asked, blades=blades[::-1]), request([TEN]), None)


# ---------------------------------------------------------------- what comes of it


def decision(order=(), best=-1, removed=-1, kind="regrind") -> Decision:
    """A decision of which only these places matter."""
    found = Verdict(kind, "", best, 0.9, 0.8, 0.1, (0.0, 0.1, 0.2), removed)
    return Decision(found, order, np.zeros((4, 3)), np.zeros((4, 3, 1)), np.ones(3, bool), (), (), (), None)


def test_what_the_sheet_shows_is_made_of_its_parts(monkeypatch):
    """Draws without pairs from the stated seed; movements of the blade as measured and of those shown; 25 single radii
    from 6 to 16 ft on the measured runner."""
    blades = [blade(9, name="blade as measured"), *(blade(f, name=f"b{f}") for f in (10, 8, 12))]
    pairs = (("turn_drag", "critical_ankle_stiffness"),)
    asked = replace(request(blades, line_m=(6 * FT, 7 * FT, 16 * FT), pairs=pairs), scheme=SCHEME)
    made, seen = decision((2, 0, 1), 2), {}
    monkeypatch.setattr(study, "run_draws", lambda r, inputs, draws, seed, *_: seen.update(
        drawn=(r.pairs, r.cases == asked.cases, inputs, draws, seed)) or "draws")  # fmt: skip
    monkeypatch.setattr(study, "to_remove", lambda r, stock, tilt, place, height, again: (
        [f"steel {place}"], ["", "refused"]))  # fmt: skip
    monkeypatch.setattr(study, "decided", lambda *given: seen.update(decided=given[1:]) or made)
    monkeypatch.setattr(study, "line_costs", lambda one, radii, pair, like: (one, tuple(radii), pair, like))
    monkeypatch.setattr(study, "rolled_measures", lambda case: case.candidate.name)
    monkeypatch.setattr(study, "uneven_edges", lambda r: "uneven")
    plan = study.Plan(asked, order(), study.Sampling(("inputs",), 33, 5))
    found = study.run(plan, HERE, silent)
    assert seen["drawn"] == ((), True, ("inputs",), 33, 5)
    assert seen["decided"] == ("draws", [["steel 0"]], ["", "refused"])
    assert found.rolled == ["blade as measured", "b12", "b10"] and found.shown == [3, 1] and found.best == 3
    assert (found.draws, found.steels, found.refused, found.uneven) == ("draws", [["steel 0"]], ["", "refused"],
                                                                       "uneven")  # fmt: skip
    one, radii, pair, like = found.line
    assert one is asked.settings[0] and like is blades[0] and pair == found.axes == pairs[0]
    assert tuple(found.radii_m) == radii and np.diff(np.log(radii)) == pytest.approx([math.log(16 / 6) / 24] * 24)
    assert radii[0] == pytest.approx(6 * FT)


@pytest.mark.parametrize(
    ("order_", "removed", "shown"),
    [((2, 0, 1), -1, [3, 1]), ((2,), -1, [3]), ((), -1, []), ((1, 0), 2, [2, 3]), ((), 2, [3])],
)
def test_what_is_shown_is_the_best_and_the_next_or_what_was_passed_over(order_, removed, shown):
    """Places of a decision count from the second case: the first is the blade as measured."""
    assert study.shown_places(decision(order_, removed=removed)) == shown


def _single_flags(plan, draws, steel) -> list[bool]:
    """Which blades of the list the menu takes for single radii."""
    seen = []
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(study, "decide", lambda *given: seen.append(given[5]))
        study.decided(plan, draws, [[None, steel, steel, None]] * 2, [""] * 4)
    return seen[0].tolist()


def test_zones_are_no_single_radius():
    cases = [blade(9, name="present"), blade(10, name="ten"), blade(8, 12, name="zoned"), blade(9, 9, name="alike")]
    wanted = order(needs=replace(NEEDS, scheme=SCHEME))
    plan = study.Plan(request(cases, opinions=OPINIONS), wanted, study.Sampling((), 4, 1))
    steel = Removal(np.array([0.0]), np.array([0.5e-3]), 0.0)
    drawn = draws_of({"turn_drag": np.array([[2.0, 1.0, 4.0, 1.0]] * 8)})
    assert _single_flags(plan, drawn, steel) == [True, False, True]


def test_a_pair_is_judged_as_one_from_its_two_present_blades():
    """The other blade as measured stands last; each case of the list is held against both, in places of the wanted."""
    blades = [SimpleNamespace(side="left", reading=reading()), SimpleNamespace(side="right", reading=reading())]
    cases = [blade(9, name="left"), *(blade(f, name=f"b{f}") for f in (10, 8)), blade(11, name="right")]
    asked = request(cases, opinions=OPINIONS)
    plan = study.Plan(asked, order(blades=blades, needs=replace(NEEDS, scheme=SCHEME)), study.Sampling((), 4, 1))
    assert plan.present == (0, 3) and plan.new == (1, 2)
    drag = np.array([[2.0, 1.0, 4.0, 1.0]] * 8)
    steel = Removal(np.array([0.0]), np.array([0.5e-3]), 0.0)
    found = study.decided(plan, draws_of({"turn_drag": drag}), [[None, steel, steel, None]] * 2, ["", "", "no", ""])
    # b10: half the drag of the left, that of the right: the mean of log2 2 and log2 1
    assert found.scores[:, 0] == pytest.approx([0.5] * 8) and found.order == (0,)
    assert _single_flags(plan, draws_of({"turn_drag": drag}), steel) == [True, True]
    assert found.verdict.kind == "regrind" and found.verdict.net == pytest.approx(
        0.5 - math.log2(1.005) - 0.5 * math.log2(1.02)
    )
    alone = study.Plan(asked, order(), study.Sampling((), 4, 1))
    assert alone.present == (0,) and alone.new == (1, 2, 3)


def test_the_other_blade_of_a_pair_stands_last_on_a_runner_as_long_as_the_first(monkeypatch):
    seen = []

    @dataclass(frozen=True)
    class Reading:
        length_m: float = 0.25
        unknowns: int = 0

        def recipe(self, name, level_from_trace):
            seen.append((self.length_m, level_from_trace))
            return replace(WORN, name=name, length_m=self.length_m)

    blades = [SimpleNamespace(side="left", reading=reading()), SimpleNamespace(side="right", reading=Reading())]
    monkeypatch.setattr(study, "assemble", lambda stated: request([blade(8, name="eight")]))
    found = study._blades(replace(asked(), blade=replace(SHARED, proud_m=0.0)), order(blades=blades))
    names = [c.candidate.name for c in found.cases]
    assert names == ["blade as measured", "the same curve again", "eight", "right blade as measured"]
    assert seen == [(WORN.length_m, False)] and found.cases[3].candidate.reading is not None


def test_movements_are_rolled_for_every_measure_that_needs_it(monkeypatch):
    monkeypatch.setattr(study, "evaluate", lambda trial, names: (dict.fromkeys(names, trial.candidate.name), "reasons"))
    found = study.rolled_measures(request([TEN]).cases[0])
    assert set(found.values()) == {"ten"}
    assert set(found) == {n for n in REGISTRY if n not in STATIC and not n.startswith("steel_removed")}


def test_a_blade_between_its_ends_has_its_level_point_on_the_steel():
    """40 % of 240 mm either way."""
    for level, kept in ((0.05, 0.05), (-0.05, -0.05), (0.12, 0.096), (-0.12, -0.096)):
        assert steel.between_ends(blade(9, level_m=level).recipe).level_m == pytest.approx(kept)
