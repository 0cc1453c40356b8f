"""One edge proud of the other: load sharing, hold, pivot and turn against a section turned by quadrature."""

import math

import numpy as np
import pytest
from scipy.optimize import brentq

from sim.blade.recipe import Recipe
from sim.blade.section import rises
from sim.ice import drag, scrape, sideways
from sim.ice.contact import GAUSS, press
from sim.ice.standing import stand
from tests.cases import HOLLOW_M, STATES, THICKNESS_M, LeanedSection, bottom, steel_of

GX = GAUSS[24]
PROUD = 25e-6


@pytest.fixture
def patches(single, ice, law):
    """Contacts of a state on level edges, and with the inside edge standing proud by d."""

    def solve(state, proud):
        lean, load, line = STATES[state]
        steel = steel_of(single)._replace(tilt=proud / THICKNESS_M)
        return steel, stand(steel, ice, law, math.tan(lean), load, line, *GX)

    return solve


def numbers(steel, patch, ice, law):
    """All that a contact gives: drag, film, groove, pivot both ways, hold, load share, clean radius."""
    return np.array([
        drag.ploughing(steel, ice, law, patch, *GX), drag.film_shear(steel, ice, law, patch, 8.0, 128),
        drag.groove_area(steel, patch, *GX), sideways.pivot(steel, ice, law, patch, True, *GX),
        sideways.pivot(steel, ice, law, patch, False, *GX), sideways.hold_angle(steel, ice, law, patch, *GX),
        sideways.inside_share(steel, ice, law, patch, *GX), scrape.tightest_clean_radius(steel, patch),
    ])  # fmt: skip


@pytest.mark.parametrize("proud", [-PROUD, PROUD])
@pytest.mark.parametrize("state", ["glide", "pivot, forefoot", "push"])
def test_load_follows_the_turned_section(state, proud, patches, ice, law):
    # the turned hollow, cut by root finding: its width at every depth must carry the load
    steel, patch = patches(state, proud)
    section = LeanedSection(THICKNESS_M, HOLLOW_M, abs(patch.t + proud / THICKNESS_M))
    depths = np.linspace(0, patch.depth, 400)
    area = np.trapezoid([section.width(n) for n in depths], depths)
    assert drag.groove_area(steel, patch, *GX) == pytest.approx(area, rel=2e-3)
    assert patch.load == pytest.approx(STATES[state][1], rel=1e-9)


@pytest.mark.parametrize("lean", [0.0, 0.27, 0.8])
@pytest.mark.parametrize("tilt", [-0.0086, 0.0086, 0.03])
@pytest.mark.parametrize("n", [5e-6, 4e-5, 9e-5, 3e-4, 2e-3])
def test_rises_against_a_summed_bottom(lean, tilt, n):
    # climb of v + tilt u over the immersed strips, summed step by step
    across = lean + tilt
    mirrored = across < 0
    across, seen = abs(across), -tilt if mirrored else tilt
    section = LeanedSection(THICKNESS_M, HOLLOW_M, across)
    b, c = section.strips(n)
    out = inward = 0.0
    for low, high in ((0.0, b), (c, THICKNESS_M)):
        u = np.linspace(low, high, 40001)
        step = np.diff(bottom(u, THICKNESS_M, HOLLOW_M) + seen * u)
        out, inward = out + step[step > 0].sum(), inward - step[step < 0].sum()
    assert rises(n, across, THICKNESS_M, HOLLOW_M, seen) == pytest.approx((out, inward), rel=1e-5, abs=1e-12)


def test_upright_the_two_edges_are_alike(patches, ice, law):
    # mirror image: drag the same, and the share of the load on the other side
    up, down = (numbers(*patches("glide", d), ice, law) for d in (PROUD, -PROUD))
    np.testing.assert_allclose(up[:5], [*down[:3], down[4], down[3]], rtol=1e-9)
    assert up[6] == pytest.approx(1 - down[6], abs=1e-9) and up[6] > 0.55


def test_level_edges_share_alike_and_small_changes_are_linear(patches, ice, law):
    level = numbers(*patches("pivot, forefoot", 0.0), ice, law)
    assert numbers(*patches("glide", 0.0), ice, law)[6] == pytest.approx(0.5, abs=1e-12)
    up, down = (numbers(*patches("pivot, forefoot", d), ice, law) / level - 1 for d in (PROUD, -PROUD))
    np.testing.assert_allclose(up + down, 0, atol=0.02 * np.abs(up).max())
    assert up[5] > 0.05 and up[3] > 0.05  # a proud loaded edge bites and holds against pivoting


def test_hold_turns_with_the_edge_line(patches, ice, law):
    # a flat bottom has no hollow to hold by: its hold angle is the tilt of the edge line itself
    steel, _ = patches("push", PROUD)
    flat = steel._replace(hollow=math.inf)
    lean, load, line = STATES["push"]
    patch = stand(flat, ice, law, math.tan(lean), load, line, *GX)
    assert math.tan(sideways.hold_angle(flat, ice, law, patch, *GX)) == pytest.approx(PROUD / THICKNESS_M, rel=1e-9)


def test_swept_area_of_a_straight_run_is_the_groove(patches, ice, law):
    for state, proud in (("turn", PROUD), ("turn", -PROUD), ("glide", -PROUD)):
        steel, patch = patches(state, proud)
        swept = scrape.swept_area(steel, patch, 1e9, 0.0, 96, 4000)
        assert swept == pytest.approx(drag.groove_area(steel, patch, *GX), rel=2e-3)


def test_clean_radius_with_a_proud_edge(patches, ice, law):
    # scrape itself is the oracle: none above the radius, some below it
    steel, patch = patches("turn", PROUD)
    clean = scrape.tightest_clean_radius(steel, patch)
    groove = drag.groove_area(steel, patch, *GX)
    inside, outside = (scrape.swept_area(steel, patch, clean * k, 0.0, 192, 6000) / groove - 1 for k in (0.93, 1.02))
    assert outside < 1e-3 < 3e-3 < inside


def cut_beyond_the_groove(path_radius, radius, depth, hollow, lean, tilt):
    """Greatest depth, m, by which sections along the arc cut outside the groove of the deepest one.

    Sections are moved along their track by hand: at x the steel stands x^2/2R higher and lies x^2/2 rho to the outside,
    seen across the leaned blade; both grooves are dense heights over the same columns.
    """
    u = np.linspace(0.0, THICKNESS_M, 1501)
    high = bottom(u, THICKNESS_M, hollow) + u * (math.tan(lean) + tilt)
    most = 0.0
    for x in np.linspace(0.0, math.sqrt(2 * radius * depth), 24)[1:-1]:
        out = x * x / (2 * path_radius) * math.cos(lean)
        place = u + out  # columns that this section cuts
        here = depth - (radius - math.sqrt(radius**2 - x * x)) - high
        groove = np.where(place <= THICKNESS_M, np.interp(place, u, depth - high), 0.0)
        most = max(most, np.max(np.where(here > 0, here - np.maximum(groove, 0.0), 0.0)))
    return most


@pytest.mark.parametrize("hollow", [HOLLOW_M, math.inf])
@pytest.mark.parametrize("lean_deg", [20.0, 42.0])
@pytest.mark.parametrize("tilt", [-0.03, -0.0086, 0.0, 0.0086, 0.03])
def test_clean_radius_with_uneven_edges_by_moving_sections(ice, law, hollow, lean_deg, tilt):
    """An inside edge that stands proud tilts the bottom: the path must be wider. Bisected to where ice is first cut."""
    radius, lean = 3.048, math.radians(lean_deg)
    steel = steel_of(Recipe("r", "single_radius", (radius,)), hollow=hollow)._replace(tilt=tilt)
    patch = stand(steel, ice, law, math.tan(lean), STATES["glide"][1], 0.0, *GX)
    assert patch.depth < THICKNESS_M * (math.tan(lean) + tilt), "the outside edge is clear of the ice"
    wanted = brentq(
        lambda rho: cut_beyond_the_groove(rho, radius, patch.depth, hollow, lean, tilt) - 1e-9, 0.3, 4.0, xtol=1e-4
    )
    ours = scrape.tightest_clean_radius(steel, patch)
    print(f"lean {lean_deg} deg, tilt {tilt}: clean radius {ours:.4f} m, by moving sections {wanted:.4f} m")
    assert ours == pytest.approx(wanted, rel=3e-3)


def test_no_clean_radius_where_the_outside_edge_is_in_the_ice(ice, law, single):
    """Upright, or with the outside edge as low as the lean lifts it, or pressed deeper than the tilted edge line."""
    load = STATES["glide"][1]
    for lean, tilt in ((0.0, 0.0), (0.0, -0.0086), (0.1, -0.1), (0.1, -0.12)):
        steel = steel_of(single)._replace(tilt=tilt)
        patch = stand(steel, ice, law, lean, load, 0.0, *GX)
        assert scrape.tightest_clean_radius(steel, patch) == math.inf
    # between the two: 2.9 mm x 0.1 = 290 um, and with the outside edge proud by 100 um only 190 um
    for tilt, clear in ((0.0, True), (-100e-6 / THICKNESS_M, False)):
        steel = steel_of(single)._replace(tilt=tilt)
        patch = press(steel, ice, law, 0.1, 0.0, 240e-6, *GX)
        assert math.isfinite(scrape.tightest_clean_radius(steel, patch)) == clear
