"""What a recommendation says: a sentence only where its interval holds, and numbers as a person reads them."""

import math

import numpy as np

from experiments.analysis.draws import Draws, intervals
from experiments.analysis.judging.intervals import FELT, clear, excludes, felt, large_change, side
from experiments.analysis.judging.judge import Verdict
from experiments.analysis.judging.ratios import ratios
from experiments.report.words import (
    SIDE,
    interval_text,
    number_text,
    overall_text,
    ratio_interval_text,
    ratio_text,
    size_text,
)
from experiments.request.objectives import Weighting
from sim.measures import REGISTRY, STATIC

# measure: what the skater feels when it falls, and when it rises
FEEL = {
    "pivot_forefoot_toe_in": ("Pivots easier on the toes", "Pivots with more effort on the toes"),
    "pivot_heel_toe_in": ("Pivots easier on the heel", "Pivots with more effort on the heel"),
    "turn_tightest_clean_radius": ("Follows a tighter turn before it scrapes", "Scrapes earlier in a tight turn"),
    "turn_drag": ("Drags less in a tight turn", "Drags more in a tight turn"),
    "glide_drag_coefficient": ("Glides further", "Glides less far"),
    "push_hold_angle": ("Lets go earlier in the push", "Holds better in the push"),
    "critical_ankle_stiffness": ("Steadier fore and aft, asks less of the ankle",
                                 "Less steady fore and aft, asks more of the ankle"),
}  # fmt: skip


def number(draws: Draws, scheme: Weighting, name: str, index: int) -> dict:
    """A measure of a blade beside the blade as measured, as a person reads it."""
    measure, ratio = REGISTRY[name], ratios(draws, name, index)
    now, then = (measure.to_shown(intervals(draws.values[:, i, STATIC.index(name)])) for i in (0, index))
    if ratio is None:  # some blade has no such number: said, not hidden
        ratio = np.full(3, np.nan)
    way = scheme.better.get(name, measure.better)
    better = {"lower": "less is better", "higher": "more is better"}[way]
    return {
        "measure": name, "label": measure.label, "unit": measure.shown_unit,
        "now": number_text(now[1]), "then": number_text(then[1]), "then_interval": interval_text(then),
        "ratio": ratio_text(ratio[1]), "ratio_interval": ratio_interval_text(ratio),
        "better": f"{better}: {measure.whom}", "clear": clear(ratio), "way": SIDE[side(ratio, way)],
    }  # fmt: skip


def feel(draws: Draws, index: int) -> list[str]:
    """What a skater will feel against the blade as measured: one sentence for each change that its interval supports,
    and one that names what is too close to call."""
    sentences, close = [], []
    for name, words in FEEL.items():
        ratio = ratios(draws, name, index)
        if ratio is None:
            continue
        if felt(ratio):
            sentences.append((abs(math.log(ratio[1])), f"{words[int(ratio[1] > 1)]}: {size_text(ratio)}."))
        else:
            close.append(REGISTRY[name].label)
    out = [text for _, text in sorted(sentences, reverse=True)]
    if close:
        out.append(f"Too close to call, or within {100 * FELT:.0f} %: {', '.join(close)}.")
    return out


def adapting(draws: Draws, verdict: Verdict) -> str:
    """How long to get used to it: by the greatest change that is clear."""
    if not verdict.advised:
        return "Nothing to get used to: the curve stays."
    many = large_change([ratios(draws, name, verdict.best.index) for name in FEEL])
    words = "several sessions" if many else "a session or two"
    return f"Expect {words} before it feels familiar (common practice, no published source)."


def headline(verdict: Verdict, worth: float) -> tuple[str, list[str]]:
    """(one line, plain sentences) of a verdict."""
    if verdict.kind == "none":
        return "None of the other blades can be ground here, or be judged", [
            "Why stands beside each of them on page 2."
        ]
    best = verdict.best
    gain = f"{ratio_text(2 ** best.score[1])} times as good overall by the stated use ({overall_text(best.score)})"
    small = f"less than the {100 * (worth - 1):.0f} % that are worth the steel"
    why = "which may be chance" if best.score[0] <= 0 else small
    sure = f"It is {gain}, and better in at least 95 % of all draws."
    line, lines = {
        "change": (f"Regrind to {best.name}", [sure]),
        "refresh": ("Grind the same curve fresh", [sure]),
        "keep": ("Leave the curve as it is", ["No blade that can be ground here is better for the stated use.",
                                              f"The nearest, {best.name}, is {gain}."]),
        "too_close": ("No reason to change the curve", [f"The best found, {best.name}, is {gain}, {why}."]),
    }[verdict.kind]  # fmt: skip
    return line, [*lines, *_runner_up(verdict)]


def _runner_up(verdict: Verdict) -> list[str]:
    """How the best stands to the second best, where there is one."""
    if verdict.second is None:
        return []
    name = verdict.second.name
    if excludes(verdict.apart):
        return [f"It is better than the runner-up, {name}, in at least 95 % of all draws."]
    return [f"Against the runner-up, {name}, the difference is too close to call."]
