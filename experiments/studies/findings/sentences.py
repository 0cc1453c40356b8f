"""The answers in words: every sentence is filled from the run's numbers, and says so when they do not support it."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from experiments.analysis.draws import Draws, intervals
from experiments.analysis.judging.intervals import (
    ALIKE,
    BEYOND,
    ORDER_KEPT,
    SLIGHT,
    against_line,
    alike,
    excludes,
    order_kept,
    share_beyond,
)
from experiments.report.shown import COMPARED
from experiments.report.words import AGAINST_LINE, ORDER, change_text, pair_label, share_text
from experiments.studies.findings.study import GENERATIONS, RADIUS_FT, RESTARTS, Findings, Plan, Zones
from experiments.studies.stance_map.study import StanceMap
from experiments.studies.validation.checks import Check
from experiments.studies.validation.trade import LEFT_OUT
from sim.blade.recipe import Recipe
from sim.measures import REGISTRY, STATIC
from sim.quantities import FOOT_M

NOT_COMPUTED = "could not be computed, some draws gave no value"


@dataclass(frozen=True)
class Finding:
    """A question and the sentences that answer it."""

    question: str
    sentences: tuple[str, ...]


def answers(plan: Plan, result: Findings) -> list[Finding]:
    """All findings, in the order of the page."""
    return [
        zero_sum(result.line, np.array(plan.request.line_m)),
        who_leaves(result.draws, result.stances),
        pitch(result.draws),
        ends(result.draws),
        easing(result.draws),
        zones(result.zones),
        surroundings(result.surroundings),
        survives(plan, result),
        trade_rules(result.rules),
    ]


def label(name: str) -> str:
    """A measure in words."""
    return REGISTRY[name].label


def compared(draws: Draws, name: str, one: str, other: str) -> np.ndarray | None:
    """5, 50, 95 % of the log ratio of a measure of two candidates; None when any draw lacks it."""
    pair = [draws.candidates.index(one), draws.candidates.index(other)]
    values = draws.values[:, pair, STATIC.index(name)]
    if not (np.isfinite(values).all() and (values > 0).all()):
        return None
    return intervals(np.log(values[:, 0] / values[:, 1]))


def against(draws: Draws, name: str, one: str, other: str) -> str:
    """How much more or less of a measure one candidate has than another, with its interval; or too close to call."""
    spread = compared(draws, name, one, other)
    if spread is None:
        return f"{label(name)}: {NOT_COMPUTED}"
    low, middle, high = map(change_text, np.exp(spread))
    return f"{label(name)}: {middle if excludes(spread) else 'too close to call'} ({low} to {high})"


def zero_sum(line: dict[tuple[str, str], np.ndarray], radii_m: np.ndarray) -> Finding:
    """Is a single radius a zero-sum choice: do both costs of a pair ever fall together along the line."""
    sentences = tuple(f"{pair_label(pair)}: {_traded(costs, radii_m)}" for pair, costs in line.items())
    return Finding("Is a single radius a zero-sum choice?", sentences)


def _traded(costs: np.ndarray, radii_m: np.ndarray) -> str:
    if not (np.isfinite(costs).all() and (costs > 0).all()):
        return "cannot be stated, some radii gave no value or a cost of nothing."
    steps = np.diff(np.log(costs), axis=0)
    trade = steps[:, 0] * steps[:, 1] < 0
    if trade.all():
        return f"yes, everywhere between {_feet(radii_m[0])} and {_feet(radii_m[-1])} one is bought with the other."
    together = np.flatnonzero(~trade)
    return (
        f"not everywhere; over {share_text((~trade).mean())} of the steps in log radius (within "
        f"{_feet(radii_m[together[0]])} and {_feet(radii_m[together[-1] + 1])}) both change the same way, so that some "
        "radii lose on both."
    )


def _feet(radius_m: float) -> str:
    return f"{radius_m / FOOT_M:.1f} ft"


def who_leaves(draws: Draws, stances: StanceMap) -> Finding:
    """Which recipes lie beyond the line, how surely at the default stance, and for which stance at all."""
    sentences = [
        f"{name}, {pair_label(pair)}: {_leaves(draws.gain[:, i, k])}{_best_stance(stances, i, pair)}."
        for i, name in enumerate(draws.candidates) if stances.families[i] != "single_radius"
        for k, pair in enumerate(draws.pairs)
    ]  # fmt: skip
    return Finding("Which recipes leave the single-radius line, and for which stance?", tuple(sentences))


def _leaves(gain: np.ndarray) -> str:
    missing = int((~np.isfinite(gain)).sum())
    if missing:
        return f"could not be computed in {missing} of {len(gain)} draws"
    low, middle, high = spread = intervals(gain)
    return (
        f"{AGAINST_LINE[against_line(spread)]} at the stated stance (gain {middle:.3f}, {low:.3f} to {high:.3f}; "
        f"beyond in {share_text(share_beyond(gain))} of draws)"
    )


def _best_stance(stances: StanceMap, i: int, pair: tuple[str, str]) -> str:
    """The best stance of a candidate for a pair, with nothing else uncertain; empty when the map has no such pair."""
    if pair not in stances.pairs:
        return ""
    chart = stances.gain[i, stances.pairs.index(pair)]
    known = np.isfinite(chart)
    if not known.any():
        return "; no stance on the map gave a value"
    g, t = np.unravel_index(np.nanargmax(chart), chart.shape)
    refused = f" ({int((~known).sum())} stances gave no value)" if not known.all() else ""
    return (
        f"; over all stances with nothing else uncertain {chart[g, t]:.3f} at best, gliding on "
        f"{stances.glide_m[g] * 1e3:+.0f} mm and turning on {stances.turn_m[t] * 1e3:+.0f} mm, beyond for "
        f"{share_text(share_beyond(chart))} of them{refused}"
    )


def pitch(draws: Draws) -> Finding:
    """Pitch bias of every candidate."""
    tips = 1e3 * draws.values[:, :, STATIC.index("heel_over_toe")]
    sentences = tuple(f"{name}: {_tip(tips[:, i])}" for i, name in enumerate(draws.candidates))
    return Finding("How does each recipe tip the foot against the reference?", sentences)


def _tip(tips_mm: np.ndarray) -> str:
    if not np.isfinite(tips_mm).all():
        return f"{NOT_COMPUTED}."
    low, middle, high = spread = intervals(tips_mm)
    if not excludes(spread):
        return f"no tip that stands out of its interval ({low:+.2f} to {high:+.2f} mm heel over toe)."
    way = "toe-down" if middle > 0 else "heel-down"
    return f"{way}, {middle:+.2f} mm heel over toe ({low:+.2f} to {high:+.2f})."


def ends(draws: Draws) -> Finding:
    """Same middle, different ends; with what would have refuted it, and how little it could have been."""
    one, other = "mid-flat short ends", "mid-flat long ends"
    sentences = [f"Short ends against long ends, {against(draws, name, one, other)}." for name in COMPARED]
    glide = compared(draws, "glide_drag_coefficient", one, other)
    pivot = compared(draws, "pivot_forefoot_toe_in", one, other)
    within = change_text(math.exp(ALIKE)).lstrip("+")
    return Finding(
        "Do two mid-flat recipes with one middle and different ends glide alike and differ elsewhere?",
        (
            *sentences,
            f"Gliding alike and pivoting differently: {_alike_and_different(glide, pivot)}. Refuted by: a glide whose "
            f"interval leaves {within} either way, or a pivot whose interval holds no difference. "
            f"{_glide_spread(draws)} Pivot is judged on the forefoot, on an end zone, and the ends differ by choice: "
            "that it differs is no discovery.",
        ),
    )


def _glide_spread(draws: Draws) -> str:
    """How far apart the blades of the run lie in the glide: whether gliding alike says anything."""
    values = draws.values[:, :, STATIC.index("glide_drag_coefficient")]
    if not (np.isfinite(values).all() and (values > 0).all()):
        return "How far apart the blades of this run glide could not be computed."
    low, middle, high = intervals(values.max(axis=1) / values.min(axis=1))
    if middle < math.exp(2 * ALIKE):
        within = change_text(middle).lstrip("+")
        return f"All blades of this run glide within {within}: that two glide alike says little."
    return (
        f"From the best to the worst, the blades of this run lie {change_text(low).lstrip('+')} to "
        f"{change_text(high).lstrip('+')} apart in the glide."
    )


def _alike_and_different(glide: np.ndarray | None, pivot: np.ndarray | None) -> str:
    within = change_text(math.exp(ALIKE)).lstrip("+")
    if glide is None or pivot is None:
        return "cannot be stated: some draws gave no value"
    if not alike(glide):
        return f"not supported: the glide is not shown to be alike within {within}"
    if not excludes(pivot):
        return "not supported: the pivot may be the same"
    return f"supported (the glide alike within {within})"


def easing(draws: Draws) -> Finding:
    """What easing the heel zone gives and costs."""
    pair = "rear-flat eased", "rear-flat"
    sentences = [f"Eased against plain, {against(draws, name, *pair)}." for name in COMPARED]
    spreads = [compared(draws, name, *pair) for name in COMPARED]
    if not any(spread is not None and excludes(spread) for spread in spreads):
        sentences.append("An effect of easing at the stated stance is not supported: no interval excludes none.")
    return Finding("What does easing the heel zone of a rear-flat give and cost?", tuple(sentences))


def zones(found: Zones | None) -> Finding:
    """What each further zone adds."""
    question = "How many zones are worth having?"
    if found is None:
        return Finding(question, ("Cannot be stated: no pair of static measures was declared.",))
    gains = [gain for gain, _ in found.best]
    sentences = [
        f"Up to {count} zone{'s' * (count > 1)}: gain {gain:.3f} found for {pair_label(found.pair)}"
        f"{_recipe(recipe)}, {gain - gains[count - 1]:+.3f} by the last one."
        for count, (gain, recipe) in enumerate(found.best) if count
    ]  # fmt: skip
    last = worth_having(gains)
    sentences.append(
        f"In this search zone number {last} is the last that adds more than half a percent." if last
        else "More than one zone is not supported at the stated stance by this search."
    )  # fmt: skip
    sentences.append(
        f"{RESTARTS} searches of {GENERATIONS} generations within {RADIUS_FT[0]:g} to {RADIUS_FT[1]:g} ft: each gain "
        "is a lower bound, and a longer search may find more in any number of zones."
    )
    return Finding(question, tuple(sentences))


def worth_having(gains: Sequence[float]) -> int:
    """The last number of zones that adds more gain than the line resolves; 0: none does. gains[n]: with n zones."""
    return max((n for n in range(1, len(gains)) if gains[n] - gains[n - 1] > BEYOND - 1), default=0)


def _recipe(recipe: Recipe | None) -> str:
    if recipe is None:
        return ""
    radii = "/".join(f"{r / FOOT_M:.1f}" for r in recipe.radii_m) + " ft"
    shares = "/".join(f"{x / sum(recipe.shares):.2f}" for x in recipe.shares)
    return f" ({radii}, shares {shares})" if shares else f" ({radii})"


def surroundings(found: dict[str, np.ndarray | str]) -> Finding:
    """What hollow and ice temperature change, for the reference blade."""
    sentences = tuple(f"{where}: {x if isinstance(x, str) else _changes(x)}" for where, x in found.items())
    return Finding("What do hollow and ice temperature change, on the reference blade?", sentences)


def _changes(ratios: np.ndarray) -> str:
    mine = {name: ratios[STATIC.index(name)] for name in COMPARED}
    parts = [f"{label(name)} {change_text(r)}" for name, r in mine.items() if abs(r - 1) > SLIGHT]
    parts += [f"{label(name)} could not be computed" for name, r in mine.items() if not np.isfinite(r)]
    return f"{', '.join(parts) or 'nothing by more than half a percent'}."


def survives(plan: Plan, result: Findings) -> Finding:
    """Whether the order of the candidates survives other physics."""
    names, others = result.physics.candidates, result.physics.variants[1:]
    sentences = []
    for variant in others:
        if order_kept(variant.tau) == "unknown":
            sentences.append(f"{variant.name}: no order, a part of the score could not be computed.")
            continue
        kept, best = ORDER[order_kept(variant.tau)], names[int(np.argmax(variant.score))]
        sentences.append(f"{variant.name}: order {kept} (Kendall's tau {variant.tau:.2f}), first is {best}.")
    lost = [variant.name for variant in others if order_kept(variant.tau) != "kept"]
    sentences.append(
        f"The ranking by this weighting is not supported under: {', '.join(lost)}." if lost
        else f"The ranking is kept (tau above {ORDER_KEPT}) under every physics tried."
    )  # fmt: skip
    return Finding(
        f"Does the order by the weighting {plan.request.scheme.name!r} survive other physics?", tuple(sentences)
    )


def trade_rules(rules: Sequence[Check]) -> Finding:
    """Rules of the trade: supported at a size that can be felt, too small, not supported; what would refute each."""
    sentences = [f"{check.title}: {check.verdict}. {check.note} Refuted by: {check.refuted_by}." for check in rules]
    sentences += [f"Not asked, because it proves nothing. {text}" for text in LEFT_OUT]
    sentences.append("Cannot be seen: feel of the edge, steel, boot and skill; first-session falls; wear.")
    return Finding("Which rules of the trade does the model support?", tuple(sentences))
