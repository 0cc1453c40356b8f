"""A smoothing spline through measured heights: smoothing chosen by the noise, curvature with its band."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import scipy
from numpy.typing import ArrayLike

from sim.blade.curve import GAUSS_3

DEGREE = 5
INTERVALS = 80  # cells between knots: 3.5 mm on a 280 mm runner, finer than any blend
Z90 = 1.6448536269514722  # 5 to 95 %
LOOSE = 1.0 / 6400.0  # in a sweep curvature changes 80 times as fast as between zones, its square 6400 times


@dataclass(frozen=True)
class Rows:
    """Measured points as every fit reads them, sorted by pass and then by x.

    x_m, z_m: (n,); weight: (n,) readings averaged in a row; passes: (n,) 0, 1, ...; steps: (n, k) columns of 0 and 1,
    one for each slip of the probe. rho: correlation of neighbours `pitch_m` apart, 0 for white noise.
    """

    x_m: np.ndarray
    z_m: np.ndarray
    weight: np.ndarray
    passes: np.ndarray
    steps: np.ndarray
    rho: float = 0.0
    pitch_m: float = 1e-3

    @cached_property
    def nuisance(self) -> np.ndarray:
        """Offset and tilt of each pass, and the steps: (n, 2 passes + k)."""
        own = (self.passes[:, None] == np.arange(self.passes.max() + 1)).astype(float)
        return np.hstack([own, own * self.x_m[:, None], self.steps])

    @cached_property
    def between(self) -> np.ndarray:
        """The same without the offset and tilt all passes share: (n, 2 passes - 2 + k)."""
        own = (self.passes[:, None] == np.arange(self.passes.max() + 1)).astype(float)
        own = own[:, :-1] - own[:, -1:]
        return np.hstack([own, own * self.x_m[:, None], self.steps])

    def within(self, low_m: float, high_m: float) -> "Rows":
        """The rows from low_m to high_m; passes left with under three rows go, for they hold no curvature."""
        keep = (self.x_m >= low_m) & (self.x_m <= high_m)
        many = np.bincount(self.passes[keep], minlength=self.passes.max() + 1) >= 3
        keep &= many[self.passes]
        steps = self.steps[keep]
        steps = steps[:, np.ptp(steps, axis=0) > 0] if len(steps) else steps
        passes = np.unique(self.passes[keep], return_inverse=True)[1]
        return replace(
            self, x_m=self.x_m[keep], z_m=self.z_m[keep], weight=self.weight[keep], passes=passes, steps=steps
        )

    @cached_property
    def _links(self) -> np.ndarray:
        """Correlation of each row with the one before it, (n-1,)."""
        near = (np.diff(self.passes) == 0) & (self.rho > 0)
        return np.where(near, max(self.rho, 1e-9) ** (np.abs(np.diff(self.x_m)) / self.pitch_m), 0.0).clip(max=0.98)

    @property
    def log_whitening(self) -> float:
        """Logarithm of the determinant of the noise's correlation matrix."""
        return float(np.sum(np.log1p(-(self._links**2))))

    def whiten(self, values: np.ndarray) -> np.ndarray:
        """Values (..., n) scaled to white noise of one level: e_i - r e_(i-1) over sqrt(1 - r^2), r = rho^(dx/pitch).

        (Prais & Winsten 1954, for uneven spacing.) With rho = 0 only the weights act.
        """
        out, r = values * np.sqrt(self.weight), self._links
        if self.rho > 0:
            out = np.concatenate([out[..., :1], (out[..., 1:] - r * out[..., :-1]) / np.sqrt(1 - r * r)], axis=-1)
        return out


@dataclass(frozen=True)
class Smooth:
    """z(x) = circle of curvature bend_per_m about x = 0, plus a quintic spline in u = (x - centre_m)/half_m.

    knots: (m + 6,) in u; coef_m: (m,); cov_m2: (m, m) posterior covariance of the coefficients. sigma_m: noise of one
    reading. stiffness_m5: penalty on int (d3z/dx3)^2 dx. freedom: effective number of parameters. between: estimates of
    the nuisance columns `Rows.between`.
    """

    centre_m: float
    half_m: float
    bend_per_m: float
    knots: np.ndarray
    coef_m: np.ndarray
    cov_m2: np.ndarray
    sigma_m: float
    stiffness_m5: float
    freedom: float
    between: np.ndarray

    def matrix(self, x: ArrayLike, order: int = 0) -> np.ndarray:
        """Rows that take the coefficients to the order-th derivative of the spline at x: (len(x), m)."""
        u = (np.asarray(x, float) - self.centre_m) / self.half_m
        return _basis(self.knots, u, order) / self.half_m**order

    def at(self, x: ArrayLike) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
        """z (m), slope, curvature (1/m) and its standard deviation at x; kappa = z''/(1 + z'^2)^1.5, exact."""
        base = arc_heights(x, self.bend_per_m)
        z, slope, bend = (b + self.matrix(x, k) @ self.coef_m for k, b in enumerate(base))
        stretch = 1 + slope**2
        kappa = bend / stretch**1.5
        pull = self.matrix(x, 2) / stretch[:, None] ** 1.5 - self.matrix(x, 1) * (3 * slope * kappa / stretch)[:, None]
        return z, slope, kappa, np.sqrt(np.sum(pull @ self.cov_m2 * pull, axis=1).clip(0))


def arc_heights(x: ArrayLike, bend: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """A circle of curvature `bend` through the origin, level there: z, z', z'' at x (exact)."""
    x = np.asarray(x, float)
    root = np.sqrt(1 - (bend * x) ** 2)
    return bend * x * x / (1 + root), bend * x / root, bend / root**3


def _basis(knots: np.ndarray, u: np.ndarray, order: int) -> np.ndarray:
    """Dense basis (len(u), m) of the order-th derivative in u; beyond the ends the end cell goes on."""
    count = len(knots) - DEGREE - 1
    return scipy.interpolate.BSpline(knots, np.eye(count), DEGREE)(u, nu=order)


def _knots() -> np.ndarray:
    inner = np.linspace(-1, 1, INTERVALS + 1)
    return np.concatenate([[-1.0] * DEGREE, inner, [1.0] * DEGREE])


def roughness(knots: np.ndarray, slack: Callable[[np.ndarray], np.ndarray]) -> np.ndarray:
    """Factor A of the penalty int v (d3z/du3)^2 du = |A c|^2; slack(u) = v. Three Gauss points a cell: exact."""
    cells = np.unique(knots)
    half = np.diff(cells) / 2
    u = ((cells[:-1] + half)[:, None] + half[:, None] * GAUSS_3[0]).ravel()
    weight = (half[:, None] * GAUSS_3[1]).ravel() * slack(u)
    return np.sqrt(weight)[:, None] * _basis(knots, u, 3)


def hat_parts(x: np.ndarray, slack: Callable[[np.ndarray], np.ndarray]) -> tuple[np.ndarray, np.ndarray]:
    """Design (n, m) and penalty factor of heights at x for a fit with a stated penalty; units of the factor 1/m^2.5."""
    centre, half = (x.max() + x.min()) / 2, np.ptp(x) / 2
    knots = _knots()
    factor = roughness(knots, lambda u: slack(centre + half * u)) / half**2.5
    return _basis(knots, (x - centre) / half, 0), factor


def fit(
    rows: Rows, bend_per_m: float, slack: Callable[[np.ndarray], np.ndarray] = np.ones_like, like: Smooth | None = None
) -> Smooth:
    """Penalised regression spline, lambda by restricted maximum likelihood, with its Bayesian covariance.

    Model (Wahba 1983; Nychka 1988; mixed-model form, Ruppert, Wand & Carroll 2003; cited from memory):
    heights less a circle = quadratic + nuisance + spline, the third derivative of the spline white noise, so that
    curvature is a random walk.
    The singular values of the penalty's factor, not of its square, keep the rounding at 1e-10 of the smoothest part.
    rows: Rows; slack(x): relative penalty, LOOSE where a sweep is. like: a Smooth whose penalty and noise
    are taken over instead of being found.
    """
    low, high = rows.x_m.min(), rows.x_m.max()
    centre, half, knots = (low + high) / 2, (high - low) / 2, _knots()
    factor = roughness(knots, lambda u: slack(centre + half * u))
    _, s, vt = np.linalg.svd(factor)
    order = len(vt) - 3  # three polynomials bend without roughness
    plain, rough = vt[order:].T, vt[:order].T / s[:order]
    basis = _basis(knots, (rows.x_m - centre) / half, 0)
    y = rows.whiten(rows.z_m - arc_heights(rows.x_m, bend_per_m)[0])
    fixed = rows.whiten(np.hstack([basis @ plain, rows.between]).T).T
    moving = rows.whiten((basis @ rough).T).T
    q, r = np.linalg.qr(fixed)
    k = np.linalg.solve(r, q.T @ moving)
    left, sing, right = np.linalg.svd(moving - q @ (q.T @ moving), full_matrices=False)
    y0 = y - q @ (q.T @ y)
    u = left.T @ y0
    if like is None:
        lam, sigma2 = _reml(u, sing, max(y0 @ y0 - u @ u, 0.0), len(y) - fixed.shape[1])
    else:
        lam, sigma2 = like.stiffness_m5 / half**5, like.sigma_m**2
    coef_r = right.T @ (sing * u / (sing**2 + lam))
    coef_f = np.linalg.solve(r, q.T @ y) - k @ coef_r
    # directions of the spline that no row sees keep their prior, sigma^2/lambda
    cov_r = sigma2 * ((right.T * (1 / (sing**2 + lam) - 1 / lam)) @ right + np.eye(order) / lam)
    inverse = np.linalg.inv(r)
    carry = np.hstack([rough, plain]) @ np.block([[np.eye(order)], [-k[:3]]])
    cov = carry @ cov_r @ carry.T + sigma2 * plain @ (inverse @ inverse.T)[:3, :3] @ plain.T
    freedom = fixed.shape[1] + float(np.sum(sing**2 / (sing**2 + lam)))
    coef = plain @ coef_f[:3] + rough @ coef_r
    sigma, stiffness = float(np.sqrt(sigma2)), float(lam * half**5)
    return Smooth(centre, half, bend_per_m, knots, coef, cov, sigma, stiffness, freedom, coef_f[3:])


def _reml(u: np.ndarray, sing: np.ndarray, rest: float, dof: int) -> tuple[float, float]:
    """lambda and sigma^2 that maximise the restricted likelihood, sigma^2 profiled out."""

    def cost(log_lam: float) -> float:
        gain = 1 + sing**2 * np.exp(-log_lam)
        return dof * np.log(np.sum(u**2 / gain) + rest + 1e-300) + np.sum(np.log(gain))

    top = 2 * np.log(sing[0])
    grid = np.linspace(top - 45, top + 12, 58)
    best = grid[np.argmin([cost(g) for g in grid])]
    found = scipy.optimize.minimize_scalar(
        cost, bounds=(best - 1.1, best + 1.1), method="bounded", options={"xatol": 1e-6}
    )
    lam = float(np.exp(found.x))
    return lam, float((np.sum(u**2 / (1 + sing**2 / lam)) + rest) / dof)
