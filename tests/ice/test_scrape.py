"""Turn scrape: clean radius, swept areas, and the slow reference model."""

import math

import numpy as np
import pytest

from sim.blade.recipe import Recipe
from sim.ice.drag import groove_area
from sim.ice.scrape import swept_area, tightest_clean_radius, turn_scrape
from sim.ice.standing import settle, stand
from tests import reference_model
from tests.cases import FT, GRAVITY, HOLLOW_M, STATES, THICKNESS_M, WEIGHT_N, bottom, steel_of

FINE = (400, 1600)  # stations and columns where accuracy is wanted
SHIPPED = (32, 64)  # as the movement program uses them


def turn_on(speed, radius):
    """lean, load of a steady turn."""
    t = speed**2 / (GRAVITY * radius)
    return math.atan(t), WEIGHT_N * math.hypot(1.0, t)


def union_by_raster(curve, patch, path_radius, yaw, cells=1500):
    """Swept area by painting: every immersed section cuts its cells of a fine (u, depth) raster; count what is cut."""
    s = np.linspace(0, curve.length_m, 60001)
    x, z, _, _ = curve.at(s)
    height = z * math.cos(patch.beta) - x * math.sin(patch.beta)
    height -= height.min()
    stations = np.linspace(patch.tail, patch.front, 1501)
    n = np.maximum(0.0, patch.depth - np.interp(stations, x, height))
    q = stations - patch.deepest
    out = -(yaw * q - q * q / (2 * path_radius)) / math.hypot(1.0, patch.t)
    low, high = out.min(), (out + THICKNESS_M).max()
    du = (high - low) / cells
    columns = low + (np.arange(cells) + 0.5) * du
    best = np.zeros(cells)
    for place, depth in zip(out, n):
        u = columns - place
        under = (u >= 0) & (u <= THICKNESS_M)
        best[under] = np.maximum(best[under], depth - bottom(u[under], THICKNESS_M, HOLLOW_M) - u[under] * patch.t)
    return best.sum() * du


@pytest.mark.parametrize("radius", [2.0, 3.048, 4.0])
@pytest.mark.parametrize("lean_deg", [20.0, 42.0])
@pytest.mark.parametrize("hollow", [HOLLOW_M, math.inf])
def test_tightest_clean_radius_of_a_single_radius(ice, law, gauss, radius, lean_deg, hollow):
    """rho_c = R sin(lean + bite)/cos(bite), by hand from the projections of the edge."""
    blade = steel_of(Recipe("r", "single_radius", (radius,)), hollow=hollow)
    lean = math.radians(lean_deg)
    patch = stand(blade, ice, law, math.tan(lean), WEIGHT_N, 0.0, *gauss)
    bite = 0.0 if math.isinf(hollow) else math.asin(THICKNESS_M / (2 * hollow))
    by_hand = radius * math.sin(lean + bite) / math.cos(bite)
    assert tightest_clean_radius(blade, patch) == pytest.approx(by_hand, rel=2e-3)


def test_no_scrape_on_a_track_wider_than_the_tightest_clean_radius(single, steel, ice, law, gauss):
    """Not by the early return alone: the swept area itself equals the groove area there, and grows when tighter."""
    lean, load, _ = STATES["turn"]
    patch = stand(steel, ice, law, math.tan(lean), load, 0.0, *gauss)
    clean = tightest_clean_radius(steel, patch)
    groove = groove_area(steel, patch, *gauss)
    for share in (1.0, 1.05, 1.5, 5.0):
        assert turn_scrape(steel, ice, patch, share * clean, *SHIPPED, *gauss) == 0.0
        assert swept_area(steel, patch, share * clean, 0.0, *FINE) == pytest.approx(groove, rel=1e-3)
        assert union_by_raster(single.curve(), patch, share * clean, 0.0) == pytest.approx(groove, rel=2e-3)
    for share in (0.9, 0.7):
        assert turn_scrape(steel, ice, patch, share * clean, *FINE, *gauss) > 0.02


def test_scrape_starts_without_a_jump_and_grows_as_the_turn_tightens(steel, ice, law, gauss):
    lean, load, line = STATES["turn"]
    patch = stand(steel, ice, law, math.tan(lean), load, line, *gauss)
    clean = tightest_clean_radius(steel, patch)
    forces = [turn_scrape(steel, ice, patch, clean * q, *FINE, *gauss) for q in np.linspace(1.0, 0.4, 25)]
    assert forces[0] == 0.0 and forces[1] < 0.2
    assert np.all(np.diff(forces[2:]) > 0)


@pytest.mark.parametrize("path_radius", [2.5, 1.8, 1.2])
@pytest.mark.parametrize("yaw", [-4e-3, 0.0, 4e-3])
def test_swept_area_against_a_painted_raster(zoned, zoned_steel, ice, law, gauss, path_radius, yaw):
    lean, load, line = STATES["turn"]
    patch = stand(zoned_steel, ice, law, math.tan(lean), load, line, *gauss)
    ours = swept_area(zoned_steel, patch, path_radius, yaw, *FINE)
    assert ours == pytest.approx(union_by_raster(zoned.curve(), patch, path_radius, yaw), rel=5e-3)


def test_swept_over_straight_area_of_a_flat_section(ice, law, gauss):
    """R 3 m, lean 30 deg, flat: 1 at 20, 6, 3 and 1.58 m (clean radius 1.5 m), about 1.42 at 1.05 m (by hand)."""
    blade = steel_of(Recipe("R3", "single_radius", (3.0,)), hollow=math.inf)
    patch = settle(blade, ice, law, math.tan(math.radians(30)), 0.0, WEIGHT_N, 5e-5, *gauss)
    groove = groove_area(blade, patch, *gauss)
    least = [
        min(swept_area(blade, patch, rho, yaw, *FINE) for yaw in np.append(np.linspace(-0.02, 0.02, 81), 0.0)) / groove
        for rho in (20.0, 6.0, 3.0, 1.58, 1.05)
    ]
    print("swept over straight area, wanted 1 1 1 1 1.42, ours", [f"{a:.3f}" for a in least])
    assert least[:4] == pytest.approx([1.0] * 4, abs=2e-3)
    assert least[4] == pytest.approx(1.42, rel=2e-2)


def scrape_gap(blade, slow_curve, ice, law, gauss, lean, load, line, path_radius, grid):
    slow = reference_model.at_load_line(
        slow_curve,
        reference_model.section(THICKNESS_M, HOLLOW_M, lean),
        ice.hardness,
        load,
        line,
        **reference_model.FIRST_FORM,
    )
    theirs = reference_model.scrape(slow, path_radius, nx=1201, nu=2001, scan=13)
    patch = stand(blade, ice, law, math.tan(lean), load, line, *gauss)
    ours = turn_scrape(blade, ice, patch, path_radius, *grid, *gauss)
    print(f"rho {path_radius} m, line {line * 1e3:.0f} mm, grid {grid}: scrape {ours:.4f} N, reference {theirs:.4f} N")
    return ours, theirs


def assert_scrape_agrees(ours, theirs):
    assert abs(ours - theirs) < max(0.02, 0.02 * theirs), f"scrape {ours:.4f} N, reference model {theirs:.4f} N"


@pytest.mark.parametrize("grid", [SHIPPED, FINE])
@pytest.mark.parametrize("speed, path_radius", [(4.0, 1.8), (3.0, 1.2)])
def test_scrape_against_the_reference_model(steel, ice, law, gauss, grid, speed, path_radius):
    slow = reference_model.single_radius(10 * FT)
    lean, load = turn_on(speed, path_radius)
    assert_scrape_agrees(*scrape_gap(steel, slow, ice, law, gauss, lean, load, 0.03, path_radius, grid))


@pytest.mark.parametrize("grid", [SHIPPED, FINE])
@pytest.mark.parametrize("line", [-0.03, 0.045])
def test_scrape_of_a_zoned_recipe_against_the_reference_model(zoned_steel, ice, law, gauss, grid, line):
    slow = reference_model.curve([(0.08, 13 * FT), (0.08, 10 * FT), (0.08, 7 * FT)])
    lean, load = turn_on(4.0, 1.8)
    assert_scrape_agrees(*scrape_gap(zoned_steel, slow, ice, law, gauss, lean, load, line, 1.8, grid))
