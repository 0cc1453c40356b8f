"""How numbers, intervals and judgements read: the one place for their words."""

import math
from collections.abc import Sequence

import numpy as np

from experiments.analysis.judging.statement import Statement
from sim.ice.ice import Ice
from sim.measures import REGISTRY, Measure
from sim.skater.body import GRAVITY
from sim.trial import Setting

NOT_AVAILABLE = "n/a"
# judgements of analysis/judging in words
SIDE = {"better": "clearly better", "worse": "clearly worse", "undecided": "too close to call"}
ORDER = {"kept": "kept", "partly": "partly kept", "lost": "not kept", "unknown": "unknown"}


def pair_label(pair: Sequence[str]) -> str:
    """A pair of costs in words."""
    return " against ".join(REGISTRY[name].label for name in pair)


def number_text(value: float) -> str:
    """A number with three digits."""
    if not math.isfinite(value):
        return NOT_AVAILABLE
    return f"{value:.0f}" if abs(value) >= 100 else f"{value:.3g}"


def interval_text(spread: Sequence[float]) -> str:
    """The ends of an interval (5, 50, 95 %)."""
    return f"{number_text(spread[0])} to {number_text(spread[2])}"


def ratio_text(value: float) -> str:
    """A ratio with as many digits as tell it from one."""
    return NOT_AVAILABLE if not math.isfinite(value) else f"{value:.{3 if abs(value - 1) < 0.02 else 2}f}"


def ratio_interval_text(ratio: Sequence[float]) -> str:
    """The ends of an interval of ratios."""
    return f"{ratio_text(ratio[0])} to {ratio_text(ratio[2])}"


def overall_text(score: Sequence[float]) -> str:
    """An interval of scores (log2) as overall ratios."""
    return ratio_interval_text(2 ** np.asarray(score))


def size_text(ratio: Sequence[float]) -> str:
    """How far from one a ratio is, with its interval, without a sign: 11 % (7 to 15 %)."""
    low, middle, high = sorted(100 * abs(np.asarray(ratio) - 1))
    return f"{middle:.0f} % ({low:.0f} to {high:.0f} %)" if low >= 1 else f"{middle:.1f} % ({low:.1f} to {high:.1f} %)"


def change_text(ratio: float) -> str:
    """A ratio as a signed percentage."""
    return f"{round(100 * (ratio - 1), 1) + 0.0:+.1f} %"  # no minus before nothing


def share_text(share: float, digits: int = 0) -> str:
    """A share in per cent."""
    return f"{100 * share:.{digits}f} %" if math.isfinite(share) else NOT_AVAILABLE


def groups_text(groups: Sequence[Sequence[int]], names: Sequence[str]) -> str:
    """Tie groups with their places: 1: A; 2 to 4 tied: B, C, D; 5: E."""
    out, place = [], 1
    for group in groups:
        last = place + len(group) - 1
        head = f"{place}" if len(group) == 1 else f"{place} to {last} tied"
        out.append(f"{head}: {', '.join(names[i] for i in group)}")
        place = last + 1
    return "; ".join(out)


STATEMENT = {
    "beyond": "beyond every single radius", "on_the_line": "on the line", "inside": "inside the line",
    "not_beyond": "not beyond", "cannot_tell": "cannot tell", "unknown": "could not be computed",
}  # fmt: skip


# the same of a number of blades: 6 cannot be told
COUNTED = STATEMENT | {"cannot_tell": "cannot be told"}


def statement_text(said: Statement, spread: Sequence[float]) -> str:
    """A statement against single radii with the interval (5, 50, 95 %) of the gain, or the share where none holds."""
    words = said_text(said)
    if said.kind == "unknown":
        return words
    return f"{words} ({change_text(spread[0])} to {change_text(spread[2])})"


def said_text(said: Statement) -> str:
    """A statement against single radii alone; with the share of draws beyond where nothing can be told."""
    more = f": beyond in {share_text(said.share_beyond)}" if said.kind == "cannot_tell" else ""
    return f"{STATEMENT[said.kind]}{more}"


def unit_text(measure: Measure) -> str:
    """Unit of a measure for people, as printed."""
    return {"um": "µm", "mm^2": "mm²", "m/s^2": "m/s²"}.get(measure.shown_unit, measure.shown_unit)


def axis_label(measure: Measure) -> str:
    """Label and unit of a measure."""
    return f"{measure.label}, {unit_text(measure)}" if unit_text(measure) else measure.label


def warm_ice(ice: Ice) -> str:
    """The caution for ice that would melt under the pressure of its own hardness."""
    return (
        f"Caution: at {ice.temperature_c:g} degC ice would melt under the {ice.hardness_pa * 1e-6:.1f} MPa at which "
        "this model lets it yield. A hardness as bearing pressure is doubtful so near to melting: drag and depth may "
        "be off."
    )


def ankle_words(settings: Sequence[Setting]) -> str:
    """Stiffness at the ankle of each skater, over what balance on a floor needs, beside measured people."""
    each = ", ".join(f"{name} {over:.2f}" for name, over in {s.skater.name: over_mgh(s) for s in settings}.items())
    return (
        f"Ankle stiffness over m g h, boot included: {each}. People standing on a floor: 0.91 +- 0.23 for small sway "
        "(Loram & Lakie 2002, abstract read), less for larger sway."
    )


HUMAN_DELAY_S = 0.15  # of a person standing, 0.1 to 0.2 s (Peterka 2002, J. Neurophysiol. 88, 1097; value from memory)


def delay_words(delay_s: float) -> str:
    """The time to react on a blade, over what people take."""
    return (
        f"Time to react on the reference: {delay_s:.2g} s, {delay_s / HUMAN_DELAY_S:.1f} times the {HUMAN_DELAY_S:g} s "
        "that people take standing (Peterka 2002, value from memory)."
    )


def over_mgh(setting: Setting) -> float:
    """Ankle stiffness over body mass x g x height of the body's centre above the ankle."""
    skater = setting.skater
    return skater.ankle_stiffness / (skater.body_mass_kg * GRAVITY * skater.body_height_m)
