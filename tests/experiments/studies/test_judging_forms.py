"""Other physics, other ice, another skater: what each variant changes, tie groups, and pairs turned round."""

import math
from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from scipy import stats

from experiments.analysis.variants import statics
from experiments.request.fields import Fields
from experiments.request.uncertainty import Input, Sampling
from experiments.run.workers import HERE, silent
from experiments.studies.model_form import study as model_form
from experiments.studies.model_form.places import place_text, places
from experiments.studies.model_form.study import Variant
from experiments.studies.model_form.tables import _swapped
from sim.errors import BladeError
from sim.measures import STATIC
from tests.experiments.analysis.hand import (
    ICE,
    LAW,
    SCHEME,
    STATES,
    TEN,
    blade,
    changed,
    request,
    setting,
)
from tests.experiments.analysis.judging.opinions_by_hand import OPINIONS

# ---------------------------------------------------------------- other physics

OTHER_ICE = replace(ICE, name="other", temperature_c=-9.0, hardness_at_zero_pa=1e7, hardness_slope_pa_per_k=1e5,
                    modulus_pa=8e9, poisson=0.3, viscosity_pa_s=1.7e-3, density_kg_m3=999.0, latent_j_kg=3e5,
                    conductivity_w_mk=1.6, diffusivity_m2_s=0.8e-6, hardness_factor=1.3)  # fmt: skip
OTHERS = model_form.Others(OTHER_ICE, 0.16, 100.0)
SWITCHED = {
    "standard": {},
    "standing contact": {"law.standing": 1.0},
    "no rebound": {"law.rebound": 0.0},
    "rebound of a rectangle": {"law.rebound": 1.0, "law.rebound_factor": 1.0},
    "rigid steel": {"law.bending": 0.0},
    "melting at 0 degC": {"law.melting": 0.0},
    "no heat into the steel": {"law.sink": 0.0},
    "smooth ice": {"law.rough": 0.0},
    "harder when pressed faster": {"law.rate": 0.1},
    "rear width a(d)": {"law.rear_full": 1.0},
    "slip-line pressure": {"law.slip_line": 1.0},
    "no film": {"law.film": 0.0},
    "scuff 0": {"law.scuff": 0.0},
    "scuff 0.04": {"law.scuff": 0.04},
    "stiff body from edge to edge": {"skater.stiff_body": True},
    "ice constants other": {
        "ice.modulus_pa": 8e9, "ice.viscosity_pa_s": 1.7e-3, "ice.conductivity_w_mk": 1.6,
        "ice.diffusivity_m2_s": 0.8e-6,
    },
    "ice 16 % harder": {"ice.hardness_factor": 1.16},
    "ice 16 % softer": {"ice.hardness_factor": 0.84},
    "skater of 100 kg": {"skater.mass_kg": 100.0},
}  # fmt: skip


def test_each_variant_changes_its_own_switch_and_the_standard_comes_first():
    found = model_form.varied_physics(setting(), OTHERS)
    assert list(found) == list(SWITCHED), "a variant is new or gone: say here what it changes"
    assert {name: changed(setting(), there) for name, there in found.items()} == SWITCHED


def test_other_constants_leave_the_hardness_as_it_was():
    there = model_form.varied_physics(setting(), OTHERS)["ice constants other"]
    assert there.ice.hardness_pa == pytest.approx(17.7e6) and there.ice.temperature_c == -5.0


def test_every_switch_of_the_law_is_tried():
    touched = {key.removeprefix("law.") for change in SWITCHED.values() for key in change if key.startswith("law.")}
    assert touched == set(LAW._fields)


def tau_b(one, two):
    """Kendall's tau-b by counting pairs: (agreeing - opposed)/sqrt(untied in one x untied in two)."""
    signs = [(np.sign(a - c), np.sign(b - d)) for (a, b), (c, d) in combinations(list(zip(one, two)), 2)]
    untied = [sum(s[k] != 0 for s in signs) for k in (0, 1)]
    return sum(a * b for a, b in signs) / math.sqrt(untied[0] * untied[1])


@pytest.mark.parametrize(
    ("one", "two", "tau"),
    [
        ([1, 2, 3, 4], [1, 2, 3, 4], 1.0),
        ([1, 2, 3, 4], [4, 3, 2, 1], -1.0),
        ([1, 2, 3, 4], [1, 2, 4, 3], 2 / 3),  # one pair of six the other way
        ([1, 1, 2, 3], [1, 2, 3, 4], 5 / math.sqrt(30)),  # a tie in one of them
        ([1, 3, 2, 4, 5], [2, 1, 4, 3, 5], 0.4),
    ],
)
def test_tau_of_two_orders_by_hand(one, two, tau):
    found = model_form.order_tau(np.array(one, float), np.array(two, float))
    assert found == pytest.approx(tau) and tau_b(one, two) == pytest.approx(tau)


def test_no_order_where_a_score_is_missing():
    full, gap = np.array([1.0, 2.0, 3.0]), np.array([1.0, np.nan, 3.0])
    assert math.isnan(model_form.order_tau(full, gap)) and math.isnan(model_form.order_tau(gap, full))


def test_a_variant_is_judged_against_the_reference_under_its_own_physics():
    """The reference blade scores 0 under every physics; the other as its own drag and hold say."""
    asked = request([blade(10, name="ten again"), blade(8, 12, name="b")], opinions=OPINIONS)
    found = model_form.run(model_form.Plan(asked, OTHERS, FEW), HERE, silent)
    assert [v.name for v in found.variants] == list(SWITCHED)
    for variant, there in zip(found.variants, model_form.varied_physics(setting(), OTHERS).values()):
        values, base = (dict(zip(STATIC, statics(x, there, STATIC))) for x in (blade(8, 12), TEN))
        drag, hold = (values[n] / base[n] for n in ("turn_drag", "push_hold_angle"))
        assert variant.score.tolist() == pytest.approx([0, -0.75 * math.log2(drag) + 0.25 * math.log2(hold)], abs=1e-9)
        assert variant.tau == (1.0 if variant.score[1] * found.variants[0].score[1] > 0 else -1.0)
        assert variant.gain.shape == (2, 1)


def test_tau_is_taken_against_the_standard_and_no_other_variant(monkeypatch):
    """Two blades swap places in the last variant alone: that one has tau -1, all others 1."""
    names = list(model_form.varied_physics(setting(), OTHERS))
    orders = iter([[1.0, 2.0]] * (len(names) - 1) + [[2.0, 1.0]])
    monkeypatch.setattr(model_form, "scores", lambda *_: np.array([next(orders)]))
    monkeypatch.setattr(model_form, "under_other_physics", other_physics)
    monkeypatch.setattr(model_form, "drawn_scores", lambda shared, name: np.array(
        [[1.0, 2.0]] * 10 if name != names[-1] else [[2.0, 1.0]] * 9 + [[1.0, 2.0]]))  # fmt: skip
    asked = request([blade(10, name="a"), blade(8, 12, name="b")], opinions=OPINIONS)
    found = model_form.run(model_form.Plan(asked, OTHERS, FEW), HERE, silent)
    assert [variant.tau for variant in found.variants] == [1.0] * (len(names) - 1) + [-1.0]
    assert [variant.groups for variant in found.variants] == [((1,), (0,))] * (len(names) - 1) + [((0,), (1,))]
    assert [variant.turned for variant in found.variants] == [()] * (len(names) - 1) + [((1, 0),)]


FEW = Sampling(
    (Input("scuff", stats.uniform(0, 0.04), "test"), Input("turn_line_shift", stats.norm(0, 5e-3), "t")), 4, 3
)


def test_harder_is_harder_than_stated_whatever_was_drawn():
    """Stated 1.2, drawn 0.9: sixteen percent harder is 1.392."""
    stated, there = (setting(ice=replace(ICE, hardness_factor=x)) for x in (1.2, 0.9))
    found = model_form.varied_physics(there, OTHERS, stated)
    assert found["ice 16 % harder"].ice.hardness_factor == pytest.approx(1.392)
    assert found["ice 16 % softer"].ice.hardness_factor == pytest.approx(1.008)
    assert found["standard"].ice.hardness_factor == 0.9


def test_scores_of_a_variant_in_draws_are_those_of_each_draw_alone():
    """Scuff is drawn, but the variant without scuff has none; the turn's line stays as drawn. A draw that cannot be is
    nan in all blades."""
    blades, one = (blade(8, 12), blade(9)), setting()
    columns = (("scuff", -1), ("turn_line_shift", -1), ("radius_factor", 1))
    points = np.array([[0.02, 0.01, 1.01], [0.03, -0.02, 0.99], [0.02, 0.0, -1.0]])
    shared = blades, one, columns, points, OTHERS, SCHEME
    found = model_form.drawn_scores(shared, "scuff 0")
    assert found.shape == (3, 2) and np.isnan(found[2]).all()
    for (_, line, factor), row in zip(points[:2], found):
        turned = replace(STATES["turn"], line_m=0.03 + line)
        moved = {"turn": turned, "fast_turn": replace(STATES["fast_turn"], line_m=line),
                 "edge_change": replace(STATES["edge_change"], line_m=0.03 + line)}  # fmt: skip
        there = setting(states=STATES | moved, law=LAW._replace(scuff=0.0))
        base = dict(zip(STATIC, statics(TEN, there, STATIC)))
        for k, mine in enumerate((blade(8, 12), blade(9 * factor))):
            values = dict(zip(STATIC, statics(mine, there, STATIC)))
            drag, hold = (values[n] / base[n] for n in ("turn_drag", "push_hold_angle"))
            assert row[k] == pytest.approx(-0.75 * math.log2(drag) + 0.25 * math.log2(hold), abs=1e-9)


def test_a_pair_is_turned_round_when_both_ways_are_sure():
    """0 surely beats 1, then is surely beaten; 0 beats 2 in 89 %, which is not sure; 2 and 1 swap surely."""
    before = np.array([[0.5, 0.9, 0.89], [0.1, 0.5, 0.05], [0.11, 0.95, 0.5]])
    after = np.array([[0.5, 0.1, 0.0], [0.9, 0.5, 0.9], [1.0, 0.1, 0.5]])
    assert model_form.turned_round(before, after, 0.9) == ((0, 1), (2, 1))
    assert model_form.turned_round(before, before, 0.9) == ()
    assert model_form.turned_round(before, after, 0.91) == ()


@pytest.mark.parametrize(("key", "value", "fine"), [("other_mass", "20 kg", True), ("other_mass", "200 kg", True),
                                                    ("other_mass", "19.9 kg", False), ("other_mass", "201 kg", False),
                                                    ("other_hardness", 0.01, True), ("other_hardness", 0.91, False)]
)  # fmt: skip
def test_other_ice_and_another_skater_are_what_they_can_be(monkeypatch, key, value, fine):
    monkeypatch.setattr(model_form, "read_ice", lambda fields: fields.mapping)
    fields = Fields({"other_ice": {"name": "x"}, "other_hardness": 0.16, "other_mass": "100 kg"} | {key: value}, "")
    if fine:
        assert model_form.read_others(fields).ice == {"name": "x"}
        return
    with pytest.raises(BladeError, match=key):
        model_form.read_others(fields)


def test_places_are_those_of_the_tie_group():
    groups = ((2, 0), (1,), (3, 4, 5))
    assert [places(groups, i) for i in range(6)] == [(1, 2), (3, 3), (1, 2), (4, 6), (4, 6), (4, 6)]
    assert math.isnan(places(groups, 9)[0])
    assert [place_text(*places(groups, i)) for i in (0, 1, 5, 9)] == ["1-2", "3", "4-6", "n/a"]


def other_physics(shared, setting):
    return {"values": np.zeros((2, len(STATIC))), "base": np.zeros(len(STATIC)), "gain": np.zeros((2, 1))}


def test_pairs_that_change_places_by_hand():
    """1 2 3 4 against 1 3 2 4: one of six pairs; a tie is no change of places."""
    standard, other = (
        Variant("v", np.array(s, float), np.zeros((4, 0)), 1.0, (), ()) for s in ([1, 2, 3, 4], [1, 3, 2, 4])
    )
    assert _swapped(standard, other) == "1 of 6" and _swapped(standard, standard) == "0 of 6"
    reverse, tied = (
        Variant("v", np.array(s, float), np.zeros((4, 0)), 1.0, (), ()) for s in ([4, 3, 2, 1], [2, 2, 2, 2])
    )
    assert _swapped(standard, reverse) == "6 of 6" and _swapped(standard, tied) == "0 of 6"
