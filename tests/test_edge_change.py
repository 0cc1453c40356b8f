"""From edge to edge: against `reference_rest`, by the roll equation, in the limit of small leans, with a stiff body."""

import math
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from sim.blade.recipe import Recipe
from sim.blade.section import Section
from sim.skater.body import edge_change_time
from sim.trial import Candidate, Trial
from tests import reference_model
from tests import reference_rest as rest
from tests.cases import GRAVITY as G
from tests.rest_cases import (
    BLADES,
    DEG,
    EDGE_LEAN,
    EDGE_SPEED,
    FEET,
    SHARE,
    TOLD,
    compare,
    measured,
    other,
    same,
    shipped,
)

HEIGHT = 1.0  # of the shipped adult's centre above the ice, m
GAMMA = math.asin(2.9 / (2 * 12.7))


@cache
def edge_radius(name, lean=EDGE_LEAN):
    st = rest.edge_state(other(name), rest.skater(), lean)
    return rest.clean_radius(st), reference_model.hold_angle(st)


@pytest.mark.parametrize("speed", [3.0, 4.0, 5.0, 9.0])
@pytest.mark.parametrize("name", TOLD)
def test_edge_change_takes_as_long_as_its_most_curved_instant_asks(name, speed):
    """The reference looks for the peak of |k| along the whole movement and finds the time by trying."""
    wanted = rest.half_cosine_time(edge_radius(name)[0], EDGE_LEAN, speed, HEIGHT)
    state = replace(shipped().states["edge_change"], speed_m_s=speed)
    ours = measured(name, "edge_change_time", edge_change=state)
    if math.isinf(wanted):
        assert not math.isfinite(ours)  # a name for it, not a number
        return
    compare("time", ours, wanted, 1e-4)


@pytest.mark.parametrize("name", FEET)
def test_the_roll_equation_carries_the_skater_over_in_that_time(name):
    """scipy's DOP853, steered open-loop: arrives at the other lean, at rest, and no path is tighter than allowed."""
    T, rho_c = measured(name, "edge_change_time"), edge_radius(name)[0]
    lean = lambda t: EDGE_LEAN * math.cos(math.pi * t / T)  # noqa: E731
    k = lambda t, _: rest.needed(lean(t), -((math.pi / T) ** 2) * lean(t), EDGE_SPEED, HEIGHT)  # noqa: E731
    t, th, rate = rest.roll(k, EDGE_LEAN, EDGE_SPEED, HEIGHT, T)
    assert th[-1] == pytest.approx(-EDGE_LEAN, rel=1e-5) and abs(rate[-1]) < 1e-5
    curved = np.abs([k(q, 0) for q in t])
    print(f"T {T:.4f} s; tightest {1 / curved.max():.4f} m at {t[curved.argmax()] / T:.3f} T, clean {rho_c:.4f} m")
    assert curved.argmax() in (0, len(t) - 1)
    assert curved.max() == pytest.approx(1 / rho_c, rel=SHARE)
    # upright the blade may run tighter still, so that the ends are where it binds
    between = np.linspace(0.35, 0.999, 50) * EDGE_LEAN
    asks = rest.needed(between, -((math.pi / T) ** 2) * between, EDGE_SPEED, HEIGHT)
    may = 1 / reference_model.clean_radius(
        rho_c * math.cos(GAMMA) / math.sin(EDGE_LEAN + GAMMA), 2.9e-3, 12.7e-3, between
    )
    assert np.all(asks < may)


# Edge times, s, by `reference_rest`: half cosine of a mass on its own path at the speed of the blade; of one on the
# blade's path, and that with full |k| throughout: the two that the first sketch of the model gives (2 %)
EDGE_TIMES = {
    "8 ft": (0.522, 0.427, 0.377), "10 ft": (0.576, 0.490, 0.431), "13 ft": (0.663, 0.583, 0.508),
    "long track": (7.00, 3.84, None),
}  # fmt: skip


@pytest.mark.parametrize("name", EDGE_TIMES)
def test_edge_times_and_what_the_first_sketch_of_them_was(name):
    """The pull of a mass on its own path is less, which costs time; full |k| from end to end saves a sixth of it."""
    rho_c, (wanted, first, first_full) = edge_radius(name)[0], EDGE_TIMES[name]
    case = rho_c, EDGE_LEAN, EDGE_SPEED, HEIGHT
    ours, full = measured(name, "edge_change_time"), rest.full_lock_time(*case)
    by_mass = rest.half_cosine_time(*case, "mass")
    print(f"{name}: {ours:.4f} s, full {full:.4f} s; by the speed of the mass {by_mass:.4f} s")
    assert ours == pytest.approx(wanted, rel=2e-3)
    assert rest.half_cosine_time(*case, None) == pytest.approx(first, rel=0.02)
    if first_full:
        assert rest.full_lock_time(*case, None) == pytest.approx(first_full, rel=0.02)
        assert 0.84 * ours < full < 0.86 * ours
    assert by_mass < first < ours  # the sketch lies between what either speed gives


def test_a_mass_over_a_tight_path_has_no_more_pull_than_half_way_in():
    """v^2 k (1 - h k sin(th)) is greatest at k = 1/(2 h sin(th)): tighter steering lifts less."""
    short = Candidate("s", Recipe("s", "single_radius", (1.3,)), Section(2.9e-3, 12.7e-3))
    state = replace(shipped().states["edge_change"], lean_rad=35 * DEG)
    st = rest.edge_state(rest.single(1.3, span=0.0), rest.skater(), 35 * DEG)
    rho_c = rest.clean_radius(st)
    assert rho_c < 2 * HEIGHT * math.sin(35 * DEG)
    wanted = rest.half_cosine_time(rho_c, 35 * DEG, EDGE_SPEED, HEIGHT)
    compare("time", measured(Trial(short, shipped()), "edge_change_time", edge_change=state), wanted, 1e-4)


@pytest.mark.parametrize("name", ["8 ft", "10 ft", "13 ft", "figure", "10 ft, hollow 19 mm"])
def test_a_stiff_body_changes_edges_as_its_steering_and_its_edge_both_allow(name):
    """One of the two is used up, the other is not: by the force that moves the centre of a rigid body."""
    setting = replace(shipped(), skater=replace(shipped().skater, stiff_body=True))
    T = measured(Trial(BLADES[name], setting), "edge_change_time")
    (rho_c, hold), body = edge_radius(name), same(setting.skater)
    tilt, k = rest.stiff_push(T, body, EDGE_LEAN, EDGE_SPEED)
    steering, edge = rest.stiff_times(rho_c, hold, body, EDGE_LEAN, EDGE_SPEED)
    print(f"{name}: {T:.4f} s; steering {steering:.4f}, edge {edge:.4f}; k {k * rho_c:.3f}, tilt {tilt / hold:.3f}")
    compare("time", T, max(steering, edge))
    assert max(k * rho_c, tilt / hold) == pytest.approx(1.0, rel=2 * SHARE)
    assert T > 1.02 * measured(name, "edge_change_time")


def test_a_stiff_body_on_a_flat_bottom_never_changes_edges():
    setting = replace(shipped(), skater=replace(shipped().skater, stiff_body=True))
    assert not math.isfinite(measured(Trial(BLADES["long track"], setting), "edge_change_time"))


@pytest.mark.parametrize("degrees", [0.5, 1.0, 2.0])
def test_a_small_change_at_speed_in_closed_form(degrees):
    """T -> pi sqrt(h th/(a - g th)), full steering (2/om) arccosh(a/(a - g th)), a = v^2/rho_c: where the oracle rests.

    The measure nears the same, with a (1 - h th/rho_c) for a.
    """
    rho_c, v, th = 1.1, 4.0, degrees * DEG
    a, om = v**2 / rho_c, math.sqrt(G / HEIGHT)
    cosine = math.pi * math.sqrt(HEIGHT * th / (a - G * th))
    assert rest.half_cosine_time(rho_c, th, v, HEIGHT, None) == pytest.approx(cosine, rel=2 * th**2)
    full = 2 / om * math.acosh(a / (a - G * th))
    assert rest.full_lock_time(rho_c, th, v, HEIGHT, None) == pytest.approx(full, rel=2 * th**2)
    inner = math.pi * math.sqrt(HEIGHT * th / (a * (1 - HEIGHT * th / rho_c) - G * th))
    ours = edge_change_time(shipped().skater, th, v, rho_c)
    assert ours == pytest.approx(inner, rel=2 * th**2)
    assert ours == pytest.approx(cosine, rel=0.6 * th)  # and all three meet


def test_no_edge_change_below_the_speed_that_lifts_the_skater():
    """v^2 (1 - h sin(th)/rho_c) = g rho_c tan(th): just below no time is long enough, just above it is long."""
    rho_c = edge_radius("10 ft")[0]
    limit = math.sqrt(G * rho_c * math.tan(EDGE_LEAN) / (1 - HEIGHT * math.sin(EDGE_LEAN) / rho_c))
    times = [
        measured("10 ft", "edge_change_time", edge_change=replace(shipped().states["edge_change"], speed_m_s=v))
        for v in (0.995 * limit, 1.005 * limit, 1.02 * limit, 1.5 * limit)
    ]
    print(f"limit {limit:.4f} m/s: {times}")
    assert not math.isfinite(times[0])
    assert times[1] > 3 and times[1] > times[2] > times[3]
