"""Places of a candidate among tie groups, and how they read."""

import math
from collections.abc import Sequence


def places(groups: Sequence[Sequence[int]], i: int) -> tuple[float, float]:
    """First and last place that a candidate may take, 1 is best: those of its tie group; nan where it is in none."""
    place = 1
    for group in groups:
        if i in group:
            return place, place + len(group) - 1
        place += len(group)
    return math.nan, math.nan


def place_text(first: float, last: float) -> str:
    """3 or 2-5; n/a where a candidate has no place."""
    if math.isnan(first):
        return "n/a"
    return f"{first:.0f}" if first == last else f"{first:.0f}-{last:.0f}"
