"""Draws: each column against its stated law, quantiles and shares known in closed form, limits as literal numbers."""

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from scipy import stats

from experiments.analysis.draws import (
    beats,
    checked_draw_count,
    columns_of,
    intervals,
    ranks,
    ratio_samples,
    run_draws,
    sample,
)
from experiments.request.uncertainty import Input
from sim.errors import BladeError
from sim.measures import STATIC, evaluate
from sim.trial import Trial
from tests.experiments.analysis.hand import FT, ICE, PAIRS, TEN, blade, draws_of, request, section_of, setting

HARDNESS = Input("hardness_factor", stats.norm(1.0, 0.16), "test")
REBOUND = Input("rebound_factor", stats.uniform(0.6, 0.4), "test")
RADIUS = Input("radius_factor", stats.norm(1.0, 0.01), "test")
LEVEL = Input("level_shift", stats.norm(0.0, 0.002), "test")


def read(unknowns):
    return SimpleNamespace(reading=None if unknowns is None else SimpleNamespace(unknowns=unknowns))


# ---------------------------------------------------------------- columns and points


def test_errors_of_grinding_are_each_blades_own_and_all_else_is_shared():
    found = columns_of([RADIUS, HARDNESS, LEVEL], [read(None), read(None)])
    assert found == [("hardness_factor", -1), ("radius_factor", 0), ("radius_factor", 1),
                     ("level_shift", 0), ("level_shift", 1)]  # fmt: skip


def test_a_measured_blade_brings_the_unknowns_of_its_trace_and_no_errors_of_grinding():
    found = columns_of([HARDNESS, RADIUS], [read(3), read(None), read(2)])
    assert found == [("hardness_factor", -1), ("trace_0", -1), ("trace_1", -1), ("trace_2", -1), ("radius_factor", 1)]


@pytest.mark.parametrize("draws", [1024, 1000])  # Sobol points; a Latin hypercube
def test_every_column_follows_its_law_on_its_own(draws):
    """mean and standard deviation: normal(1, 0.16), uniform(0.6, 1.0): 0.8 and 0.4/sqrt(12), trace: standard normal."""
    inputs = [HARDNESS, REBOUND, RADIUS]
    columns = columns_of(inputs, [read(1), read(None), read(None)])
    points = sample(inputs, columns, draws, seed=4)
    assert [name for name, _ in columns] == ["hardness_factor", "rebound_factor", "trace_0", *["radius_factor"] * 2]
    means, widths = [1.0, 0.8, 0.0, 1.0, 1.0], [0.16, 0.4 / math.sqrt(12), 1.0, 0.01, 0.01]
    assert points.shape == (draws, 5) and np.isfinite(points).all()
    assert points.mean(axis=0) == pytest.approx(means, abs=2e-3)
    assert points.std(axis=0) == pytest.approx(widths, rel=0.02)
    assert 0.6 <= points[:, 1].min() < 0.601 and 0.999 < points[:, 1].max() <= 1.0
    apart = np.corrcoef(points.T) - np.eye(5)
    assert np.abs(apart).max() < 0.12, "two columns go together"


def test_the_seed_and_nothing_else_makes_the_points():
    columns = [("hardness_factor", -1), ("rebound_factor", -1)]
    one, again, other = (sample([HARDNESS, REBOUND], columns, 64, seed) for seed in (1, 1, 2))
    assert np.array_equal(one, again) and np.abs(one - other).min() > 0


def test_sobol_points_fill_every_sixteenth_evenly():
    """A net in base 2: 64 points have just four in each sixteenth of every column."""
    points = sample([REBOUND], [("rebound_factor", -1)], 64, seed=3)[:, 0]
    assert np.histogram(points, 16, (0.6, 1.0))[0].tolist() == [4] * 16


@pytest.mark.parametrize(("blades", "most"), [(1, 2_000_000), (10, 200_000), (200, 5_000), (1000, 200), (2000, 50)])
def test_most_draws_by_hand(blades, most):
    """2 million blades in all, and 200 million pairs: from 100 blades on the pairs count."""
    assert checked_draw_count(most, blades) == most
    with pytest.raises(BladeError, match=f"use at most {most} draws"):
        checked_draw_count(most + 1, blades)


def test_more_blades_than_points_have_dimensions_are_refused():
    with pytest.raises(BladeError, match="2001 are too many"):
        checked_draw_count(1, 2001)
    with pytest.raises(BladeError, match="robust_draws: 201 draws"):
        checked_draw_count(201, 1000, "robust_draws")


# ---------------------------------------------------------------- what is evaluated


def test_a_draw_is_the_blades_as_one_would_build_them_by_hand():
    """Two blades, a shared hollow and hardness, each its own radius; the third hollow is too narrow."""
    temperature = Input("temperature_shift", stats.norm(0, 1), "test")
    hollow = Input("hollow_factor", stats.norm(1, 0.03), "test")
    blades = [blade(10, name="a"), blade(9, name="b")]
    points = np.array([[1.0, -2.0, 1.1, 0.9], [1.25, 0.0, 1.0, 1.0], [0.1, 0.0, 1.0, 1.0]])
    found = run_draws(request(blades, pairs=PAIRS), [hollow, temperature, RADIUS], 3, 1, points=points)
    assert found.columns == ("hollow_factor", "temperature_shift", "radius_factor of a", "radius_factor of b")
    assert found.pairs == PAIRS[:2] and found.gain.shape == (3, 2, 2)
    assert found.failed.tolist() == [False, False, True] and np.isnan(found.values[2]).all()
    for i, feet in enumerate((11.0, 8.1)):
        colder = setting(ice=replace(ICE, temperature_c=-7.0))
        values, _ = evaluate(Trial(blade(feet), colder), STATIC)
        assert found.values[0, i] == pytest.approx([values[n] for n in STATIC], rel=1e-9, abs=1e-12)
        base, _ = evaluate(Trial(TEN, colder), STATIC)
        assert found.references[0] == pytest.approx([base[n] for n in STATIC], rel=1e-9, abs=1e-12)
    shallow = section_of(2.9e-3, 15.875e-3)
    values, _ = evaluate(Trial(blade(10, section=shallow), setting(reference=blade(10, section=shallow))), STATIC)
    assert found.values[1, 0] == pytest.approx([values[n] for n in STATIC], rel=1e-9, abs=1e-12)
    assert found.values[1, 0] == pytest.approx(found.references[1]), "the reference has this draw's hollow as well"
    # 10 ft against single radii on its own hollow: on the line of the turn and steadiness
    assert found.gain[:2, 0, 1] == pytest.approx(1.0, abs=0.005)
    # score of the first: 3/4 of log2 of the drag, 1/4 of log2 of the hold (better above 1)
    drag, hold = (found.values[0, 1, STATIC.index(n)] / found.references[0, STATIC.index(n)]
                  for n in ("turn_drag", "push_hold_angle"))  # fmt: skip
    assert found.score[0, 1] == pytest.approx(-0.75 * math.log2(drag) + 0.25 * math.log2(hold))


def test_a_draw_counts_as_failed_by_any_blade_or_the_reference():
    made = draws_of(
        {"turn_drag": np.array([[1, 1], [1, np.nan], [1, 1], [1, 1]])}, references={"turn_scrape": [1, 1, np.nan, 1]}
    )
    assert made.failed.tolist() == [False, True, True, False]


# ---------------------------------------------------------------- what is made of them


def test_ratios_to_the_reference_of_the_same_draw_and_differences_of_what_changes_sign():
    block = np.array([[2.0, 3.0], [8.0, 2.0], [1.0, 1.0]])
    made = draws_of(
        {"turn_drag": block, "pitch_bias": block}, references={"turn_drag": [2, 4, 0], "pitch_bias": [2, 4, 0]}
    )
    assert ratio_samples(made, "turn_drag")[:2].tolist() == [[1.0, 1.5], [2.0, 0.5]]
    assert np.isnan(ratio_samples(made, "turn_drag")[2]).all(), "a ratio to nothing is none"
    assert ratio_samples(made, "pitch_bias").tolist() == [[0, 1], [4, -2], [1, 1]]


def test_intervals_are_the_5_50_and_95_percent_quantiles():
    """Of 0, 1, ... 100: 5, 50 and 95; failures do not count, and nothing at all gives nan."""
    column = np.arange(101.0)
    missing = np.concatenate([column, [np.nan] * 3])
    found = intervals(np.column_stack([missing, missing[::-1] * 2, np.full(104, np.nan)]))
    assert found[:, 0].tolist() == pytest.approx([5, 50, 95]) and found[:, 1].tolist() == pytest.approx([10, 100, 190])
    assert np.isnan(found[:, 2]).all()


def test_who_beats_whom_with_ties_and_failures_by_hand():
    samples = np.array([[1.0, 2.0], [3.0, 2.0], [5.0, 5.0], [7.0, 6.0], [np.nan, 9.0]])
    assert beats(samples, "higher").tolist() == [[0.5, 0.625], [0.375, 0.5]]  # 2 of 4 won, one shared
    assert beats(samples, "lower").tolist() == [[0.5, 0.375], [0.625, 0.5]]
    assert np.isnan(beats(samples[4:], "higher")).all()


def test_ranks_with_ties_by_hand():
    samples = np.array([[3.0, 3.0, 1.0], [1.0, 2.0, 3.0], [np.nan, 1.0, 2.0]])
    assert ranks(samples, "higher").tolist() == [[1, 1, 3], [3, 2, 1]]
    assert ranks(samples, "lower").tolist() == [[2, 2, 1], [1, 2, 3]]


def test_the_line_of_a_draw_goes_on_beyond_the_radii_of_the_request():
    """Longer than any stated radius, 20 ft is on the line and not beyond it; two zones about 20 ft have the same gain
    from 6 to 16 ft, continued, as from 6 to 40 ft, stated."""
    points = np.array([[1.0]])
    blades = [blade(20, name="one"), blade(19, 21, name="two")]
    short = run_draws(request(blades), [HARDNESS], 1, 1, points=points)
    wide = run_draws(request(blades, line_m=(6 * FT, 40 * FT)), [HARDNESS], 1, 1, points=points)
    assert short.gain[0, 0, 0] == wide.gain[0, 0, 0] == 1.0
    assert short.gain[0, 1, 0] == pytest.approx(wide.gain[0, 1, 0], rel=1e-3) and short.gain[0, 1, 0] < 1.02
