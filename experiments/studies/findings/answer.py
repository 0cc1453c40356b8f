"""The answer in five sentences, each filled from the run and no further than its intervals reach."""

from collections import Counter
from collections.abc import Sequence

import numpy as np

from experiments.analysis.draws import intervals
from experiments.analysis.judging.statement import measured_at_two_places, statement
from experiments.report.words import COUNTED, change_text, pair_label, share_text
from experiments.request.opinions import Opinions
from experiments.studies.findings.differences import bought, label
from experiments.studies.findings.study import Findings, Plan
from experiments.studies.findings.zone_words import COUNTS, surely_zones
from experiments.studies.findings.zones import Zones, worth_having
from experiments.studies.model_form.study import ModelForm
from experiments.studies.validation.checks import PARTS, Check


def answer(plan: Plan, result: Findings) -> list[str]:
    """The five sentences: single radii, recipes against them, number of zones, wishes, how far all this goes."""
    return [
        on_single_radii(result.line),
        on_recipes(plan, result),
        on_zones(plan, result.zones),
        on_wishes(result, plan.request.opinions),
        on_limits(plan, result.physics, result.rules),
    ]


def on_single_radii(line: dict[tuple[str, str], np.ndarray]) -> str:
    """Whether one cost of a pair is bought with the other all along the single radii."""
    traded = [pair for pair, costs in line.items() if len(bought(costs)) and bought(costs).all()]
    if not line:
        return "Whether a single radius trades one thing for another cannot be said: no pair was declared."
    if len(traded) == len(line):
        return "A single radius is a trade: whatever it gains on one of a declared pair it pays on the other."
    which = f"only on {_pairs(traded)} does" if traded else "on no declared pair does"
    return (
        f"A single radius is not a plain trade throughout: {which} each longer radius buy one thing with the other all "
        "the way, so that some radii lose on both (nominal values)."
    )


def on_recipes(plan: Plan, result: Findings) -> str:
    """How many statements about zoned recipes come out which way, and which are beyond."""
    draws, opinions = result.draws, plan.request.opinions
    zoned = [i for i, family in enumerate(result.stances.families) if family != "single_radius"]
    cases = [(i, k) for i in zoned for k in range(len(draws.pairs))]
    if not cases:
        return "No zoned recipe, or no pair of measures, was there to be held against single radii."
    said = {case: statement(draws.gain[:, case[0], case[1]], opinions).kind for case in cases}
    counts = Counter(said.values())
    beyond = [
        f"{draws.candidates[i]} for {pair_label(draws.pairs[k])} ({_gain_text(draws.gain[:, i, k])})"
        for (i, k), kind in said.items() if kind == "beyond"
    ]  # fmt: skip
    rest = ", ".join(f"{counts[kind]} {COUNTED[kind]}" for kind in COUNTED if counts[kind] and kind != "beyond")
    states = plan.request.settings[0].states
    two = all(measured_at_two_places(pair, states) for pair in draws.pairs)
    head = "; ".join(beyond) + " beyond every single radius" if beyond else "none is beyond every single radius"
    more = f"; {rest}" if rest else ""
    places = "; all pairs are measured at two places of the blade" if two else ""
    return f"Of {len(cases)} cases of a zoned recipe and a pair of measures, {head}{more}{places}."


def _gain_text(gain: np.ndarray) -> str:
    low, middle, high = intervals(gain)
    return f"{change_text(middle)}, {change_text(low)} to {change_text(high)}"


def on_zones(plan: Plan, found: Sequence[Zones]) -> str:
    """How many zones are worth having, pair by pair."""
    opinions, states = plan.request.opinions, plan.request.settings[0].states
    if not found:
        return "How many zones are worth having was not asked."
    parts = []
    for z in found:
        worth = worth_having(z.gain, opinions)
        where = "two places" if measured_at_two_places(z.pair, states) else "one place"
        low, middle, high = (change_text(1 + x) for x in (worth.adds if worth.number > 1 else worth.more))
        size = f"{middle} of gain, {low} to {high}"
        parts.append(
            f"{COUNTS[worth.number]} for {pair_label(z.pair)} ({where}; {size} over one)" if worth.number > 1
            else f"none beyond one for {pair_label(z.pair)} ({where}; the best of more: {size})"
        )  # fmt: skip
    sure = share_text(opinions.line_sure)
    return f"Zones worth having, told apart from fewer in {sure} of the draws: {'; '.join(parts)}."


def on_wishes(result: Findings, opinions: Opinions) -> str:
    """How many wishes can be had, and to how many zones add."""
    items = [x for one in result.menus for x in one.items]
    counts = Counter(x.answer for x in items)
    zoned = [(one.skater, x) for one in result.menus for x in surely_zones(one, opinions)]
    names = "; ".join(f"{skater}: {label(x.wish)}" for skater, x in zoned)
    zone_words = f"zones surely add to {len(zoned)} of them ({names})" if zoned else "zones surely add to none of them"
    return (
        f"Of {len(items)} wishes of {len(result.menus)} skaters {counts['yes']} can be had at a "
        f"cost of {share_text(opinions.cap)} of any other at most, {counts['no']} cannot and {counts['open']} are "
        f"open; {zone_words}, and are not shown to add to the others over the best single radius."
    )


def on_limits(plan: Plan, physics: ModelForm, rules: Sequence[Check]) -> str:
    """How far an order holds, how many rules of the trade are supported, and what is not seen at all."""
    first = physics.variants[0].groups[:1]
    tied = f"ties {len(first[0])} of {len(physics.candidates)} blades for the first place" if first else "is not known"
    changed = [v.name for v in physics.variants[1:] if [*map(set, v.groups[:1])] != [*map(set, first)]]
    elsewhere = (
        f"other blades are tied for it under {len(changed)} of {len(physics.variants) - 1} other physics, kinds of ice "
        "and skaters" if changed else "the same are tied for it under all other physics, kinds of ice and skaters"
    )  # fmt: skip
    good = sum(check.verdict == PARTS["trade"].good for check in rules)
    return (
        f"The order by the weighting {plan.request.scheme.name!r} {tied}, and {elsewhere}; of {len(rules)} rules of "
        f"the trade about the curve {good} hold at a size that may be felt, and muscle, boot, feel and worn ice are "
        "not seen at all."
    )


def _pairs(pairs: Sequence[tuple[str, str]]) -> str:
    return " and ".join(pair_label(pair) for pair in pairs)
