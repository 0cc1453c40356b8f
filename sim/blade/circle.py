"""The best single radius of measured points: least squares of the distances to a circle."""

import numpy as np
import scipy


def best_circle(x: np.ndarray, z: np.ndarray, weight: np.ndarray) -> tuple[float, np.ndarray]:
    """Curvature (1/m, below 0 when hollow) and signed distances (m, + above the circle) of points (n,).

    With n the circle's normal at its point nearest the origin, d that distance, c the curvature, the distance of p is
        (c p.p - 2 (1 + c d) p.n + 2 d + c d^2) / (1 + |c p - (1 + c d) n|),
    which stays finite as the circle becomes a line (as Karimaki 1991). Minimised over c, d and the direction.
    """
    x, z = np.asarray(x, float), np.asarray(z, float)
    mid, half = (x.max() + x.min()) / 2, np.ptp(x) / 2
    u, v = (x - mid) / half, (z - z.mean()) / half
    root = np.sqrt(weight)

    def distance(p: np.ndarray) -> np.ndarray:
        c, d, t = p
        normal = np.array([-np.sin(t), np.cos(t)])
        far = 1 + c * d
        across = u * normal[0] + v * normal[1]
        gap = c * (u * u + v * v) - 2 * far * across + 2 * d + c * d * d
        reach = np.sqrt((c * u - far * normal[0]) ** 2 + (c * v - far * normal[1]) ** 2)
        return -gap / (1 + reach)

    start = np.polynomial.polynomial.polyfit(u, v, 2, w=root)
    found = scipy.optimize.least_squares(
        lambda p: root * distance(p), [2 * start[2], start[0], np.arctan(start[1])], jac="3-point", method="lm",
        xtol=1e-15, ftol=1e-15, gtol=1e-15,
    )  # fmt: skip
    return float(found.x[0] / half), distance(found.x) * half
