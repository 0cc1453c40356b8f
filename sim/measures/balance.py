"""How a blade carries its skater fore and aft, what a stride does on it, and what steel it costs."""

import math

import numpy as np

from sim.blade.stock import steel_removed
from sim.errors import BladeError
from sim.measures.registry import IN_DEG, IN_MM, measure, travel
from sim.skater import body
from sim.trial import Trial

SETTLED = 0.10  # the balance has settled once its shift stays below this share of the peak


@measure("N m/rad", "critical ankle stiffness", "glide", "lower", "is steady fore and aft", short="ankle needed")
def critical_ankle_stiffness(t: Trial) -> float:
    """Least ankle stiffness that keeps the skater up at the glide state."""
    return body.critical_ankle_stiffness(t.setting.skater, t.load("glide"), t.effective_radius("glide"))


@measure("s", "time to react (critical delay)", "glide", "higher", "is steady fore and aft", short="time to react")
def critical_reaction_delay(t: Trial) -> float:
    """Time to react: the longest delay of the muscles with which the skater can still be held up at the glide state."""
    return body.critical_reaction_delay(t.setting.skater, t.load("glide"), t.effective_radius("glide"))


@measure("rad", "pitch bias", "glide", "neither", "toe-down of the reference is positive", IN_DEG, signed=True)
def pitch_bias(t: Trial) -> float:
    """Mean over the bias load lines of pitch less the reference's pitch."""
    return float(np.mean(np.subtract(t.bias_pitches, t.setting.reference_pitches)))


@measure(
    "m",
    "heel over toe",
    "glide",
    "neither",
    "height of heel over toe, against the reference",
    IN_MM,
    signed=True,
    short="heel up",
)
def heel_over_toe(t: Trial) -> float:
    """Pitch bias as a height over the foot's length."""
    return t.setting.skater.foot_length_m * math.tan(pitch_bias(t))


def _nudge(t: Trial) -> tuple[float, float]:
    """(peak shift, m; settling time, s) of the balance after the shove.

    Raises BladeError when no shove falls within the movement, or the balance had not settled by its end.
    """
    run = t.finished("nudge")
    time, balance = run["time"], run["balance_position"]
    before = max(int(np.count_nonzero(time < run.scenario.impulse_at_s)), 1)
    shift = np.abs(balance - balance[before - 1])
    peak = float(shift.max())
    if run.scenario.impulse_ns == 0 or before >= len(time) or not peak > 0:
        raise BladeError(
            "nudge: no shove falls within the movement; set impulse above 0, and impulse_at before its end."
        )
    outside = np.flatnonzero(shift > SETTLED * peak)
    if outside[-1] >= len(time) - 2:
        raise BladeError("nudge: the balance had not settled by the end; run longer or raise the ankle damping.")
    return peak, float(time[outside[-1] + 1] - run.scenario.impulse_at_s)


@measure("m", "shift of the centre of pressure after a nudge", "nudge", "lower", "is steady fore and aft", IN_MM)
def nudge_shift(t: Trial) -> float:
    """Greatest shift of the centre of pressure after the shove."""
    return _nudge(t)[0]


@measure("s", "settling time after a nudge", "nudge", "lower", "is steady fore and aft", short="nudge settles")
def nudge_settling_time(t: Trial) -> float:
    """Time from the shove until the balance stays within a tenth of its greatest shift."""
    return _nudge(t)[1]


@measure(
    "m",
    "travel of the centre of pressure in the stride",
    "stride",
    "neither",
    "how far the load moves along the steel",
    IN_MM,
)
def stride_balance_travel(t: Trial) -> float:
    """Range of the centre of pressure through the stride, while loaded."""
    return travel(t, "stride", "balance_position")


@measure("rad", "pitch travel in the stride", "stride", "neither", "how far the foot rocks", IN_DEG)
def stride_pitch_travel(t: Trial) -> float:
    """Range of pitch through the stride, while loaded."""
    return travel(t, "stride", "pitch")


@measure("J", "ice loss per stride", "stride", "lower", "keeps speed in the stride", short="stride loss")
def stride_ice_loss(t: Trial) -> float:
    """Work lost to ploughing, film and rough ice through one stride."""
    return float(t.finished("stride")["ice_loss"][-1])


@measure("m", "steel removed, depth", "blade", "lower", "keeps steel", IN_MM, short="steel off")
def steel_removed_depth(t: Trial) -> float:
    """Greatest depth of steel to grind from the reference curve."""
    return steel_removed(t.candidate.curve, t.setting.reference.curve)[0]


@measure("m^2", "steel removed, area", "blade", "lower", "keeps steel", ("mm^2", 1e6))
def steel_removed_area(t: Trial) -> float:
    """Side-view area of steel to grind from the reference curve."""
    return steel_removed(t.candidate.curve, t.setting.reference.curve)[1]
