"""The one list of measures, how one enters it, and what is computed of them for a candidate."""

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np

from sim.errors import BladeError
from sim.trial import Trial

ROLLED_STATES = ("stride", "start", "tight_turn", "turn_at_speed", "nudge")  # scenarios whose rolls yield measures
LIGHTEST_BW = 0.2  # balance and pitch travel count only while the blade carries this share of body weight


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
IN_MM, IN_UM, IN_DEG = ("mm", 1e3), ("um", 1e6), ("deg", 180 / math.pi)


def measure(
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


def travel(t: Trial, scenario: str, column: str) -> float:
    """Range of a column of a movement's record while the blade is loaded. Raises BladeError when it never is."""
    run = t.finished(scenario)
    carried = run["load"] > LIGHTEST_BW * t.setting.skater.weight_n
    if not carried.any():
        raise BladeError(f"{scenario}: the blade never carries a fifth of body weight; raise the load.")
    return float(np.ptp(run[column][carried]))


_WHY_INFINITE = {
    "critical_ankle_stiffness": "no ankle stiffness keeps this skater up on this blade: the rocker is too short",
    "critical_reaction_delay": "ankle and boot alone hold this skater up on this blade, however late the muscles",
    "fast_turn_reaction_delay": "ankle and boot alone hold this skater up on this blade, however late the muscles",
    "edge_change_time": "at this speed the blade cannot steer under the skater without scrape: a faster run or a "
    "shorter radius can",
    "turn_tightest_clean_radius": "the outside edge is in the ice at this lean, so that any turn scrapes",
}
