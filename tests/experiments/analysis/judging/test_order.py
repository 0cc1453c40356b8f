"""Tie groups by hand, and the flip distance against a linear program and against moved weights."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import linprog

from experiments.analysis.judging.order import flip_distance, tie_groups
from tests.experiments.analysis.judging.opinions_by_hand import OPINIONS


def wins(*columns):
    return np.array(columns, float).T


# ---------------------------------------------------------------- tie groups


def test_a_group_ends_before_the_first_that_its_leader_beats_in_nine_of_ten():
    """Over ten draws the leader (all 10) beats b in 8, c in 9; c beats d in 9; b would beat c in all."""
    a = [10] * 10
    b = [9] * 8 + [11] * 2
    c = [8] * 9 + [12]
    d = [7] * 9 + [13]
    assert tie_groups(wins(d, c, a, b), "higher", OPINIONS) == [[2, 3], [1], [0]]
    assert tie_groups(-wins(d, c, a, b), "lower", OPINIONS) == [[2, 3], [1], [0]]


def test_one_behind_the_first_that_is_beaten_starts_a_group_though_the_old_leader_does_not_beat_it():
    """Medians 10, 9, 8; the leader beats b in all draws and c, who scatters, in six of ten: c is compared with b."""
    a, b, c = [10] * 10, [9] * 10, [8] * 6 + [20] * 4
    assert tie_groups(wins(a, b, c), "higher", OPINIONS) == [[0], [1, 2]]
    first = [30] * 10
    assert tie_groups(wins(first, b, c), "higher", OPINIONS) == [[0], [1, 2]], "nor where that beats both"


def test_a_group_is_measured_from_its_leader_and_not_from_its_last():
    """The leader beats b and c in eight of ten, b beats c in all: all three are tied with the leader."""
    a, b, c = [10] * 8 + [1] * 2, [9] * 10, [8] * 10
    assert tie_groups(wins(a, b, c), "higher", OPINIONS) == [[0, 1, 2]]


def test_equals_are_tied_and_a_tie_is_half_a_win():
    """Equal in two of ten and ahead in eight: 0.9."""
    assert tie_groups(wins([5] * 10, [5] * 10), "higher", OPINIONS) == [[0, 1]]
    assert tie_groups(wins([5] * 10, [5] * 2 + [4] * 8), "higher", OPINIONS) == [[0], [1]]
    assert tie_groups(wins([5] * 10, [5] * 3 + [4] * 7), "higher", OPINIONS) == [[0, 1]]
    mostly = wins([5] * 100, [4] * 79 + [5] * 20 + [6])  # 0.79 and half of 0.20
    assert tie_groups(mostly, "higher", OPINIONS) == [[0, 1]]


def test_draws_that_a_blade_does_not_have_do_not_count_and_a_blade_without_any_has_no_place():
    nan = math.nan
    a, b, none = [10] * 9 + [nan], [9] * 9 + [99], [nan] * 10
    assert tie_groups(wins(none, b, a), "higher", OPINIONS) == [[2], [1]]
    apart = tie_groups(wins([10, nan], [nan, 9]), "higher", OPINIONS)
    assert apart == [[0, 1]], "never seen in one draw: nobody is beaten"
    assert tie_groups(wins(none), "higher", OPINIONS) == []


# ---------------------------------------------------------------- flip distance


def program(w, gains, first, rival):
    """Least total variation to weights with S_rival >= S_first: variables v (new weights) and t >= abs(v - w)."""
    m, d = len(w), gains[first] - gains[rival]
    cost = np.r_[np.zeros(m), np.full(m, 0.5)]
    unequal = np.block([[np.eye(m), -np.eye(m)], [-np.eye(m), -np.eye(m)], [d[None, :], np.zeros((1, m))]])
    found = linprog(cost, unequal, np.r_[w, -w, 0.0], np.r_[np.ones(m), np.zeros(m)][None, :], [1.0], bounds=(0, None))
    return found.fun if found.success else math.inf


@pytest.mark.parametrize("seed", range(40))
def test_the_flip_distance_is_that_of_a_linear_program(seed):
    rng = np.random.default_rng(seed)
    blades, m = rng.integers(2, 6), rng.integers(2, 7)
    w = rng.dirichlet(np.ones(m)) * (rng.random(m) > 0.2) + 1e-3
    w, gains = w / w.sum(), rng.normal(0, 1, (blades, m))
    first = int(np.argmax(gains @ w))
    distances = {i: program(w, gains, first, i) for i in range(blades) if i != first}
    found = flip_distance(7 * w, gains, OPINIONS)
    assert found.first == first and found.distance == pytest.approx(min(distances.values()), abs=1e-8)
    if math.isfinite(found.distance):
        assert distances[found.rival] == pytest.approx(found.distance, abs=1e-8)
        assert found.taste == (found.distance < 0.05)
    else:
        assert found.rival == -1 and not found.taste


def test_no_random_move_of_less_weight_changes_first_place():
    rng = np.random.default_rng(3)
    w, gains = np.array([0.4, 0.3, 0.2, 0.1]), rng.normal(0, 1, (4, 4))
    found = flip_distance(w, gains, OPINIONS)
    others = rng.dirichlet(np.ones(4), 20_000)
    moved = 0.5 * np.abs(others - w).sum(axis=1)
    flipped = np.argmax(others @ gains.T, axis=1) != found.first
    assert flipped.any() and moved[flipped].min() >= found.distance - 1e-12


def test_two_measures_by_hand():
    """0.7 x 0.2 - 0.3 x 0.1 = 0.11 ahead; each share moved from the first measure to the second takes 0.3: 0.11/0.3."""
    found = flip_distance([7, 3], [[0.2, 0.0], [0.0, 0.1]], OPINIONS)
    assert (found.first, found.rival, found.to) == (0, 1, 1) and found.distance == pytest.approx(0.11 / 0.3)
    assert not found.taste


@pytest.mark.parametrize(("ahead", "taste"), [(0.0149, True), (0.0151, False)])
def test_under_a_twentieth_of_the_weight_it_is_a_matter_of_taste(ahead, taste):
    """Two measures of weight 1/2, a share moved takes off 0.3 times itself: ahead by 0.015 is a twentieth."""
    found = flip_distance([1, 1], [[ahead + 0.15, ahead - 0.15], [0.0, 0.0]], OPINIONS)
    assert found.distance == pytest.approx(ahead / 0.3) and found.taste is taste


def test_weight_comes_first_from_where_the_rival_is_farthest_behind():
    """Ahead by 0.6 x 1 + 0.3 x 0.5 - 0.1 x 0.1 = 0.74: all 0.6 of the first measure takes off 0.6 x 1.1 = 0.66, and of
    the second 0.08/0.6 is needed."""
    w, gains = np.array([0.6, 0.3, 0.1]), np.array([[1.0, 0.5, 0.0], [0.0, 0.0, 0.1]])
    assert flip_distance(w, gains, OPINIONS).distance == pytest.approx(0.6 + 0.08 / 0.6)


def test_who_is_ahead_nowhere_never_comes_first_and_a_missing_measure_has_no_place():
    never = flip_distance([1, 1], [[1.0, 0.5], [0.5, 0.5]], OPINIONS)
    assert math.isinf(never.distance) and (never.first, never.rival, never.to) == (0, -1, -1)
    assert math.isinf(flip_distance([1, 1], [[1.0, 0.5], [1.0, 0.5]], OPINIONS).distance), "the same blade twice"
    found = flip_distance([1, 1], [[9.0, math.nan], [1.0, 0.0], [0.0, 0.5]], OPINIONS)
    assert (found.first, found.rival) == (1, 2)
    assert flip_distance([1, 1], [[math.nan, 1.0]], OPINIONS).first == -1
    one = flip_distance([1, 1], [[0.0, 1.0]], OPINIONS)
    assert (one.first, one.rival, one.distance) == (0, -1, math.inf)


def test_equals_by_the_weighting_flip_at_once():
    found = flip_distance([1, 1], [[1.0, 0.0], [0.0, 1.0]], replace(OPINIONS, taste_below=1e-9))
    assert found.distance == 0.0 and found.taste
