"""Starts, stops, fast turns, edge changes, transfers: against `reference_rest`, by quadrature, by the roll equation.

The whole law as shipped, the shipped adult and states.  Blades: a hockey runner of 8, 10 and 13 ft, and the ends of the
trade: long track (22 m, 1.1 mm, flat, in a tube) and figure (2.1 m, 4 mm, hollow 11 mm).
"""

import math
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
import pytest

from experiments.request.comparison import read_request
from experiments.request.compose import composed
from sim.blade.curve import BladeCurve
from sim.blade.recipe import Recipe
from sim.blade.section import Section
from sim.ice.contact import GAUSS, stand
from sim.measures import evaluate
from sim.trial import Candidate, Setting, Trial
from tests import reference_model
from tests import reference_rest as rest
from tests.cases import FT, PlainContact, relative
from tests.cases import GRAVITY as G

DEG = math.radians(1.0)
SCUFF = 0.02
SHARE = 1e-3  # agreement of two implementations: what the reference model's cells leave
MASS, HEIGHT = 80.0, 1.0  # of the shipped adult, and of its centre above the ice
GAMMA = math.asin(2.9 / (2 * 12.7))
EDGE_LEAN, EDGE_SPEED = 15 * DEG, 4.0


def hockey(radii=(10 * FT,), hollow=12.7e-3, family="single_radius", **kw):
    return Candidate("hockey", Recipe("h", family, radii), Section(2.9e-3, hollow, height_m=0.025, span_m=0.075, **kw))


BLADES = {
    "8 ft": hockey((8 * FT,)),
    "10 ft": hockey(),
    "13 ft": hockey((13 * FT,)),
    "long track": Candidate("l", Recipe("l", "single_radius", (22.0,), length_m=0.40), Section(1.1e-3, math.inf)),
    "figure": Candidate("f", Recipe("f", "single_radius", (2.1,)), Section(4e-3, 11e-3, height_m=0.025, span_m=0.075)),
    "10 ft, hollow 9.5 mm": hockey(hollow=9.5e-3),
    "10 ft, hollow 19 mm": hockey(hollow=19e-3),
    "13/10/7 ft": hockey((13 * FT, 10 * FT, 7 * FT), family="rear_flat"),
}
FEET = ("8 ft", "10 ft", "13 ft")
TOLD = [*FEET, "long track", "figure", "13/10/7 ft"]


@cache
def shipped(skater="adult") -> Setting:
    return read_request(composed([f"skater={skater}"])[0]).cases[0].setting


def same(skater):
    """The same body as the reference model has it."""
    b = skater
    return rest.skater(
        b.mass_kg, b.skate_mass_kg, b.body_height_m, b.ankle_height_m, b.skate_height_m, b.skate_inertia,
        b.body_inertia, b.ankle_stiffness, b.passive_share,
    )  # fmt: skip


@cache
def other(name):
    """The same blade as the reference model has it."""
    c = BLADES[name]
    zones, s = [(z.length_m, z.radius_m) for z in c.recipe.zones], c.section
    return rest.blade(zones, s.thickness_m, s.hollow_m, s.span_m, 0.025)


@cache
def trial(name) -> Trial:
    return Trial(BLADES[name], shipped())


def measured(of, *names, **states):
    """Values by name of a blade, or of a trial of it; `states` are put in the place of the shipped ones."""
    t = trial(of) if isinstance(of, str) else of
    if states:
        t = Trial(t.candidate, replace(t.setting, states={**t.setting.states, **states}))
    values, _ = evaluate(t, list(names))
    return [values[n] for n in names] if len(names) > 1 else values[names[0]]


def compare(what, ours, theirs, share=SHARE):
    print(f"{what}: {ours:.6g}, reference {theirs:.6g}, {ours / theirs - 1:+.1e}")
    assert ours == pytest.approx(theirs, rel=share, abs=1e-12), what


# ---------------------------------------------------------------- values worked out beforehand (section 14)

# 8, 10, 13 ft (long track); agreement 1 %, of edge times 2 %, or half of the last digit
WORKED = {
    "start_loss_share": (100, "1.81 1.61 1.41"), "start_hold_angle": (1 / DEG, "4.15 4.33 4.53"),
    "stop_deceleration": (1, "4.816 4.840 4.866 3.79"), "stop_across_moment": (1, ".311 .339 .375 .299"),
    "fast_turn_drag": (1, "11.96 10.83 9.72"), "fast_turn_hold_angle": (1 / DEG, "4.43 4.59 4.76"),
    "fast_turn_reaction_delay": (1, ".281 .298 .320"), "fast_turn_clean_margin": (1, "6.22 4.95 3.79 .83"),
    "edge_change_time": (1, ".427 .490 .583 3.84"), "transfer_pitch": (1 / DEG, "2.12 1.69 1.30"),
    "transfer_lean": (1 / DEG, "4.81 4.39 4.00"),
}  # fmt: skip


@pytest.mark.parametrize("name", WORKED)
def test_values_worked_out_beforehand(name):
    scale, wanted = WORKED[name]
    for blade, text in zip((*FEET, "long track"), wanted.split(), strict=False):
        ours, value = scale * measured(blade, name), float(text)
        print(f"{name}, {blade}: {text}, ours {ours:.5g}, {ours / value - 1:+.2%}")
        share = 0.02 if name == "edge_change_time" else 0.01
        assert abs(ours - value) <= max(share * value, 0.5000001 * 10.0 ** -len(text.split(".")[1]))


@pytest.mark.parametrize("mm, wanted", [(9.5, 5.22), (19, 4.48)])
def test_hollow_decides_how_hard_a_stop_is(mm, wanted):
    assert measured(f"10 ft, hollow {mm:g} mm", "stop_deceleration") == pytest.approx(wanted, rel=0.01)


# ---------------------------------------------------------------- start


@pytest.mark.parametrize("name", TOLD)
def test_start_against_the_reference_model(name):
    theirs = rest.start(other(name), rest.skater())
    loss, hold = measured(name, "start_loss_share", "start_hold_angle")
    compare("loss share", loss, theirs.loss)
    if math.isfinite(other(name).R_h):
        compare("hold", hold, theirs.hold)
    else:
        assert hold == pytest.approx(0.0, abs=1e-12)  # a flat bottom holds nothing


def test_start_loss_falls_to_nothing_as_the_blade_turns_across():
    """By the forces themselves at three angles of the blade: drag back over push ahead."""
    push = trial("10 ft").load("start_push") * math.sin(40 * DEG)
    drag = sum(trial("10 ft").drag("start_push"))
    for turned in (30 * DEG, 60 * DEG, 89 * DEG):
        ahead, back = push * math.sin(turned), drag * math.cos(turned)
        state = replace(shipped().states["start_push"], turned_out_rad=turned)
        assert measured("10 ft", "start_loss_share", start_push=state) == pytest.approx(back / ahead, rel=1e-9)


# ---------------------------------------------------------------- stop


def forces(name, lean=20 * DEG, **kw):
    """(deceleration, N, S) of a stop: N and S are m g and m a resolved along the leg and across it."""
    a = measured(name, "stop_deceleration", **kw)
    return a, MASS * (G * math.cos(lean) + a * math.sin(lean)), MASS * (a * math.cos(lean) - G * math.sin(lean))


@dataclass(frozen=True)
class BentCurve:
    """A curve with its curvature lowered evenly, unturned at `about`."""

    curve: BladeCurve
    bend: float
    about: float

    @property
    def length_m(self):
        return self.curve.length_m

    def at(self, s):
        x, z, *rest_of_it = self.curve.at(s)
        return x, z - self.bend * (x - self.about) ** 2 / 2, *rest_of_it


def pressed_in(name, lean, load):
    """The standing contact under a load, taken to pieces by plain quadrature."""
    t = trial(name)
    law = shipped().law._replace(standing=1.0)
    patch = stand(t.steel, t.ice, law, math.tan(lean), load, 0.0, *GAUSS[16])
    curve = BentCurve(t.candidate.curve, patch.bend, patch.about)
    return PlainContact(curve, t.steel, t.ice.hardness, patch, standing=True)


@pytest.mark.parametrize("lean", [10 * DEG, 20 * DEG, 30 * DEG])
@pytest.mark.parametrize("name", ["10 ft", "figure", "long track"])
def test_a_stop_does_the_work_of_the_ice_that_it_shoves_aside(name, lean):
    """Per metre run: m a = H times the area seen from ahead, vertical depth n cos(lean), plus scuff mu N cos(lean)."""
    state = replace(shipped().states["stop"], lean_rad=lean)
    a, N, S = forces(name, lean, stop=state)
    contact = pressed_in(name, lean, N)
    assert contact.integral(contact.p * contact.a) == pytest.approx(N, rel=1e-4)
    r_L, r_R = contact.rises()
    work = contact.hardness * contact.integral(contact.n + r_R) * math.cos(lean)
    print(f"m a {MASS * a:.3f} N, ice {work:.3f} N and scuff {SCUFF * N * math.cos(lean):.3f} N")
    assert r_R.max() < 1e-9  # nothing of the bottom faces the other way
    assert MASS * a == pytest.approx(work + SCUFF * N * math.cos(lean), rel=1e-4)
    assert S == pytest.approx(contact.hardness * contact.integral(r_L) + SCUFF * N, rel=1e-3)


@pytest.mark.parametrize("lean", [20 * DEG, *(pytest.param(q * DEG, marks=pytest.mark.slow) for q in (10, 30))])
@pytest.mark.parametrize("name", TOLD)
def test_stop_against_the_reference_model(name, lean):
    theirs = rest.stop(other(name), rest.skater(), lean)
    a, N, S = forces(name, lean, stop=replace(shipped().states["stop"], lean_rad=lean))
    compare("deceleration", a, theirs.deceleration, 5e-4)
    compare("load", N, theirs.N, 5e-4)
    compare("across the leg", S, theirs.S)


@pytest.mark.parametrize("name", TOLD)
def test_a_stop_bites_no_more_than_the_face_of_the_edge_is_steep(name):
    """While the outside edge is clear; a flat bottom has its scuff alone; under less load it comes nearer."""
    hollow, w = BLADES[name].section.hollow_m, BLADES[name].section.thickness_m
    steep = math.tan(math.asin(w / (2 * hollow))) if math.isfinite(hollow) else 0.0
    _, N, S = forces(name)
    assert S / N <= steep + SCUFF + 1e-9
    if steep == 0.0:
        assert S / N == pytest.approx(SCUFF, rel=1e-6)
    light = replace(shipped(), skater=replace(shipped().skater, mass_kg=20.0))
    a = measured(Trial(BLADES[name], light), "stop_deceleration")
    bite = math.tan(math.atan(a / G) - 20 * DEG)
    assert S / N - 1e-9 <= bite <= steep + SCUFF + 1e-9


def test_a_stop_that_stands_on_its_outside_edge_as_well():
    """At 2 deg both edges are in: the outside wall then shoves ice too."""
    theirs = rest.stop(other("10 ft"), rest.skater(), 2 * DEG)
    assert rest.outward(theirs.st)[2] > 1.0  # N
    a = measured("10 ft", "stop_deceleration", stop=replace(shipped().states["stop"], lean_rad=2 * DEG))
    compare("deceleration", a, theirs.deceleration)


@pytest.mark.parametrize("name", TOLD)
def test_moment_of_a_stop_across_against_the_reference_model(name):
    compare("moment", measured(name, "stop_across_moment"), rest.across(other(name), rest.skater()))


# ---------------------------------------------------------------- fast turn

FAST = ("fast_turn_drag", "fast_turn_hold_angle", "fast_turn_reaction_delay", "fast_turn_clean_margin")


@pytest.mark.parametrize("name", TOLD)
def test_fast_turn_against_the_reference_model(name):
    """Scrape is an area by columns in either: it counts only where the path is tighter than the blade runs clean."""
    clean = rest.fast_turn(other(name), rest.skater(), scrape=False)
    theirs = rest.fast_turn(other(name), rest.skater()) if clean.margin < 1 else clean
    drag, hold, delay, margin = measured(name, *FAST)
    compare("drag", drag, theirs.drag, SHARE + (0.02 * theirs.parts["scrape"] / theirs.drag))
    compare("delay", delay, theirs.delay)
    compare("margin", margin, theirs.margin)
    if math.isfinite(other(name).R_h):
        compare("hold", hold, theirs.hold)


@pytest.mark.parametrize("name", FEET)
def test_delay_of_one_radius_is_the_glide_s_in_a_stronger_gravity(name):
    """tau = sqrt(2 J/k): k goes with g -> N/m = g/cos(lean), J stays."""
    glide, turn = measured(name, "critical_reaction_delay", "fast_turn_reaction_delay")
    lean = math.atan(8.0**2 / (G * 10.0))
    assert turn == pytest.approx(glide * math.sqrt(math.cos(lean)), rel=2e-3)


def test_a_turn_with_its_outside_edge_in_the_ice_has_no_margin():
    slow = replace(shipped().states["fast_turn"], speed_m_s=1.0)
    assert measured("10 ft", "fast_turn_clean_margin", fast_turn=slow) == 0.0


# ---------------------------------------------------------------- edge change


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


@pytest.mark.parametrize("name, wanted", list(zip(FEET, (0.377, 0.431, 0.508), strict=True)))
def test_steering_full_throughout_is_quicker_but_not_by_much(name, wanted):
    """Rest to rest under full |k|, by integrating to upright; no movement under that limit is shorter."""
    full = rest.full_lock_time(edge_radius(name)[0], EDGE_LEAN, EDGE_SPEED, HEIGHT)
    ours = measured(name, "edge_change_time")
    print(f"full {full:.4f} s, half cosine {ours:.4f} s")
    assert full == pytest.approx(wanted, rel=0.02)
    assert 0.85 * ours < full < 0.9004 * ours  # 2 sqrt(2)/pi where gravity is nothing beside the steering


@pytest.mark.parametrize("degrees", [0.5, 1.0, 2.0])
def test_a_small_change_at_speed_in_closed_form(degrees):
    """T -> pi sqrt(h th/(v^2/rho_c - g th)), full steering (2/om) arccosh(a/(a - g th)): what the oracle rests on."""
    rho_c, v, th = 1.1, 4.0, degrees * DEG
    a, om = v**2 / rho_c, math.sqrt(G / HEIGHT)
    cosine = math.pi * math.sqrt(HEIGHT * th / (a - G * th))
    assert rest.half_cosine_time(rho_c, th, v, HEIGHT) == pytest.approx(cosine, rel=2 * th**2)
    full = 2 / om * math.acosh(a / (a - G * th))
    assert rest.full_lock_time(rho_c, th, v, HEIGHT) == pytest.approx(full, rel=2 * th**2)


def test_no_edge_change_below_the_speed_that_lifts_the_skater():
    """v^2 = g rho_c tan(th_0): just below no time is long enough, just above it is long."""
    rho_c = edge_radius("10 ft")[0]
    limit = math.sqrt(G * rho_c * math.tan(EDGE_LEAN))
    times = [
        measured("10 ft", "edge_change_time", edge_change=replace(shipped().states["edge_change"], speed_m_s=v))
        for v in (0.995 * limit, 1.005 * limit, 1.02 * limit, 1.5 * limit)
    ]
    print(f"limit {limit:.4f} m/s: {times}")
    assert not math.isfinite(times[0])
    assert times[1] > 3 and times[1] > times[2] > times[3]


# ---------------------------------------------------------------- transfer


@pytest.mark.parametrize("name", TOLD)
def test_transfer_against_the_reference_model(name):
    pitch, lean = rest.transfer(other(name), same(shipped().skater))
    ours = measured(name, "transfer_pitch", "transfer_lean")
    assert relative(ours, (pitch, lean)) < SHARE


def test_transfer_of_one_radius_is_the_angle_of_its_arc():
    """A single radius rolls its arc: 90 mm of centre of pressure over R, whatever the contact."""
    for name, radius in (("8 ft", 8 * FT), ("13 ft", 13 * FT)):
        assert measured(name, "transfer_pitch") == pytest.approx(0.09 / radius, rel=5e-3)


# ---------------------------------------------------------------- another skater


@pytest.mark.slow
@pytest.mark.parametrize("skater", ["child", "heavy"])
def test_another_skater_by_the_reference_model(skater):
    """Every mass, height and stiffness that the formulas ask for is this skater's own."""
    setting, blade = shipped(skater), other("8 ft")
    body, t = same(setting.skater), Trial(BLADES["8 ft"], setting)
    line = {name: state.line_m for name, state in setting.states.items()}  # a shorter foot, shorter lines
    edge = rest.clean_radius(rest.edge_state(blade, body, line=line["edge_change"]))
    start, turn = rest.start(blade, body, line=line["start_push"]), rest.fast_turn(blade, body, scrape=False)
    pitch, lean = rest.transfer(blade, body, lines=(line["pivot_forefoot"], line["pivot_heel"]))
    wanted = {
        "start_loss_share": start.loss, "start_hold_angle": start.hold,
        "stop_deceleration": rest.stop(blade, body).deceleration, "stop_across_moment": rest.across(blade, body),
        "fast_turn_drag": turn.drag, "fast_turn_hold_angle": turn.hold, "fast_turn_reaction_delay": turn.delay,
        "fast_turn_clean_margin": turn.margin,
        "edge_change_time": rest.half_cosine_time(edge, EDGE_LEAN, EDGE_SPEED, body.h),
        "transfer_pitch": pitch, "transfer_lean": lean,
    }  # fmt: skip
    for name, value in wanted.items():
        compare(name, measured(t, name), value)
