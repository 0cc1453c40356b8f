"""Weights in doubt against the moments of a Dirichlet; scores and gains by hand."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from experiments.analysis.judging.weights import drawn_weights, expected_scores, log_gains, weighted
from tests.experiments.analysis.judging.opinions_by_hand import OPINIONS

NAN = math.nan


def test_weights_have_mean_spread_and_correlation_of_a_dirichlet_of_thirty():
    """Of Dirichlet(30 w): mean w, variance w (1 - w)/31, covariance - w v/31; 0.20 has 0.0718."""
    w = np.array([2.0, 5.0, 0.0, 3.0])
    found = drawn_weights(w, np.random.default_rng(1).standard_normal((200_000, 4)), OPINIONS)
    p = w / 10
    assert found.sum(axis=1) == pytest.approx(1.0) and (found[:, 2] == 0).all() and (found[:, [0, 1, 3]] > 0).all()
    assert found.mean(axis=0) == pytest.approx(p, abs=1e-3)
    assert found.std(axis=0) == pytest.approx(np.sqrt(p * (1 - p) / 31), abs=3e-4)
    assert found.std(axis=0)[0] == pytest.approx(0.0718, abs=5e-4)
    assert np.cov(found.T)[0, 1] == pytest.approx(-0.2 * 0.5 / 31, rel=0.03)


def test_the_marginal_is_a_beta():
    """Weight m of a Dirichlet(30 w) alone is Beta(30 w, 30 (1 - w))."""
    found = drawn_weights([0.2, 0.8], np.random.default_rng(2).standard_normal((4000, 2)), OPINIONS)
    assert stats.kstest(found[:, 0], stats.beta(6, 24).cdf).pvalue > 0.01


def test_without_doubt_weights_are_as_stated_and_one_normal_number_moves_one_weight():
    sure = replace(OPINIONS, weight_doubt=1e6)
    assert drawn_weights([1, 3], [[1.0, -1.0]], sure)[0] == pytest.approx([0.25, 0.75], abs=2e-3)
    more, less = (drawn_weights([1, 1, 2], [[z, 0.0, 0.0]], OPINIONS)[0] for z in (1.0, -1.0))
    assert more[0] > less[0] and more[1] / more[2] == pytest.approx(less[1] / less[2])


def test_scores_are_weighted_sums_and_what_has_no_weight_need_not_be_known():
    gains = np.array([[[1.0, 2.0, NAN], [0.5, NAN, NAN]], [[2.0, 0.0, 1.0], [1.0, 1.0, 1.0]]])
    found = weighted([[0.25, 0.75, 0.0], [0.5, 0.25, 0.25]], gains)
    assert found[0, 0] == 1.75 and math.isnan(found[0, 1]) and found[1].tolist() == [1.25, 1.0]
    assert weighted([0.5, 0.5, 0.0], gains)[1].tolist() == [1.0, 1.0]


def test_gains_point_the_better_way_in_log2():
    values = np.array([[[2.0, 2.0], [0.5, -1.0]], [[NAN, 8.0], [0.0, 1.0]]])
    base = np.array([[1.0, 1.0], [1.0, 2.0]])
    found = log_gains(values, base, ["lower", "higher"])
    assert found[0, 0].tolist() == [-1.0, 1.0] and found[0, 1, 0] == 1.0 and math.isnan(found[0, 1, 1])
    assert math.isnan(found[1, 0, 0]) and found[1, 0, 1] == 2.0 and math.isnan(found[1, 1, 0]) and found[1, 1, 1] == -1


def test_scores_expected_of_weights_are_the_mean_over_all_else():
    """Two loops: at each of three sets of normals the mean of scores over 4,000 draws of the gains."""
    rng = np.random.default_rng(3)
    gains = rng.normal([[0.1, 0.3], [-0.2, 0.5]], 0.1, (4000, 2, 2))
    normals = np.array([[0.0, 0.0], [1.0, -1.0], [-2.0, 0.5]])
    found = expected_scores([1, 3], gains, OPINIONS)(normals)
    for row, z in zip(found, normals):
        w = drawn_weights([1, 3], np.tile(z, (4000, 1)), OPINIONS)
        assert row == pytest.approx(weighted(w, gains).mean(axis=0), rel=1e-9)
