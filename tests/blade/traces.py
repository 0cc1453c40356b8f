"""Gauge traces of known blades, for the tests of reading them."""

import numpy as np
from scipy.interpolate import CubicHermiteSpline

from sim.blade.recipe import Recipe
from tests.cases import FT

RECIPES = {
    "single": Recipe("single", "single_radius", (10 * FT,)),
    "rear_flat": Recipe("rear_flat", "rear_flat", (13 * FT, 10 * FT, 7 * FT)),
    "mid_flat": Recipe("mid_flat", "mid_flat", (8 * FT, 13 * FT, 8 * FT)),
    "eased": Recipe("eased", "rear_flat_eased", (10 * FT, 13 * FT, 9 * FT, 7 * FT)),
}
BOUNDARIES_M = {"single": (), "rear_flat": (-0.04, 0.04), "mid_flat": (-0.04, 0.04), "eased": (-0.06, 0.0, 0.06)}


def heights(recipe):
    """Ends (x) and height of the recipe's curve as a function of x."""
    first, step, z, slope = recipe.curve().table
    x = first + step * np.arange(len(z))
    return x[0], x[-1], CubicHermiteSpline(x, z, slope)


def noise(rng, count, sigma_m, rho=0.0):
    """White, or first-order autoregressive, of standard deviation sigma_m."""
    e = rng.normal(0, sigma_m, count)
    for i in range(1, count) if rho else ():
        e[i] = rho * e[i - 1] + np.sqrt(1 - rho**2) * e[i]
    return e


def turned(x, z, tilt_rad, offset_m):
    """A blade laid toe-up by a tilt, its gauge zeroed elsewhere."""
    return (
        x * np.cos(tilt_rad) - z * np.sin(tilt_rad),
        x * np.sin(tilt_rad) + z * np.cos(tilt_rad) + offset_m,
    )


def trace(recipe, pitch_m, sigma_m, seed=0, passes=1, rho=0.0):
    """position, height, pass_id of a whole runner, end to end; passes differ by 2 mrad and 1 mm."""
    rng = np.random.default_rng(seed)
    low, high, z = heights(recipe)
    x = np.linspace(low, high, round((high - low) / pitch_m) + 1)
    parts = []
    for p in range(passes):
        laid = turned(x, z(x) + noise(rng, len(x), sigma_m, rho), rng.normal(0, 2e-3), rng.normal(0, 1e-3))
        parts.append((*laid, np.full(len(x), p)))
    return tuple(np.concatenate(part) for part in zip(*parts))
