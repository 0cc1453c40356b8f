"""Recipes that lie on a bound of the space that was searched, and the same recipe with that bound moved outward."""

import math
from dataclasses import dataclass, replace

from experiments.analysis.grinding import Grinding
from experiments.analysis.shop import WHOLE_STEPS, ShopSteps, stepped
from experiments.analysis.space import LONGEST_OVER_SHORTEST, Space
from sim.blade.recipe import Recipe

WIDER = 0.10  # a bound is moved outward by this share: of a radius or a ratio; of the range, for level point and blend
SAME_LENGTH_M = 5e-4  # zones nearer in length than this are as long
NEAR_RATIO = 0.99  # a ratio of zone lengths of more than this share of the greatest lies on that bound


@dataclass(frozen=True)
class Bound:
    """A bound that a recipe lies on. what: radius, level, blend, length (longest zone over shortest) or zones (their
    number); low: the lower end; value: m, a ratio or a number; zones: numbers from the heel of the zones that lie on it
    (of a radius); wider: the bound moved outward, nan where it cannot be; moved: the recipe with its numbers there."""

    what: str
    low: bool
    value: float
    zones: tuple[int, ...] = ()
    wider: float = math.nan
    moved: Recipe | None = None


def bounds_of(recipe: Recipe, raw: Recipe, space: Space, steps: ShopSteps, limits: Grinding) -> list[Bound]:
    """Every bound that a recipe in shop steps lies on. raw: the space's own recipe that it was rounded from.

    A radius, level point or blend lies on a bound that is nearer than half a step. Moved by 10 % and to a whole step,
    at least one, but not beyond what can be ground: where the bound is already the grinder's limit, nothing is moved.
    """
    out = [b for low in (True, False) if (b := _radius(recipe, space, steps, limits, low))]
    for what, within in (("level", (-math.inf, math.inf)), ("blend", (limits.least_blend_m, math.inf))):
        out += [b for low in (True, False) if (b := _place(recipe, what, space, steps, within, low))]
    if raw.shares and (bound := _length(recipe, raw)):
        out.append(bound)
    if space.kind == "zones" and space.least < space.most == len(raw.radii_m):
        out.append(Bound("zones", False, space.most))
    return out


def _radius(recipe: Recipe, space: Space, steps: ShopSteps, limits: Grinding, low: bool) -> Bound | None:
    value = space.radii_m[0 if low else 1]
    at = [abs(r - value) <= steps.radius_m / 2 * (1 + WHOLE_STEPS) for r in recipe.radii_m]
    if not any(at):
        return None
    wider = _outward(value, WIDER * value, steps.radius_m, low, limits.least_radius_m, limits.greatest_radius_m)
    found = Bound("radius", low, value, tuple(i + 1 for i, here in enumerate(at) if here))
    if math.isnan(wider):
        return found
    radii = tuple(wider if here else r for r, here in zip(recipe.radii_m, at))
    return replace(found, wider=wider, moved=replace(recipe, radii_m=radii))


def _place(recipe: Recipe, what: str, space: Space, steps: ShopSteps, within, low: bool) -> Bound | None:
    """Level point or blend."""
    ends, here = getattr(space, f"{what}_m"), getattr(recipe, f"{what}_m")
    value = ends[0 if low else 1]
    if ends[0] == ends[1] or abs(here - value) > steps.boundary_m / 2 * (1 + WHOLE_STEPS):
        return None
    wider = _outward(value, WIDER * (ends[1] - ends[0]), steps.boundary_m, low, *within)
    found = Bound(what, low, value)
    return found if math.isnan(wider) else replace(found, wider=wider, moved=replace(recipe, **{f"{what}_m": wider}))


def _outward(value: float, by: float, step: float, low: bool, least: float, most: float) -> float:
    """A bound moved outward by so much, in whole steps, at least one, within least and most; nan where there is none
    beyond the bound."""
    side = -1 if low else 1
    wider = stepped(value + side * by, step)
    half = step / 2 * (1 - WHOLE_STEPS)
    if side * (wider - value) < half:
        wider += side * step
    wider = stepped(wider, step, least, most)
    return wider if side * (wider - value) >= half else math.nan


def _length(recipe: Recipe, raw: Recipe) -> Bound | None:
    """Zones as unlike in length as the space holds: the longest ones longer and the shortest ones shorter by half."""
    most = math.exp(LONGEST_OVER_SHORTEST)
    if max(raw.shares) / min(raw.shares) < NEAR_RATIO * most:
        return None
    wider, lengths = most * (1 + WIDER), [zone.length_m for zone in recipe.zones]
    if len(lengths) != len(raw.shares):
        return Bound("length", False, most)  # zones were joined: what would be moved is not there
    longest, shortest = max(lengths), min(lengths)
    factor = math.sqrt(wider * shortest / longest)
    longer, shorter = longest - SAME_LENGTH_M, shortest + SAME_LENGTH_M
    shares = tuple(x * factor if x > longer else x / factor if x < shorter else x for x in lengths)
    return Bound("length", False, most, wider=wider, moved=replace(recipe, shares=shares))
