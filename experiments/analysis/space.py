"""Search spaces: numbers between 0 and 1 to recipes and back, shapes built in so that every point is of its kind."""

import math
from dataclasses import dataclass, replace

import numpy as np

from experiments.request.fields import Fields
from sim.blade.recipe import Recipe
from sim.errors import BladeError

SHAPES = ("free", "symmetric", "rear_flat", "mid_flat")
LONGEST_OVER_SHORTEST = math.log(4.0)  # a zone may be up to four times as long as another, before the limits on length
SAME_PLACE_M = 1e-6  # a level point or blend nearer to a fixed one than this is that one


@dataclass(frozen=True)
class Space:
    """What a search may vary. kind: zones, graded or spline; least, most: numbers of zones (or knots of the spline).

    radii_m, level_m, blend_m: (low, high); equal ends: fixed. base: length, sweeps and name of every recipe.
    """

    kind: str
    least: int
    most: int
    shape: str
    radii_m: tuple[float, float]
    level_m: tuple[float, float]
    blend_m: tuple[float, float]
    base: Recipe

    @property
    def free(self) -> int:
        """Radii that are free: half of them where the shape is symmetric."""
        return (self.most + 1) // 2 if self.shape == "symmetric" else self.most

    @property
    def names(self) -> tuple[str, ...]:
        """What each coordinate stands for."""
        out = ["zones"] if self.kind == "zones" and self.most > self.least else []
        out += [f"radius_{i + 1}" for i in range(self.free)]
        if self.kind == "zones" and self.most > 1:
            out += [f"share_{i + 1}" for i in range(self.free)]
        return (*out, *(n for n in ("level", "blend") if len(set(getattr(self, f"{n}_m"))) > 1))

    def recipe(self, point: np.ndarray, name: str = "found") -> Recipe:
        """The recipe at a point, (n,) within 0 and 1. Every point has one; whether it can be ground is asked apart."""
        u = dict(zip(self.names, np.clip(np.asarray(point, float), 0.0, 1.0)))
        low, high = (math.log(r) for r in self.radii_m)
        radii = [math.exp(low + u[f"radius_{i + 1}"] * (high - low)) for i in range(self.free)]
        shares = [math.exp(LONGEST_OVER_SHORTEST * (u.get(f"share_{i + 1}", 0.5) - 0.5)) for i in range(self.free)]
        count = self.least + min(int(u.get("zones", 0.0) * (self.most - self.least + 1)), self.most - self.least)
        radii, shares = self._shaped(radii, shares, count)
        where = {n: self._between(n, u) for n in ("level", "blend")}
        family = {"zones": "zoned", "graded": "graded", "spline": "spline"}[self.kind]
        if self.kind == "zones" and count == 1:
            family = "single_radius"
        return replace(
            self.base, name=name, family=family, radii_m=tuple(radii), level_m=where["level"], blend_m=where["blend"],
            shares=tuple(shares) if family == "zoned" else (),
        )  # fmt: skip

    def _between(self, name: str, u) -> float:
        low, high = getattr(self, f"{name}_m")
        return low + u.get(name, 0.0) * (high - low)

    def _shaped(self, radii, shares, count):
        """The first `count` radii and shares, heel to toe, in the order that the shape asks for."""
        if self.shape == "symmetric":
            half = (count + 1) // 2
            radii, shares = radii[:half], shares[:half]
            return [*radii, *radii[: count - half][::-1]], [*shares, *shares[: count - half][::-1]]
        radii, shares = radii[:count], shares[:count]
        if self.shape == "rear_flat":
            return sorted(radii, reverse=True), shares
        if self.shape == "mid_flat":
            out = []
            for i, r in enumerate(sorted(radii, reverse=True)):  # the longest first, then by turns to either side
                out = [*out, r] if i % 2 else [r, *out]
            return out, shares
        return radii, shares

    def point(self, recipe: Recipe) -> np.ndarray | None:
        """A point whose recipe this is, up to zones that share a radius; None where the space holds no such recipe.

        Runner length and turned-up ends are the space's own: shares are what is asked for.
        """
        count = len(recipe.radii_m)
        kind = "zones" if recipe.zones else recipe.family  # whatever family of zones there is
        if kind != self.kind or count > self.most or not self._fixed_alike(recipe):
            return None
        radii, shares = list(recipe.radii_m), list(recipe.shares or [1.0] * count)
        if count < self.least:  # one radius as several alike zones
            if count > 1:
                return None
            radii, shares, count = radii * self.least, [1.0] * self.least, self.least
        u = {"zones": (count - self.least + 0.5) / (self.most - self.least + 1)}
        low, high = (math.log(r) for r in self.radii_m)
        mean = np.exp(np.mean(np.log(shares)))
        for i in range(min(count, self.free)):
            u[f"radius_{i + 1}"] = (math.log(radii[i]) - low) / (high - low)
            u[f"share_{i + 1}"] = 0.5 + math.log(shares[i] / mean) / LONGEST_OVER_SHORTEST
        for name in ("level", "blend"):
            a, b = getattr(self, f"{name}_m")
            u[name] = (getattr(recipe, f"{name}_m") - a) / (b - a) if b > a else 0.0
        out = np.array([u.get(name, 0.5) for name in self.names])
        if not np.all((out > -1e-9) & (out < 1 + 1e-9)):
            return None
        again = self.recipe(out)  # another order of zones, or other lengths, than the shape's is none of its recipes
        if len(again.radii_m) != count or not np.allclose(again.radii_m, radii, rtol=1e-6):
            return None
        parts = [np.array(x) / sum(x) for x in (again.shares, shares)] if again.shares else [np.ones(1)] * 2
        return out if np.allclose(*parts, rtol=1e-6) else None

    def _fixed_alike(self, recipe: Recipe) -> bool:
        """Whether level and blend of a recipe are those of the space where it leaves no choice, to 1 um."""
        return all(
            low < high or abs(getattr(recipe, f"{name}_m") - low) < SAME_PLACE_M
            for name, (low, high) in (("level", self.level_m), ("blend", self.blend_m))
        )


def read_space(f: Fields, base: Recipe) -> Space:
    """Check a search space. Raises BladeError for counts, ranges or shapes that make none."""
    kind = f.choice("kind", ("zones", "graded", "spline"))
    most = {"zones": 5, "graded": 2, "spline": 12}[kind]
    counts = f.numbers("count", 1, most)
    if len(counts) != 2 or any(c != int(c) for c in counts) or counts[0] > counts[1]:
        raise BladeError(f"{f.path('count')}: write the least and the most, for example [1, 3], up to {most}.")
    least, top = (int(c) for c in counts)
    if kind == "graded":
        least = top = 2
    if kind == "spline" and (least != top or least < 3):
        raise BladeError(f"{f.path('count')}: a spline has one number of knots, 3 to 12; write for example [5, 5].")
    shape = f.choice("shape", SHAPES)
    if shape == "mid_flat" and least < 3:
        raise BladeError(f"{f.path('count')}: mid_flat has at least 3 zones; write for example [3, 5].")
    ranges = {}
    for key, unit, low, high in (("radii", "m", 0.5, 60), ("level", "m", -0.06, 0.06), ("blend", "m", 0, 0.1)):
        ends = f.quantities(key, unit)
        if len(ends) != 2 or not low <= ends[0] <= ends[1] <= high or (key == "radii" and ends[0] == ends[1]):
            raise BladeError(f"{f.path(key)}: write the low and the high end, in order, for example ['7 ft', '14 ft'].")
        ranges[f"{key}_m"] = (ends[0], ends[1])
    f.text("name", 40)
    f.done()
    return Space(kind, least, top, shape, base=base, **ranges)
