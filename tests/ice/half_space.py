"""Rebound of the ice behind the deepest point, solved in plan on an elastic half-space: the oracle of the closed form.

Rectangles are fitted to the loaded strips, column by column, so that the edge of a strip is the edge of a cell; each
settles the ice by Love's closed form; where the steel still touches follows from the complementarity conditions, by
active sets. Curve and section come from the slow reference model: nothing of sim/ is called.
"""

import math
from dataclasses import dataclass

import numpy as np

from tests import reference_model


@dataclass(frozen=True)
class Mesh:
    """How finely the footprint is cut: columns ahead of and behind the deepest point, cells across each strip."""

    front: int = 40
    rear: int = 24
    across: int = 8

    def halved(self) -> "Mesh":
        """Every cell cut in half, both ways."""
        return Mesh(2 * self.front, 2 * self.rear, 2 * self.across)


COARSE = Mesh(20, 12, 4)


@dataclass(frozen=True)
class Cells:
    """Rectangles in plan: centre x along the track from the deepest point, y across, half sides a, b; (k,), m, each."""

    x: np.ndarray
    y: np.ndarray
    a: np.ndarray
    b: np.ndarray

    @property
    def area(self) -> np.ndarray:
        return 4.0 * self.a * self.b

    def __add__(self, other: "Cells") -> "Cells":
        pairs = zip(vars(self).values(), vars(other).values())
        return Cells(*(np.concatenate(pair) for pair in pairs))


@dataclass(frozen=True)
class Solved:
    """A footprint with its pressure. rear: cells behind the deepest point; pressure: (k,) Pa there; load, rear_load: N,
    of all and of the rear; centre: place on the blade of the load, m; work: J given back by the rear per metre of
    track; rear_m: from the deepest point to the last cell that touches, m."""

    rear: Cells
    pressure: np.ndarray
    load: float
    rear_load: float
    centre: float
    work: float
    rear_m: float


def settlement(x: np.ndarray, y: np.ndarray, cells: Cells) -> np.ndarray:
    """Integral of dA/r over each cell, m, seen from points x, y, (m,): an array (m, k).

    Times p/(pi E*) it is the settlement under the pressure p on that cell (Love 1929; Johnson, Contact Mechanics,
    1985, eq. 3.25, value from memory): with X and Y the distances from a corner, the sum over corners of
    +-(X asinh(Y/|X|) + Y asinh(X/|Y|)). Worked number: the middle of a unit square, 4 asinh(1) = 3.5255.
    """
    total = np.zeros((len(x), len(cells.x)))
    for side in (-1.0, 1.0):
        along = x[:, None] - (cells.x - side * cells.a)
        for end in (-1.0, 1.0):
            across = y[:, None] - (cells.y - end * cells.b)
            total += side * end * (_corner(along, across) + _corner(across, along))
    return total


def _corner(one: np.ndarray, other: np.ndarray) -> np.ndarray:
    """one asinh(other/|one|), 0 where `one` is; the logarithm is twice as fast as asinh."""
    size = np.maximum(np.abs(one), 1e-30)
    return one * np.copysign(np.log((np.abs(other) + np.hypot(size, other)) / size), other)


def complementary(matrix: np.ndarray, target: np.ndarray, top: float, sweeps: int = 60) -> np.ndarray:
    """p, (k,), 0 <= p <= top, with w = matrix p - target: w >= 0 where p = 0, w = 0 between, w <= 0 where p = top.

    Active sets (primal-dual; Hintermueller, Ito & Kunisch 2002, value from memory): solve w = 0 on the cells held to
    lie between, move those that break a bound or whose w has the wrong sign, until none moves; then all conditions
    hold to rounding. Raises ArithmeticError when that takes more than `sweeps`.
    """
    free, full = target > 0.0, np.zeros(len(target), bool)
    for _ in range(sweeps):
        p = np.where(full, top, 0.0)
        known = target[free] - matrix[np.ix_(free, full)].sum(axis=1) * top
        p[free] = np.linalg.solve(matrix[np.ix_(free, free)], known)
        w = matrix @ p - target
        now_full = np.where(free, p > top, full & (w <= 0.0))
        now_free = np.where(free, (p >= 0.0) & (p <= top), np.where(full, w > 0.0, w < 0.0))
        if np.array_equal(now_full, full) and np.array_equal(now_free, free):
            return p
        full, free = now_full, now_free
    raise ArithmeticError(f"the cells that touch have not settled in {sweeps} sweeps; use a finer mesh.")


class Footprint:
    """A blade sunk into the ice, seen in plan. curve, section: of the reference model; depth, m; pitch, rad.

    x runs along the ice, toe positive, from the deepest point; y across the blade, as loaded widths are counted, from
    the inside edge. front_m: length of the arc ahead of the deepest point.
    """

    def __init__(self, curve, section, depth: float, pitch: float):
        self.section, self.depth = section, depth
        self.deepest = float(np.interp(pitch, curve.phi, curve.x))
        along = curve.x * math.cos(pitch) + curve.z * math.sin(pitch)
        gap = curve.z * math.cos(pitch) - curve.x * math.sin(pitch)
        self.along = along - np.interp(self.deepest, curve.x, along)
        self.gaps = gap - np.interp(self.deepest, curve.x, gap)
        self.slopes = np.tan(curve.phi - pitch)
        self.front_m = self.reach(depth, 1)

    def gap(self, x: np.ndarray) -> np.ndarray:
        """g, m, at x, m."""
        return np.interp(x, self.along, self.gaps)

    def reach(self, level: float, way: int) -> float:
        """Distance, m, ahead (way 1) or behind (-1), to where the gap is `level` or the steel ends."""
        side = way * self.along > 0.0
        far, gaps = (way * self.along[side])[::way], self.gaps[side][::way]
        return float(np.interp(level, np.append(0.0, gaps), np.append(0.0, far)))

    def cells(self, edges: np.ndarray, across: int) -> Cells:
        """What is in the ice between consecutive edges, (n + 1,) m, as rectangles, narrower toward edges of strips."""
        middle, half = 0.5 * (edges[1:] + edges[:-1]), 0.5 * np.diff(edges)
        left, right, merged = reference_model.strips(self.section, self.depth - self.gap(middle))
        crown = self.section.u[self.section.ic]  # a covered hollow is cut where its two strips have met
        left, right = np.where(merged, crown, left), np.where(merged, self.section.w - crown, right)
        cuts = 0.5 - 0.5 * np.cos(np.linspace(0.0, math.pi, across + 1))
        inside = _rectangles(middle, half, 0.0 * left, left, cuts)
        return inside + _rectangles(middle, half, self.section.w - right, right, cuts)

    def fore(self, mesh: Mesh) -> Cells:
        """Ahead of the deepest point; columns shorter toward it."""
        return self.cells(self.front_m * np.linspace(0.0, 1.0, mesh.front + 1) ** 1.5, mesh.across)

    def aft(self, mesh: Mesh, level: float) -> Cells:
        """Behind the deepest point, up to where the gap is `level`, or to where the steel is out of the ice."""
        return self.cells(self.reach(min(level, self.depth), -1) * np.linspace(-1.0, 0.0, mesh.rear + 1), mesh.across)

    def highest_rise(self, compliance: float) -> float:
        """More than the ice can rise, m: its settlement at the deepest point if everything in the ice pressed.

        compliance: H/(pi E*).
        """
        y = np.linspace(0.0, self.section.w, 9)
        cells = self.fore(COARSE) + self.aft(Mesh(rear=30, across=4), self.depth)
        return float(compliance * settlement(0.0 * y, y, cells).sum(axis=1).max())


def _rectangles(middle: np.ndarray, half: np.ndarray, start: np.ndarray, width: np.ndarray, cuts: np.ndarray) -> Cells:
    """Columns of half length `half` about `middle`, of a strip from `start`, (n,) each, cut across at shares `cuts`."""
    lows, highs = (start[:, None] + width[:, None] * share for share in (cuts[:-1], cuts[1:]))
    keep = (highs - lows).ravel() > 1e-12
    like = np.ones_like(lows)
    parts = (middle[:, None] * like, 0.5 * (lows + highs), half[:, None] * like, 0.5 * (highs - lows))
    return Cells(*(part.ravel()[keep] for part in parts))


def rebound(foot: Footprint, hardness: float, modulus: float, mesh: Mesh) -> Solved:
    """Pressure behind the deepest point of a blade that slides; hardness H and modulus E*, Pa.

    Ahead p = H where steel is in the ice. Behind, also only where steel is in the ice, 0 <= p <= H and
        u(0, y) - u(x, y) = g(x) where 0 < p < H,  u(x, y) = (1/(pi E*)) integral p/r dA:
    the groove keeps the depth that it was given at the deepest point, and under the steel the ice has come up by just
    the gap. Where p = 0 the ice has not come up as far as the steel, where p = H it would come up farther.
    """
    fore, aft = foot.fore(mesh), foot.aft(mesh, foot.highest_rise(hardness / (math.pi * modulus)))
    # in units of H and of H/(pi E*), w = u(x, y) - u(0, y) + g(x)
    target = _risen(aft, fore).sum(axis=1) - foot.gap(aft.x) * math.pi * modulus / hardness
    pressure = hardness * complementary(-_risen(aft, aft), target, 1.0)
    ahead, behind = hardness * fore.area, pressure * aft.area
    load, touching = ahead.sum() + behind.sum(), pressure > 0.0
    return Solved(
        rear=aft, pressure=pressure, load=load, rear_load=behind.sum(),
        centre=foot.deepest + (ahead @ fore.x + behind @ aft.x) / load,
        work=float(behind @ -np.interp(aft.x, foot.along, foot.slopes)),
        rear_m=float(np.max(aft.a[touching] - aft.x[touching], initial=0.0)),
    )  # fmt: skip


def _risen(at: Cells, under: Cells) -> np.ndarray:
    """u(0, y) - u(x, y) at the middles of cells, from a unit pressure on each of others: (at, under)."""
    return settlement(0.0 * at.y, at.y, under) - settlement(at.x, at.y, under)
