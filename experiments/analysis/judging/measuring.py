"""What to measure first: what knowing an input is worth, and how often a measurement of it would settle the case."""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import scipy

from experiments.request.opinions import WEIGHTS, Measurement, Opinions

TRIED = 48  # of a measurement that is tried out
FULL_SHARE = 0.2  # cross products are fitted while coefficients are fewer than this share of the draws

Fit = Callable[[np.ndarray], np.ndarray]  # (draw, input) standard normal inputs -> (draw, output) expected outputs


@dataclass(frozen=True)
class Group:
    """Inputs that one measurement tells about, and how well.

    z: (draw, input) standard normal inputs; noise: (input,) standard deviation of the measurement over that of what is
    known now; fit: expected outputs at given inputs, or None: by regression on the draws in hand.
    """

    name: str
    z: np.ndarray
    noise: np.ndarray
    fit: Fit | None = None


@dataclass(frozen=True)
class Worth:
    """value: expected value of perfect information, log2 of score; settles: share of outcomes that settle the case."""

    name: str
    value: float
    settles: float


def normal_scores(samples: np.ndarray) -> np.ndarray:
    """(draw,) standard normal numbers in the order of the samples: Phi^-1((rank - 1/2)/n), ties in the middle."""
    return scipy.special.ndtri((scipy.stats.rankdata(samples) - 0.5) / len(samples))


def noise_of_accuracy(accuracy: float, deviation: float) -> float:
    """Standard deviation of a measurement over the standard deviation of what is known now, in one unit."""
    return accuracy / deviation


def noise_of_left(left: float) -> float:
    """The same from the share of the standard deviation that is left: left = s/sqrt(1 + s^2), 0 < left < 1."""
    return left / math.sqrt(1 - left**2)


def groups_of(
    measurements: Sequence[Measurement], columns: Mapping[str, np.ndarray], base: Mapping[str, np.ndarray],
    wishes: tuple[np.ndarray, Fit] | None = None,
) -> list[Group]:  # fmt: skip
    """The measurements that could be made here. columns: drawn inputs by name, (draw,); base: measures of the blade as
    it is by name, (draw,), above 0; wishes: (draw, measure) normals of the weights, and the outputs expected at such.

    A measurement of what is not drawn, or does not scatter, is left out: it is known already.
    """
    found = []
    for one in measurements:
        if one.of == (WEIGHTS,):
            if wishes is not None:
                noise = np.full(wishes[0].shape[1], noise_of_left(one.left))
                found.append(Group(one.name, wishes[0], noise, wishes[1]))
            continue
        known = [columns[x] if x in columns else np.log(base[x]) for x in one.of if x in columns or x in base]
        known = [x for x in known if np.std(x) > 0]
        if known:
            noise = [noise_of_left(one.left) if math.isnan(one.accuracy) else noise_of_accuracy(one.accuracy, np.std(x))
                     for x in known]  # fmt: skip
            found.append(Group(one.name, np.column_stack([normal_scores(x) for x in known]), np.array(noise)))
    return found


def terms(z: np.ndarray, crossed: bool) -> np.ndarray:
    """(draw, term): 1, z, z^2, z^3 of every input, and the products of each two inputs where `crossed`."""
    count = z.shape[1]
    columns = [np.ones(len(z)), *z.T, *(z**2).T, *(z**3).T]
    if crossed:
        columns += [z[:, i] * z[:, j] for i in range(count) for j in range(i)]
    return np.column_stack(columns)


def regressed(z: np.ndarray, outputs: np.ndarray) -> Fit:
    """Least squares of (draw, output) outputs on the terms of z (Strong, Oakley & Brennan 2014, value from memory).

    Without cross products where those would make more coefficients than a fifth of the draws: chance would be fitted,
    and the value of information with it. What bends more than a cubic does is smoothed: of sin(0.8 z) the value of
    information comes out 2 % low, of sin(1.3 z) 8 %. Raises ValueError when an output is missing.
    """
    if not np.isfinite(outputs).all():
        raise ValueError("regressed: outputs are missing in some draws; leave those draws out.")
    count = z.shape[1]
    crossed = 1 + 3 * count + count * (count - 1) // 2 < FULL_SHARE * len(z)
    found, *_ = np.linalg.lstsq(terms(z, crossed), outputs, rcond=None)
    return lambda given: terms(given, crossed) @ found


def value_of_knowing(z: np.ndarray, net: np.ndarray, fit: Fit | None = None) -> float:
    """Expected value of perfect information on a group of inputs, in the unit of net.

    z: (draw, input); net: (draw, option), one option being to leave the blade (0). Mean over draws of the greatest
    expected net at the inputs of the draw, less the greatest mean net; never below 0.
    """
    expected = (fit or regressed(z, net))(z)
    expected = expected + (net - expected).mean(axis=0)  # the same means: a fit given from outside has its own
    return max(0.0, float(expected.max(axis=1).mean() - net.mean(axis=0).max()))


def share_settled(
    group: Group,
    outputs: np.ndarray,
    decided: Callable[[np.ndarray], bool],
    seed: int = 0,
    outcomes: int = TRIED,
) -> float:
    """Share of outcomes of a measurement after which the case is decided. outputs: (draw, output), whatever `decided`
    judges by; it gets the outputs redrawn as they would be known then, and answers whether they decide.

    For each outcome a draw z is taken for the truth and y = z + s u read; what is known then is z' ~ N(y/(1 + s^2),
    s^2/(1 + s^2)); outputs are the expected ones at z' and a residual of the fit, shuffled: whole draws, so that what
    all blades share stays shared.
    """
    rng = np.random.default_rng(seed)
    fit = group.fit or regressed(group.z, outputs)
    residual = outputs - fit(group.z)
    count, s = len(group.z), np.asarray(group.noise, float)
    truths = rng.permutation(count)[np.arange(outcomes) % count]
    settled = 0
    for truth in truths:
        read = group.z[truth] + s * rng.standard_normal(s.shape)
        known = read / (1 + s**2) + s / np.sqrt(1 + s**2) * rng.standard_normal(group.z.shape)
        settled += bool(decided(fit(known) + residual[rng.permutation(count)]))
    return settled / outcomes


def worth_of_each(
    groups: Sequence[Group], outputs: np.ndarray, options: Callable[[np.ndarray], np.ndarray],
    decided: Callable[[np.ndarray], bool], seed: int = 0,
) -> list[Worth]:  # fmt: skip
    """Every group with what it is worth and how often it settles the case; the one that settles most often first.

    options: from (draw, output) outputs to (draw, option) net scores, for the value of information.
    """
    found = []
    for group in groups:
        fit = group.fit or regressed(group.z, outputs)
        value = value_of_knowing(group.z, options(outputs), lambda z, fit=fit: options(fit(z)))
        found.append(Worth(group.name, value, share_settled(group, outputs, decided, seed)))
    return sorted(found, key=lambda x: (-x.settles, -x.value))


def first_to_measure(worths: Sequence[Worth], opinions: Opinions) -> Worth | None:
    """The one measurement to name: that which settles most often, if every second time or more; else None."""
    able = [x for x in worths if x.settles >= opinions.settles_from]
    return max(able, key=lambda x: (x.settles, x.value), default=None)
