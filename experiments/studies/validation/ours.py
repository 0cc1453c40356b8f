"""Part 3: ours against ours. Forms derived here beside the solvers; that they meet says nothing about ice."""

import math

import numpy as np
import scipy

from experiments.studies.validation.checks import (
    AT_ZERO,
    CHECK_GAUSS,
    DEG,
    LAW,
    LEEUWEN,
    OURS,
    PLAIN,
    RINK,
    STANDING,
    VAN_LEEUWEN,
    Check,
    at_mid,
    blade,
    compare,
    drag,
    long_track,
)
from sim import closed_forms
from sim.blade.recipe import Recipe
from sim.blade.steel import Steel
from sim.ice.contact import Patch, press
from sim.ice.drag import film_shear, groove_area
from sim.ice.scrape import swept_area, tightest_clean_radius
from sim.skater.body import GRAVITY

OWN = "ours"
RIGID = LAW._replace(bending=0.0)
GRZEMBA = (f"formula {OURS}; effect described in Grzemba B., Pohrt R. (2024). Ice-versus-Steel Friction: An Advanced "
           "Numerical Approach for Competitive Winter Sports Applications. Lubricants 12(6), 203. "
           "doi:10.3390/lubricants12060203")  # fmt: skip


def standing_depth() -> list[Check]:
    """A runner that stands against one that glides."""
    load = 72 * 9.81
    slide, still = (at_mid(long_track(), load, law=law, ice=AT_ZERO) for law in (PLAIN, STANDING))
    return [
        compare("2d", OWN, "Upright speed skate: standing depth over gliding depth", 0.25, "1",
                still.depth / slide.depth, 1e-5, OURS, "72 kg, R 22 m, w 1.1 mm, flat, rebound off."),
    ]  # fmt: skip


def _projected(scale: float) -> float:
    """Radius at the deepest point of the 3 m curve with heights scaled, from heights 5 mm either way."""
    curve = Recipe("3 m", "single_radius", (3.0,)).curve()
    x, z, _, _ = curve.at(curve.length_m / 2 + np.array([-5e-3, 5e-3]))
    return closed_forms.radius_of_sagitta(x[1] - x[0], scale * z.mean())


def swept_over_straight(steel: Steel, patch: Patch, path_radius: float) -> float:
    """Least area swept along a path, over the groove of a straight run."""
    half = 0.5 * (patch.front - patch.tail) / path_radius

    def swept(yaw: float) -> float:
        return swept_area(steel, patch, path_radius, yaw, 200, 1000)

    grid = np.linspace(-half, half, 17)
    best = int(np.argmin([swept(yaw) for yaw in grid]))
    around = grid[max(best - 1, 0)], grid[min(best + 1, 16)]
    found = scipy.optimize.minimize_scalar(swept, bounds=around, method="bounded", options={"xatol": 1e-7})
    return float(min(found.fun, swept(0.0)) / groove_area(steel, patch, *CHECK_GAUSS))


def swept_groove() -> list[Check]:
    """Leaned edges: their projections, the groove they sweep, the tightest clean radius."""
    lean = 30 * DEG
    steel = blade("single_radius", 3.0, hollow=math.inf)
    patch = at_mid(steel, 80 * GRAVITY, lean, law=RIGID)
    clean = [swept_over_straight(steel, patch, rho) for rho in (20.0, 6.0, 3.0, 1.58)]
    above, beside = _projected(math.sin(lean)), _projected(math.cos(lean))
    return [
        compare("4a", OWN, "R 3 m at 30 deg: radius seen from above", 6.0, "m", above, 1e-5, GRZEMBA),
        compare("4b", OWN, "R 3 m at 30 deg: radius seen from the side", 3.464, "m", beside, 2e-4, GRZEMBA),
        compare("4c", OWN, "Flat edge at 30 deg: swept over straight area, paths of 20, 6, 3, 1.58 m", 1.0, "1",
                max(clean, key=lambda r: abs(r - 1)), 2e-4, OURS, "The path farthest from 1 is shown."),
        compare("4d", OWN, "The same on a path of 1.05 m", 1.42, "1", swept_over_straight(steel, patch, 1.05), 1e-2,
                OURS, "The reference figure is 'about 1.42'; converged it is 1.4285."),
        compare("4e", OWN, "Tightest clean radius of that edge", 1.5, "m", tightest_clean_radius(steel, patch), 1e-6,
                OURS, "Rigid steel; bending makes it longer."),
    ]  # fmt: skip


def _far_film() -> float:
    """Film far behind the front, m: from the shear that a longer contact adds, where h no longer changes."""
    arcs = [press(long_track(), LEEUWEN, STANDING, 0.0, 0.0, d, *CHECK_GAUSS) for d in (20e-6, 80e-6)]
    long = [p.front - p.rear for p in arcs]
    shear = [film_shear(long_track(), LEEUWEN, STANDING._replace(film=1.0), p, 10.0, 4096) for p in arcs]
    return LEEUWEN.viscosity * 10.0 * long_track().thickness * (long[1] - long[0]) / (shear[1] - shear[0])


def film_thickness() -> list[Check]:
    """Thickness of the melt film."""
    patch = at_mid(long_track(), 72 * GRAVITY)
    film = drag(long_track(), patch, 8.0)[1]
    mean = RINK.viscosity * 8.0 * long_track().thickness * (patch.front - patch.rear) / film
    return [
        compare("5", OWN, "Steady melt film, 10 m/s, b 1.1 mm, 14.7 MPa", 0.522, "um", _far_film() * 1e6, 2e-3,
                f"{OURS} with the constants of {VAN_LEEUWEN} (table read in a summary)",
                f"As shipped, 72 kg at 8 m/s and -5 deg C, the mean film of an upright speed skate is {mean * 1e6:.2f} "
                "um; the same author speaks of fractions of a um, which is too wide to be a check. A melt film on ice "
                "that yields at its hardness is one school: Lever & Lines (2022, J. Glaciology) argue for an ice-rich "
                "slurry."),
    ]  # fmt: skip
