"""From needs to what is weighed: weights, stance, axes of the trade-off."""

import math
from types import SimpleNamespace

import pytest
from scipy import stats

from experiments.analysis.variants import statics
from experiments.request.fields import Fields
from experiments.request.objectives import Weighting
from experiments.request.uncertainty import Input
from experiments.studies.recommend import study, use
from experiments.studies.recommend.study import trade_axes
from sim.errors import BladeError
from sim.measures import STATIC
from sim.skater.movement import Scenario
from tests.experiments.analysis.hand import PAIRS, TEN, blade, changed, request, section_of, setting

NAN = math.nan


# ---------------------------------------------------------------- where the skater stands

ROLL = Scenario("stride", (0, 0.5, 1), (-0.02, 0.01, 0.05), (1.0, 1.0, 1.0), (0.0, 0.0, 0.0), duration_s=0.4)


def test_a_stance_moves_every_line_of_states_and_movements_and_nothing_else():
    here = setting(scenarios={"stride": ROLL})
    scheme = Weighting("needs", {"turn_drag": 1.0}, {"turn_drag": "lower"})
    found = study._shifted(request([TEN, blade(9)], here), -0.015, SimpleNamespace(scheme=scheme))
    wanted = {"states.glide.line_m": -0.030, "states.pivot_forefoot.line_m": 0.030, "states.pivot_heel.line_m": -0.060,
              "states.turn.line_m": 0.015, "states.push.line_m": 0.055, "states.start_push.line_m": 0.040,
              "states.stop.line_m": -0.015, "states.stop_across.line_m": -0.015, "states.fast_turn.line_m": -0.015,
              "states.edge_change.line_m": 0.015, "scenarios.stride.line_m.0": -0.035,
              "scenarios.stride.line_m.1": -0.005, "scenarios.stride.line_m.2": 0.035}  # fmt: skip
    assert changed(here, found.settings[0]) == pytest.approx(wanted)
    assert all(case.setting is found.settings[0] for case in found.cases) and found.scheme is scheme
    assert found.settings[0].reference is TEN
    with pytest.raises(BladeError, match="off the steel"):
        study._shifted(request([TEN], here), 0.075, SimpleNamespace(scheme=scheme))


def test_the_lines_that_are_shifted_are_all_that_there_are():
    assert set(study.LINES) == {f"{state}_line_shift" for state in ("glide", "turn", "push", "pivot")}


def test_doubt_about_the_wear_adds_in_squares():
    """3 mm and 4 mm make 5 mm."""
    found = study._widened(Input("glide_line_shift", stats.norm(0.001, 0.003), "w"), 0.004)
    assert (found.law.mean(), found.law.std()) == (pytest.approx(0.001), pytest.approx(0.005))
    even = study._widened(Input("glide_line_shift", stats.uniform(-0.003, 0.006), "w"), 0.001)
    assert even.law.std() == pytest.approx(2e-3), "an even law 6 mm wide has sqrt(3) mm"


@pytest.mark.parametrize(("worn", "shift"), [(0.005, 0.020), (-0.035, -0.020), (0.100, 0.060), (-0.100, -0.060)])
def test_stance_from_the_wear_is_against_the_usual_line_and_no_farther_than_anyone_stands(monkeypatch, worn, shift):
    """The glide line is at -15 mm; half of a 90 % interval of 6.58 mm is two standard deviations of 1 mm x 1.645."""
    place = SimpleNamespace(value=worn, low=worn - 1.645e-3, high=worn + 1.645e-3)
    monkeypatch.setattr(study, "wear", lambda *_: SimpleNamespace(centroid_m=place))
    bench = SimpleNamespace(ground=TEN.recipe, blades=[SimpleNamespace(reading=None)])
    needs = use.Needs(("u", {}), (), NAN, "", None, {})
    order = study.WorkOrder(bench, needs, "", False, None)
    inputs = (Input("glide_line_shift", stats.norm(0, 0.01), "w"), Input("scuff", stats.norm(0, 0.01), "w"))
    sampling = study.Sampling(inputs, 16, 1)
    found, order, sampling = study._stance(order, request([TEN]), sampling)
    assert found == pytest.approx(shift) == order.needs.shift_m
    widths = [i.law.std() for i in sampling.inputs]
    assert widths == pytest.approx([math.sqrt(0.01**2 + 0.001**2), 0.01], rel=1e-4)


@pytest.mark.parametrize(
    ("shift", "words"),
    [
        (0.0, "at the usual place"), (0.49e-3, "at the usual place"), (0.51e-3, "1 mm ahead of the usual place"),
        (-0.49e-3, "at the usual place"),
        (0.6e-3, "1 mm ahead of the usual place"), (-0.015, "15 mm behind the usual place"),
    ],
)  # fmt: skip
def test_a_stance_in_words(shift, words):
    assert use.place_words(shift) == words


def test_nobody_stands_farther_than_sixty_millimetres():
    places = Fields({"back": "-15 mm", "mid": "0 mm"}, "wishes.stands")
    assert use._stance(places, "60 mm")[0] == pytest.approx(0.060) and use._stance(places, "-60 mm")[0] == -0.060
    for far in ("60.1 mm", "-60.1 mm"):
        with pytest.raises(BladeError, match="farther than anyone stands"):
            use._stance(places, far)
    assert use._stance(places, "back") == (-0.015, "back, 15 mm behind the usual place (stated)")
    assert use._stance(places, "mid")[1] == "at the usual place (stated)"


# ---------------------------------------------------------------- weights


def needs(says=(), **shares):
    wishes = {
        "name": "book",
        "stands": {"mid": "0 mm"},
        "activities": {"glide": {"glide_drag_coefficient": 3, "push_hold_angle": 1}, "turns": {"turn_drag": 5}},
        "complaint_share": 0.5,
        "complaints": {
            "slow": {"words": "is slow", "best": "the quickest", "measures": {"glide_drag_coefficient": 7}},
            "wide": {"words": "turns wide", "best": "the tightest", "measures": {"turn_drag": 1, "turn_scrape": 3}},
        },
        "menu": {"turn_drag": "less drag"},
    }
    return use.read_needs(Fields({"name": "u", "shares": shares}, "use"), Fields(wishes, "wishes"), list(says), "mid")


def test_weights_by_hand():
    """Glide 3/4 and 1/4 at 60 % of the time, turns at 40 %; a complaint adds half of the whole, two a quarter each."""
    plain = needs(glide=0.6, turns=0.4)
    assert plain.scheme.weights == pytest.approx(
        {"glide_drag_coefficient": 0.45, "push_hold_angle": 0.15, "turn_drag": 0.4}
    )
    assert plain.scheme.better["push_hold_angle"] == "higher"
    one = needs(["slow"], glide=0.6, turns=0.4).scheme.weights
    assert one["glide_drag_coefficient"] == pytest.approx(0.95) and one["turn_drag"] == pytest.approx(0.4)
    two = needs(["slow", "wide"], glide=0.6, turns=0.4)
    assert two.scheme.weights == pytest.approx(
        {"glide_drag_coefficient": 0.70, "push_hold_angle": 0.15, "turn_drag": 0.4625, "turn_scrape": 0.1875}
    )
    slow, wide = two.complaints
    assert (slow.words, slow.best, wide.words) == ("is slow", "the quickest", "turns wide")
    assert wide.scheme.weights == pytest.approx({"turn_drag": 0.25, "turn_scrape": 0.75})
    assert plain.menu == {"turn_drag": "less drag"} and plain.complaints == ()


def test_a_wish_is_for_a_static_measure_with_a_direction():
    assert use._menu(Fields({"turn_drag": "less drag"}, "wishes.menu")) == {"turn_drag": "less drag"}
    for name in ("stride_ice_loss", "glide_loaded_arc"):
        with pytest.raises(BladeError, match=f"wishes.menu.{name}: wish for a static measure"):
            use._menu(Fields({name: "x"}, "wishes.menu"))


@pytest.mark.parametrize(("glide", "fine"), [(0.621, False), (0.619, True), (0.581, True), (0.579, False)])
def test_shares_of_time_add_up_to_one_within_two_percent(glide, fine):
    if fine:
        needs(glide=glide, turns=0.4)
    else:
        with pytest.raises(BladeError, match="must add up to 1"):
            needs(glide=glide, turns=0.4)


def test_a_measure_wanted_both_ways_is_refused():
    with pytest.raises(BladeError, match="both lower and higher"):
        use._combined("x", [(0.5, [("turn_drag", 1.0, "lower")]), (0.5, [("turn_drag", 1.0, "higher")])])


# ---------------------------------------------------------------- what the sheet shows


def test_the_trade_is_between_the_pair_that_weighs_most():
    def axes(pairs, **weights):
        return trade_axes(request([TEN], pairs=pairs, scheme=Weighting("w", weights, {})))

    assert axes(PAIRS, turn_drag=0.6, pivot_forefoot_toe_in=0.5) == PAIRS[1]
    assert axes(PAIRS, turn_drag=0.4, pivot_forefoot_toe_in=0.3, glide_drag_coefficient=0.2) == PAIRS[0]
    assert axes((PAIRS[2], ("turn_drag", "push_hold_angle")), push_hold_angle=1.0) == (
        "pivot_forefoot_toe_in", "glide_drag_coefficient",
    )  # fmt: skip
    assert axes((PAIRS[2],), pivot_forefoot_toe_in=1.0)[1] == "glide_drag_coefficient", "a rolled pair is no axis"


def test_uneven_edges_level_then_proud_then_low():
    """25 um either way on the blade as measured, whose own unevenness is left out."""
    worn = blade(9, 11, section=section_of(2.9e-3, 12.7e-3, 40e-6))
    found = study.uneven_edges(request([worn]))
    for row, proud in zip(found, (0.0, 25e-6, -25e-6)):
        one = blade(9, 11, section=section_of(2.9e-3, 12.7e-3, proud))
        assert row == pytest.approx(statics(one, setting(), STATIC), rel=1e-12)
    hold = found[:, STATIC.index("push_hold_angle")]
    assert hold[1] != hold[0] != hold[2]
