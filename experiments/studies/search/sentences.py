"""What a search found, in words: each line from the numbers."""

import math

import numpy as np

from experiments.analysis.judging.intervals import order_kept
from experiments.analysis.judging.statement import measured_at_two_places
from experiments.analysis.places import load_lines
from experiments.analysis.shop import radius_words
from experiments.report.words import ORDER, STATEMENT
from experiments.studies.search.found_words import bound_group_words
from experiments.studies.search.study import FrontBlade, Plan, SearchResult
from sim.blade.recipe import Recipe
from sim.measures import REGISTRY

LEVEL_M = 5e-4  # a level point nearer to mid-runner than this is at mid-runner
TWO_PLACES = "measured at two places of the blade"


def recipe_words(recipe: Recipe, metric: bool = False) -> str:
    """A recipe in words, in full, with its level point where that is not mid-runner."""
    radii = "/".join(radius_words(r, metric) for r in recipe.radii_m) + (" mm" if metric else " ft")
    zones = "/".join(f"{zone.length_m * 1e3:.4g}" for zone in recipe.zones) if len(recipe.zones) > 1 else ""
    level = f", level {recipe.level_m * 1e3:+.4g} mm" if abs(recipe.level_m) > LEVEL_M else ""
    return radii + (f", zones {zones} mm" if zones else "") + level


def verdict_words(blade: FrontBlade, pair: int) -> str:
    """Whether a blade lies beyond single radii on a pair, as far as its draws support it."""
    return STATEMENT[blade.said[pair].kind]


def gain_words(blade: FrontBlade, pair: int) -> str:
    """The gain of a blade on a pair with its interval and verdict."""
    low, middle, high = blade.gains[:, pair]
    if not math.isfinite(middle):
        return verdict_words(blade, pair)
    return f"{middle:.3f} ({low:.3f} to {high:.3f}), {verdict_words(blade, pair)}"


def pair_words(pair: tuple[str, str]) -> str:
    """A pair of objectives in words."""
    return " and ".join(REGISTRY[name].label for name in pair)


def labelled_pair(plan: Plan, pair: tuple[str, str]) -> str:
    """A pair in words, with the label of one that is measured at two places of the blade."""
    two = measured_at_two_places(pair, plan.request.settings[0].states)
    return f"{pair_words(pair)}, {TWO_PLACES}" if two else pair_words(pair)


def title_words(plan: Plan, result: SearchResult, title: str) -> str:
    """A title, with the label of objectives that are measured at two places of the blade."""
    two = [p for p in result.pairs if measured_at_two_places(p, plan.request.settings[0].states)]
    return f"{title}, {TWO_PLACES}" if two else title


def sentences(plan: Plan, result: SearchResult) -> list[str]:
    """All lines about the search as a whole."""
    out = [*_scope(plan, result), *_starts(plan), _tally(plan, result), *_places(plan, result)]
    if not result.blades:
        why = "for the reasons above" if result.tally.unground else "a single radius does as well here"
        return [*out, f"Nothing was found: no recipe of the front is left, {why}."]
    for p in range(len(result.pairs)):
        out += [*_beyond(result, p), *_zone_worth(plan, result, p)]
    return [*out, *bound_group_words(plan, result), *(_rolled(*tau) for tau in result.taus)]


def _scope(plan: Plan, result: SearchResult) -> list[str]:
    """What was evaluated, for whom, and what chance reaches."""
    able, count = int(result.found.allowed.sum()), len(result.found.points)
    skaters = [s.skater for s in plan.request.settings]
    names = ", ".join(f"{s.name} {s.mass_kg:g} kg" for s in skaters)
    out = [f"{count} blades evaluated for {names}, {able} of them within what can be ground; costs are ratios to the "
           "reference, less is better; intervals are 5 to 95 %."]  # fmt: skip
    if len(plan.problem.settings) > 1:
        how, count = plan.problem.how, len(plan.problem.settings)
        words = "means" if how is None else f"{100 * how:.4g} % quantiles"
        lost = f"; {plan.lost} draws could not be built and do not count" if plan.lost else ""
        out.append(f"Costs are {words} over {count} settings, and so are those of the reference that "
                   f"they are divided by{lost}; gains, prices, intervals and rolled movements are those of "
                   f"{skaters[0].name}.")  # fmt: skip
    if result.random is not None:
        reached = result.volumes[-1, 1]
        times = f", {reached / result.random_volume:.2f} times that" if result.random_volume > 0 else ""
        out.append(f"As many random blades within the same limits reach a hypervolume of {result.random_volume:.4f}; "
                   f"the search reaches {reached:.4f}{times}.")  # fmt: skip
    return out


def _starts(plan: Plan) -> list[str]:
    """Which of a person's own recipes the search started from."""
    out = [f"Started also from {', '.join(plan.own)}."] if plan.own else []
    if plan.left_out:
        out.append(f"Not started from {', '.join(plan.left_out)}: the space holds no such recipe (its radii, number, "
                   "order or length of zones, level point or blend).")  # fmt: skip
    return out


def _tally(plan: Plan, result: SearchResult) -> str:
    """What became of the front, in shop steps."""
    t, steps = result.tally, plan.steps
    step = f"{steps.radius_m * 1e3:.4g} mm" if steps.metric else f"{radius_words(steps.radius_m, False)} ft"
    words = [
        (t.alike + t.merged, "merged with another that one grind cannot tell apart"),
        (t.unground, "then beyond what can be ground or a cap"), (t.single, "then a single radius"),
        (t.beaten, "then beaten by another or by a single radius"), (t.more, "not shown"),
    ]  # fmt: skip
    gone = ", ".join(f"{n} {w}" for n, w in words if n)
    return (f"Rounded to steps of {step} and {steps.boundary_m * 1e3:.4g} mm and scored again, the {t.front} blades of "
            f"the front leave {len(result.blades)} find{'s' * (len(result.blades) != 1)}"
            f"{f' ({gone})' if gone else ''}; every number is that of the rounded recipe.")  # fmt: skip


def _places(plan: Plan, result: SearchResult) -> list[str]:
    """Pairs that are measured at two places of the blade."""
    states, out = plan.request.settings[0].states, []
    for pair in result.pairs:
        if measured_at_two_places(pair, states):
            a, b = (f"{x * 1e3:+.3g} mm" for x in load_lines(pair, states))
            out.append(
                f"{pair_words(pair)} are {TWO_PLACES}, loaded at {a} and {b} from mid-runner: each zone may "
                "serve one of them, and zones leave the line of single radii almost by construction."
            )
    return [line[0].upper() + line[1:] for line in out]


def _beyond(result: SearchResult, p: int) -> list[str]:
    """Which blades are surely beyond single radii on a pair, and which would be if only grinding were uncertain."""
    words = pair_words(result.pairs[p])
    sure = [k + 1 for k, blade in enumerate(result.blades) if blade.said[p].kind == "beyond"]
    kept = sum(blade.ground[p].kind == "beyond" for blade in result.blades)
    out = [
        f"Beyond every single radius on {words}: find{'s' * (len(sure) > 1)} {', '.join(map(str, sure))}." if sure
        else f"No find is surely beyond single radii on {words}."
    ]  # fmt: skip
    if kept:
        out.append(
            f"If only grinding were uncertain, {kept} of {len(result.blades)} would be surely beyond on {words}."
        )
    return out


def _zone_worth(plan: Plan, result: SearchResult, p: int) -> list[str]:
    """What each zone of the best blade is worth: gain lost when it takes its longer neighbour's radius."""
    best = max(result.blades, key=lambda blade: np.nan_to_num(blade.alone[p], nan=-1.0))
    gain = best.alone[p]
    if not len(best.without) or not np.isfinite([gain, *best.without[:, p]]).all():
        return []
    each = [f"{_change_of_gain(g - gain)} {g:.3f} for zone {i + 1} ({_zone_radius(plan, best, i)})"
            for i, g in enumerate(best.without[:, p])]  # fmt: skip
    return [
        f"What a zone is worth: {best.candidate.name} has a gain of {gain:.3f} on {pair_words(result.pairs[p])} with "
        "nothing uncertain. If one zone took the radius of its longer neighbour, the gain would "
        f"{', '.join(each)}, counted from the heel; the losses do not add up."
    ]


def _change_of_gain(change: float) -> str:
    """fall by 0.121 to, or rise by 0.019 to."""
    return f"{'rise' if change > 0 else 'fall'} by {abs(change):.3f} to"


def _zone_radius(plan: Plan, blade: FrontBlade, i: int) -> str:
    unit = "mm" if plan.steps.metric else "ft"
    return f"{radius_words(blade.candidate.recipe.radii_m[i], plan.steps.metric)} {unit}"


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
