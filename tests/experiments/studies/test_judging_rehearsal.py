"""The rehearsal: its file belongs to the code and opinions of today, its counts and its truth are told by hand."""

import math
from dataclasses import replace

import numpy as np
import pytest

from experiments.analysis.judging.decide import Present, Wanted, decide
from experiments.request.uncertainty import Input, Normal, Uniform
from experiments.studies.recommend.rehearsal import (
    COMMAND,
    Counts,
    Rehearsal,
    judging_digest,
    rehearsal_words,
    rehearsed,
)
from tests.experiments.analysis.judging.opinions_by_hand import OPINIONS
from tests.rehearsal.__main__ import counted
from tests.rehearsal.skaters import judged, true_weights, widened


def test_the_rates_on_the_sheet_are_those_of_the_code_and_opinions_of_today():
    assert rehearsed().digest == judging_digest(), (
        f"judging code or opinions changed: run {COMMAND} and commit its file"
    )


def test_the_counts_of_the_file_are_of_whole_cases():
    parts = {
        "regrind_wrong": "regrind", "probably_wrong": "probably", "leave_passed_over": "leave",
        "regrind_wrong_by_1_percent": "regrind_wrong", "harmed_complaint": "advised_to_complaint",
        "leave_with_complaint_passed_over": "leave_with_complaint",
        "leave_without_complaint_passed_over": "leave_without_complaint",
    }  # fmt: skip
    whole = rehearsed()
    for found in (whole.wider, whole.as_known):
        assert found.cases == 1620 == found.regrind + found.probably + found.leave + found.cannot_tell
        assert found.leave == found.leave_with_complaint + found.leave_without_complaint
        assert all(0 <= getattr(found, part) <= getattr(found, of) for part, of in parts.items())
    assert whole.wider.regrind == whole.as_known.regrind, "the same advice, judged by two truths"
    assert whole.wider.regrind_wrong > whole.as_known.regrind_wrong, "a wider truth is wrong more often"


COUNTS = Counts(1620, 600, 45, 22, 288, 64, 476, 263, 377, 29, 99, 39, 256, 494, 14, 25)


def test_the_counts_in_words():
    """600 of 1,620 is 37 in 100; 45 and 22 of 600 are 8 and 4; 14 of 494 is 3; 263 - 29 - 39 of 263 is 74."""
    known = replace(COUNTS, regrind_wrong=16, regrind_wrong_by_1_percent=0, harmed_complaint=1)
    found = rehearsal_words(Rehearsal(COUNTS, known, "2026-11-27", "0"))
    assert "regrind in 37, probably in 18, leave it in 29, cannot tell in 16" in found and COMMAND in found
    assert "“regrind” was wrong in 8 (3), by more than 1 % in 4 (none), “probably” in 22 (22)" in found
    assert "2 % in 3 (fewer than 1) of 100" in found and "paid in 55 (55); 74 of 100" in found


def test_counting_by_hand():
    """wider, kind (regrind, probably, leave, cannot tell), score, passed over, allowed, complaints, harmed, helped."""
    rows = np.array([
        [1, 0, 0.2, 1, 1, 0, 0, 1], [1, 0, -0.001, 1, 1, 1, 1, 0], [1, 0, -0.1, 0, 0, 2, 0, 1],
        [1, 0, math.nan, 0, 0, 0, 0, 1], [1, 1, 0.1, 1, 1, 1, 0, 1], [1, 1, 0.0, 0, 0, 0, 0, 1],
        [1, 2, 0.3, 1, 0, 1, 0, 1], [1, 2, -0.3, 1, 1, 0, 0, 1], [1, 2, 0.1, 0, 0, 0, 0, 1],
        [1, 2, 0.1, 1, 1, 2, 0, 1], [1, 3, 0.1, 1, 1, 1, 1, 0],
    ])  # fmt: skip
    assert counted(rows) == Counts(
        cases=11, regrind=4, regrind_wrong=3, regrind_wrong_by_1_percent=2, probably=2, probably_wrong=1, leave=4,
        leave_passed_over=3, leave_with_complaint=2, leave_with_complaint_passed_over=1, leave_without_complaint=2,
        leave_without_complaint_passed_over=1, cannot_tell=1, advised_to_complaint=3, harmed_complaint=1,
        complaint_not_helped=1,
    )  # fmt: skip


def test_the_truth_is_drawn_wider_than_the_shop_allows_for():
    sharp = widened(Input("hardness_factor", Normal(1.0, 0.1), "w")).law
    assert (sharp.mean(), sharp.std()) == (pytest.approx(1.0), pytest.approx(0.15))
    for name, low, high, ends in (("edge_shift", -1.0, 1.0, (-1.3, 1.3)), ("scuff", 0.0, 0.04, (0.0, 0.046)),
                                  ("passive_share", 0.8, 1.0, (0.77, 1.0))):  # fmt: skip
        found = widened(Input(name, Uniform(low, high), "w")).law
        assert found.support() == pytest.approx(ends)
    told = np.array([3.0, 0.0, 1.0])
    drawn = np.array([true_weights(told, 20.0, np.random.default_rng(k)) for k in range(4000)])
    assert drawn.mean(axis=0) == pytest.approx([0.75, 0, 0.25], abs=0.01)
    assert drawn[:, 0].std() == pytest.approx(math.sqrt(0.75 * 0.25 / 21), rel=0.05), "Dirichlet of 20 w"


def test_advice_is_judged_by_the_truth():
    """The shop sees half the drag for sure; the truth is 1.1 times the drag and 1.03 times the ankle."""
    values = np.ones((50, 2, 2))
    values[:, 1] = (0.98, 0.5)
    wanted = Wanted(("critical_ankle_stiffness", "turn_drag"), ("lower", "lower"), np.array([0.0, 1.0]),
                    (np.array([1.0, 0.0]),))  # fmt: skip
    decision = decide([Present(values, np.zeros(1), np.ones(1, bool))], wanted, OPINIONS, 1)
    free, able, weights = np.zeros(1), np.ones(1, bool), np.array([0.0, 1.0])

    def row(ankle, drag, prices=free, able=able):
        true = -np.log2(np.array([[ankle, drag]]))
        return judged(decision, true, weights, wanted, prices, able, OPINIONS)

    assert row(1.03, 1.1) == pytest.approx([0, -math.log2(1.1), 0, 0, 1, 1, 0])
    assert row(1.01, 0.9) == pytest.approx([0, -math.log2(0.9), 1, 1, 1, 0, 0]), "1 % is no harm, nor is it help"
    assert row(0.97, 0.9) == pytest.approx([0, -math.log2(0.9), 1, 1, 1, 0, 1])
    assert row(0.97, 0.9, np.ones(1))[2:4] == [0, 0], "better, but not by its price"
    assert row(0.97, 0.9, able=np.zeros(1, bool))[2:4] == [0, 0]
    harmful = replace(decision, harmless=np.zeros(1, bool))
    found = judged(harmful, np.array([[0.0, 1.0]]), weights, wanted, free, able, OPINIONS)
    assert found[2:4] == [True, False]
