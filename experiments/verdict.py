"""From draws to a recommendation: which curve, by which three numbers; a sentence only where its interval holds."""

import math
from dataclasses import dataclass

import numpy as np

from experiments import certainty as c
from experiments.scoring import Weighting
from sim.blade.stock import Removal
from sim.measures import REGISTRY

DECIDING = 3
ROUNDED = 5e-4  # a bound nearer to one than this is printed as 1.000
FELT = 0.01  # a change of less than this is not worth a sentence
# measure: what the skater feels when it falls, and when it rises
FEEL = {
    "pivot_forefoot_toe_in": ("Pivots easier on the toes", "Pivots with more effort on the toes"),
    "pivot_heel_toe_in": ("Pivots easier on the heel", "Pivots with more effort on the heel"),
    "turn_tightest_clean_radius": ("Follows a tighter turn before it scrapes", "Scrapes earlier in a tight turn"),
    "turn_drag": ("Keeps more speed in a tight turn", "Loses more speed in a tight turn"),
    "glide_drag_coefficient": ("Glides further", "Glides less far"),
    "push_hold_angle": ("Lets go earlier in the push", "Holds better in the push"),
    "critical_ankle_stiffness": ("Steadier fore and aft, asks less of the ankle",
                                 "Less steady fore and aft, asks more of the ankle"),
}  # fmt: skip


@dataclass(frozen=True)
class Choice:
    """One blade that might be recommended. score: 5, 50, 95 % against the blade as measured; first: share of draws in
    which it comes first of those that can be ground; refused: why it cannot be ground, or empty."""

    index: int
    name: str
    score: np.ndarray
    first: float
    steel: Removal | None
    refused: str


@dataclass(frozen=True)
class Verdict:
    """kind: change, refresh, keep or too_close. best: the blade to grind, or the nearest to it; second: runner-up or
    None; apart: 5, 50, 95 % of the score between the two."""

    kind: str
    best: Choice
    second: Choice | None
    apart: np.ndarray | None


def choices(made: c.Draws, steel: list[Removal | None], refused: list[str]) -> list[Choice]:
    """Every blade of the draws; the first is the blade as measured. Draws with a missing score do not count."""
    able = [i for i in range(len(made.candidates)) if not refused[i] and np.isfinite(made.score[:, i]).any()]
    good = np.isfinite(made.score[:, able]).all(axis=1)
    first = np.zeros(len(made.candidates))
    if good.any():
        first[able] = (c.ranks(made.score[:, able], "higher") == 1).mean(axis=0)
    spread = c.intervals(made.score)
    return [Choice(i, name, spread[:, i], float(first[i]), steel[i], refused[i])
            for i, name in enumerate(made.candidates)]  # fmt: skip


def judge(made: c.Draws, all_choices: list[Choice], refreshed: int, worth: float) -> Verdict:
    """The verdict. A regrind is advised only where the whole interval of its score lies above that of the blade as it
    is (0), and its middle above log2(worth): steel once ground away is gone."""
    usable = [x for x in all_choices[1:] if not x.refused and np.isfinite(x.score).all()]
    if not usable:
        return Verdict("none", all_choices[0], None, None)
    ranked = sorted(usable, key=lambda x: -x.score[1])
    best, second = ranked[0], ranked[1] if len(ranked) > 1 else None
    apart = c.intervals(made.score[:, best.index] - made.score[:, second.index]) if second else None
    if best.score[0] > 0 and best.score[1] > math.log2(worth):
        kind = "refresh" if best.index == refreshed else "change"
    elif best.score[2] < 0:
        kind = "keep"
    else:
        kind = "too_close"
    return Verdict(kind, best, second, apart)


def ratios(made: c.Draws, name: str, index: int) -> np.ndarray | None:
    """5, 50, 95 % of a measure's ratio to the blade as measured, same draw; None when it cannot be had throughout."""
    j = c.STATIC.index(name)
    both = made.values[:, [index, 0], j]
    if not (np.isfinite(both).any(axis=0).all() and (both[np.isfinite(both)] > 0).all()):
        return None
    return c.intervals(both[:, 0] / both[:, 1])


def deciding(made: c.Draws, scheme: Weighting, index: int) -> list[str]:
    """The measures that decide the score of a blade: largest median part first."""
    parts = {}
    for name, weight in scheme.weights.items():
        ratio = ratios(made, name, index)
        if ratio is not None and weight > 0:
            parts[name] = weight * abs(math.log(ratio[1]))
    return sorted(parts, key=lambda name: -parts[name])[:DECIDING]


def number(made: c.Draws, scheme: Weighting, name: str, index: int) -> dict:
    """A measure of a blade beside the blade as measured, as a person reads it."""
    measure, ratio = REGISTRY[name], ratios(made, name, index)
    now, then = (c.intervals(made.values[:, i, c.STATIC.index(name)]) for i in (0, index))
    if ratio is None:  # some blade has no such number: said, not hidden
        ratio = np.full(3, np.nan)
    better = {"lower": "less is better", "higher": "more is better"}[scheme.better.get(name, measure.better)]
    return {
        "measure": name, "label": measure.label, "unit": measure.shown_unit,
        "now": shown(measure.to_shown(now[1])), "then": shown(measure.to_shown(then[1])),
        "then_interval": span(measure.to_shown(then)), "ratio": ratio_text(ratio[1]),
        "ratio_interval": " to ".join(ratio_text(ratio[i]) for i in (0, 2)),
        "better": f"{better}: {measure.whom}", "clear": clear(ratio),
        "way": way(ratio, scheme.better.get(name, measure.better)),
    }  # fmt: skip


def clear(ratio) -> bool:
    """Whether the whole interval lies on one side of one, by more than what is printed as one."""
    return bool(ratio[0] > 1 + ROUNDED or ratio[2] < 1 - ROUNDED)


def way(ratio, better: str) -> str:
    """Better, worse or too close to call, in words."""
    if not clear(ratio):
        return "too close to call"
    return "clearly better" if (ratio[1] < 1) == (better == "lower") else "clearly worse"


def shown(value: float) -> str:
    """A number with three digits."""
    if not math.isfinite(value):
        return "none"
    return f"{value:.0f}" if abs(value) >= 100 else f"{value:.3g}"


def span(spread) -> str:
    """An interval in words."""
    return f"{shown(spread[0])} to {shown(spread[2])}"


def ratio_text(value: float) -> str:
    """A ratio with as many digits as tell it from one."""
    return "none" if not math.isfinite(value) else f"{value:.3f}" if abs(value - 1) < 0.02 else f"{value:.2f}"


def percent(ratio) -> str:
    """How far from one, with its interval: 11 % (7 to 15 %), by size."""
    low, middle, high = sorted(100 * abs(np.asarray(ratio) - 1))
    return f"{middle:.0f} % ({low:.0f} to {high:.0f} %)" if low >= 1 else f"{middle:.1f} % ({low:.1f} to {high:.1f} %)"


def feel(made: c.Draws, index: int) -> list[str]:
    """What a skater will feel against the blade as measured: one sentence for each change that its interval supports,
    and one that names what is too close to call."""
    sentences, close = [], []
    for name, words in FEEL.items():
        ratio = ratios(made, name, index)
        if ratio is None:
            continue
        if clear(ratio) and abs(ratio[1] - 1) >= FELT:
            sentences.append((abs(math.log(ratio[1])), f"{words[int(ratio[1] > 1)]}: {percent(ratio)}."))
        else:
            close.append(REGISTRY[name].label)
    out = [text for _, text in sorted(sentences, reverse=True)]
    if close:
        out.append(f"Too close to call, or within 1 %: {', '.join(close)}.")
    return out


def headline(verdict: Verdict, worth: float) -> tuple[str, list[str]]:
    """(one line, plain sentences) of a verdict."""
    best, second = verdict.best, verdict.second
    gain = f"{ratio_text(2 ** best.score[1])} times as good overall by the stated use ({overall(best.score)})"
    if verdict.kind == "none":
        return "None of the other blades can be ground here, or be judged", [
            "Why stands beside each of them on page 2."
        ]
    if verdict.kind in ("change", "refresh"):
        line = f"Regrind to {best.name}" if verdict.kind == "change" else "Grind the same curve fresh"
        lines = [f"It is {gain}, and better in at least 95 % of all draws."]
    elif verdict.kind == "keep":
        line = "Leave the curve as it is"
        lines = ["No blade that can be ground here is better for the stated use."]
        lines.append(f"The nearest, {best.name}, is {gain}.")
    else:
        line = "No reason to change the curve"
        small = f"less than the {100 * (worth - 1):.0f} % that are worth the steel"
        why = "which may be chance" if best.score[0] <= 0 else small
        lines = [f"The best found, {best.name}, is {gain}, {why}."]
    if second is not None:
        low, _, high = verdict.apart
        lines.append(
            f"Against the runner-up, {second.name}, the difference is too close to call." if low <= 0 <= high
            else f"It is better than the runner-up, {second.name}, in at least 95 % of all draws."
        )  # fmt: skip
    return line, lines


def overall(score) -> str:
    """An interval of scores as overall ratios."""
    return f"{ratio_text(2 ** score[0])} to {ratio_text(2 ** score[2])}"
