"""Pairs of recipes that differ in one thing, per stance, in words: what differs, and what would refute it."""

import math
from collections.abc import Mapping, Sequence

import numpy as np

from experiments.analysis.draws import intervals
from experiments.analysis.judging.intervals import excludes
from experiments.report.shown import COMPARED
from experiments.report.words import change_text
from experiments.request.opinions import Felt
from experiments.studies.findings.differences import (
    NOT_COMPUTED,
    difference_text,
    felt_words,
    kind_of_difference,
    label,
)
from experiments.studies.findings.finding import Finding
from experiments.studies.findings.paired import EASED_HEEL, LONG_ENDS, PLAIN_HEEL, SHORT_ENDS, Paired


def spreads_of(pairs: Paired, one: str, other: str) -> dict[str, list[np.ndarray]]:
    """For every compared measure, 5, 50, 95 % of the log ratio at each stance; nan where a draw lacks it."""
    return {
        name: [intervals(pairs.log_ratio(s, name, one, other)) for s in range(len(pairs.stands))] for name in COMPARED
    }


def ends(pairs: Paired, felt: Felt) -> Finding:
    """Same middle, different ends."""
    question = "Two mid-flats with one middle: what do short ends change against long ones?"
    note = (
        " Pivots are judged on the forefoot and on the heel, on end zones, and the ends differ by choice: that pivots "
        "differ is no discovery."
    )
    return _finding(felt, question, pairs, SHORT_ENDS, LONG_ENDS, note, "ends")


def easing(pairs: Paired, felt: Felt) -> Finding:
    """What easing the heel zone gives and costs."""
    question = "What does easing the heel zone of a rear-flat give and cost?"
    return _finding(felt, question, pairs, EASED_HEEL, PLAIN_HEEL, "", "easing")


def _finding(felt: Felt, question: str, pairs: Paired, one: str, other: str, note: str, figure: str) -> Finding:
    spreads = spreads_of(pairs, one, other)
    sentences = [sentence for name in COMPARED if (sentence := statement_of(name, spreads[name], pairs.stands, felt))]
    if not sentences:
        sentences = [
            f"No measure is shown to change by as much as {felt.percent} at any of these stances: not supported."
        ]
    sentences.append(nothing_felt(spreads, felt))
    missing = [label(name) for name in COMPARED if not np.isfinite(spreads[name]).all()]
    if missing:
        sentences.append(f"{', '.join(missing)}: {NOT_COMPUTED} at one stance or more.")
    lost = int(np.isnan(pairs.values).any(axis=(2, 3)).sum())
    if lost:
        sentences.append(f"In {lost} of {pairs.values.shape[0] * pairs.values.shape[1]} draws some measure is missing.")
    sentences.append(f"{felt_words(felt)}{note}")
    table = [("measure", *pairs.stands)]
    table += [(label(name), *(difference_text(x, felt) for x in spreads[name])) for name in COMPARED]
    alt = f"{one} against {other}, measure by measure and stance by stance, with 90 % intervals"
    return Finding(question, tuple(sentences), figure, alt, tuple(table))


def nothing_felt(spreads: Mapping[str, Sequence[np.ndarray]], felt: Felt) -> str:
    """Of how many measures nothing can be felt at any stance, and what would refute it; which, where they are few."""
    calm = [n for n, its in spreads.items() if {kind_of_difference(x, felt) for x in its} <= {"none", "small"}]
    names = f" ({', '.join(map(label, calm))})" if 0 < len(calm) < len(spreads) else ""
    return (
        f"Nothing that could be felt at any of these stances: {len(calm)} of {len(spreads)} measures{names}. Refuted "
        f"by: an interval that reaches {felt.percent}."
    )


def statement_of(name: str, spreads: Sequence[np.ndarray], stands: Sequence[str], felt: Felt) -> str:
    """What can be stated of a measure over the stances, and what would refute it; empty where nothing can be felt.

    Stated where every interval excludes no change and reaches what is felt: one way at all stances, or not.
    """
    kinds = [kind_of_difference(x, felt) for x in spreads]
    if "unknown" in kinds or "plain" not in kinds:
        return ""
    sizes = ", ".join(f"{words} {change_text(math.exp(x[1]))}" for words, x in zip(stands, spreads))
    ways = {bool(x[1] > 0) for x in spreads if excludes(x)}
    if kinds == ["plain"] * len(kinds) and len(ways) == 1:
        head, refuted = ("more" if ways.pop() else "less") + " at every stance", "no change, or lies the other way"
        return (
            f"{label(name)}: {head} ({sizes}). Refuted by: an interval at any of these stances that includes {refuted}."
        )
    where = [words for words, kind in zip(stands, kinds) if kind == "plain"]
    way = "the way depends on the stance" if len(ways) > 1 else f"only standing {' and '.join(where)}"
    return f"{label(name)}: {way} ({sizes}). Refuted by: a change that is felt, one way, at every stance, or at none."
