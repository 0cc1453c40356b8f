"""What a search found, in words: each line from the numbers."""

import math

import numpy as np

from experiments.analysis.judging.intervals import BEYOND, against_line, order_kept
from experiments.report.words import AGAINST_LINE, ORDER
from experiments.request.grids import zone_words
from experiments.studies.search.study import FrontBlade, Plan, SearchResult
from sim.blade.recipe import Recipe
from sim.measures import REGISTRY

LEVEL_M = 5e-4  # a level point nearer to mid-runner than this is at mid-runner


def recipe_words(recipe: Recipe) -> str:
    """A recipe in words, with its level point where that is not mid-runner."""
    level = f", level {recipe.level_m * 1e3:+.0f} mm" if abs(recipe.level_m) > LEVEL_M else ""
    return f"{zone_words(recipe)}{level}".replace(" heel to toe, zones", ",")


def verdict_words(blade: FrontBlade, pair: int) -> str:
    """Whether a blade lies beyond single radii on a pair, as far as its interval supports it."""
    return AGAINST_LINE[against_line(blade.gains[:, pair])]


def gain_words(blade: FrontBlade, pair: int) -> str:
    """The gain of a blade on a pair with its interval and verdict."""
    low, middle, high = blade.gains[:, pair]
    return f"{middle:.3f} ({low:.3f} to {high:.3f}), {verdict_words(blade, pair)}"


def pair_words(pair: tuple[str, str]) -> str:
    """A pair of objectives in words."""
    return " and ".join(REGISTRY[name].label for name in pair)


def sentences(plan: Plan, result: SearchResult) -> list[str]:
    """All lines."""
    out = _scope(plan, result)
    for p in range(len(result.pairs)):
        out += [*_beyond(result, p), *_zone_worth(result, p)]
    return out + [_rolled(*tau) for tau in result.taus]


def _scope(plan: Plan, result: SearchResult) -> list[str]:
    """What was evaluated, for whom, and what chance reaches."""
    able, count = int(result.found.allowed.sum()), len(result.found.points)
    skaters = [s.skater for s in plan.request.settings]
    names = ", ".join(f"{s.name} {s.mass_kg:g} kg" for s in skaters)
    out = [f"{count} blades evaluated for {names}, {able} of them within what can be ground; costs are ratios to the "
           "reference, less is better; intervals are 5 to 95 %."]  # fmt: skip
    if len(skaters) > 1:
        out.append(f"Costs are over all skaters; gains, intervals and rolled movements are those of {skaters[0].name}.")
    if result.random is not None:
        reached = result.volumes[-1, 1]
        times = reached / result.random_volume if result.random_volume > 0 else math.inf
        out.append(f"As many random blades within the same limits reach a hypervolume of {result.random_volume:.4f}; "
                   f"the search reaches {reached:.4f}, {times:.2f} times that.")  # fmt: skip
    return out


def _beyond(result: SearchResult, p: int) -> list[str]:
    """Which blades are surely beyond single radii on a pair, and which would be if only grinding were uncertain."""
    words = pair_words(result.pairs[p])
    sure = [k + 1 for k, blade in enumerate(result.blades) if against_line(blade.gains[:, p]) == "beyond"]
    kept = sum(bool(blade.grinding[0, p] > BEYOND) for blade in result.blades)
    out = [
        f"Beyond every single radius on {words}: blade{'s' * (len(sure) > 1)} {', '.join(map(str, sure))}." if sure
        else f"No blade of the front is surely beyond single radii on {words}."
    ]  # fmt: skip
    if kept:
        out.append(
            f"If only grinding were uncertain, {kept} of {len(result.blades)} would be surely beyond on {words}."
        )
    return out


def _zone_worth(result: SearchResult, p: int) -> list[str]:
    """What each zone of the best blade is worth: gain lost when it takes its longer neighbour's radius."""
    best = max(result.blades, key=lambda blade: np.nan_to_num(blade.alone[p], nan=-1.0))
    if not len(best.without):
        return []
    lost = ", ".join(f"zone {i + 1} from the heel {best.alone[p] - g:+.3f}" for i, g in enumerate(best.without[:, p]))
    return [
        f"{best.candidate.name}, gain {best.alone[p]:.3f} on {pair_words(result.pairs[p])} with nothing uncertain, of "
        f"which {lost}."
    ]


def _rolled(static: str, rolled: str, tau: float) -> str:
    """Whether the order along the front survives rolling."""
    kept = order_kept(tau)
    if kept == "unknown":
        return (
            f"Whether the order by {REGISTRY[static].label} survives rolling cannot be determined from so few blades."
        )
    return (
        f"Order along the front by {REGISTRY[static].label} is {ORDER[kept]} when the movement is rolled "
        f"({REGISTRY[rolled].label}; Kendall's tau {tau:.2f})."
    )
