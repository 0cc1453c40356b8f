"""Cleaning of gauge traces: direction, sign, tilt, offset, burrs, slips, and what is no trace."""

import numpy as np
import pytest

from sim.blade.trace import clean
from sim.errors import BladeError
from tests.blade.traces import RECIPES, heights, trace, turned

RECIPE = RECIPES["rear_flat"]


@pytest.fixture(scope="module")
def measured():
    return trace(RECIPE, 1e-3, 3e-6, seed=4)


def test_clean_heights_are_the_recipes_own(measured):
    x, z, _ = measured
    found = clean(x, z)
    _, _, true = heights(RECIPE)
    off = found.z_m - true(found.x_m)
    assert abs(found.x_m.mean()) < 1e-4 and not found.flagged.any() and found.upright
    line = np.polyval(np.polyfit(found.x_m, off, 1), found.x_m)
    assert np.std(off - line) == pytest.approx(3e-6, rel=0.12), "nothing but the noise is left"
    assert np.ptp(line) < 20e-6, "level at mid-runner as far as the tangent of one place can be known (some 50 urad)"


@pytest.mark.parametrize("tilt, offset", [(0.0, 0.0), (0.004, 1e-3), (-0.02, -3e-3), (0.05, 0.0)])
def test_tilt_and_offset_are_found_and_undone_exactly(measured, tilt, offset):
    x, z, _ = measured
    plain, laid = clean(x, z), clean(*turned(x, z, tilt, offset))
    assert np.max(np.abs(laid.x_m - plain.x_m)) < 1e-11 and np.max(np.abs(laid.z_m - plain.z_m)) < 1e-11
    assert laid.tilts_rad[0] - plain.tilts_rad[0] == pytest.approx(tilt, abs=1e-10)
    centre = turned(plain.x_m, plain.z_m, laid.tilts_rad[0], 0.0)
    back = turned(x, z, tilt, offset)
    assert np.ptp(back[1] - centre[1]) < 1e-10, "tilt and offset take the clean heights back to the raw ones"
    assert np.mean(back[1] - centre[1]) == pytest.approx(laid.offsets_m[0], abs=1e-10)


def test_direction_sign_and_order_do_not_matter(measured):
    x, z, _ = measured
    plain = clean(x, z)
    mixed = np.random.default_rng(0).permutation(len(x))
    for found in (
        clean(0.3 - x, z, first_end="toe"),
        clean(x, -z),
        clean(x, -z, heights="down"),
        clean(x, z, heights="up"),
    ):
        assert np.max(np.abs(found.x_m - plain.x_m)) < 1e-11 and np.max(np.abs(found.z_m - plain.z_m)) < 1e-11
    assert np.max(np.abs(clean(x[mixed], z[mixed]).z_m - plain.z_m[mixed])) < 1e-12
    turned_round = clean(x, z, first_end="toe")
    assert np.max(np.abs(turned_round.x_m + plain.x_m)) < 1e-9 and not clean(x, -z).upright


def test_passes_are_laid_on_each_other():
    x, z, passes = trace(RECIPE, 1e-3, 2e-6, seed=9, passes=3)
    found = clean(x, z, passes)
    each = found.z_m.reshape(3, -1), found.x_m.reshape(3, -1)
    for p in (1, 2):
        gap = each[0][p] - np.interp(each[1][p], each[1][0], each[0][0])
        line = np.polyfit(each[1][p], gap, 1)
        assert abs(line[0]) < 1e-5 and abs(line[1]) < 1e-6, "offset and tilt of the passes differ by noise only"
    raw = np.diff([np.polyfit(x[passes == p], z[passes == p], 2)[1] for p in range(3)])
    assert np.allclose(np.diff(found.tilts_rad), raw, atol=2e-5)


@pytest.mark.parametrize("row, size", [(100, 40e-6), (60, -25e-6), (220, 300e-6)])
def test_a_burr_is_flagged_where_it_is_and_by_its_size(measured, row, size):
    x, z, _ = measured
    dirty = z.copy()
    dirty[row] += size
    found = clean(x, dirty)
    assert [f.index for f in found.flags] == [(row,)] and found.flags[0].kind == "point"
    assert found.flags[0].size_m == pytest.approx(size, abs=12e-6) and np.flatnonzero(found.flagged).tolist() == [row]
    assert found.flags[0].x_m == pytest.approx(clean(x, z).x_m[row], abs=1e-5)
    kept = clean(np.delete(x, row), np.delete(z, row))
    assert np.max(np.abs(np.delete(found.z_m, row) - kept.z_m)) < 1e-11, "it moves nothing else"


def test_a_grain_of_dirt_over_three_points_is_one_group(measured):
    x, z, _ = measured
    dirty = z.copy()
    dirty[150:153] -= [28e-6, 34e-6, 30e-6]
    found = clean(x, dirty)
    assert sorted(i for f in found.flags for i in f.index) == [150, 151, 152]
    assert "group" in [f.kind for f in found.flags]


@pytest.mark.parametrize("first, size", [(90, 25e-6), (140, -50e-6), (200, 200e-6)])
def test_a_slipped_probe_is_found_and_undone(measured, first, size):
    x, z, _ = measured
    slipped = z.copy()
    slipped[first:] += size
    found, plain = clean(x, slipped), clean(x, z)
    assert [(f.kind, f.index) for f in found.flags] == [("step", (first,))] and not found.flagged.any()
    assert found.flags[0].size_m == pytest.approx(size, abs=6e-6)
    assert found.flags[0].x_m == pytest.approx(plain.x_m[first - 1 : first + 1].mean(), abs=1e-5)
    assert np.max(np.abs(found.z_m - plain.z_m)) < 15e-6, "a step of its own, with its own error"
    assert found.rows.steps.shape[1] == 1


def test_a_slip_in_one_pass_leaves_the_others():
    x, z, passes = trace(RECIPE, 2e-3, 3e-6, seed=2, passes=2)
    later = (passes == 1) & (np.arange(len(x)) >= 141 + 60)
    found = clean(x, z + 60e-6 * later, passes)
    assert [(f.kind, f.index) for f in found.flags] == [("step", (201,))]
    assert found.flags[0].size_m == pytest.approx(60e-6, abs=8e-6)


def test_clean_noise_is_hardly_ever_flagged():
    flagged = sum(bool(clean(*trace(RECIPE, 5e-3, 3e-6, seed)).flags) for seed in range(30))
    print(f"traces of clean noise with a flag: {flagged} of 30")
    assert flagged <= 2


def test_many_rows_are_averaged_and_a_spike_among_them_is_still_found():
    rng = np.random.default_rng(5)
    low, high, true = heights(RECIPE)
    x = rng.uniform(low, high, 30_000)
    z = true(x) + rng.normal(0, 5e-6, len(x))
    z[1234] += 300e-6
    found = clean(x, z)
    assert found.averaged == 30_000 and len(found.rows.x_m) <= 900 and found.rows.weight.sum() == 30_000 - 1
    assert [f.index for f in found.flags] == [(1234,)] and found.flags[0].size_m == pytest.approx(300e-6, abs=25e-6)


def _spoilt(share):
    x, z, _ = trace(RECIPE, 1e-3, 3e-6, seed=1)
    bad = np.random.default_rng(3).choice(len(x), round(share * len(x)), replace=False)
    z = z.copy()
    z[bad] += np.where(np.arange(len(bad)) % 2, 1, -1) * 120e-6
    return x, z


def test_up_to_a_seventh_of_bad_points_is_borne_and_more_refused():
    assert 0.05 < clean(*_spoilt(0.08)).flagged.mean() < 0.12
    with pytest.raises(BladeError, match=r"at most 15% may"):
        clean(*_spoilt(0.25))


@pytest.mark.parametrize("spoil, more, words", [
    (lambda x, z: (x[:9], z[:9]), {}, "too few"),
    (lambda x, z: (x, np.where(np.arange(len(z)) == 6, np.nan, z)), {}, "row 7 is not a finite"),
    (lambda x, z: (x, np.where(np.arange(len(z)) == 0, np.inf, z)), {}, "row 1 is not a finite"),
    (lambda x, z: (x[:-1], z), {}, "one of each"),
    (lambda x, z: (1e3 * x, 1e3 * z), {}, "positions in m"),
    (lambda x, z: (x[:60], z[:60]), {}, "spans 59 mm"),
    (lambda x, z: (x, z), {"first_end": "left"}, "first_end"),
    (lambda x, z: (x, z), {"heights": "sideways"}, "heights is"),
    (lambda x, z: (x, z), {"heights": "down"}, "concave, hollow by"),
    (lambda x, z: (x, -z), {"heights": "up"}, "concave, hollow by"),
    (lambda x, z: (x, z), {"pass_id": np.r_[np.zeros(276, int), np.ones(5, int)]}, "pass 1 has 5 points"),
])  # fmt: skip
def test_what_is_no_trace_is_refused(measured, spoil, more, words):
    with pytest.raises(BladeError, match=words):
        clean(*spoil(*measured[:2]), **more)
