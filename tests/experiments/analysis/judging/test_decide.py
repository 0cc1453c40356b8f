"""A decision from hand-made draws: verdict, eligibility, answers to complaints, menu and what to measure, by hand."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from experiments.analysis.judging.decide import Present, Wanted, decide, main_weights, normals_of
from tests.experiments.analysis.judging.opinions_by_hand import OPINIONS

CALM = replace(OPINIONS, weight_doubt=1e6)  # weights as stated: scores can then be told by hand
STEADY, TURN, HOLD = "critical_ankle_stiffness", "turn_drag", "push_hold_angle"
MEASURES, BETTER = (STEADY, TURN, HOLD), ("lower", "lower", "higher")


def present(*blades, draws=100, steel_mm=0.0, able=None):
    """A present blade that has 1 of all, beside blades of these values: (measure,), or (draw, measure)."""
    values = np.ones((draws, 1 + len(blades), 3))
    for i, blade in enumerate(blades):
        values[:, i + 1] = blade
    steel = np.broadcast_to(np.asarray(steel_mm, float) / 1e3, len(blades)).copy()
    return Present(values, steel, np.ones(len(blades), bool) if able is None else np.array(able))


def wants(*weights, complaints=(), menu=()):
    return Wanted(MEASURES, BETTER, np.array(weights, float), tuple(np.array(c, float) for c in complaints), menu)


def made(presents, wanted, opinions=CALM, **more):
    presents = presents if isinstance(presents, list) else [presents]
    return decide(presents, wanted, opinions, 1, **more)


def test_a_sure_gain_that_pays_is_a_regrind():
    """Half the drag and an eighth more hold at weights 3 and 1: (3 log2 2 + log2 1.125)/4; a visit and 0.5 mm."""
    found = made(present((1, 0.5, 1.125), (1, 0.9, 1), steel_mm=0.5), wants(0, 3, 1))
    by_hand = (3 + math.log2(1.125)) / 4 - math.log2(1.005) - 0.5 * math.log2(1.02)
    assert (found.verdict.kind, found.verdict.best, found.order) == ("regrind", 0, (0, 1))
    assert found.verdict.net == pytest.approx(by_hand, abs=1e-4) and found.advised and found.worths == ()
    assert found.scores[:, 1] == pytest.approx([0.75 * math.log2(1 / 0.9)] * 100, abs=1e-3)
    assert found.first.tolist() == [1.0, 0.0]


def test_weights_are_drawn_about_those_wanted():
    """Two measures at even weights: twice as good in one, half in the other. S = 2w - 1, w ~ Beta(15, 15): better in
    half of the draws, sd 2 sqrt(0.25/31) = 0.180."""
    found = made(present((0.5, 2.0, 1), draws=2048), wants(1, 1, 0), OPINIONS)
    assert found.scores[:, 0].std() == pytest.approx(2 * math.sqrt(0.25 / 31), rel=0.03)
    assert found.verdict.better == pytest.approx(0.5, abs=0.02) and found.verdict.kind == "cannot_tell"
    again = made(present((0.5, 2.0, 1), draws=2048), wants(1, 1, 0), OPINIONS)
    assert (again.scores == found.scores).all()
    assert (decide([present((0.5, 2.0, 1), draws=2048)], wants(1, 1, 0), OPINIONS, 2).scores != found.scores).any()


def test_normals_are_standard_normal_and_apart():
    found = normals_of(1000, 3, 5)
    assert np.abs(found.mean(axis=0)).max() < 1e-3 and found.std(axis=0) == pytest.approx([1.0] * 3, abs=5e-3)
    assert np.abs(np.corrcoef(found.T) - np.eye(3)).max() < 0.1
    assert stats.kstest(found[:, 0], "norm").pvalue > 0.5


def test_the_best_that_can_be_ground_is_meant():
    blades = ((1, 0.5, 1), (1, 0.6, 1), (1, 0.7, 1))
    found = made(present(*blades, able=(False, True, True)), wants(0, 1, 0))
    assert (found.verdict.best, found.order) == (1, (1, 2)) and found.first.tolist() == [0.0, 1.0, 0.0]
    none = made(present(*blades, able=(False,) * 3), wants(0, 1, 0, complaints=[(1, 0, 0)]))
    assert (none.verdict.kind, none.verdict.reason, none.order) == ("leave", "nothing_can_be_ground", ())
    assert none.answers[0].best == none.answers[0].other == -1 and none.first.tolist() == [0.0] * 3


def test_steel_decides_between_equals():
    """0.3 log2 apart in price needs 10.5 mm at 2 % a mm; here 1 mm more is enough among equals."""
    found = made(present((1, 0.5, 1), (1, 0.5, 1), steel_mm=(1.0, 0.0)), wants(0, 1, 0))
    assert found.order == (1, 0)


# ---------------------------------------------------------------- complaints


def test_a_blade_that_harms_a_complaint_is_passed_over_and_named():
    """Half the drag, a seventh less steady: not for who falls. The other is steadier by 5 % and drags as much."""
    falls = wants(1, 3, 0, complaints=[(1, 0, 0)])
    found = made(present((8 / 7, 0.5, 1), (0.95, 1, 1)), falls)
    assert (found.verdict.best, found.verdict.removed, found.order) == (1, 0, (1,))
    assert found.harmless.tolist() == [False, True] and found.verdict.kind == "regrind"
    (answer,) = found.answers
    assert (answer.kind, answer.best, answer.other) == ("advised", 1, 0)
    assert answer.advised == pytest.approx([math.log2(1 / 0.95)] * 3)
    assert answer.other_gain == pytest.approx([math.log2(7 / 8)] * 3)
    free = made(present((8 / 7, 0.5, 1), (0.95, 1, 1)), wants(1, 3, 0))
    assert (free.verdict.best, free.answers) == (0, ())


def test_a_complaint_is_answered_by_the_advised_blade_also_where_it_is_the_first():
    """A tenth less ankle is asked for: felt to be better in all draws, and advised."""
    (answer,) = made(present((0.9, 0.5, 1)), wants(1, 3, 0, complaints=[(1, 0, 0)])).answers
    assert (answer.kind, answer.best, answer.other) == ("advised", 0, -1)
    assert answer.advised == pytest.approx([math.log2(1 / 0.9)] * 3)


@pytest.mark.parametrize(
    ("better", "kind"), [(100, "helped"), (90, "helped"), (89, "open"), (11, "open"), (10, "none_better")]
)
def test_what_the_list_can_do_where_nothing_is_advised(better, kind):
    """One blade, steadier by 3 % in so many of 100 draws and as it is in the rest, that drags three times as much."""
    values = np.ones((100, 3))
    values[:better, 0], values[:, 1] = 1 / 1.03, 3.0
    found = made(present(values), wants(1, 9, 0, complaints=[(1, 0, 0)]))
    assert not found.advised and found.answers[0].kind == kind and found.answers[0].best == 0
    assert all(math.isnan(x) for x in found.answers[0].advised)


@pytest.mark.parametrize(("factor", "other"), [(1.0201, 1), (1.0199, -1)])
def test_the_blade_named_as_a_warning_is_the_best_of_those_that_harm(factor, other):
    """Of three that turn easier the best is a little steadier; the next two are less steady by 2.01 %, or 1.99 %."""
    blades = ((0.999, 0.5, 1), (factor, 0.6, 1), (factor, 0.7, 1))
    (answer,) = made(present(*blades), wants(1, 9, 0, complaints=[(1, 0, 0)])).answers
    assert answer.other == other
    if other >= 0:
        assert answer.other_gain == pytest.approx([-math.log2(factor)] * 3)


def test_the_blade_that_was_passed_over_is_the_one_named():
    """The first harms in 11 of 100 draws and is steadier in the rest; the second harms for sure and turns worse."""
    often = np.ones((100, 3))
    often[:, 0], often[:11, 0], often[:, 1] = 0.99, 1.03, 0.5
    found = made(present(often, (1.03, 0.6, 1)), wants(1, 9, 0, complaints=[(1, 0, 0)]))
    assert found.verdict.removed == 0 == found.answers[0].other
    assert found.answers[0].other_gain[1] == pytest.approx(math.log2(1 / 0.99))


def test_less_than_is_felt_is_no_help():
    for factor, kind in ((1.0099, "none_better"), (1.0101, "helped")):
        found = made(present((1 / factor, 3, 1)), wants(1, 9, 0, complaints=[(1, 0, 0)]))
        assert found.answers[0].kind == kind


def test_a_complaint_is_answered_by_its_main_measures():
    """Of weights 4, 2 and 1 the first two count, two to one."""
    assert main_weights(np.array([4.0, 2.0, 1.0]), OPINIONS) == pytest.approx([2 / 3, 1 / 3, 0])
    assert main_weights(np.array([4.0, 1.9, 1.0]), OPINIONS) == pytest.approx([1, 0, 0])
    found = made(present((0.5, 0.25, 9)), wants(0, 0, 1, complaints=[(4, 2, 1)]))
    assert found.answers[0].gain[1] == pytest.approx(2 / 3 * 1 + 1 / 3 * 2)


def test_the_best_for_a_complaint_is_that_of_the_greatest_median():
    """Twice as steady in 40 of 100 draws, or by 10 % in all: the second, though its mean is less."""
    values = np.ones((100, 3))
    values[:40, 0] = 0.5
    found = made(present(values, (1 / 1.1, 1, 1)), wants(0, 0, 1, complaints=[(1, 0, 0)]))
    assert found.answers[0].best == 1


# ---------------------------------------------------------------- a pair


def test_a_pair_is_decided_on_the_mean_and_harm_to_either_blade_counts():
    """Twice as good for the left, by a quarter worse for the right: (1 - log2 1.25)/2; the steel of both counts."""
    left, right = present((1, 0.5, 1), steel_mm=1.0), present((1, 1.25, 1), steel_mm=0.0)
    found = made([left, right], wants(0, 1, 0))
    by_hand = (1 - math.log2(1.25)) / 2 - math.log2(1.005) - 0.5 * math.log2(1.02)
    assert found.verdict.net == pytest.approx(by_hand) and found.gains[0, 0, 1] == pytest.approx(
        (1 - math.log2(1.25)) / 2
    )
    both = made([present((0.9, 0.5, 1)), present((1.1, 0.5, 1))], wants(0, 1, 0, complaints=[(1, 0, 0)]))
    assert not both.harmless[0] and both.verdict.reason == "nothing_helps_without_harm"
    (item,) = made([left, right], wants(0, 1, 0, menu=(TURN,))).menu
    assert item.steel_m == pytest.approx(0.5e-3) and item.gain[1] == pytest.approx((1 - math.log2(1.25)) / 2)
    thin = made([left, replace(right, able=np.array([False]))], wants(0, 1, 0))
    assert thin.verdict.reason == "nothing_can_be_ground"


# ---------------------------------------------------------------- menu


def test_the_menu_has_a_line_a_wish_under_the_vetoes_of_the_complaints():
    """A blade that turns 20 % easier at 4 % of steadiness, within the 5 %; who falls may lose but 2 %."""
    blades = present((1.04, 1 / 1.2, 1), (1.01, 1 / 1.1, 1), steel_mm=(0.4, 0.2))
    asked = wants(1, 1, 0, menu=(TURN, STEADY))
    turn, steady = made(blades, asked, single=np.array([False, True])).menu
    assert (turn.wish, turn.answer, turn.blade, turn.single) == (TURN, "yes", 0, 1)
    assert turn.gain == pytest.approx([math.log2(1.2)] * 3) and turn.steel_m == pytest.approx(0.4e-3)
    assert dict(turn.others)[STEADY] == pytest.approx([-math.log2(1.04)] * 3)
    assert turn.zones_add == pytest.approx([math.log2(1.2 / 1.1)] * 3) and steady.answer == "no"
    falls = replace(asked, complaints=(np.array([1.0, 0, 0]),))
    assert made(blades, falls).menu[0].blade == 1
    assert made(blades, wants(1, 1, 0)).menu == ()


@pytest.mark.parametrize(("weight", "complaints", "loss", "answer"), [
    (0, (), 1.06, "yes"), (1, (), 1.06, "no"), (1, (), 1.04, "yes"), (0, [(0, 0, 1)], 1.04, "no"),
    (0, [(0, 0, 1)], 1.0199, "yes"), (0, [(0, 4, 1)], 1.06, "yes"),
])  # fmt: skip
def test_the_menu_guards_what_is_asked_for_and_complained_of_though_it_is_no_wish(weight, complaints, loss, answer):
    """A blade that turns 20 % easier and lets go earlier: of what nobody asks for any loss may be paid."""
    asked = wants(1, 1, weight, complaints=complaints, menu=(TURN,))
    (item,) = made(present((1, 1 / 1.2, 1 / loss)), asked).menu
    assert (item.answer, item.blade) == ((answer, 0) if answer == "yes" else (answer, -1))


# ---------------------------------------------------------------- what to measure


def open_case(draws=512):
    """Better or worse by hardness alone: drag 0.9 where it is high, 1.1 where it is low; two more inputs do nothing."""
    z = stats.norm.ppf(stats.qmc.Sobol(2, rng=np.random.default_rng(3)).random(draws) * 0.999 + 0.0005)
    values = np.ones((draws, 3))
    values[:, 1] = np.exp(-0.1 * z[:, 0] - 0.004)
    columns = {"hardness_factor": 1 + 0.16 * z[:, 0], "temperature_shift": z[:, 1]}
    return present(values, draws=draws), columns


def test_an_open_case_names_the_measurement_that_settles_it():
    """Hardness to 0.06 of a scatter of 0.16 leaves little of what decides; temperature and the wish decide nothing."""
    blade, columns = open_case()
    found = made(blade, wants(0, 1, 0), OPINIONS, columns=columns)
    assert found.verdict.kind == "cannot_tell" and found.measure.name == "hardness"
    worth = {x.name: x for x in found.worths}
    assert set(worth) == {"ask_the_skater", "hardness", "ice_temperature"}, "what is not drawn is not asked for"
    assert worth["hardness"].settles > 0.6 > 0.1 > worth["ice_temperature"].settles
    a, b = float(np.mean(found.scores)) - math.log2(1.005), float(np.std(found.scores))
    by_hand = a * stats.norm.cdf(a / b) + b * stats.norm.pdf(a / b) - max(a, 0)  # E max(a + b z, 0) - max(a, 0)
    assert worth["hardness"].value == pytest.approx(by_hand, rel=0.03) and worth["ice_temperature"].value < by_hand / 50
    nothing = made(blade, wants(0, 1, 0), OPINIONS)
    assert nothing.measure is None and [x.name for x in nothing.worths] == ["ask_the_skater"]


def test_the_wish_is_asked_for_where_it_decides():
    found = made(present((0.8, 1.25, 1), draws=512), wants(1, 1, 0), OPINIONS)
    assert found.verdict.kind == "cannot_tell" and found.worths[0].name == "ask_the_skater"
    assert found.worths[0].settles > 0.4


def test_failed_draws_and_blades_do_not_count():
    """A blade that always fails, and one draw in which all fail."""
    values = np.ones((101, 3))
    values[:, 1] = 0.5
    blade = present(values, np.full(3, np.nan), draws=101)
    blade.values[7] = np.nan
    found = made(blade, wants(0, 1, 0, complaints=[(0, 1, 0)]))
    assert (found.verdict.kind, found.order, found.verdict.better) == ("regrind", (0,), 1.0)
    assert found.first.tolist() == [1.0, 0.0] and found.answers[0].best == 0


def test_a_blade_comes_first_only_where_it_beats_the_present_one():
    """Better in 40 draws, worse in 60; beside it one that is always the worst."""
    values = np.ones((100, 3))
    values[:40, 1], values[40:, 1] = 0.5, 1.2
    assert made(present(values, (1, 3, 1)), wants(0, 1, 0)).first.tolist() == [0.4, 0.0]
