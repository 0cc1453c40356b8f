"""What a search says of its front, and how a design is carried over sizes: neighbours, distances, exponents by hand."""

import math
from dataclasses import fields, replace
from types import SimpleNamespace

import numpy as np
import pytest
from scipy import stats

from experiments.analysis.judging.statement import statement
from experiments.analysis.optimizer import Evaluated
from experiments.analysis.shop import ShopSteps
from experiments.analysis.space import Space
from experiments.analysis.variants import LINE_RADII, line_costs
from experiments.request.comparison import Stated
from experiments.request.fields import Fields
from experiments.request.skater import NOT_STATED, StatedSkater
from experiments.request.uncertainty import Input, Sampling
from experiments.studies.search import sentences as words
from experiments.studies.search import study as search
from experiments.studies.size_range import study as sizes
from experiments.studies.size_range.tables import _change
from sim.blade.recipe import Recipe
from sim.errors import BladeError
from sim.measures import STATIC, evaluate
from sim.skater.body import Skater
from sim.trial import Candidate, Trial
from tests.experiments.analysis.hand import FT, SECTION, TEN, blade, request, setting
from tests.experiments.analysis.judging.opinions_by_hand import OPINIONS
from tests.experiments.analysis.test_limits import SHOP

PAIR = ("turn_drag", "critical_ankle_stiffness")


# ---------------------------------------------------------------- what each zone is there for


@pytest.mark.parametrize(
    ("shares", "feet"),
    [
        ((4, 2, 1), [(12, 12, 9), (7, 7, 9), (7, 12, 12)]),  # the heel zone is the longer neighbour of the middle
        ((1, 2, 4), [(12, 12, 9), (7, 9, 9), (7, 12, 12)]),  # and here the toe zone
    ],
)
def test_a_zone_is_left_out_by_the_radius_of_its_longer_neighbour(shares, feet):
    recipe = Recipe("r", "mid_flat", (7 * FT, 12 * FT, 9 * FT), shares)
    found = search.without_each_zone(recipe)
    assert [r.radii_m for r in found] == [pytest.approx(tuple(f * FT for f in row)) for row in feet]
    assert {(r.family, r.shares) for r in found} == {("zoned", shares)}


def test_what_has_no_zones_has_none_to_leave_out():
    for family, radii in (("single_radius", (3.0,)), ("graded", (3.0, 2.0)), ("spline", (3.0, 2.0, 3.0))):
        assert search.without_each_zone(Recipe("r", family, radii)) == []
    assert [r.radii_m for r in search.without_each_zone(Recipe("r", "rear_flat", (4.0, 3.0)))] == [
        (3.0, 3.0),
        (4.0, 4.0),
    ]


def test_gain_without_a_zone_is_that_of_the_blade_without_it():
    """Of 9/9.5 ft either zone gone leaves a single radius, whose gain is 1 on its own line."""
    radii = np.geomspace(6 * FT, 16 * FT, LINE_RADII)
    without = [replace(blade(9, 9.5), recipe=r) for r in search.without_each_zone(blade(9, 9.5).recipe)]
    found = search.nominal_gains(without, setting(), (PAIR,), radii)
    assert found.shape == (2, 1) and found == pytest.approx(np.ones((2, 1)), abs=0.003)
    values, _ = evaluate(Trial(blade(8, 12), setting()), PAIR)
    line = line_costs(setting(), radii, PAIR)
    by_hand = min(max(a / values[PAIR[0]], b / values[PAIR[1]]) for a, b in line)
    gain = search.nominal_gains([TEN, blade(8, 12)], setting(), (PAIR,), radii)
    assert gain[1] == pytest.approx([by_hand], rel=0.01)


# ---------------------------------------------------------------- the nearest known recipe


def test_the_nearest_known_recipe_and_how_far_it_is():
    """Two circles part by x^2/2 times the difference of their curvatures: half of that at 0.4 of the length."""
    known = [blade(8, name="eight"), blade(9.5, name="nine and a half"), blade(13, name="thirteen")]
    name, far = search.nearest(blade(9), known)
    apart = 0.112**2 / 2 * (1 / (9 * FT) - 1 / (9.5 * FT))
    assert name == "nine and a half" and far == pytest.approx(apart / 2, rel=0.02)


def test_a_tilt_and_an_offset_are_no_distance():
    """The same curve with its level point 20 mm further: turned, not another curve."""
    name, far = search.nearest(blade(9), [blade(9.02, name="near"), blade(9, name="turned", level_m=0.02)])
    assert name == "turned" and far < 0.5e-6
    assert search.nearest(blade(9), [])[0] == "none" and math.isnan(search.nearest(blade(9), [])[1])


# ---------------------------------------------------------------- what is shown of a front


def fronted(costs, rolled, kin):
    return [SimpleNamespace(costs=np.array([c]), rolled={kin: r}) for c, r in zip(costs, rolled)]


@pytest.mark.parametrize(
    ("name", "kin", "rolled", "tau"),
    [
        ("glide_drag_coefficient", "stride_ice_loss", (5.0, 6.0, 7.0, 8.0), 1.0),
        ("turn_drag", "turn_exit_speed", (4.0, 3.9, 3.8, 3.7), 1.0),  # more drag, less speed left: the same order
        ("turn_drag", "turn_exit_speed", (3.7, 3.8, 3.9, 4.0), -1.0),
        ("turn_tightest_clean_radius", "turn_time", (1.0, 2.0, 4.0, 3.0), 2 / 3),
        ("critical_ankle_stiffness", "nudge_settling_time", (4.0, 3.0, 2.0, 1.0), -1.0),
    ],
)
def test_tau_of_a_driving_measure_with_its_rolled_kin(name, kin, rolled, tau):
    found = search._taus(fronted((1.0, 1.1, 1.2, 1.3), rolled, kin), [name])
    assert found == ((name, kin, pytest.approx(tau)),)


def test_tau_leaves_out_what_did_not_finish_and_needs_three():
    blades = fronted((1.0, 1.1, 1.2, 1.3), (5.0, math.nan, 6.0, 7.0), "stride_ice_loss")
    assert search._taus(blades, ["glide_drag_coefficient"])[0][2] == pytest.approx(1.0)
    assert math.isnan(search._taus(blades[:3], ["glide_drag_coefficient"])[0][2])
    two = [SimpleNamespace(costs=np.array([1.0, *b.costs]), rolled=b.rolled) for b in blades]
    both = search._taus(two, ["pivot_forefoot_toe_in", "glide_drag_coefficient"])
    assert [name for name, *_ in both] == ["glide_drag_coefficient"] and search._taus((), ["turn_drag"]) == ()
    assert search._taus(blades, ["pivot_forefoot_toe_in"]) == () == search._taus(blades, ["turn_drag"])


# ---------------------------------------------------------------- caps and draws


def test_caps_in_si_units_or_from_the_reference():
    base = evaluate(Trial(TEN, setting()), ["turn_drag", "push_hold_angle"])[0]
    asked = (
        ("turn_drag", "at_most", 5),
        ("turn_drag", "at_least", 4),
        ("turn_drag", "ratio_at_most", 1.05),
        ("push_hold_angle", "ratio_at_least", 0.9),
    )
    listed = [{"measure": name, way: number} for name, way, number in asked]
    found = search._caps(Fields({"caps": listed}, ""), TEN, [(setting(), {})])
    assert found == (
        ("turn_drag", 1.0, 5.0), ("turn_drag", -1.0, 4.0),
        ("turn_drag", 1.0, pytest.approx(1.05 * base["turn_drag"], rel=1e-9)),
        ("push_hold_angle", -1.0, pytest.approx(0.9 * base["push_hold_angle"], rel=1e-9)),
    )  # fmt: skip
    with pytest.raises(BladeError, match="one sign"):
        search._caps(Fields({"caps": [{"measure": "pitch_bias", "at_most": 5}]}, ""), TEN, [(setting(), {})])


def test_a_robust_search_draws_the_same_errors_for_all_and_each_skater_has_every_draw():
    inputs = tuple(Input(n, stats.uniform(0.9, 0.2), "test") for n in ("mass_factor", "radius_factor", "hollow_factor"))
    heavy = setting(skater=Skater("heavy", 100.0))
    both = replace(request([TEN]), settings=(setting(), heavy))
    found, lost = search._settings(both, "mean", Sampling(inputs, 1, 1), 4, PAIR)
    assert len(found) == 8 and lost == 0
    factors = [s.skater.mass_kg / (80 if k < 4 else 100) for k, (s, _) in enumerate(found)]
    assert factors[:4] == pytest.approx(factors[4:]) and len(set(factors)) >= 4
    for there, errors in found:
        assert set(errors) == {"radius_factor", "hollow_factor"}, "mass is the skater's, and no error of the blade"
        assert there.reference.recipe.radii_m == TEN.recipe.radii_m, "the reference has no errors of grinding"
        assert there.reference.section.hollow_m == pytest.approx(errors["hollow_factor"] * 12.7e-3)
    ((plain, errors),), lost = search._settings(request([TEN]), "nominal", Sampling(inputs, 1, 1), 4, PAIR)
    assert errors == {} and plain.skater.mass_kg == 80.0 and lost == 0


# ---------------------------------------------------------------- sizes


def stated() -> StatedSkater:
    usual = Skater("adult", 80.0, 2.4, 0.02)
    return StatedSkater("skater", usual, 1.78, NOT_STATED, NOT_STATED, 1500.0, NOT_STATED, 100.0, NOT_STATED)


@pytest.mark.parametrize(
    ("mass", "skate", "inertia"),
    [(40.0, 1.2, 0.0062996), (80.0, 2.4, 0.02), (17.28, 0.5184, 0.0015552), (100.0, 3.0, 0.0290098)],
)
def test_a_skate_goes_with_the_skaters_mass_and_its_inertia_with_the_power_five_thirds(mass, skate, inertia):
    """Lengths with the cube root: 0.216 of the mass has 0.6 of the length, 0.216 x 0.36 of the inertia."""
    found = sizes.scaled_skate(stated(), mass).usual
    assert (found.mass_kg, found.skate_mass_kg) == (mass, pytest.approx(skate))
    assert found.skate_inertia == pytest.approx(inertia, rel=1e-5) and found.body_height_m == 0.85


def test_a_size_brings_its_runner_and_mass_and_may_bring_a_height():
    bare = Stated(**dict.fromkeys(f.name for f in fields(Stated)))
    one = replace(bare, skaters=(replace(stated(), height_m=1.7),))
    for height, wanted in (({"height": "1.35 m"}, 1.35), ({}, 1.7)):
        size = Fields({"mass": "40 kg", "length": "225 mm"} | height, "sizes[1]")
        (found,) = sizes._sized(one, size).skaters
        assert (found.where, found.height_m, found.blade_length_m) == ("sizes[1]", wanted, 0.225)
        assert (found.usual.mass_kg, found.usual.skate_mass_kg) == (40.0, pytest.approx(1.2))
    with pytest.raises(BladeError, match="unknown key"):
        sizes._sized(one, Fields({"mass": "40 kg", "length": "225 mm", "lenght": "1 m"}, "sizes[1]"))


def planned(design, carried, objectives=(("turn_drag", "lower"), ("push_hold_angle", "higher"))):
    """A design on its own runner, and the same entry on another size's."""
    home, there = request([design]), request([carried], setting(reference=blade(9, name="reference")))
    space = Space("zones", 1, 2, "free", (2.0, 4.5), (0.0, 0.0), (0.02, 0.02), carried.recipe)
    size = sizes.Size("small", there, space)
    return sizes.Plan(home, (size,), sizes.RULES, objectives, None, None), size


def test_radii_are_held_or_follow_the_length():
    """210 mm of 280 mm: three quarters."""
    plan, size = planned(blade(12, 8, shares=(1, 2)), blade(12, 8, shares=(1, 2), length_m=0.21))
    held, scaled = (sizes._carried(plan, size, rule, None) for rule in ("hold", "scale"))
    assert held == size.request.cases[0].candidate.recipe
    assert scaled.radii_m == pytest.approx((9 * FT, 6 * FT)) and (scaled.length_m, scaled.shares) == (0.21, (1, 2))


def test_the_searched_blade_comes_nearest_to_what_the_design_gives_at_home(monkeypatch):
    """At home the design has 0.8 and 0.5 of its reference's costs (holds twice as much). There the reference costs 2
    and 1/4: wanted 1.6 and 1/8. Three blades exceed that by 1.5/1.0, 1.1/1.2 and 0.5/1.3: the second is the nearest."""
    design, carried = blade(12, 8, name="design"), blade(12, 8, name="carried", length_m=0.21)
    plan, size = planned(design, carried)
    values = {"design": (1.6, 1.0), "ten": (2.0, 0.5), "reference": (2.0, 4.0)}
    monkeypatch.setattr(sizes, "statics", lambda one, *_: np.array(values[one.name]))
    wanted = np.array([1.6, 0.125])
    costs = wanted * np.array([[1.5, 1.0], [1.1, 1.2], [0.5, 1.3]])
    points = np.array([[0.2] * 5, [0.6, 0.5, 1.0, 0.5, 0.5], [0.9] * 5])
    found = Evaluated(points, costs, np.full((3, 1), -1.0), np.zeros(3))
    starts = []
    monkeypatch.setattr(sizes, "optimize", lambda problem, workers, known, effort: starts.extend(known) or found)
    recipe = sizes._carried(plan, size, "search", None)
    assert len(starts) == 1 and size.space.recipe(starts[0]).radii_m == pytest.approx(carried.recipe.radii_m)
    assert recipe.radii_m == pytest.approx((3.0, 4.5)) and recipe.name == "searched for small"
    monkeypatch.setattr(sizes, "optimize", lambda *_: replace(found, beyond=np.ones((3, 1))))
    with pytest.raises(BladeError, match="no blade of the space can be ground for 'small'"):
        sizes._carried(plan, size, "search", None)


def carried(size, length, **values) -> sizes.Carried:
    row = np.ones(len(STATIC))
    for name, value in values.items():
        row[STATIC.index(name)] = value
    return sizes.Carried(size, length, 80.0, "hold", TEN.recipe, row, np.full(len(STATIC), 2.0), ())


def test_a_ratio_to_the_reference_of_the_size_and_none_to_nothing():
    one = carried("small", 0.2, turn_drag=3.0, turn_scrape=0.0)
    assert one.ratio("turn_drag") == 1.5 and one.value("turn_drag") == 3.0 and math.isnan(one.ratio("turn_scrape"))
    assert math.isnan(replace(one, base=np.zeros(len(STATIC))).ratio("turn_drag"))


def test_what_changes_from_the_shortest_to_the_longest_by_half_a_percent():
    rows = [carried("long", 0.3, turn_drag=1.0051, push_hold_angle=1.0049), carried("mid", 0.25, turn_drag=9.0),
            carried("short", 0.2)]  # fmt: skip
    assert _change(rows) == "hold: from short to long the ratios change by turn drag +0.5 %."
    assert _change(rows[1:2]) == "hold: from mid to mid the ratios change by under 0.5 %."


def test_a_size_is_measured_with_its_own_skater_and_reference():
    plan, size = planned(TEN, blade(12, 8, name="carried"))
    plan = replace(plan, limits=SHOP)
    found = sizes._measured(plan, size, "hold", blade(12, 8).recipe)
    there = setting(reference=blade(9))
    for one, mine in ((blade(12, 8), found.values), (blade(9), found.base)):
        values, _ = evaluate(Trial(Candidate(one.name, one.recipe, SECTION), there), STATIC)
        assert mine == pytest.approx([values[n] for n in STATIC], rel=1e-9, abs=1e-12)
    assert found.limits == () and (found.length_m, found.mass_kg) == (0.28, 80.0)


# ---------------------------------------------------------------- a front in words


def said(gain: float) -> tuple:
    """What twenty draws of one gain say."""
    return (statement(np.full(20, gain), OPINIONS),)


def front_blade(name="found 1", gains=(1.0, 1.1, 1.2), grinding=1.0, alone=1.1, without=(1.0,), recipe=TEN.recipe):
    columns = {"gains": gains, "grinding": (grinding, 1.1, 1.2), "without": without}
    made = {key: np.array(values)[:, None] for key, values in columns.items()}
    made |= {"said": said(gains[0]), "ground": said(grinding)}
    return SimpleNamespace(candidate=SimpleNamespace(name=name, recipe=recipe), alone=np.array([alone]), **made)


def test_which_blades_are_surely_beyond_and_how_many_were_but_for_the_rest():
    blades = [
        front_blade(gains=(low, 1.1, 1.2), grinding=g) for low, g in ((1.0051, 1.0051), (1.0049, 1.0051), (0.9, 1.0049))
    ]
    result = SimpleNamespace(blades=blades, pairs=(PAIR,))
    first, second = words._beyond(result, 0)
    assert first.endswith("turn drag and critical ankle stiffness: find 1.")
    assert second.startswith("If only grinding were uncertain, 2 of 3 would be")
    (none,) = words._beyond(SimpleNamespace(blades=blades[2:], pairs=(PAIR,)), 0)
    assert none.startswith("No find is surely beyond")
    assert words.gain_words(blades[0], 0) == "1.100 (1.005 to 1.200), beyond every single radius"
    assert [words.gain_words(b, 0).split(", ")[1] for b in blades[1:]] == ["on the line", "inside the line"]


def test_what_a_zone_is_worth_is_the_gain_lost_without_it():
    blades = [front_blade("found 1", alone=1.02), front_blade("found 2", alone=1.05, without=(1.01, 1.06),
                                                           recipe=blade(8, 12).recipe),
              front_blade("found 3", alone=math.nan)]  # fmt: skip
    plan = SimpleNamespace(steps=ShopSteps(FT / 4, 1e-3))
    (line,) = words._zone_worth(plan, SimpleNamespace(blades=blades, pairs=(PAIR,)), 0)
    assert "found 2 has a gain of 1.050 on turn drag and critical ankle stiffness" in line
    assert "would fall by 0.040 to 1.010 for zone 1 (8 ft), rise by 0.010 to 1.060 for zone 2 (12 ft), counted" in line
    none = SimpleNamespace(blades=[front_blade(alone=1.2, without=(math.nan,))], pairs=(PAIR,))
    assert words._zone_worth(plan, none, 0) == []


@pytest.mark.parametrize(("tau", "said"), [(0.81, "is kept when"), (0.79, "is partly kept when"),
                                           (0.39, "is not kept when"), (math.nan, "cannot be determined")])  # fmt: skip
def test_whether_an_order_survives_rolling(tau, said):
    assert said in words._rolled("turn_drag", "turn_exit_speed", tau)


@pytest.mark.parametrize(("level_mm", "said"), [(0.51, ", level +0.51 mm"), (0.49, ""), (-3.0, ", level -3 mm")])
def test_a_level_point_is_said_from_half_a_millimetre(level_mm, said):
    recipe = replace(blade(8, 12).recipe, level_m=level_mm / 1e3)
    assert words.recipe_words(recipe) == f"8/12 ft, zones 120/120 mm{said}"
