"""What must hold of any skater on any blade: the law as shipped, over the ranges that a shop can meet.

Mass 25 to 120 kg, one radius of 2 to 25 m, hollow 8 mm to flat, lean 0 to 50 deg, span 0 to 150 mm, runner 20 to 30 mm
high, rebound factor 0.55 to 1.15.
"""

import math
from functools import cache

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from sim.blade.recipe import Recipe
from sim.blade.section import Section
from sim.ice.contact import GAUSS, Law, press
from sim.ice.drag import film_shear, ploughing, rough_drag
from sim.ice.sideways import hold_angle, pivot, pivot_held
from sim.ice.standing import settle, stand
from sim.trial import Candidate
from tests import reference_model
from tests.cases import GRAVITY

FINE = GAUSS[16]
RADII = (2.0, 2.3, 2.7, 3.048, 3.6, 4.5, 6.0, 9.0, 14.0, 20.0, 25.0)  # curves are built once each
HOLLOWS = st.one_of(st.floats(8e-3, 40e-3), st.just(math.inf))
BLADES = st.fixed_dictionaries(
    dict(
        radius=st.sampled_from(RADII), hollow=HOLLOWS, span=st.one_of(st.just(0.0), st.floats(5e-3, 0.15)),
        height=st.floats(20e-3, 30e-3), thickness=st.sampled_from([1.1e-3, 2.9e-3, 4e-3]),
    )
)  # fmt: skip
FACTORS = st.floats(0.55, 1.15)
LOADS = st.floats(25 * GRAVITY, 120 * GRAVITY)
LINES = st.floats(-0.06, 0.06)
LEANS = st.one_of(st.just(0.0), st.floats(0.0, math.radians(50)))


@cache
def recipe(radius):
    return Recipe("r", "single_radius", (radius,), length_m=0.28 if radius < 15 else 0.40)


def steel(radius, hollow, span, height, thickness, other=None):
    section = Section(thickness, hollow, height_m=height, span_m=span)
    return Candidate("c", other or recipe(radius), section).steel


def at(blade, ice, lean, load, line, factor, **more):
    """(steel, law, contact); the example is skipped where the blade refuses the load there."""
    law = Law(rebound_factor=factor)._replace(**more)
    patch = stand(blade, ice, law, math.tan(lean), load, line, *FINE)
    assume(not math.isnan(patch.load))
    return law, patch


@cache
def slow_curve(radius):
    return reference_model.single_radius(radius, recipe(radius).length_m, npts=20001)


@settings(max_examples=150)
@given(BLADES, LEANS, LOADS, LINES, FACTORS)
def test_a_contact_carries_its_load_or_is_refused(ice, blade, lean, load, line, factor):
    """To nine digits by its own sums; by the reference model, pressed as deep and as bent, to 0.1 % and its cells.

    Refused is only what the load would bend hollow: it then rides on two places, which no solver here looks for.
    """
    patch = stand(steel(**blade), ice, Law(rebound_factor=factor), math.tan(lean), load, line, *FINE)
    b = reference_model.beam(blade["thickness"], blade["span"], blade["height"])
    if math.isnan(patch.load):
        assert reference_model.flattening(b, load, 1e-3) > 0.8 / blade["radius"]
        return
    assert patch.load == pytest.approx(load, rel=1e-9) and patch.centre == pytest.approx(line, abs=1e-8)
    assert patch.bend == 0.0 or patch.about == pytest.approx(line, abs=1e-8)
    assert 0 < patch.depth < 3e-3 and patch.tail <= patch.rear < patch.deepest < patch.front
    theirs = reference_model.contact(
        reference_model.bent(slow_curve(blade["radius"]), patch.bend, patch.about),
        reference_model.section(blade["thickness"], blade["hollow"], lean, npts=20001),
        ice.hardness, patch.depth, patch.beta, f=factor,
    )  # fmt: skip
    cell = theirs.dX.max()
    assert theirs.N == pytest.approx(load, rel=1e-3 + 2 * cell / theirs.loaded)
    assert theirs.x_c == pytest.approx(line, abs=cell + 1e-3 * theirs.loaded)
    wanted = reference_model.flattening(b, load, patch.front - patch.rear)
    assert patch.bend == pytest.approx(wanted, rel=1e-4, abs=1e-6)


@settings(max_examples=60)
@given(BLADES, LEANS, LOADS, st.floats(-0.02, 0.02), FACTORS)
def test_at_one_pitch_too_the_steel_bends_about_where_it_stands(ice, blade, lean, load, line, factor):
    """Settled at the pitch of a contact that was stood at a line: the same contact, however much it bends."""
    ours = steel(**blade)
    law, stood = at(ours, ice, lean, load, line, factor)
    settled = settle(ours, ice, law, math.tan(lean), stood.beta, load, 5e-5, *FINE)
    assert settled.load == pytest.approx(load, rel=1e-9)
    assert settled.bend == 0.0 or settled.about == pytest.approx(settled.centre, abs=1e-7)
    assert settled.centre == pytest.approx(line, abs=1e-6)
    assert settled.depth == pytest.approx(stood.depth, rel=1e-6)


@given(BLADES, LEANS, st.floats(-0.01, 0.01), st.floats(5e-6, 4e-4), st.floats(1.001, 2.0), FACTORS)
def test_load_grows_with_depth(ice, blade, lean, beta, depth, more, factor):
    ours, law = steel(**blade), Law(rebound_factor=factor)
    light, heavy = (press(ours, ice, law, math.tan(lean), beta, d, *FINE).load for d in (depth, depth * more))
    assert heavy > light > 0


@given(BLADES, LEANS, LOADS, LINES, FACTORS, st.floats(1.01, 2.0))
def test_flattening_grows_with_span_and_falls_with_height(ice, blade, lean, load, line, factor, more):
    blade = {**blade, "span": max(blade["span"], 5e-3) / 2, "height": blade["height"] / 1.5}
    _, one = at(steel(**blade), ice, lean, load, line, factor)
    _, longer = at(steel(**{**blade, "span": blade["span"] * more}), ice, lean, load, line, factor)
    _, higher = at(steel(**{**blade, "height": blade["height"] * more}), ice, lean, load, line, factor)
    assert longer.bend > one.bend > higher.bend > 0
    assert longer.depth < one.depth < higher.depth, "flatter steel sinks less"


@given(BLADES, LEANS, LOADS, LINES, st.floats(2.0, 6.0))
def test_standing_does_not_know_heel_from_toe(ice, blade, lean, load, line, other):
    """The mirrored blade at the mirrored line: same depth, arcs, flattening and hold; twists the other way alike."""
    zoned = Recipe("r", "zoned", (blade["radius"], other), length_m=0.30)
    turned = Recipe("r", "zoned", (other, blade["radius"]), length_m=0.30)
    one, two = steel(**blade, other=zoned), steel(**blade, other=turned)
    law, ours = at(one, ice, lean, load, line, 1.0, standing=1.0)
    _, mirror = at(two, ice, lean, load, -line, 1.0, standing=1.0)
    assert mirror.depth == pytest.approx(ours.depth, rel=1e-6) and mirror.beta == pytest.approx(-ours.beta, abs=1e-7)
    assert mirror.bend == pytest.approx(ours.bend, rel=1e-6, abs=1e-12)
    assert [mirror.front, mirror.tail] == pytest.approx([-ours.tail, -ours.front], abs=1e-7)
    for twist in (pivot, pivot_held):
        for toe_in in (True, False):
            assert twist(two, ice, law, mirror, not toe_in, *FINE) == pytest.approx(
                twist(one, ice, law, ours, toe_in, *FINE), rel=1e-3
            )


@given(BLADES, st.floats(0.0, math.radians(50)), LOADS, LINES, FACTORS)
def test_left_and_right_edge_are_alike(ice, blade, lean, load, line, factor):
    """Leaned to the other side: the same contact and drag; toe-in has become toe-out."""
    ours = steel(**blade)
    law, one = at(ours, ice, lean, load, line, factor)
    _, two = at(ours, ice, -lean, load, line, factor)
    assert np.array([two.depth, two.beta, two.bend, two.rear, two.front]) == pytest.approx(
        np.array([one.depth, one.beta, one.bend, one.rear, one.front]), rel=1e-9, abs=1e-12
    )
    assert ploughing(ours, ice, law, two, *FINE) == pytest.approx(ploughing(ours, ice, law, one, *FINE), rel=1e-9)
    assert film_shear(ours, ice, law, two, 5.0, 64) == pytest.approx(film_shear(ours, ice, law, one, 5.0, 64), rel=1e-9)
    if lean > 0:
        for twist in (pivot, pivot_held):
            assert twist(ours, ice, law, two, False, *FINE) == pytest.approx(
                twist(ours, ice, law, one, True, *FINE), rel=1e-9
            )


@settings(max_examples=150)
@given(BLADES, LEANS, LOADS, LINES, FACTORS, st.floats(0.5, 15.0), st.floats(0.0, 20.0), st.floats(0.0, 30e3))
def test_drag_is_finite_and_positive(ice, ice_set, blade, lean, load, line, factor, speed, cold, sink):
    """Down to -20 deg C and up to where ice would melt under the blade by itself."""
    ours = steel(**blade)
    colder = ice._replace(hardness=(14.7 + 0.6 * cold) * 1e6, cold=cold)
    law, patch = at(ours, colder, lean, load, line, factor, sink=sink)
    parts = [
        ploughing(ours, colder, law, patch, *FINE), film_shear(ours, colder, law, patch, speed, 128),
        rough_drag(law, patch),
    ]  # fmt: skip
    assert all(math.isfinite(f) and f > 0 for f in parts), parts
    assert sum(parts) < load, "ice slows, it does not stop"


@given(BLADES, LEANS, LOADS, LINES, FACTORS)
def test_a_held_pivot_resists_no_less_than_a_free_one(ice, blade, lean, load, line, factor):
    ours = steel(**blade)
    law, patch = at(ours, ice, lean, load, line, factor)
    for toe_in in (True, False):
        free, held = (f(ours, ice, law, patch, toe_in, *FINE) for f in (pivot, pivot_held))
        assert 0 < free <= held * (1 + 1e-6)
    assert 0 <= hold_angle(ours, ice, law, patch, *FINE) < math.radians(45)


# radius, thickness, hollow, span, height, lean deg, load, line: bent by 0.44 to 0.59 of its curvature
LIMP = [
    (25.0, 2.9e-3, math.inf, 0.0948, 0.0262, 0.0, 997.0, 0.034),
    (9.0, 1.1e-3, 8e-3, 0.1443, 0.0265, 13.9, 908.0, -0.034),
    (4.5, 1.1e-3, math.inf, 0.1202, 0.0206, 0.0, 913.0, -0.038),
    (14.0, 2.9e-3, 12.7e-3, 0.1275, 0.0227, 0.0, 1075.0, -0.004),
    (25.0, 2.9e-3, 20e-3, 0.0830, 0.0203, 0.0, 979.0, 0.025),
    (20.0, 4e-3, 12.7e-3, 0.1360, 0.0249, 0.0, 1159.0, 0.048),
]


@pytest.mark.parametrize("case", LIMP)
def test_a_limp_runner_settles_too(ice, case):
    """Where plain iteration about the centre of pressure creeps or runs away: the factor is bend/(curvature - bend)."""
    radius, thickness, hollow, span, height, lean_deg, load, line = case
    ours, t = steel(radius, hollow, span, height, thickness), math.tan(math.radians(lean_deg))
    stood = stand(ours, ice, Law(), t, load, line, *FINE)
    print(f"bent by {stood.bend * radius:.2f} of its curvature")
    assert 0.4 < stood.bend * radius < 0.7
    for turn in (0.0, -2e-4, 3e-4):
        patch = settle(ours, ice, Law(), t, stood.beta + turn, load, 5e-5, *FINE)
        assert patch.load == pytest.approx(load, rel=1e-9)
        assert patch.about == pytest.approx(patch.centre, abs=1e-7)
        assert patch.centre == pytest.approx(line + turn * radius, abs=1e-4 if turn else 1e-6)


@pytest.mark.parametrize("beta", [-1e-3, 0.0, 1e-3])
def test_what_bends_hollow_is_refused_or_solved(ice, beta):
    """1.1 mm of steel on a span of 140 mm bends by more than its curvature of 1/20 m."""
    blade = steel(20.0, 12.7e-3, 0.1405, 0.0282, 1.1e-3)
    patch = settle(blade, ice, Law(), 0.0, beta, 1123.0, 5e-5, *FINE)
    if not math.isnan(patch.load):
        assert patch.load == pytest.approx(1123.0, rel=1e-9) and patch.about == pytest.approx(patch.centre, abs=1e-7)
    assert math.isnan(stand(blade, ice, Law(), 0.0, 1123.0, 0.05, *FINE).load)
