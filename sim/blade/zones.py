"""Zones of one radius each, found in clean heights: how many, where they meet, and how sure that is."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations

import numpy as np

from sim.blade.smooth import Rows

MOST_ZONES = 6  # looked for
BLEND_M, BLEND_SD_M = 0.020, 0.010  # prior of the blend (common practice, no published source)
BLEND_LIMITS_M = (0.001, 0.060)
LEAST_ZONE_M = 0.020  # a zone shorter than a usual blend cannot be told from one
LEAST_END_M = 0.012  # shortest end zone within the part that is read
END_READINGS = 3.5  # an end zone is also at least so many readings long
GRID_M = 0.004  # spacing of the places that the first search tries as boundaries
BEAM = 60  # sets of boundaries kept while the search grows
STARTS = 3  # so many of these are refined where a number of zones is still in contention, else only the best
RUNNING = 12.0  # in contention: BIC of its first refined set within this of the best
ZONE_DRAWS, ROUND, MOST_ROUNDS = 2000, 600, 8  # draws kept of the posterior; proposals a round; rounds
ENOUGH = 400.0  # effective draws at which sampling stops
LEAST_KAPPA = 1.0 / 200.0  # a flatter zone is drawn as R 200 m: no measurement tells the two apart
LEAST_PULL = 1 / 0.04**2  # 1/m^2, precision given to every boundary (sd 40 mm), so that no matrix becomes singular
_BATCH = 3_000_000  # floats held in memory at once


@dataclass(frozen=True)
class ZoneFit:
    """Zones from the heel. bounds_m: (n-1,) x; blend_m; kappa: (n,) 1/m at the best fit. score: BIC, lower is better.

    draws: (ZONE_DRAWS, 2n) of the posterior, kappa, then bounds, then blend; sampled: effective number of them.
    """

    bounds_m: np.ndarray
    blend_m: float
    kappa: np.ndarray
    score: float
    draws: np.ndarray | None = None
    sampled: float = 0.0


class ZoneModel:
    """Heights as offset, tilt, slips, and double integrals of curvature, for any boundaries and blend.

    z'' = (1 + z'^2)^1.5 kappa(x), kappa constant in zones with linear ramps over `blend` centred on the boundaries
    (as `Recipe`); the factor f = (1 + z'^2)^1.5 comes from the smooth slope, whose error (below 1e-4) is worth 1e-5
    of a radius. Then z = nuisance + kappa_1 Q(x) + sum of jumps times ramps, linear in all but boundaries and blend.
    rows: Rows of the part to read; slope: function of x.
    """

    def __init__(self, rows: Rows, slope: Callable[[np.ndarray], np.ndarray]) -> None:
        self.rows = rows
        self.low, self.high = float(rows.x_m.min()), float(rows.x_m.max())
        x = np.linspace(self.low, self.high, 400)
        factor = np.polynomial.Chebyshev.fit(x, (1 + slope(x) ** 2) ** 1.5, 10)
        self._powers = [_powers(p) for p in (factor, factor.integ(), factor.integ(2))]
        nuisance = rows.whiten(rows.nuisance.T).T
        self.frame = np.linalg.qr(nuisance / np.linalg.norm(nuisance, axis=0))[0]
        self.bowl = self._factor(rows.x_m, 2)
        self.circle = self._clear(self.bowl)
        self.volume = np.linalg.slogdet(nuisance.T @ nuisance)[1]
        self.y = self._clear(rows.z_m)
        self.count = len(rows.x_m)

    def _factor(self, x: np.ndarray, times: int) -> np.ndarray:
        """f at x, integrated over x `times` times."""
        u, coef = (x - (self.low + self.high) / 2) * (2 / (self.high - self.low)), self._powers[times]
        out = np.full_like(u, coef[-1])
        for c in coef[-2::-1]:
            out *= u
            out += c
        return out

    def _clear(self, columns: np.ndarray) -> np.ndarray:
        """Columns (..., n) whitened, with offsets, tilts and slips projected out."""
        white = self.rows.whiten(columns)
        return white - (white @ self.frame) @ self.frame.T

    @cached_property
    def most(self) -> int:
        """Zones that the rows and the length can carry."""
        room = int((self.high - self.low - 2 * self.least_end) / LEAST_ZONE_M) + 2
        return max(1, min(MOST_ZONES, room, (self.count - self.frame.shape[1] - 4) // 2))

    def columns(self, bounds: np.ndarray, blend: np.ndarray) -> np.ndarray:
        """(S, n, rows): unit curvature everywhere, then a unit rise of curvature at each of bounds (S, n-1)."""
        b, w = bounds[..., None], blend[:, None, None]
        u = self.rows.x_m - b
        ahead = u > 0
        step = np.where(ahead, self.bowl - self._factor(b, 2) - self._factor(b, 1) * u, 0.0)
        # ramp less step: a cubic within the ramp, w^2/24 ahead of it; f is constant over a ramp to 1e-9 of the height
        round_ = np.where(np.abs(u) < w / 2, (u + w / 2) ** 3 / (6 * w) - np.where(ahead, u * u / 2, 0.0),
                          np.where(ahead, w * w / 24, 0.0))  # fmt: skip
        rises = self._clear(step + self._factor(b, 0) * round_)
        circle = np.broadcast_to(self.circle, (len(bounds), 1, self.count))
        return np.concatenate([circle, rises], axis=1)

    @property
    def least_end(self) -> float:
        """Shortest end zone, m: at least some readings must lie on it, else the foot of a sweep passes for a zone."""
        return max(LEAST_END_M, END_READINGS * self.rows.pitch_m)

    def solve(self, bounds: np.ndarray, blend: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Least squares for (S, n-1) bounds and (S,) blends: columns' coefficients (S, n), Gram (S, n, n), RSS (S,)."""
        parts, size = [], max(1, _BATCH // (self.count * (bounds.shape[1] + 1)))
        for i in range(0, len(bounds), size):
            columns = self.columns(bounds[i : i + size], blend[i : i + size])
            gram = columns @ columns.transpose(0, 2, 1)
            side = columns @ self.y
            coef = np.linalg.solve(gram, side[..., None])[..., 0]
            parts.append((coef, gram, self.y @ self.y - np.sum(coef * side, axis=1)))
        coef, gram, rss = (np.concatenate(p) for p in zip(*parts))
        return coef, gram, rss.clip(1e-30)

    def residuals(self, theta: np.ndarray) -> np.ndarray:
        """(S, rows) residuals for (S, n) rows of bounds and blend."""
        columns = self.columns(theta[:, :-1], theta[:, -1])
        coef = np.linalg.solve(columns @ columns.transpose(0, 2, 1), (columns @ self.y)[..., None])
        return self.y - (coef.transpose(0, 2, 1) @ columns)[:, 0]

    def allowed(self, theta: np.ndarray) -> np.ndarray:
        """Which rows of (S, n) bounds and blend keep order, distance and limits."""
        gaps = np.diff(theta[:, :-1], axis=1)
        inside = (theta[:, 0] >= self.low + self.least_end) & (theta[:, -2] <= self.high - self.least_end)
        blend = (theta[:, -1] >= BLEND_LIMITS_M[0]) & (theta[:, -1] <= BLEND_LIMITS_M[1])
        return inside & blend & np.all(gaps >= LEAST_ZONE_M, axis=1)

    def freedom(self, zones: int) -> int:
        """Degrees of freedom: rows less parameters."""
        return self.count - self.frame.shape[1] - 2 * zones + 1

    def likelihood(self, found: ZoneFit) -> float:
        """Restricted log likelihood of the rows' correlation, given where the zones meet."""
        _, gram, rss = self.solve(found.bounds_m[None], np.array([found.blend_m]))
        spread = self.volume + np.linalg.slogdet(gram[0])[1] + self.rows.log_whitening
        return -0.5 * (self.freedom(len(found.kappa)) * np.log(rss[0]) + spread)

    def score(self, rss: float, zones: int) -> float:
        """N ln(RSS/N) + k ln N (Schwarz 1978), k = curvatures + twice the boundaries.

        A boundary counts twice because the best of many places was taken (Zhang & Siegmund 2007, from memory):
        counted once, one single radius in ten measured every 5 mm was read as two zones.
        """
        return float(self.count * np.log(rss / self.count) + (3 * zones - 2) * np.log(self.count))


def _powers(series: np.polynomial.Chebyshev) -> np.ndarray:
    """Coefficients of a Chebyshev series over its domain in powers of u, -1 to 1; degree 12 loses nothing there."""
    return np.polynomial.chebyshev.cheb2poly(series.coef)


def best_fits(model: ZoneModel) -> list[ZoneFit]:
    """The best fit with 1, 2, ... zones.

    Every set of up to three boundaries on a grid is tried; more grow from the best sets (a beam). The best of each
    number, or the three best where it is in the running, are refined by Levenberg-Marquardt on boundaries and blend,
    all linear parameters eliminated (variable projection: Golub & Pereyra 1973).
    """
    coef, _, rss = model.solve(np.zeros((1, 0)), np.array([BLEND_M]))
    fits = [ZoneFit(np.zeros(0), BLEND_M, coef[0], model.score(rss[0], 1))]
    grid = np.arange(model.low + model.least_end, model.high - model.least_end + 1e-9, GRID_M)
    if model.most < 2 or len(grid) < 2:
        return fits
    columns = model.columns(grid[None], np.array([BLEND_M]))[0]
    gram, side = columns @ columns.T, columns @ model.y
    beams = [np.zeros((1, 0), int)]
    for zones in range(2, model.most + 1):
        beam = _grown(grid, gram, side, beams[-1], zones - 1)
        if len(beam) == 0:
            break
        beams.append(beam)
    firsts = [_refined(model, np.append(grid[beam[0]], BLEND_M)) for beam in beams[1:]]
    scores = [_fitted(model, theta).score for theta, _ in firsts]
    for first, score, beam in zip(firsts, scores, beams[1:]):
        others = beam[1:STARTS] if score < min(scores) + RUNNING else []
        tried = [first, *(_refined(model, np.append(grid[chosen], BLEND_M)) for chosen in others)]
        fits.append(_fitted(model, min(tried, key=lambda t: t[1])[0]))
    return fits


def _fitted(model: ZoneModel, theta: np.ndarray) -> ZoneFit:
    coef, _, rss = model.solve(theta[None, :-1], theta[-1:])
    return ZoneFit(theta[:-1], float(theta[-1]), np.cumsum(coef[0]), model.score(rss[0], len(theta)))


def _grown(grid: np.ndarray, gram: np.ndarray, side: np.ndarray, beam: np.ndarray, size: int) -> np.ndarray:
    """Sets of `size` grid places with the lowest RSS, far enough apart, best first."""
    apart = int(np.ceil(LEAST_ZONE_M / GRID_M - 1e-9))
    if size <= 3:
        sets = np.array(list(combinations(range(len(grid)), size)), int).reshape(-1, size)
    else:
        sets = np.concatenate([np.column_stack([beam, np.full(len(beam), i)]) for i in range(len(grid))])
        sets = np.unique(np.sort(sets, axis=1), axis=0)
    sets = sets[np.all(np.diff(sets, axis=1) >= apart, axis=1)]
    if len(sets) == 0:
        return sets
    index = np.column_stack([np.zeros(len(sets), int), sets + 1])
    small, right = gram[index[:, :, None], index[:, None, :]], side[index]
    won = np.sum(right * np.linalg.solve(small, right[..., None])[..., 0], axis=1)
    return sets[np.argsort(-won, kind="stable")[:BEAM]]


def _refined(model: ZoneModel, theta: np.ndarray) -> tuple[np.ndarray, float]:
    """Bounds and blend of least cost near theta, and that cost; bounds alone first, or the blend runs off."""
    theta, _ = _descended(model, theta, len(theta) - 1, 1e-5)
    return _descended(model, theta, len(theta), 1e-7)


def _descended(model: ZoneModel, theta: np.ndarray, free: int, near_m: float) -> tuple[np.ndarray, float]:
    """Levenberg-Marquardt over the first `free` of theta on N ln RSS + the blend's prior, to within near_m."""
    zones, damp, cost = len(theta), 1e-3, np.inf
    for _ in range(25):
        jac, r = _jacobian(model, theta)
        level2 = max(r @ r / model.freedom(zones), 1e-30)
        hess = jac @ jac.T / level2
        hess[-1, -1] += 1 / BLEND_SD_M**2
        grad = jac @ r / level2
        grad[-1] += (theta[-1] - BLEND_M) / BLEND_SD_M**2
        hess, grad = hess[:free, :free], grad[:free]
        cost = _cost(model, r @ r, theta)
        while damp < 1e6:
            trial = theta.copy()
            trial[:free] -= np.linalg.solve(hess + damp * np.diag(np.diag(hess) + LEAST_PULL), grad)
            trial[-1] = trial[-1].clip(*BLEND_LIMITS_M)
            if model.allowed(trial[None])[0]:
                new = _cost(model, np.sum(model.residuals(trial[None]) ** 2), trial)
                if new < cost:
                    break
            damp *= 8
        else:
            break
        moved = np.max(np.abs(trial - theta))
        theta, damp, cost = trial, max(damp / 16, 1e-9), new
        if moved < near_m:
            break
    return theta, cost


def _cost(model: ZoneModel, rss: float, theta: np.ndarray) -> float:
    return model.freedom(len(theta)) * np.log(max(rss, 1e-300)) + ((theta[-1] - BLEND_M) / BLEND_SD_M) ** 2


def _jacobian(model: ZoneModel, theta: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Change of the residuals with bounds and blend (n, rows), and the residuals; central differences."""
    h = 1e-4
    shifts = np.vstack([theta + h * np.eye(len(theta)), theta - h * np.eye(len(theta)), theta[None]])
    shifts[:, -1] = shifts[:, -1].clip(min=1e-4)
    r = model.residuals(shifts)
    n = len(theta)
    return (r[:n] - r[n : 2 * n]) / (2 * h), r[-1]


def sampled(model: ZoneModel, found: ZoneFit) -> ZoneFit:
    """The fit with draws of its posterior, by adaptive importance sampling; seeded, so that it repeats.

    Flat priors on curvatures, offsets, tilts and boundaries, 1/sigma on the noise, normal on the blend. Integrated
    over all linear parameters the posterior of boundaries and blend is |X'X|^-1/2 RSS^-(N-p)/2; given those, the
    curvatures are Student's t. Proposals: mixtures of t with 5 degrees of freedom (population Monte Carlo: Cappe et
    al. 2004), the first about the best fit with its Gauss-Newton covariance.
    """
    rng = np.random.default_rng(1851)
    zones = len(found.kappa)
    if zones == 1:
        theta, size = np.full((ZONE_DRAWS, 1), found.blend_m), float(ZONE_DRAWS)
    else:
        theta, size = _importance(model, found, rng)
    coef, gram, rss = model.solve(theta[:, :-1], theta[:, -1])
    dof = model.freedom(zones) + zones - 1  # bounds are drawn, not fitted, here
    level = np.sqrt(rss / rng.chisquare(dof, ZONE_DRAWS))
    root = np.linalg.cholesky(gram).transpose(0, 2, 1)
    jolt = np.linalg.solve(root, rng.standard_normal((ZONE_DRAWS, zones, 1)))[..., 0]
    kappa = np.cumsum(coef + level[:, None] * jolt, axis=1).clip(LEAST_KAPPA)
    draws = np.column_stack([kappa, theta])
    return ZoneFit(found.bounds_m, found.blend_m, found.kappa, found.score, draws, size)


def _importance(model: ZoneModel, found: ZoneFit, rng: np.random.Generator) -> tuple[np.ndarray, float]:
    zones = len(found.kappa)
    mode = np.append(found.bounds_m, found.blend_m)
    jac, r = _jacobian(model, mode)
    hess = jac @ jac.T / (r @ r / model.freedom(zones))
    hess[-1, -1] += 1 / BLEND_SD_M**2
    cov = np.linalg.inv(hess + np.eye(zones) * LEAST_PULL)
    mixture, theta, logs = [(mode, 1.5 * cov)], np.zeros((0, zones)), np.zeros(0)
    dof = model.freedom(zones) + zones - 1
    for turn in range(MOST_ROUNDS):
        centre, spread = mixture[-1]
        new = centre + (rng.standard_normal((ROUND, zones)) @ np.linalg.cholesky(spread).T) / np.sqrt(
            rng.chisquare(5, (ROUND, 1)) / 5
        )
        good = model.allowed(new)
        log = np.full(ROUND, -np.inf)
        _, gram, rss = model.solve(new[good, :-1], new[good, -1])
        log[good] = -dof / 2 * np.log(rss) - np.linalg.slogdet(gram)[1] / 2
        log[good] -= ((new[good, -1] - BLEND_M) / BLEND_SD_M) ** 2 / 2
        theta, logs = np.vstack([theta, new]), np.append(logs, log)
        proposal = np.logaddexp.reduce([_t_density(theta, *part) for part in mixture], axis=0)
        weight = np.exp(logs - proposal - np.max(logs - proposal))
        weight /= weight.sum()
        size = 1 / np.sum(weight**2)
        if turn >= 2 and size > ENOUGH:
            break
        mean = weight @ theta
        spread = np.einsum("i,ij,ik->jk", weight, theta - mean, theta - mean)
        mixture.append((mean, 1.2 * spread + np.eye(zones) * 1e-10))
    places = (np.arange(ZONE_DRAWS) + rng.random()) / ZONE_DRAWS
    chosen = np.searchsorted(np.cumsum(weight), places).clip(max=len(theta) - 1)
    return theta[rng.permutation(chosen)], float(size)


def _t_density(theta: np.ndarray, mean: np.ndarray, cov: np.ndarray, dof: int = 5) -> np.ndarray:
    """Log density of a multivariate t, less a constant."""
    root = np.linalg.cholesky(cov)
    off = np.linalg.solve(root, (theta - mean).T)
    return -(dof + len(mean)) / 2 * np.log1p(np.sum(off**2, axis=0) / dof) - np.sum(np.log(np.diag(root)))
