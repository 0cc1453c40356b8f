"""What a shop can order and one grind can tell apart: recipes in shop steps, and the tolerance of a grind."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import accumulate, pairwise

from experiments.analysis.space import Space
from experiments.request.fields import Fields
from experiments.request.uncertainty import Input
from sim.blade.recipe import Recipe
from sim.errors import BladeError
from sim.quantities import FOOT_M

FINEST_STEP_M, COARSEST_RADIUS_M, COARSEST_BOUNDARY_M = 1e-4, 1.0, 0.02  # of the steps that may be asked for
WHOLE_STEPS = 1e-9  # relative: whole steps differ by this much in rounding


@dataclass(frozen=True)
class ShopSteps:
    """Steps in which a shop takes orders. radius_m: of radii; boundary_m: of zone boundaries, level point and blend,
    where those are free; metric: radii are said in mm, not in ft."""

    radius_m: float
    boundary_m: float
    metric: bool = False


@dataclass(frozen=True)
class Tolerance:
    """What one grind is uncertain by: radii by a share or an absolute step, whichever is larger; m for the rest."""

    radius_share: float
    radius_m: float
    boundary_m: float
    level_m: float

    def of_radius(self, radius_m: float) -> float:
        """Tolerance of a radius, m."""
        return max(self.radius_m, self.radius_share * radius_m)


def read_steps(fields: Fields) -> ShopSteps:
    """`radius_step` and `boundary_step` of a config. Raises BladeError for steps that no shop works in."""
    out = []
    for key, most in (("radius_step", COARSEST_RADIUS_M), ("boundary_step", COARSEST_BOUNDARY_M)):
        value = fields.quantity(key, "m")
        if not FINEST_STEP_M <= value <= most:
            raise BladeError(f"{fields.path(key)}: {value * 1e3:g} mm; use a step of 0.1 mm to {most * 1e3:g} mm.")
        out.append(value)
    return ShopSteps(*out, metric=str(fields.raw("radius_step")).strip().endswith("m"))  # mm, cm, m; not ft, in


def tolerance_of(steps: ShopSteps, inputs: Sequence[Input]) -> Tolerance:
    """Standard deviation of the errors of grinding that are drawn, or the shop's step where that is larger."""
    sd = {i.name: float(i.law.std()) for i in inputs}
    return Tolerance(
        sd.get("radius_factor", 0.0), steps.radius_m, max(sd.get("boundary_shift", 0.0), steps.boundary_m),
        max(sd.get("level_shift", 0.0), steps.boundary_m),
    )  # fmt: skip


def stepped(value: float, step: float, low: float = -math.inf, high: float = math.inf) -> float:
    """The whole number of steps nearest to a value, within low and high where such a number lies there; m, to 1 pm."""
    least, most = (-math.inf if math.isinf(low) else math.ceil(low / step - WHOLE_STEPS),
                   math.inf if math.isinf(high) else math.floor(high / step + WHOLE_STEPS))  # fmt: skip
    count = round(value / step)
    return round(step * (min(max(count, least), most) if least <= most else count), 12)


def rounded(recipe: Recipe, steps: ShopSteps, space: Space) -> Recipe:
    """The recipe as a shop would be given it, within the space where its bounds leave a whole step.

    Radii to radius_m; zone boundaries along the arc, and level point and blend where the space leaves them free, to
    boundary_m. Neighbours that come to one radius are one zone. Shares are then lengths in mm. Raises BladeError where
    a zone is rounded away.
    """
    free = {
        f"{name}_m": stepped(getattr(recipe, f"{name}_m"), steps.boundary_m, low, high)
        for name, (low, high) in (("level", space.level_m), ("blend", space.blend_m)) if low < high
    }  # fmt: skip
    return replace(in_steps(recipe, steps, *space.radii_m), **free)


def in_steps(recipe: Recipe, steps: ShopSteps, shortest_m: float = 0.0, longest_m: float = math.inf) -> Recipe:
    """The recipe with radii and zone boundaries in whole steps; radii within bounds, m, and never rounded to nothing.

    Neighbours that come to one radius are one zone. Shares are then lengths in mm. Raises BladeError where a zone is
    rounded away.
    """
    shortest = max(shortest_m, steps.radius_m)
    radii = tuple(stepped(r, steps.radius_m, shortest, longest_m) for r in recipe.radii_m)
    if not recipe.zones:
        return replace(recipe, radii_m=radii)
    inner = [stepped(b, steps.boundary_m) for b in boundaries(recipe)]
    lengths = [b - a for a, b in pairwise([0.0, *inner, recipe.working_m])]
    return _of_zones(recipe, radii, lengths)


def _of_zones(recipe: Recipe, radii: Sequence[float], lengths: Sequence[float]) -> Recipe:
    """The recipe with these zones, m; neighbours of one radius joined."""
    zones = [[radii[0], lengths[0]]]
    for r, length in zip(radii[1:], lengths[1:]):
        if math.isclose(r, zones[-1][0], rel_tol=WHOLE_STEPS):
            zones[-1][1] += length
        else:
            zones.append([r, length])
    if len(zones) == 1:
        return replace(recipe, family="single_radius", radii_m=(zones[0][0],), shares=())
    shares = tuple(round(length * 1e3, 6) for _, length in zones)
    return replace(recipe, family="zoned", radii_m=tuple(r for r, _ in zones), shares=shares)


def boundaries(recipe: Recipe) -> list[float]:
    """Boundaries between zones, m along the arc from the end of the heel sweep; none for one radius, graded, spline."""
    return list(accumulate(zone.length_m for zone in recipe.zones))[:-1]


def one_radius(recipe: Recipe, tolerance: Tolerance) -> bool:
    """Whether all radii lie within the tolerance of one grind: a single radius, whatever it is called."""
    longest = max(recipe.radii_m)
    return longest - min(recipe.radii_m) <= tolerance.of_radius(longest) * (1 + WHOLE_STEPS)


def one_grind(one: Recipe, other: Recipe, tolerance: Tolerance) -> bool:
    """Whether one grind cannot tell two recipes of one runner apart: every number nearer than its tolerance.

    Recipes of another number of radii, or of another kind (zones, graded, spline), are told apart.
    """
    if len(one.radii_m) != len(other.radii_m) or _kind(one) != _kind(other):
        return False
    near = [abs(a - b) < tolerance.of_radius(max(a, b)) * (1 - WHOLE_STEPS) for a, b in zip(one.radii_m, other.radii_m)]
    places = [(a, b, tolerance.boundary_m) for a, b in zip(boundaries(one), boundaries(other))]
    places += [(one.level_m, other.level_m, tolerance.level_m), (one.blend_m, other.blend_m, tolerance.boundary_m)]
    return all(near) and all(abs(a - b) < most * (1 - WHOLE_STEPS) for a, b, most in places)


def _kind(recipe: Recipe) -> str:
    return "zones" if recipe.zones else recipe.family


def radius_words(radius_m: float, metric: bool) -> str:
    """A radius without its unit, as ordered: mm, or ft."""
    return f"{radius_m * 1e3:.6g}" if metric else f"{radius_m / FOOT_M:.6g}"
