"""What the skater wants, in doubt: weights drawn about those stated, and the scores that they make."""

from collections.abc import Callable

import numpy as np
import scipy

from experiments.request.opinions import Opinions


def drawn_weights(weights: np.ndarray, normals: np.ndarray, opinions: Opinions) -> np.ndarray:
    """(draw, measure) weights of sum 1, from a Dirichlet of n w about the stated w (scaled to a sum of 1), n the doubt.

    normals: (draw, measure) independent standard normal numbers. Weight m is made of a gamma number of shape n w_m at
    the probability of its own normal number, divided by the sum of all, which is a Dirichlet exactly; so the doubt is a
    group of normal inputs like any other. The standard deviation of w_m is sqrt(w_m (1 - w_m)/(n + 1)): 0.07 at 0.20
    and n = 30. A weight of 0 stays 0.
    """
    w = np.asarray(weights, float) / np.sum(weights)
    used = w > 0
    # the open interval keeps gammas finite and above 0
    shares = np.clip(scipy.special.ndtr(np.asarray(normals, float)[:, used]), 1e-12, 1 - 1e-12)
    gammas = np.maximum(scipy.special.gammaincinv(opinions.weight_doubt * w[used], shares), 1e-300)
    out = np.zeros(np.shape(normals))
    out[:, used] = gammas / gammas.sum(axis=1, keepdims=True)
    return out


def weighted(weights: np.ndarray, log_gains: np.ndarray) -> np.ndarray:
    """(draw, blade) scores: sum over measures of weight x log2 gain. weights: (draw, measure), or (measure,) of sum 1;
    log_gains: (draw, blade, measure). Of a measure without weight nothing need be known."""
    w = np.broadcast_to(np.asarray(weights, float), (len(log_gains), np.shape(log_gains)[2]))
    return np.where(w[:, None, :] > 0, w[:, None, :] * log_gains, 0.0).sum(axis=2)


def expected_scores(stated: np.ndarray, gains: np.ndarray, opinions: Opinions) -> Callable[[np.ndarray], np.ndarray]:
    """From (draw, measure) normals of the weights to the (draw, blade) scores expected of them. Exact: weights are
    drawn apart from all else, so it is weights times mean gains. stated: (measure,); gains: (draw, blade, measure).
    """
    mean = np.nanmean(gains, axis=0)
    return lambda normals: drawn_weights(stated, normals, opinions) @ mean.T


def log_gains(values: np.ndarray, base: np.ndarray, better: list[str]) -> np.ndarray:
    """(draw, blade, measure) log2 of how many times better each blade is than `base` of the same draw.

    values: (draw, blade, measure); base: (draw, measure); better: lower or higher of each measure. nan where either is
    missing or not above 0.
    """
    both = np.stack(np.broadcast_arrays(values, base[:, None, :]))
    usable = (np.isfinite(both) & (both > 0)).all(axis=0)
    signs = np.array([1.0 if way == "higher" else -1.0 for way in better])
    ratios = np.where(usable, both[0], 1.0) / np.where(usable, both[1], 1.0)
    return np.where(usable, signs * np.log2(ratios), np.nan)
