"""Reading a worn blade: radii, zones and their intervals against known recipes, a circle library and the sagitta."""

import pickle
import pkgutil
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from circle_fit import hyperSVD, taubinSVD
from threadpoolctl import threadpool_info, threadpool_limits

from sim.blade.circle import best_circle
from sim.blade.outliers import search
from sim.blade.reading import read_blade
from sim.blade.recipe import Recipe, Sweep
from sim.blade.smooth import Rows, fit
from sim.blade.wear import compare, deviation, wear
from sim.errors import BladeError
from tests.blade.traces import BOUNDARIES_M, RECIPES, heights, noise, trace, turned
from tests.cases import FT

BARE = {"heel_sweep": Sweep(0.0), "toe_sweep": Sweep(0.0)}


@cache
def read(kind, pitch_m=1e-3, sigma_m=3e-6, seed=0, passes=1, rho=0.0):
    return read_blade(*trace(RECIPES[kind], pitch_m, sigma_m, seed, passes, rho))


def inside(intervals, truths):
    return [i.low <= t <= i.high for i, t in zip(intervals, truths, strict=True)]


def width(interval):
    return interval.high - interval.low


def numbers(reading):
    spans = (*reading.radii_m, *reading.boundaries_m, reading.single.radius_m, reading.level_from_trace_m)
    return np.array([v for s in spans for v in (s.value, s.low, s.high)])


# ---- single radius ----


def test_best_circle_is_that_of_an_established_library():
    """The geometric circle has no closed form; on 10 ft with 3 um the two algebraic ones agree with it to 1e-6."""
    _, _, z = heights(RECIPES["single"])
    x = np.linspace(-0.1, 0.1, 401)
    y = z(x) + noise(np.random.default_rng(1), len(x), 3e-6)
    kappa, off = best_circle(x, y, np.ones(len(x)))
    for method in (hyperSVD, taubinSVD):
        _, _, radius, level = method(np.column_stack([x, y]))
        assert 1 / kappa == pytest.approx(radius, rel=1e-6)
        assert np.sqrt(np.mean(off**2)) == pytest.approx(level, rel=1e-4)
    kappa, _ = best_circle(*turned(x, y, 0.3, 1.0), np.ones(len(x)))
    assert 1 / kappa == pytest.approx(radius, rel=1e-6), "a circle has no up"


def test_best_circle_through_three_points_obeys_the_sagitta_formula():
    """R = L^2/(8 s) + s/2, chord L and sagitta s (textbook); also hollow, and straight."""
    for chord, sagitta in ((0.2, 1.64e-3), (0.05, 0.2e-3), (0.28, 5e-3)):
        x = np.array([-chord / 2, 0.0, chord / 2])
        z = np.array([sagitta, 0.0, sagitta])
        expected = chord**2 / (8 * sagitta) + sagitta / 2
        assert 1 / best_circle(x, z, np.ones(3))[0] == pytest.approx(expected, rel=1e-9)
        assert 1 / best_circle(x, -z, np.ones(3))[0] == pytest.approx(-expected, rel=1e-9)
    assert abs(best_circle(np.linspace(-1, 1, 9), np.zeros(9), np.ones(9))[0]) < 1e-12


def test_single_radius_of_a_zoned_blade_is_the_circle_of_its_points_and_its_distance():
    reading = read("rear_flat")
    low, high = reading.working_m
    keep = (reading.x_m >= low) & (reading.x_m <= high)
    points = np.column_stack([reading.x_m, reading.z_m])[keep]
    centre_x, centre_z, radius, _ = hyperSVD(points)
    # hyperSVD weighs algebraic distances; 100 um off a circle that is worth under 1e-4 of R
    assert reading.single.radius_m.value == pytest.approx(radius, rel=1e-4)
    _, _, true = heights(RECIPES["rear_flat"])
    off = radius - np.hypot(reading.x_m[keep] - centre_x, true(reading.x_m[keep]) - centre_z)
    assert reading.single.rms_m == pytest.approx(np.std(off), rel=0.05)
    assert reading.single.greatest_m == pytest.approx(np.abs(off - off.mean()).max(), rel=0.1)


# ---- smooth curve ----


def test_smooth_curve_reproduces_a_circle_and_its_band_shrinks_with_the_noise():
    x = np.linspace(-0.1, 0.1, 201)
    z = 3.0 - np.sqrt(9.0 - x**2)
    widths = []
    for sigma in (1e-6, 1e-5):
        y = z + noise(np.random.default_rng(3), len(x), sigma)
        rows = Rows(x, y, np.ones(201), np.zeros(201, int), np.zeros((201, 0)))
        smooth = fit(rows, 0.3)
        _, _, kappa, sd = smooth.at(x)
        assert np.max(np.abs(kappa - 1 / 3) / sd) < 4
        assert smooth.sigma_m == pytest.approx(sigma, rel=0.15)
        widths.append(np.median(sd))
    assert 3 < widths[1] / widths[0] < 30


def test_curvature_is_the_derivative_of_the_smooth_heights():
    smooth = read("eased").smooth
    x, h = np.linspace(-0.1, 0.1, 41), 1e-4
    z, slope, kappa, _ = smooth.at(x)
    ahead, behind = smooth.at(x + h)[0], smooth.at(x - h)[0]
    assert np.allclose((ahead - behind) / (2 * h), slope, atol=1e-7)
    assert np.allclose((ahead + behind - 2 * z) / h**2 / (1 + slope**2) ** 1.5, kappa, atol=2e-4)


@pytest.mark.parametrize("kind", ["single", "rear_flat"])
def test_curvature_lies_in_its_band_over_most_of_the_working_part(kind):
    curve = RECIPES[kind].curve()
    x, _, _, true = curve.at(np.linspace(0, curve.length_m, 2801))
    shares = []
    for seed in range(3):
        reading = read(kind, 4e-3, 3e-6, seed)
        grid, _, _, low, high = reading.smoothed()
        keep = (grid > reading.working_m[0]) & (grid < reading.working_m[1])
        truth = np.interp(grid, x, true)[keep]
        shares.append(np.mean((low[keep] <= truth) & (truth <= high[keep])))
    print(f"{kind}: {np.mean(shares):.3f} of the curvature in its 90 % band")
    assert np.mean(shares) > 0.75


@pytest.mark.parametrize("sigma", [1e-6, 3e-6, 1e-5])
def test_noise_is_recovered_from_residuals_and_from_passes(sigma):
    reading = read("rear_flat", 4e-3, sigma, 8, 3)
    assert reading.sigma_m == pytest.approx(sigma, rel=0.12)
    assert reading.sigma_repeat_m == pytest.approx(sigma, rel=0.15)
    assert abs(reading.lag1) < 0.25 and reading.effective_rows > 150


# ---- zones and sweeps ----


@pytest.mark.parametrize("kind", RECIPES)
def test_a_known_recipe_is_read_back(kind):
    reading, recipe = read(kind, 1e-3, 1e-6), RECIPES[kind]
    assert [r.value for r in reading.radii_m] == pytest.approx(recipe.radii_m, rel=0.015)
    assert [b.value for b in reading.boundaries_m] == pytest.approx(BOUNDARIES_M[kind], abs=2e-3)
    assert reading.trace_m == pytest.approx(0.28, abs=1e-4)
    for sweep in (reading.heel_sweep, reading.toe_sweep):
        assert sweep.length_m == pytest.approx(0.020, abs=5e-4) and sweep.radius_m == pytest.approx(0.120, rel=0.03)
    assert reading.working_m == pytest.approx((-0.1078, 0.1078), abs=1.5e-3), "sweeps' blends end 110 mm off the middle"
    again = reading.recipe("again")
    assert len(again.radii_m) == len(recipe.radii_m) and again.family == (
        "zoned" if len(again.radii_m) > 1 else kind + "_radius"
    )
    _, dz, low, high = deviation(reading, recipe)
    assert np.max(np.abs(dz)) < 1.5e-6 and np.mean((low <= 0) & (0 <= high)) > 0.7
    steel = again.curve(), recipe.curve()
    s = np.linspace(0.03, 0.25, 221)
    gap = steel[0].at(s)[1] - steel[1].at(s)[1]
    gap -= np.polyval(np.polyfit(s, gap, 1), s)
    assert np.max(np.abs(gap)) < 2e-6, "the recipe of the reading is the recipe of the blade"


def test_other_sweeps_are_described_and_none_where_there_are_none():
    odd = Recipe("odd", "single_radius", (3.0,), heel_sweep=Sweep(0.035, 0.2), toe_sweep=Sweep(0.0))
    reading = read_blade(*trace(odd, 1e-3, 3e-6))
    assert reading.toe_sweep is None and reading.heel_sweep.length_m == pytest.approx(0.035, abs=1.5e-3)
    assert reading.heel_sweep.radius_m == pytest.approx(0.2, rel=0.03)
    assert reading.working_m[1] == pytest.approx(0.14, abs=1e-3) and len(reading.radii_m) == 1
    assert reading.recipe("odd").toe_sweep.length_m == 0.0


def test_a_trace_of_the_working_part_gets_default_sweeps_when_the_runner_is_longer():
    x, z, _ = trace(RECIPES["rear_flat"], 1e-3, 2e-6)
    keep = np.abs(x) < 0.105
    reading = read_blade(x[keep], z[keep], length_m=0.28)
    again = reading.recipe("whole")
    assert reading.heel_sweep is reading.toe_sweep is None and again.length_m == 0.28
    assert again.heel_sweep.length_m == pytest.approx(0.035, abs=1e-3) and again.heel_sweep.radius_m == 0.12
    ground = read_blade(x[keep], z[keep], ground=RECIPES["rear_flat"])
    assert ground.recipe("g").heel_sweep == Sweep() and ground.length_m == 0.28
    with pytest.raises(BladeError, match="does not fit"):
        read_blade(x, z, length_m=0.2)


def test_three_passes_say_more_than_one():
    one, three = read("mid_flat", 4e-3, 3e-6, 1), read("mid_flat", 4e-3, 3e-6, 1, 3)
    widths = [np.mean([width(i) / i.value for i in r.radii_m]) for r in (one, three)]
    assert 0.4 < widths[1] / widths[0] < 0.8, "1/sqrt(3)"


# ---- invariance ----


@pytest.mark.parametrize("way", ["tilted", "flipped", "turned round", "shuffled", "raised"])
def test_how_it_was_measured_does_not_change_the_reading(way):
    x, z, _ = trace(RECIPES["rear_flat"], 4e-3, 2e-6, 3)
    plain = read_blade(x, z)
    mixed = np.random.default_rng(1).permutation(len(x))
    other = {
        "tilted": lambda: read_blade(*turned(x, z, 0.015, 2e-3)),
        "flipped": lambda: read_blade(x, -z, heights="down"),
        "turned round": lambda: read_blade(0.5 - x, z, first_end="toe"),
        "shuffled": lambda: read_blade(x[mixed], z[mixed]),
        "raised": lambda: read_blade(x + 1.0, z - 0.01),
    }[way]()
    own = slice(None) if way != "tilted" else slice(0, -3)  # the level point of a tilted trace does move
    assert np.max(np.abs(numbers(other)[own] - numbers(plain)[own])) < 1e-9, "1 nm on radii of metres"


def test_a_blade_turned_toe_for_heel_reads_mirrored():
    x, z, _ = trace(RECIPES["rear_flat"], 2e-3, 2e-6, 3)
    plain, other = read_blade(x, z), read_blade(x, z, first_end="toe")
    for a, b in zip(plain.radii_m, other.radii_m[::-1]):
        assert a.value == pytest.approx(b.value, abs=0.4 * (a.high - a.low))
    assert other.boundaries_m[0].value == pytest.approx(-plain.boundaries_m[1].value, abs=1e-3)


def test_level_point_of_the_trace():
    """Toe-up by 3 mrad on R 3 m: the trace is level 9 mm behind the middle."""
    low, high, z = heights(Recipe("r", "single_radius", (3.0,), **BARE))
    x = np.linspace(low, high, 281)
    laid = turned(x, z(x) + noise(np.random.default_rng(0), 281, 1e-6), 3e-3, 0.0)
    reading = read_blade(*laid)
    level = reading.level_from_trace_m
    assert level.value == pytest.approx(-9e-3, abs=1e-4) and level.low <= -9e-3 <= level.high
    assert reading.recipe("r", level_from_trace=True).level_m == level.value and reading.recipe("r").level_m == 0.0
    assert any("level" in note for note in reading.notes)
    steep = read_blade(*turned(x, z(x), 0.2, 0.0))
    assert steep.level_from_trace_m is None
    with pytest.raises(BladeError, match="nowhere level"):
        steep.recipe("r", level_from_trace=True)


# ---- draws ----


def test_draws_spread_as_the_intervals_and_always_make_a_blade():
    reading = read("eased", 5e-3, 3e-6)
    zones = len(reading.radii_m)
    assert zones == 4 and reading.unknowns == 2 * zones - 1
    rng = np.random.default_rng(0)
    values = reading.draw_values(rng.standard_normal((20_000, reading.unknowns)))
    values[:, :zones] = np.exp(values[:, :zones])
    for i, span in enumerate((*reading.radii_m, *reading.boundaries_m)):
        low, middle, high = np.quantile(values[:, i], [0.05, 0.5, 0.95])
        width = span.high - span.low
        assert (low, middle, high) == pytest.approx((span.low, span.value, span.high), abs=0.04 * width)
    for _ in range(50):
        drawn = reading.drawn(4 * rng.standard_normal(reading.unknowns))
        assert drawn.curve().length_m == pytest.approx(reading.length_m)
    assert reading.drawn(np.zeros(reading.unknowns)).radii_m == pytest.approx(reading.recipe("r").radii_m, rel=1e-9)
    with pytest.raises(BladeError, match="7 finite numbers"):
        reading.drawn(np.zeros(3))


def test_neighbouring_unknowns_are_correlated_in_the_draws_as_in_the_fit():
    """A boundary that moves toward the heel makes the heel zone shorter and, to turn as much, shorter in radius."""
    reading = read("rear_flat", 5e-3, 3e-6)
    values = reading.draw_values(np.random.default_rng(0).standard_normal((4000, 5)))
    assert np.corrcoef(values[:, 0], values[:, 3])[0, 1] < -0.3


def test_a_reading_can_be_pickled_and_not_changed():
    reading = read("single", 5e-3, 3e-6)
    again = pickle.loads(pickle.dumps(reading))
    assert np.array_equal(numbers(again), numbers(reading)) and again.recipe("r") == reading.recipe("r")
    with pytest.raises(AttributeError):
        reading.length_m = 0.3


# ---- outliers, correlation ----


def test_burr_and_slip_hardly_move_the_reading():
    x, z, _ = trace(RECIPES["mid_flat"], 2e-3, 2e-6, 6)
    plain = read_blade(x, z)
    dirty = z.copy()
    dirty[45] += 60e-6
    dirty[80:] += 45e-6
    reading = read_blade(x, dirty)
    assert {(f.kind, f.index) for f in reading.flags} == {("point", (45,)), ("step", (80,))}
    assert len(reading.radii_m) == 3 and reading.flagged.sum() == 1
    for a, b in zip(plain.radii_m, reading.radii_m):
        assert abs(a.value - b.value) < 2 * (b.high - b.low) and b.high - b.low < 8 * (a.high - a.low)
    assert len([n for n in reading.notes if "slipped" in n or "left out" in n]) == 2


@pytest.mark.slow
def test_correlated_noise_widens_the_intervals_and_is_said():
    """At rho 0.8 points are worth a ninth and intervals are truly three times as wide; slow drift passes for shape."""
    ratios = []
    for seed in (1, 2, 3):
        white, drifting = read("rear_flat", 1e-3, 3e-6, seed), read("rear_flat", 1e-3, 3e-6, seed, rho=0.8)
        assert drifting.lag1 > 0.4 and drifting.effective_rows < 80 < white.effective_rows
        assert any("correlated" in n for n in drifting.notes) and not any("correlated" in n for n in white.notes)
        ratios.append(width(drifting.single.radius_m) / width(white.single.radius_m))
    print("intervals of the single radius widen by", np.round(np.ravel(ratios), 2))
    assert 1.5 < np.mean(ratios) < 4


def test_a_search_of_a_noisy_line_finds_nothing():
    found = search(np.linspace(0, 0.3, 80), noise(np.random.default_rng(2), 80, 1e-5), np.ones(80))
    assert found.groups == () and found.slips == () and found.sweeps == (False, False)


# ---- refusals ----


def _line(sigma, pitch=1e-3):
    x = np.arange(-0.14, 0.14, pitch)
    return x, 0.01 * x + noise(np.random.default_rng(7), len(x), sigma)


def _parabola(radius, sigma=3e-6):
    x = np.linspace(-0.14, 0.14, 141)
    return x, x * x / (2 * radius) + noise(np.random.default_rng(7), 141, sigma)


def _dented():
    x, z, _ = trace(RECIPES["single"], 1e-3, 3e-6)
    return x, z + 100e-6 * np.exp(-(((x - 0.03) / 0.012) ** 2) / 2)


def _hollow():
    x = np.linspace(-0.14, 0.14, 281)
    up = np.maximum(np.abs(x) - 0.115, 0.0) ** 2 * 4
    return x, up - x * x / 40 + noise(np.random.default_rng(7), 281, 3e-6)


@pytest.mark.parametrize("points, words", [
    (_line(3e-6), "flat bar is not a blade"),
    (_line(1e-5, 5e-3), "flat bar is not a blade"),
    (_parabola(90.0), "flat bar is not a blade"),
    (_parabola(0.35), r"radius 0\.3\d m is below 0\.5 m"),
    (_parabola(12.0, 1e-3), "flat within its noise|unsure by over"),
    (_dented(), r"concave from 2\d to 3\d mm .* hollow by"),
    (_hollow(), r"working part is concave, hollow by \d+ um"),
])  # fmt: skip
def test_what_is_no_blade_is_refused(points, words):
    with pytest.raises(BladeError, match=words) as refusal:
        read_blade(*points)
    assert str(refusal.value).endswith(".") and "\n" not in str(refusal.value)


# ---- deviation, comparison, wear ----


def test_deviation_is_measured_less_target_with_its_best_line_gone():
    reading, target = read("rear_flat", 1e-3, 1e-6), Recipe("t", "single_radius", (10 * FT,))
    x, dz, low, high = deviation(reading, target)
    (_, _, ours), (_, _, theirs) = heights(RECIPES["rear_flat"]), heights(target)
    expected = ours(x) - theirs(x)
    expected -= np.polyval(np.polyfit(x, expected, 1), x)
    assert np.ptp(expected) > 100e-6 and np.max(np.abs(dz - expected)) < 1.5e-6
    assert np.all(low < dz) and np.all(dz < high)
    tilted = deviation(reading, replace(target, level_m=0.02, pitch_offset_rad=0.003).curve())
    assert np.max(np.abs(tilted[1] - dz)) < 1e-12, "how the target sits on the boot is no deviation"


def test_left_against_right():
    left, right = read("rear_flat", 1e-3, 3e-6, 1), read("rear_flat", 1e-3, 3e-6, 2)
    same = compare(left, right)
    assert sum(s.low <= 0 <= s.high for s in (*same.radii_m, *same.boundaries_m)) >= 4
    assert np.mean((same.low_m <= 0) & (0 <= same.high_m)) > 0.7
    other = compare(left, read("mid_flat", 1e-3, 3e-6))
    assert other.radii_m[0].value == pytest.approx(5 * FT, rel=0.05) and other.radii_m[0].low > 0
    assert compare(left, read("single")).radii_m == ()


def test_wear_is_the_steel_lost_and_where():
    """15 um lost over a raised-cosine stretch of 60 mm centred 20 mm behind the middle: 15 um x 60 mm/2."""
    low, high, z = heights(RECIPES["single"])
    x = np.linspace(low, high, 281)
    u = np.abs(x + 0.020) / 0.030
    lost = np.where(u < 1, 7.5e-6 * (1 + np.cos(np.pi * u.clip(max=1))), 0.0)
    reading = read_blade(x, z(x) + lost + noise(np.random.default_rng(4), 281, 1.5e-6), ground=RECIPES["single"])
    worn = wear(reading)
    assert worn.area_m2.low <= 15e-6 * 0.03 <= worn.area_m2.high and worn.area_m2.high < 2 * worn.area_m2.low
    assert worn.centroid_m.value == pytest.approx(-0.020, abs=4e-3)
    assert worn.lost_m.max() == pytest.approx(15e-6, abs=4e-6)
    assert abs(worn.x_m[np.argmax(worn.lost_m)] + 0.020) < 6e-3
    fresh = wear(read("single"), RECIPES["single"])
    assert fresh.centroid_m is None and fresh.area_m2.low <= 0
    with pytest.raises(BladeError, match="ground to"):
        wear(read("single"))


# ---- coverage, slow ----


def _coverage(kind, pitch_m, sigma_m, count, rho=0.0, first=1000):
    recipe, radii, bounds, single, right = RECIPES[kind], [], [], [], 0
    for seed in range(first, first + count):
        reading = read_blade(*trace(recipe, pitch_m, sigma_m, seed, 1, rho))
        if len(reading.radii_m) == len(recipe.radii_m):
            right += 1
            radii.append(inside(reading.radii_m, recipe.radii_m))
            bounds.append(inside(reading.boundaries_m, BOUNDARIES_M[kind]))
        single.append(inside([reading.single.radius_m], recipe.radii_m[:1]))
    shares = np.mean(radii, axis=0), np.mean(bounds, axis=0)
    print(f"{kind}, {pitch_m * 1e3:g} mm, {sigma_m * 1e6:g} um, rho {rho}: right number of zones {right}/{count}; "
          f"90 % intervals hold radii {np.round(shares[0], 3)} boundaries {np.round(shares[1], 3)}")  # fmt: skip
    return right / count, shares[0], shares[1], float(np.mean(single))


@pytest.mark.slow
def test_stated_coverage_of_zones():
    """100 traces: a true 90 % lies within 90 +- 3 x 3 % in 99.7 % of cases for one, and the means within 84 to 97 %."""
    right, radii, bounds, _ = _coverage("rear_flat", 5e-3, 3e-6, 100)
    assert right > 0.9
    assert np.all(radii > 0.81) and np.all(bounds > 0.81)
    assert 0.84 <= radii.mean() <= 0.97 and 0.84 <= bounds.mean() <= 0.97


@pytest.mark.slow
def test_stated_coverage_of_a_single_radius():
    right, _, _, single = _coverage("single", 5e-3, 3e-6, 60)
    assert right > 0.9 and single >= 0.9 - 3 * np.sqrt(0.09 / 60)


@pytest.mark.parametrize(("module", "inner"), [("reading", "best_fits"), ("trace", "search")])
def test_linear_algebra_of_a_trace_runs_on_one_thread_and_gives_the_others_back(module, inner, monkeypatch):
    """More threads are slower on matrices this small, and change the last bits of radii and boundaries."""
    seen, place = [], f"sim.blade.{module}.{inner}"
    real = pkgutil.resolve_name(place)

    def threads():
        return {pool["num_threads"] for pool in threadpool_info() if pool["user_api"] == "blas"}

    monkeypatch.setattr(place, lambda *a, **k: seen.append(threads()) or real(*a, **k))
    with threadpool_limits(2, user_api="blas"):
        read_blade(*trace(RECIPES["single"], 5e-3, 3e-6, 1))
        assert threads() == {2}
    assert seen and all(found == {1} for found in seen)
