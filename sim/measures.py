"""The one list of measures: name, unit, state, which way is better, and the function that computes it."""

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np

from sim.blade.stock import steel_removed
from sim.errors import BladeError
from sim.ice import scrape, sideways
from sim.skater import body
from sim.trial import FINE, Trial

ROLLED_STATES = ("stride", "nudge", "tight_turn")  # the scenarios whose rolls yield measures
LIGHTEST_BW = 0.2  # balance and pitch travel count only while the blade carries this share of body weight
SETTLED = 0.10  # the balance has settled once its shift stays below this share of the peak


@dataclass(frozen=True)
class Measure:
    """One number per candidate.

    name: as in the registry; unit: SI ("1" without); label: for people. state: the static state or scenario it is
    taken at; better: "lower", "higher" or "neither"; whom: the skater who gains when it moves the better way, or what
    it means where neither way is better. function: value in SI of a Trial. shown: (unit, factor from SI) for people.
    signed: it may be 0 or change sign, so that differences mean something and ratios do not. short: column heading.
    """

    name: str
    unit: str
    label: str
    state: str
    better: str
    whom: str
    function: Callable[[Trial], float]
    shown: tuple[str, float] = ("", 1.0)
    signed: bool = False
    short: str = ""

    @property
    def shown_unit(self) -> str:
        """Unit for people, empty for a pure number."""
        return self.shown[0] or ("" if self.unit == "1" else self.unit)

    def to_shown(self, value: float) -> float:
        """A value in SI, in the unit that people read: `shown_unit`."""
        return value * self.shown[1]


REGISTRY: dict[str, Measure] = {}
_IN_MM, _IN_UM, _IN_DEG = ("mm", 1e3), ("um", 1e6), ("deg", 180 / math.pi)


def _measure(
    unit: str,
    label: str,
    state: str,
    better: str,
    whom: str,
    shown: tuple[str, float] = ("", 1.0),
    signed: bool = False,
    short: str = "",
) -> Callable[[Callable[[Trial], float]], Callable[[Trial], float]]:
    """Register the function below as the measure of its name."""

    def register(function: Callable[[Trial], float]) -> Callable[[Trial], float]:
        name = function.__name__
        REGISTRY[name] = Measure(name, unit, label, state, better, whom, function, shown, signed, short or label)
        return function

    return register


def evaluate(trial: Trial, names: Iterable[str] | None = None) -> tuple[dict[str, float], dict[str, str]]:
    """(values, reasons): each measure in SI, nan with a reason where it cannot be had.

    Raises BladeError for an unknown measure name.
    """
    values, reasons = {}, {}
    for name in names or REGISTRY:
        if name not in REGISTRY:
            raise BladeError(f"measure {name!r} is unknown; choose from {', '.join(REGISTRY)}.")
        try:
            value = float(REGISTRY[name].function(trial))
        except BladeError as refusal:
            value, reasons[name] = math.nan, str(refusal)
        if name not in reasons and not math.isfinite(value):
            value, reasons[name] = math.nan, _WHY_INFINITE.get(name, "the model gives no finite value here")
        values[name] = value
    return values, reasons


_WHY_INFINITE = {
    "critical_ankle_stiffness": "no ankle stiffness keeps this skater up on this blade: the rocker is too short",
    "critical_reaction_delay": "ankle and boot alone hold this skater up on this blade, however late the muscles",
    "turn_tightest_clean_radius": "the outside edge is in the ice at this lean, so that any turn scrapes",
}


GLIDE_SLOW_M_S, GLIDE_MEDIUM_M_S = 2.0, 5.0  # beside the speed of the glide state: whether a ranking holds slower


@_measure("1", "glide drag coefficient", "glide", "lower", "glides further", short="glide drag")
def glide_drag_coefficient(t: Trial) -> float:
    """(F_p + F_v + mu_r N)/N of a straight glide. The level rests on an assumed roughness; compare ratios."""
    return sum(t.drag("glide")) / t.load("glide")


@_measure("1", "glide drag coefficient at 2 m/s", "glide", "lower", "glides further")
def glide_slow_drag_coefficient(t: Trial) -> float:
    """As the glide drag coefficient, at 2 m/s."""
    return sum(t.drag("glide", GLIDE_SLOW_M_S)) / t.load("glide")


@_measure("1", "glide drag coefficient at 5 m/s", "glide", "lower", "glides further")
def glide_medium_drag_coefficient(t: Trial) -> float:
    """As the glide drag coefficient, at 5 m/s."""
    return sum(t.drag("glide", GLIDE_MEDIUM_M_S)) / t.load("glide")


@_measure("1", "glide ploughing coefficient", "glide", "lower", "glides further")
def glide_ploughing_coefficient(t: Trial) -> float:
    """F_p/N of a straight glide."""
    return t.drag("glide")[0] / t.load("glide")


@_measure("1", "glide film coefficient", "glide", "lower", "glides further")
def glide_film_coefficient(t: Trial) -> float:
    """F_v/N of a straight glide."""
    return t.drag("glide")[1] / t.load("glide")


@_measure(
    "1", "glide rough-ice coefficient", "glide", "neither", "the same for every blade: ice, not steel", signed=True
)
def glide_rough_coefficient(t: Trial) -> float:
    """mu_r: drag of ice that is not smooth, over the load; an assumption of ours, no source."""
    return t.drag("glide")[2] / t.load("glide")


@_measure("m", "glide loaded arc", "glide", "neither", "longer is steadier, shorter turns", _IN_MM)
def glide_loaded_arc(t: Trial) -> float:
    """Length over which the ice presses on the steel."""
    return t.patch("glide").front - t.patch("glide").rear


@_measure("m", "glide immersed arc", "glide", "neither", "longer is steadier, shorter turns", _IN_MM)
def glide_immersed_arc(t: Trial) -> float:
    """Length of steel below the ice surface."""
    return t.patch("glide").front - t.patch("glide").tail


@_measure("m", "glide groove depth", "glide", "lower", "cuts less ice", _IN_UM)
def glide_groove_depth(t: Trial) -> float:
    """Depth of the groove along the leg axis."""
    return t.patch("glide").depth


@_measure("1", "glide load on the inside edge", "glide", "neither", "half when the edges are level", ("%", 100.0))
def glide_inside_share(t: Trial) -> float:
    """Share of the glide load on the inside half of the thickness; 1/2 for level edges."""
    return sideways.inside_share(t.steel, t.ice_at("glide"), t.setting.law, t.patch("glide"), *FINE)


@_measure("rad", "glide pitch", "glide", "neither", "toe-down is positive", _IN_DEG, signed=True)
def glide_pitch(t: Trial) -> float:
    """Pitch at which the glide load line is reached."""
    return t.patch("glide").beta


def _pivot(foot: str, way: str, held: bool) -> None:
    """Register one pivot resistance: `foot` forefoot or heel, toe turned `way` in or out, about the foot or freely."""
    place = 2 * held + (way == "out")

    def resistance(t: Trial) -> float:
        return t.pivots(f"pivot_{foot}")[place]

    resistance.__name__ = f"pivot_{foot}_toe_{way}{'_held' * held}"
    about = "about the centre of pressure, as in a sudden twist" if held else "about the centre that resists least"
    resistance.__doc__ = f"Moment about the leg axis to turn the toe {way}ward, standing on the {foot}, {about}."
    label = f"pivot on {foot}{' about the foot' * held}, toe {way}"
    short = {"forefoot": "pivot toe", "heel": "pivot heel"}[foot] if way == "in" and not held else ""
    _measure("N m", label, f"pivot_{foot}", "lower", "pivots easily", short=short)(resistance)


for _held in (False, True):
    for _foot in ("forefoot", "heel"):
        for _way in ("in", "out"):
            _pivot(_foot, _way, _held)


@_measure("rad", "turn lean", "turn", "neither", "set by speed and path", _IN_DEG)
def turn_lean(t: Trial) -> float:
    """Lean of the steady turn, atan(v^2/(g rho))."""
    return math.atan(t.patch("turn").t)


@_measure("m", "turn loaded arc", "turn", "neither", "longer holds, shorter turns", _IN_MM)
def turn_loaded_arc(t: Trial) -> float:
    """Length over which the ice presses on the steel in the turn."""
    return t.patch("turn").front - t.patch("turn").rear


@_measure("m", "turn immersed arc", "turn", "neither", "longer holds, shorter turns", _IN_MM)
def turn_immersed_arc(t: Trial) -> float:
    """Length of steel below the ice surface in the turn."""
    return t.patch("turn").front - t.patch("turn").tail


@_measure("N", "turn ploughing", "turn", "lower", "keeps speed in the turn")
def turn_ploughing(t: Trial) -> float:
    """Ploughing along the blade in the turn."""
    return t.drag("turn")[0]


@_measure("N", "turn scrape", "turn", "lower", "follows a tight path cleanly")
def turn_scrape(t: Trial) -> float:
    """Force to sweep the ice that the blade's own track does not clear."""
    return t.scrape


@_measure("N", "turn drag", "turn", "lower", "keeps speed in the turn", short="turn drag")
def turn_drag(t: Trial) -> float:
    """Ploughing, film, rough ice and scrape of the turn together."""
    return sum(t.drag("turn")) + t.scrape


@_measure("m", "tightest clean radius", "turn", "lower", "turns tightly without scrape", short="clean radius")
def turn_tightest_clean_radius(t: Trial) -> float:
    """Smallest path radius at the turn's lean that the immersed arc follows without scrape."""
    return scrape.tightest_clean_radius(t.steel, t.patch("turn"))


def _turn_end(t: Trial) -> tuple[float, float]:
    """(time, s; speed, m/s) at the end of the path, carried on from the last row of the record.

    Raises BladeError for a movement without a path, or one that ends before its second row.
    """
    run = t.finished("tight_turn")
    time, speed, path = (run[c] for c in ("time", "speed", "path_position"))
    if not run.scenario.on_path or len(time) < 2:
        raise BladeError("tight_turn: this movement has no path to its end; give path_radius and a longer heading.")
    left = (run.scenario.path_m - path[-1]) / speed[-1]
    slowing = (speed[-1] - speed[-2]) / (time[-1] - time[-2])
    return time[-1] + left, speed[-1] + slowing * left


@_measure("m/s", "exit speed of the tight turn", "tight_turn", "higher", "keeps speed in the turn")
def turn_exit_speed(t: Trial) -> float:
    """Speed at the end of the stated path."""
    return _turn_end(t)[1]


@_measure("s", "time of the tight turn", "tight_turn", "lower", "keeps speed in the turn")
def turn_time(t: Trial) -> float:
    """Time over the stated path."""
    return _turn_end(t)[0]


@_measure("rad", "hold angle at push", "push", "higher", "pushes hard without slipping", _IN_DEG, short="push hold")
def push_hold_angle(t: Trial) -> float:
    """How far the push may tilt outward of the leg axis before the edge lets go."""
    return sideways.hold_angle(t.steel, t.ice_at("push"), t.setting.law, t.patch("push"), *FINE)


@_measure("m", "groove depth at push", "push", "neither", "deeper holds, shallower costs less", _IN_UM)
def push_groove_depth(t: Trial) -> float:
    """Depth of the groove along the leg axis at the push."""
    return t.patch("push").depth


@_measure("N m/rad", "critical ankle stiffness", "glide", "lower", "is steady fore and aft", short="ankle needed")
def critical_ankle_stiffness(t: Trial) -> float:
    """Least ankle stiffness that keeps the skater up at the glide state."""
    return body.critical_ankle_stiffness(t.setting.skater, t.load("glide"), t.effective_radius)


@_measure("s", "time to react (critical delay)", "glide", "higher", "is steady fore and aft", short="time to react")
def critical_reaction_delay(t: Trial) -> float:
    """Time to react: the longest delay of the muscles with which the skater can still be held up at the glide state."""
    return body.critical_reaction_delay(t.setting.skater, t.load("glide"), t.effective_radius)


@_measure("rad", "pitch bias", "glide", "neither", "toe-down of the reference is positive", _IN_DEG, signed=True)
def pitch_bias(t: Trial) -> float:
    """Mean over the bias load lines of pitch less the reference's pitch."""
    return float(np.mean(np.subtract(t.bias_pitches, t.setting.reference_pitches)))


@_measure(
    "m",
    "heel over toe",
    "glide",
    "neither",
    "height of heel over toe, against the reference",
    _IN_MM,
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


@_measure("m", "shift of the centre of pressure after a nudge", "nudge", "lower", "is steady fore and aft", _IN_MM)
def nudge_shift(t: Trial) -> float:
    """Greatest shift of the centre of pressure after the shove."""
    return _nudge(t)[0]


@_measure("s", "settling time after a nudge", "nudge", "lower", "is steady fore and aft", short="nudge settles")
def nudge_settling_time(t: Trial) -> float:
    """Time from the shove until the balance stays within a tenth of its greatest shift."""
    return _nudge(t)[1]


def _travel(t: Trial, column: str) -> float:
    """Range of a column of the stride's record while the blade is loaded; BladeError when it never is."""
    run = t.finished("stride")
    carried = run["load"] > LIGHTEST_BW * t.setting.skater.weight_n
    if not carried.any():
        raise BladeError("stride: the blade never carries a fifth of body weight; raise the load.")
    return float(np.ptp(run[column][carried]))


@_measure(
    "m",
    "travel of the centre of pressure in the stride",
    "stride",
    "neither",
    "how far the load moves along the steel",
    _IN_MM,
)
def stride_balance_travel(t: Trial) -> float:
    """Range of the centre of pressure through the stride, while loaded."""
    return _travel(t, "balance_position")


@_measure("rad", "pitch travel in the stride", "stride", "neither", "how far the foot rocks", _IN_DEG)
def stride_pitch_travel(t: Trial) -> float:
    """Range of pitch through the stride, while loaded."""
    return _travel(t, "pitch")


@_measure("J", "ice loss per stride", "stride", "lower", "keeps speed in the stride", short="stride loss")
def stride_ice_loss(t: Trial) -> float:
    """Work lost to ploughing, film and rough ice through one stride."""
    return float(t.finished("stride")["ice_loss"][-1])


@_measure("m", "steel removed, depth", "blade", "lower", "keeps steel", _IN_MM, short="steel off")
def steel_removed_depth(t: Trial) -> float:
    """Greatest depth of steel to grind from the reference curve."""
    return steel_removed(t.candidate.curve, t.setting.reference.curve)[0]


@_measure("m^2", "steel removed, area", "blade", "lower", "keeps steel", ("mm^2", 1e6))
def steel_removed_area(t: Trial) -> float:
    """Side-view area of steel to grind from the reference curve."""
    return steel_removed(t.candidate.curve, t.setting.reference.curve)[1]


STATIC = tuple(m.name for m in REGISTRY.values() if m.state not in (*ROLLED_STATES, "blade"))  # those that need no roll
