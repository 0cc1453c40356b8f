"""Small words for intervals and thresholds: clear, worth saying, on which side, how far an order is kept.

An interval is three numbers: 5, 50 and 95 % of something over the draws.
"""

import math
from collections.abc import Sequence

import numpy as np

from experiments.request.opinions import Opinions

ROUNDED = 5e-4  # a bound nearer to a ratio of 1 than this is printed as 1.000
SLIGHT = 0.005  # a ratio nearer to 1 than this is not listed
ORDER_KEPT, ORDER_PARTLY_KEPT = 0.8, 0.4  # least Kendall's tau
NEAR_CROWN_M = 10e-6  # a groove this near to the crown of the hollow glides on one film or on two
LARGE_CHANGE = 0.08  # log ratio of a measure from which a skater needs several sessions


def excludes(spread: Sequence[float], value: float = 0.0) -> bool:
    """Whether a value lies outside an interval (5, 50, 95 %); its bounds belong to the interval."""
    return not spread[0] <= value <= spread[2]


def clear(ratio: Sequence[float]) -> bool:
    """Whether the whole interval lies on one side of one, by more than what is printed as one."""
    return bool(ratio[0] > 1 + ROUNDED or ratio[2] < 1 - ROUNDED)


def worth_saying(ratio: Sequence[float], opinions: Opinions) -> bool:
    """Whether a change is clear and large enough to be worth a sentence."""
    return clear(ratio) and abs(ratio[1] - 1) >= opinions.worth_saying_from


def side(ratio: Sequence[float], better: str) -> str:
    """better, worse or undecided, for an interval of a ratio of which `better` is lower or higher."""
    if not clear(ratio):
        return "undecided"
    return "better" if (ratio[1] < 1) == (better == "lower") else "worse"


def order_kept(tau: float) -> str:
    """kept, partly, lost or unknown, by Kendall's tau between two orders."""
    if not math.isfinite(tau):
        return "unknown"
    return "kept" if tau > ORDER_KEPT else "partly" if tau > ORDER_PARTLY_KEPT else "lost"


def near_crown(groove_m: float, crown_m: float) -> bool:
    """Whether a groove is so near to the crown of the hollow that one water film and two are a small change apart."""
    return abs(groove_m - crown_m) < NEAR_CROWN_M


def large_change(all_ratios: Sequence[np.ndarray | None]) -> bool:
    """Whether any clear change among these ratios is one that takes several sessions to get used to."""
    sure = [abs(math.log(ratio[1])) for ratio in all_ratios if ratio is not None and clear(ratio)]
    return max(sure, default=0.0) > LARGE_CHANGE
