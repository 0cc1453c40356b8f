"""The longitudinal curve of a blade: curvature integrated once to tangent angle and once more to x, z."""

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike

from sim.compiled import kernel
from sim.errors import BladeError

CELL_M = 0.25e-3  # spacing of the stored nodes
APART_M = 1e-12  # nodes nearer to each other than this are merged
STEEPEST_RAD = 2.0  # most that heel and toe may turn against each other: x must keep rising along the arc
_FLAWS = (
    "",
    "arc length must start at 0, never fall, and span at least 20 mm.",
    "arc length and curvature must be finite numbers.",
    "curvature below 0 is a concave zone, which cannot stand on ice; use radii over 0.",
    "heel and toe turn over 115 deg against each other; lengthen the end radii.",
)
GAUSS_3 = np.polynomial.legendre.leggauss(3)


@dataclass(frozen=True)
class BladeCurve:
    """A convex curve, toe positive, z up from the level point, origin of x at mid-runner.

    Built from curvature that is piecewise linear in arc length. With s the arc length from the heel end,
        dphi/ds = kappa(s),  dx/ds = cos(phi),  dz/ds = sin(phi)
    (plane-curve kinematics; any differential-geometry text), phi = -pitch_offset and z = 0 at `level_m`.

    arc_m, curvature_per_m: (k,) breakpoints of curvature, heel to toe, s = 0 at the heel end, non-decreasing s;
    a repeated s is a jump. level_m: the level point, arc length from mid-runner, toe positive.
    pitch_offset_rad: the curve is turned toe-down by this much when the boot sits level.
    Raises BladeError for a curve that is not convex, not ordered or too short.
    """

    arc_m: np.ndarray
    curvature_per_m: np.ndarray
    level_m: float = 0.0
    pitch_offset_rad: float = 0.0

    def __post_init__(self) -> None:
        flaw = _flaw(self.arc_m, self.curvature_per_m)
        if flaw:
            raise BladeError(f"curve: {_FLAWS[flaw]}")
        if not abs(self.level_m) < self.length_m / 2:
            raise BladeError(
                f"level point: {self.level_m * 1e3:.1f} mm from mid-runner is off the steel; "
                f"stay within +-{self.length_m / 2e-3:.0f} mm."
            )

    @property
    def length_m(self) -> float:
        """Arc length of the runner, m."""
        return float(self.arc_m[-1])

    @cached_property
    def _nodes(self) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
        """Nodes (s, x, z, phi) at breakpoints and every CELL_M, and the curvature at both ends of each cell."""
        return _integrate(self.arc_m, self.curvature_per_m, self.level_m, self.pitch_offset_rad, CELL_M)

    def at(self, arc_from_heel_m: ArrayLike) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
        """x, z (m), tangent angle (rad) and curvature (1/m) at arc lengths from the heel end, arrays as given.

        Raises BladeError for a place off the steel. Worked number: at the level point x, z, angle are 0 for an
        unpitched curve levelled at mid-runner.
        """
        where = np.atleast_1d(np.asarray(arc_from_heel_m, float))
        if np.any(~np.isfinite(where)) or np.any(where < -1e-12) or np.any(where > self.length_m + 1e-12):
            raise BladeError(f"curve: arc length must lie within 0 and {self.length_m * 1e3:.1f} mm.")
        return _places(np.clip(where, 0.0, self.length_m), *self._nodes)

    @cached_property
    def table(self) -> tuple[float, float, np.ndarray, np.ndarray]:
        """The curve on a uniform grid of x, for the contact solver: x_first, dx, z (n,), m, and slope dz/dx (n,)."""
        return _tabulate(*self._nodes, CELL_M)

    def mirrored(self) -> "BladeCurve":
        """The same steel turned round: toe for heel."""
        return BladeCurve(
            self.length_m - self.arc_m[::-1], self.curvature_per_m[::-1].copy(), -self.level_m, -self.pitch_offset_rad
        )


@kernel
def _flaw(arc: np.ndarray, kappa: np.ndarray) -> int:
    """Index in _FLAWS of what is wrong with curvature along the arc; 0 for nothing."""
    if len(arc) < 2 or arc[0] != 0.0 or arc[-1] < 0.02:
        return 1
    turning, finite, concave = 0.0, True, False
    for i in range(len(arc)):
        finite = finite and math.isfinite(arc[i]) and math.isfinite(kappa[i])
        concave = concave or kappa[i] < 0.0
        if i > 0:
            if arc[i] < arc[i - 1]:
                return 1
            turning += (arc[i] - arc[i - 1]) * (kappa[i] + kappa[i - 1]) / 2
    if not finite:
        return 2
    if concave:
        return 3
    return 4 if turning > STEEPEST_RAD else 0


@kernel
def _small(angle: float) -> tuple[float, float]:
    """cos and sin; below 0.1 rad by series, which costs a tenth and is as exact."""
    if abs(angle) > 0.1:
        return math.cos(angle), math.sin(angle)
    q = angle * angle
    cos = 1.0 + q * (-1 / 2 + q * (1 / 24 + q * (-1 / 720 + q * (1 / 40320))))
    return cos, angle * (1.0 + q * (-1 / 6 + q * (1 / 120 + q * (-1 / 5040 + q * (1 / 362880)))))


@kernel
def _advance(t: float, cos: float, sin: float, left: float, rate: float) -> tuple[float, float]:
    """x and z gained over arc t from an angle of this cosine and sine; curvature left + rate t (Gauss, 3 points).

    Off by t (kappa t)^6/2e6: below 1e-15 m in a cell, down to radii of 1 mm.
    """
    half, along, across = 0.5 * t, 0.0, 0.0
    for j in range(3):
        u = half * (1.0 + GAUSS_3[0][j])
        c, s = _small(u * (left + 0.5 * rate * u))
        along += half * GAUSS_3[1][j] * c
        across += half * GAUSS_3[1][j] * s
    return along * cos - across * sin, along * sin + across * cos


@kernel
def _cells(arc: np.ndarray, kappa: np.ndarray, cell: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Nodes of arc length at breakpoints and at multiples of `cell`, and curvature at both ends of each cell."""
    s = np.empty(int(arc[-1] / cell) + len(arc) + 2)
    left, right = np.empty(len(s)), np.empty(len(s))
    n, multiple, s[0] = 0, 1, 0.0
    for i in range(len(arc) - 1):
        if arc[i + 1] - s[n] <= APART_M:
            continue
        rate = (kappa[i + 1] - kappa[i]) / (arc[i + 1] - arc[i])
        while s[n] < arc[i + 1]:
            while multiple * cell <= s[n] + APART_M:
                multiple += 1
            end = multiple * cell if multiple * cell < arc[i + 1] - APART_M else arc[i + 1]
            left[n], right[n] = kappa[i] + rate * (s[n] - arc[i]), kappa[i] + rate * (end - arc[i])
            n += 1
            s[n] = end
    s[n] = arc[-1]
    return s[: n + 1], left[:n], right[:n]


@kernel
def _integrate(
    arc: np.ndarray, kappa: np.ndarray, level: float, pitch_offset: float, cell: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """The nodes of a curve: s, x, z, phi, and curvature at the start and the end of each cell."""
    s, left, right = _cells(arc, kappa, cell)
    x, z, phi = np.zeros(len(s)), np.zeros(len(s)), np.zeros(len(s))
    for i in range(len(left)):
        phi[i + 1] = phi[i] + 0.5 * (left[i] + right[i]) * (s[i + 1] - s[i])
    marks = np.array([0.5 * s[-1], 0.5 * s[-1] + level])
    phi -= _places(marks, s, x, z, phi, left, right)[2][1] + pitch_offset
    for i in range(len(left)):
        step = s[i + 1] - s[i]
        dx, dz = _advance(step, math.cos(phi[i]), math.sin(phi[i]), left[i], (right[i] - left[i]) / step)
        x[i + 1], z[i + 1] = x[i] + dx, z[i] + dz
    at_x, at_z, _, _ = _places(marks, s, x, z, phi, left, right)
    return s, x - at_x[0], z - at_z[1], phi, left, right


@kernel
def _places(
    where: np.ndarray, s: np.ndarray, x: np.ndarray, z: np.ndarray, phi: np.ndarray, left: np.ndarray, right: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """x, z, tangent angle and curvature at arc lengths from the heel end."""
    at_x, at_z, angle, kappa = np.empty(len(where)), np.empty(len(where)), np.empty(len(where)), np.empty(len(where))
    for i in range(len(where)):
        cell = min(max(np.searchsorted(s, where[i], side="right") - 1, 0), len(left) - 1)
        t, rate = where[i] - s[cell], (right[cell] - left[cell]) / (s[cell + 1] - s[cell])
        dx, dz = _advance(t, math.cos(phi[cell]), math.sin(phi[cell]), left[cell], rate)
        at_x[i], at_z[i] = x[cell] + dx, z[cell] + dz
        angle[i], kappa[i] = phi[cell] + t * (left[cell] + 0.5 * rate * t), left[cell] + rate * t
    return at_x, at_z, angle, kappa


@kernel
def _tabulate(
    s: np.ndarray, x: np.ndarray, z: np.ndarray, phi: np.ndarray, left: np.ndarray, right: np.ndarray, cell_m: float
) -> tuple[float, float, np.ndarray, np.ndarray]:
    """(x_first, dx, z, slope) on a uniform grid of x, about cell_m apart: each place by Newton on x(s), which rises."""
    count = round((x[-1] - x[0]) / cell_m) + 1
    dx = (x[-1] - x[0]) / (count - 1)
    height, slope, cell = np.empty(count), np.empty(count), 0
    for i in range(count):
        want = x[0] + i * dx
        while cell < len(left) - 1 and x[cell + 1] < want:
            cell += 1
        step, cos, sin = s[cell + 1] - s[cell], math.cos(phi[cell]), math.sin(phi[cell])
        rate = (right[cell] - left[cell]) / step
        t = (want - x[cell]) / (x[cell + 1] - x[cell]) * step
        for _ in range(20):
            gained, risen = _advance(t, cos, sin, left[cell], rate)
            c, s_ = _small(t * (left[cell] + 0.5 * rate * t))
            along, miss = cos * c - sin * s_, want - x[cell] - gained
            slope[i] = (sin * c + cos * s_) / along
            t += miss / along
            if abs(miss) < 1e-9:  # the rest is linear: its square is below rounding
                break
        height[i] = z[cell] + risen + slope[i] * miss
        slope[i] += (left[cell] + rate * t) / along**3 * miss
    return x[0], dx, height, slope
