"""Rules of the trade beside what the model gives: is the direction reproduced, and by how much."""

import math
from functools import cache

import numpy as np

from experiments.studies.validation.checks import (
    CHECK_GAUSS,
    DEG,
    FT,
    RINK,
    SLIDING,
    TRADE,
    Check,
    at_mid,
    blade,
    direction,
    drag,
    single,
)
from sim.blade.section import Section
from sim.blade.steel import Steel
from sim.ice.contact import settle, stand
from sim.ice.sideways import pivot
from sim.rolling.scenarios import roll
from sim.skater.body import GRAVITY, Skater, critical_ankle_stiffness
from sim.skater.movement import Scenario, program

SPAN = "ratio, 8 to 12 ft"

FEET = (7, 8, 9, 10, 11, 12, 13)


def _rising(values):
    return bool(np.all(np.diff(values) > 0))


def _row(values, digits, unit):
    return ", ".join(f"{v:.{digits}f}" for v in values) + f" {unit} at {FEET[0]}-{FEET[-1]} ft"


def _glide(number, mass, steels):
    """Does a longer radius glide better at this mass?"""
    patches = [at_mid(s, mass * GRAVITY) for s in steels]
    parts = np.array([drag(s, p, 8.0) for s, p in zip(steels, patches)])
    total, crown = parts.sum(1), Section(2.9e-3, 12.7e-3).depth_m
    off = [abs(p.depth - crown) * 1e6 for p in patches]
    near, rises = int(np.argmin(off)), [i for i in range(len(FEET) - 1) if total[i + 1] > total[i]]
    note = f"Drag {_row(total, 3, 'N')}, 8 m/s, hollow 12.7 mm."
    if rises:
        share = 100 * (total[rises[-1] + 1] / total[rises[0]] - 1)
        alone = "falls" if _rising(-parts[:, 0]) else "does not fall steadily"
        note = (f"From {FEET[rises[0]]} to {FEET[rises[-1] + 1]} ft drag grows by {share:.1f} % instead. {note} There "
                f"the crown of the hollow, {crown * 1e6:.0f} um up, comes clear of the ice (at {FEET[near]} ft the "
                f"groove is {off[near]:.1f} um off that): less of the melt is one wide film, more is two narrow ones, "
                f"which drag more. Ploughing by itself {alone} as the radius grows.")  # fmt: skip
    title = f"Shorter radius glides worse, {mass} kg"
    return direction(number, title, not rises, SPAN, total[1] / total[5], TRADE, note)


def _steady(steels):
    """Critical ankle stiffness over radius, and the shift of the balance after a shove at 8, 10, 12 ft."""
    skater, stiffness, shift = Skater("adult"), [], []
    for steel in steels:
        heel, toe = (
            settle(steel, RINK, SLIDING, 0.0, b, skater.weight_n, 8e-5, *CHECK_GAUSS).centre for b in (-1e-3, 1e-3)
        )
        stiffness.append(critical_ankle_stiffness(skater, skater.weight_n, (toe - heel) / 2e-3))
    shove = Scenario("nudge", (0.0, 1.0), (0.0, 0.0), (1.0, 1.0), (0.0, 0.0), duration_s=1.2, speed_m_s=5.0,
                     mode="free", impulse_ns=3.0)  # fmt: skip
    plan = program(shove, skater, single(10), RINK, SLIDING)
    for feet in (8, 10, 12):
        run = roll(single(feet), RINK, SLIDING, skater, shove, plan)
        place = run["balance_position"]
        shift.append(float(np.max(np.abs(place - place[0]))) if run.outcome == "finished" else math.nan)
    return stiffness, shift


def pitch_bias(steel: Steel, reference: Steel) -> np.ndarray:
    """Pitch over the reference's at load lines of +-50 mm, rad: (13,), toe-down positive; 80 kg, upright."""
    lines = np.linspace(-0.05, 0.05, 13)
    load = 80 * GRAVITY
    ours, theirs = (
        np.array([stand(s, RINK, SLIDING, 0.0, load, line, *CHECK_GAUSS).beta for line in lines])
        for s in (steel, reference)
    )
    return ours - theirs


@cache
def trade_rules() -> tuple[Check, ...]:
    """Every rule, in order; computed once per process (some seconds)."""
    load, steels = 80 * GRAVITY, [single(feet) for feet in FEET]
    flat = [at_mid(s, load) for s in steels]
    edge = [at_mid(s, load, 15 * DEG) for s in steels]
    toe_in = np.array([pivot(s, RINK, SLIDING, p, True, *CHECK_GAUSS) for s, p in zip(steels, edge)])
    loaded = np.array([p.front - p.rear for p in flat]) * 1e3
    immersed = np.array([p.front - p.tail for p in flat]) * 1e3
    stiffness, shift = _steady(steels)
    rear = pitch_bias(blade("rear_flat", 13 * FT, 10 * FT, 7 * FT), single(10))
    mid = pitch_bias(blade("mid_flat", 9 * FT, 13 * FT, 9 * FT), single(13))
    level_mm = rear.mean() * Skater("adult").foot_length_m * 1e3
    shifts = ", ".join(f"{x * 1e3:.1f}" for x in shift)
    return (
        direction("12a", "Shorter radius pivots easier", _rising(toe_in), SPAN, toe_in[1] / toe_in[5], TRADE,
                  f"Toe-in resistance {_row(toe_in, 2, 'N m')}, lean 15 deg, 80 kg."),
        direction("12b", "8 ft is quicker than 10 ft", toe_in[1] < toe_in[3], "ratio, 8 to 10 ft",
                  toe_in[1] / toe_in[3], TRADE, "Pivot resistance stands for quickness."),
        direction("12c", "Shorter radius contacts less", _rising(loaded), SPAN, loaded[1] / loaded[5], TRADE,
                  f"Loaded arc {_row(loaded, 1, 'mm')}, upright, 80 kg."),
        _glide("12d", 80, steels),  # three masses: where two films become one moves with the load
        _glide("12e", 60, steels),
        direction("12f", "Shorter radius steadies less: ankle stiffness needed", _rising(-np.array(stiffness)), SPAN,
                  stiffness[1] / stiffness[5], TRADE, f"At least {_row(stiffness, 0, 'N m/rad')}."),
        direction("12g", "12 ft is steadier than 10 and 8 ft: shove of 3 N s", _rising(-np.array(shift)), SPAN,
                  shift[0] / shift[2], TRADE, f"Balance shifts by at most {shifts} mm at 8, 10, 12 ft."),
        direction("12h", "Rear-flat stands toe-down (13/10/7 ft against 10 ft)", rear.mean() > 0, "deg",
                  rear.mean() / DEG, TRADE,
                  f"Mean over load lines of +-50 mm, from {rear.min() / DEG:+.3f} to {rear.max() / DEG:+.3f} deg: only "
                  f"{level_mm:.2f} mm of heel over toe, and about nil over the 10 ft zone itself."),
        direction("12i", "Mid-flat stands about neutral (9/13/9 ft against 13 ft)", abs(mid.mean()) < rear.mean() / 3,
                  "deg", mid.mean() / DEG, TRADE,
                  f"In the mean only: {mid[0] / DEG:+.3f} deg on the heel, {mid[-1] / DEG:+.3f} deg on the toe: it "
                  "tips further with the balance than the single radius does."),
        direction("12j", "Flatter touches more steel", _rising(immersed), SPAN, immersed[1] / immersed[5], TRADE,
                  f"Immersed arc {_row(immersed, 1, 'mm')}, upright, 80 kg."),
        _glide("12k", 100, steels),
    )  # fmt: skip
