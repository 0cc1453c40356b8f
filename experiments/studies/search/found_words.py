"""Of each find: the price on every other measure, and the bounds of the space that it lies on, in words."""

import math

import numpy as np

from experiments.analysis.finds import Widened
from experiments.analysis.judging.intervals import SLIGHT
from experiments.analysis.shop import radius_words
from experiments.report.shown import PLACES
from experiments.report.words import change_text
from experiments.studies.search.study import FrontBlade, Plan, SearchResult
from sim.measures import REGISTRY, STATIC

MOST_NAMED_PRICES = 3  # losses, and gains, that are named in a sentence; the table has all
SHOWN = {name for place, names in PLACES.items() if place != "tables only" for name in names}


def priced(plan: Plan) -> list[str]:
    """Static measures that are shown and have a better direction, besides the objectives."""
    own = {name for name, _ in plan.problem.objectives}
    return [n for n in STATIC if n in SHOWN and n not in own and REGISTRY[n].better != "neither"]


def ratio_of(name: str, blade: FrontBlade, result: SearchResult) -> float:
    """A measure of a find over that of the reference, nothing uncertain; nan where either is missing or not above 0."""
    value, base = blade.values[name], result.values[name]
    return value / base if math.isfinite(value) and math.isfinite(base) and value > 0 and base > 0 else math.nan


def losses(plan: Plan, blade: FrontBlade, result: SearchResult) -> list[tuple[str, float, float]]:
    """(measure, ratio to the reference, log of how much worse) of every other measure, the greatest loss first."""
    out = []
    for name in priced(plan):
        ratio = ratio_of(name, blade, result)
        if math.isfinite(ratio):
            out.append((name, ratio, math.log(ratio) * (1 if REGISTRY[name].better == "lower" else -1)))
    return sorted(out, key=lambda row: -row[2])


def price_words(plan: Plan, blade: FrontBlade, result: SearchResult) -> str:
    """The three greatest losses and gains of a find against the reference, besides the objectives."""
    every = losses(plan, blade, result)
    worse = [row for row in every if row[2] >= SLIGHT][:MOST_NAMED_PRICES]
    better = [row for row in every[::-1] if row[2] <= -SLIGHT][:MOST_NAMED_PRICES]

    def listed(rows):
        return ", ".join(f"{REGISTRY[name].label} {change_text(ratio)}" for name, ratio, _ in rows)

    return (
        f"Against the reference it loses most on {listed(worse)}" if worse
        else f"Against the reference it loses {100 * SLIGHT:g} % or more on no other measure"
    ) + (f", and gains most on {listed(better)}." if better else ", and gains on none.")  # fmt: skip


def bound_words(plan: Plan, find: Widened) -> str:
    """A bound that a find lies on, and what it gives beyond it."""
    return f"{_where(plan, find)}{_what_then(plan, find)}."


def bounds_words(plan: Plan, blade: FrontBlade) -> str:
    """All bounds that a find lies on, and what it gives beyond them; empty where it lies on none."""
    return " ".join(f"At the bound: {bound_words(plan, each)}" for each in blade.bounds)


def bounds_named(plan: Plan, blade: FrontBlade) -> str:
    """The same without what it gives."""
    return f"At the bound: {'; '.join(_where(plan, each) for each in blade.bounds)}." if blade.bounds else ""


def bound_group_words(plan: Plan, result: SearchResult) -> list[str]:
    """How many finds lie on a bound of the space, and what they give with each bound moved outward."""
    on = [k + 1 for k, blade in enumerate(result.blades) if blade.bounds]
    if not on:
        return ["No find lies on a bound of the space."]
    out = [f"At the bound of the space lie {len(on)} of {len(result.blades)} finds ({', '.join(map(str, on))}): what "
           "is beyond was not searched."]  # fmt: skip
    groups: dict[tuple[str, bool], list[Widened]] = {}
    for blade in result.blades:
        for each in blade.bounds:
            groups.setdefault((each.bound.what, each.bound.low), []).append(each)
    for members in groups.values():
        known = np.array([_values(plan, m) for m in members if np.isfinite(m.changes).all()])
        if len(known):
            ranges = [f"{REGISTRY[name].label} by {_range(known[:, k])}"
                      for k, (name, _) in enumerate(plan.problem.objectives)]  # fmt: skip
            count = f"{len(known)} find{'s' * (len(known) > 1)}"
            out.append(f"{_bound_name(plan, members[0])} moved to {_size(plan, members[0], members[0].bound.wider)} "
                       f"changes, in the {count} that can be ground with it, {_listed(ranges)}.")  # fmt: skip
    return out


def _listed(words: list[str]) -> str:
    """a, b and c."""
    return " and ".join(part for part in (", ".join(words[:-1]), *words[-1:]) if part)


def _values(plan: Plan, find: Widened) -> np.ndarray:
    """(objective,) changes as ratios of the measures themselves."""
    return np.array([c if way == "lower" else 1 / c for c, (_, way) in zip(find.changes, plan.problem.objectives)])


def _range(ratios: np.ndarray) -> str:
    low, high = change_text(float(ratios.min())), change_text(float(ratios.max()))
    return low if low == high else f"{low} to {high}"


def _size(plan: Plan, find: Widened, value: float) -> str:
    """A bound as people write it."""
    if find.bound.what == "radius":
        return f"{radius_words(value, plan.steps.metric)} {'mm' if plan.steps.metric else 'ft'}"
    if find.bound.what in ("length", "zones"):
        return f"{value:.3g}"
    return f"{value * 1e3:+.4g} mm" if find.bound.what == "level" else f"{value * 1e3:.4g} mm"


def _bound_name(plan: Plan, find: Widened) -> str:
    bound, size = find.bound, _size(plan, find, find.bound.value)
    return {
        "radius": f"The {'shortest' if bound.low else 'longest'} radius of {size}",
        "level": f"The level point nearest to the {'heel' if bound.low else 'toe'}, {size},",
        "blend": f"The {'shortest' if bound.low else 'longest'} blend of {size}",
        "length": f"The greatest ratio of zone lengths, {size},",
    }[bound.what]


def _where(plan: Plan, find: Widened) -> str:
    bound, size = find.bound, _size(plan, find, find.bound.value)
    zones = _listed([str(i) for i in bound.zones])
    end = "shortest" if bound.low else "longest"
    return {
        "radius": f"{'radii' if len(bound.zones) > 1 else 'radius'} {zones} from the heel at {size}, the {end} radius "
        "of the space",
        "level": f"level point at {size}, the nearest to the {'heel' if bound.low else 'toe'} of the space",
        "blend": f"blend of {size}, the {end} blend of the space",
        "length": f"longest zone {size} times the shortest, the most of the space",
        "zones": f"{size} zones, the most of the space",
    }[bound.what]


def _what_then(plan: Plan, find: Widened) -> str:
    bound = find.bound
    if bound.what == "zones":
        return ""  # one more zone is another search
    if bound.moved is None:
        return "; zones of one radius were joined, so it was not moved" if bound.what == "length" else (
            "; it cannot be moved: that is the grinder's own limit")  # fmt: skip
    size = _size(plan, find, bound.wider)
    if find.refused:
        return f"; with {size} it cannot be had: {find.refused.rstrip('.')}"
    changes = [f"{REGISTRY[name].label} {change_text(float(c))}"
               for (name, _), c in zip(plan.problem.objectives, _values(plan, find))]  # fmt: skip
    return f"; with {size} it changes by {', '.join(changes)}"
