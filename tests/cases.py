"""What several tests share: default numbers, states of the contact, and plain quadrature on a solved contact.

Nothing below calls the closed forms of the section: heights come from a circle, edges of strips from a root finder,
integrals from a dense midpoint sum.
"""

import math

import h5py
import numpy as np
from scipy.optimize import brentq, minimize_scalar

from sim.blade.recipe import Recipe
from sim.blade.section import Section
from sim.blade.steel import Steel

FT = 0.3048
THICKNESS_M, HOLLOW_M = 2.9e-3, 12.7e-3
LEVEL = Section(THICKNESS_M, HOLLOW_M)  # both edges level
GRAVITY = 9.80665
WEIGHT_N = 80.0 * GRAVITY

# Lean, load and load line as a skater uses them.
_TURN = 4.0**2 / (GRAVITY * 1.8)  # tan(lean) at 4 m/s on 1.8 m
STATES = {
    "glide": (0.0, WEIGHT_N, -0.015),
    "pivot, forefoot": (math.radians(15), WEIGHT_N, 0.045),
    "pivot, heel": (math.radians(15), WEIGHT_N, -0.045),
    "turn": (math.atan(_TURN), WEIGHT_N * math.hypot(1.0, _TURN), 0.030),
    "push": (math.radians(40), 1.5 * WEIGHT_N, 0.070),
}


def steel_of(recipe, thickness=THICKNESS_M, hollow=HOLLOW_M):
    """What the compiled functions read of a recipe (or a curve) with its section."""
    curve = recipe.curve() if isinstance(recipe, Recipe) else recipe
    return Steel(*curve.table, thickness, hollow)


def relative(ours, theirs):
    """Greatest relative gap."""
    return float(np.max(np.abs(np.asarray(ours) / np.asarray(theirs) - 1.0)))


def bottom(u, w, hollow):
    """Height of the bottom above the edges: a circle of radius `hollow` through both edges."""
    if math.isinf(hollow):
        return np.zeros_like(np.asarray(u, float))
    return np.sqrt(hollow**2 - (u - w / 2) ** 2) - math.sqrt(hollow**2 - w**2 / 4)


class LeanedSection:
    """Strips and rises of a leaned section, by root finding on h(u) = v(u) + u tan(lean)."""

    def __init__(self, w, hollow, t):
        self.w, self.hollow, self.t, self.v = w, hollow, t, lambda u: float(bottom(u, w, hollow))
        self.h = lambda u: self.v(u) + u * t
        top = minimize_scalar(lambda u: -self.h(u), bounds=(0.0, w), method="bounded", options={"xatol": 1e-13})
        self.crown = w if self.h(w) >= self.h(top.x) else float(top.x)

    def strips(self, n):
        """Ends (b, c) of the strips [0, b] and [c, w]."""
        if n <= 0:
            return 0.0, self.w
        if n >= self.h(self.crown):
            return self.w, self.w
        b = brentq(lambda u: self.h(u) - n, 0.0, self.crown, xtol=1e-15)
        inside = self.h(self.w) >= n
        return b, self.w if inside else brentq(lambda u: self.h(u) - n, self.crown, self.w, xtol=1e-15)

    def width(self, n):
        b, c = self.strips(n)
        return b + self.w - c

    def rises(self, n):
        """(r_L, r_R): climb of the bottom over the immersed strips, seen each way."""
        b, c = self.strips(n)
        u = np.concatenate([np.linspace(0.0, b, 2001), np.linspace(c, self.w, 2001)])
        step = np.diff(bottom(u, self.w, self.hollow))
        step[2000] = 0.0  # across the dry crown
        return float(step[step > 0].sum()), float(-step[step < 0].sum())


class PlainContact:
    """A solved contact evaluated anew along the blade, on a dense midpoint grid of x; sliding or standing."""

    def __init__(self, curve, steel, hardness, patch, standing=False, points=6000):
        self.section = LeanedSection(steel.thickness, steel.hollow, patch.t)
        s = np.linspace(0.0, curve.length_m, 40001)
        x, z, _, _ = curve.at(s)
        height = z * math.cos(patch.beta) - x * math.sin(patch.beta)
        self.deepest = x[np.argmin(height)]
        edges = np.unique(np.concatenate([np.linspace(patch.tail, patch.front, points), [patch.rear, patch.deepest]]))
        self.x, self.dx = 0.5 * (edges[1:] + edges[:-1]), np.diff(edges)
        self.gap = np.interp(self.x, x, height) - height.min()
        self.n = np.maximum(patch.depth - self.gap, 0.0)
        ahead = (self.x >= patch.deepest) | standing
        soft = np.maximum(0.0, 1.0 - self.gap / patch.rebound) if patch.rebound > 0 else np.zeros_like(self.x)
        self.p = hardness * np.where(ahead, 1.0, soft)
        levels = np.linspace(0.0, patch.depth * 1.0000001, 1501)
        kinks = [self.section.h(self.section.w), self.section.h(self.section.crown)]
        levels = np.sort(np.concatenate([levels, *[[k * (1 - 1e-9), k, k * (1 + 1e-9)] for k in kinks if k > 0]]))
        self.levels, self.hardness, self.patch = levels, hardness, patch
        self.widths = np.array([self.section.width(n) for n in levels])
        self.a = np.interp(self.n, levels, self.widths)

    def rises(self):
        """(r_L, r_R) at every x."""
        levels = self.levels[::5]
        table = np.array([self.section.rises(n) for n in levels])
        return tuple(np.interp(self.n, levels, table[:, i]) for i in range(2))

    def integral(self, values):
        return float(np.sum(values * self.dx))


def numbers_of(path) -> dict[str, bytes]:
    """The bytes of every dataset of numbers of an HDF5 file."""
    out = {}
    with h5py.File(path) as file:
        file.visititems(lambda name, node: out.update({name: node[()].tobytes()}) if hasattr(node, "dtype")
                        and node.dtype.kind != "O" else None)  # fmt: skip
    return out
