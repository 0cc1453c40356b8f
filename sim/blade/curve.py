"""The longitudinal curve of a blade: curvature integrated once to tangent angle and once more to x, z."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from sim.errors import BladeError

CELL_M = 0.25e-3  # spacing of the stored nodes
STEEPEST_RAD = 2.0  # total turning; x must go on rising from heel to toe
_GAUSS_X, _GAUSS_W = np.polynomial.legendre.leggauss(5)


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

    def __post_init__(self):
        s, k = self.arc_m, self.curvature_per_m
        if len(s) < 2 or s[0] != 0.0 or np.any(np.diff(s) < 0) or s[-1] < 0.02:
            raise BladeError("curve: arc length must start at 0, never fall, and span at least 20 mm.")
        if not (np.all(np.isfinite(s)) and np.all(np.isfinite(k))):
            raise BladeError("curve: arc length and curvature must be finite numbers.")
        if np.any(k < 0):
            raise BladeError("curve: curvature below 0 is a concave zone, which cannot stand on ice; use radii over 0.")
        if np.sum(np.diff(s) * (k[:-1] + k[1:]) / 2) > STEEPEST_RAD:
            raise BladeError("curve: heel and toe turn over 115 deg against each other; lengthen the end radii.")
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
    def _nodes(self):
        """Nodes (s, x, z, phi) at breakpoints and every CELL_M, and each cell's linear curvature."""
        s = np.unique(np.concatenate([self.arc_m, np.arange(0.0, self.length_m, CELL_M)]))
        s = s[np.concatenate([[True], np.diff(s) > 1e-12])]
        s[-1] = self.length_m
        left, right = self._curvature_sides(s)
        steps = np.diff(s)
        phi = np.concatenate([[0.0], np.cumsum(0.5 * (left + right) * steps)])
        phi -= self._angle(self.length_m / 2 + self.level_m, s, phi, left, right) + self.pitch_offset_rad
        dx, dz = _advance(steps, phi[:-1], left, right, steps)
        x, z = np.concatenate([[0.0], np.cumsum(dx)]), np.concatenate([[0.0], np.cumsum(dz)])
        nodes = (s, x, z, phi, left, right)
        middle = self._place(np.array([self.length_m / 2]), nodes)
        level = self._place(np.array([self.length_m / 2 + self.level_m]), nodes)
        return s, x - middle[0][0], z - level[1][0], phi, left, right

    def _curvature_sides(self, s):
        """Curvature at the right of each cell's start and at the left of its end, (cells,) each."""
        middle = 0.5 * (s[:-1] + s[1:])
        piece = np.clip(np.searchsorted(self.arc_m, middle, side="right") - 1, 0, len(self.arc_m) - 2)
        s0, s1 = self.arc_m[piece], self.arc_m[piece + 1]
        k0, k1 = self.curvature_per_m[piece], self.curvature_per_m[piece + 1]
        slope = (k1 - k0) / (s1 - s0)
        return k0 + slope * (s[:-1] - s0), k0 + slope * (s[1:] - s0)

    @staticmethod
    def _angle(where, s, phi, left, right):
        cell = np.clip(np.searchsorted(s, where, side="right") - 1, 0, len(left) - 1)
        t, step = where - s[cell], s[cell + 1] - s[cell]
        return phi[cell] + left[cell] * t + 0.5 * (right[cell] - left[cell]) * t * t / step

    def _place(self, where, nodes):
        s, x, z, phi, left, right = nodes
        cell = np.clip(np.searchsorted(s, where, side="right") - 1, 0, len(left) - 1)
        dx, dz = _advance(where - s[cell], phi[cell], left[cell], right[cell], (s[cell + 1] - s[cell]))
        return x[cell] + dx, z[cell] + dz

    def at(self, arc_from_heel_m):
        """x, z (m), tangent angle (rad) and curvature (1/m) at arc lengths from the heel end, arrays as given.

        Raises BladeError for a place off the steel. Worked number: at the level point x, z, angle are 0 for an
        unpitched curve levelled at mid-runner.
        """
        where = np.atleast_1d(np.asarray(arc_from_heel_m, float))
        if np.any(~np.isfinite(where)) or np.any(where < -1e-12) or np.any(where > self.length_m + 1e-12):
            raise BladeError(f"curve: arc length must lie within 0 and {self.length_m * 1e3:.1f} mm.")
        where = np.clip(where, 0.0, self.length_m)
        s, _, _, phi, left, right = self._nodes
        x, z = self._place(where, self._nodes)
        cell = np.clip(np.searchsorted(s, where, side="right") - 1, 0, len(left) - 1)
        share = (where - s[cell]) / (s[cell + 1] - s[cell])
        return x, z, self._angle(where, s, phi, left, right), left[cell] + (right[cell] - left[cell]) * share

    @cached_property
    def table(self):
        """The curve on a uniform grid of x: (x_first, dx, z, slope), slope = dz/dx; what the contact solver reads."""
        s, x, _, phi, left, right = self._nodes
        count = round((x[-1] - x[0]) / CELL_M) + 1
        grid = np.linspace(x[0], x[-1], count)
        arc = np.interp(grid, x, s)
        for _ in range(4):  # Newton on x(s) = grid; x is smooth and strictly increasing
            here, height = self._place(arc, self._nodes)
            angle = self._angle(arc, s, phi, left, right)
            arc = np.clip(arc - (here - grid) / np.cos(angle), 0.0, self.length_m)
        here, height = self._place(arc, self._nodes)
        angle = self._angle(arc, s, phi, left, right)
        return float(grid[0]), float(grid[1] - grid[0]), height, np.tan(angle)

    def mirrored(self) -> "BladeCurve":
        """The same steel turned round: toe for heel."""
        return BladeCurve(
            self.length_m - self.arc_m[::-1], self.curvature_per_m[::-1].copy(), -self.level_m, -self.pitch_offset_rad
        )


def _advance(t, phi, left, right, step):
    """x and z gained over arc t from angle phi, curvature linear from left to right over `step` (Gauss, 5 points)."""
    u = 0.5 * t[..., None] * (1.0 + _GAUSS_X)
    angle = phi[..., None] + left[..., None] * u + 0.5 * ((right - left) / step)[..., None] * u * u
    half = 0.5 * t
    return half * (np.cos(angle) @ _GAUSS_W), half * (np.sin(angle) @ _GAUSS_W)
