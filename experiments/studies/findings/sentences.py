"""The answers in words: every sentence is filled from the run's numbers, and says so when they do not support it."""

from collections import Counter
from collections.abc import Sequence

import numpy as np

from experiments.analysis.draws import Draws, intervals
from experiments.analysis.judging.intervals import excludes
from experiments.analysis.judging.statement import statement
from experiments.report.shown import COMPARED
from experiments.report.words import COUNTED, change_text, pair_label, share_text, statement_text
from experiments.request.opinions import Felt, Opinions
from experiments.studies.findings.differences import NOT_COMPUTED, SMALL, bought, label
from experiments.studies.findings.finding import Finding
from experiments.studies.findings.pair_words import easing, ends
from experiments.studies.findings.study import Findings, Plan
from experiments.studies.findings.zone_words import menu, places_text, zones
from experiments.studies.model_form.study import ModelForm, Variant
from experiments.studies.model_form.tables import first_text
from experiments.studies.stance_map.study import StanceMap
from experiments.studies.stance_map.words import moves_text
from experiments.studies.validation.checks import Check
from experiments.studies.validation.trade import LEFT_OUT
from sim.measures import STATIC
from sim.quantities import FOOT_M

RULES_QUESTION = "Which rules of the trade does the model support?"
NOT_SEEN = (
    "Muscle and skill: the same movement is put under every blade.",
    "How a blade feels: one spring stands for the ankle, and no boot, rivet or sock is modelled.",
    "What a skater notices: least sizes that can be felt are assumptions of ours, no measurement.",
    "The first session on a new curve, and falls in it.",
    "Snow, chips, ruts and soft ice: the ice yields at one hardness and leaves nothing behind.",
    "Wear: how long a curve lasts and what it becomes.",
    "The level of friction: on smooth ice it comes out 30 to 42 % low, and the roughness added is an assumption.",
)


def answers(plan: Plan, result: Findings) -> list[Finding]:
    """All findings, in the order of the page."""
    opinions = plan.request.opinions
    return [
        zero_sum(result.line, np.array(plan.request.line_m)),
        who_leaves(plan, result.draws, result.stances),
        which_stance(plan, result.stances),
        zones(result.zones, plan),
        menu(result.menus, plan),
        ends(result.paired, opinions.felt),
        easing(result.paired, opinions.felt),
        pitch(result.draws, opinions.felt),
        surroundings(result.surroundings, opinions),
        survives(plan, result.physics),
        trade_rules(result.rules, opinions.felt),
        Finding("What can the model not see?", NOT_SEEN),
    ]


def zero_sum(line: dict[tuple[str, str], np.ndarray], radii_m: np.ndarray) -> Finding:
    """Is a single radius a zero-sum choice: do both costs of a pair ever fall together along the line."""
    sentences = [f"{pair_label(pair)}: {_traded(costs, radii_m)}" for pair, costs in line.items()]
    sentences.append("At nominal values. Refuted by: a radius that has less of both costs than its neighbours.")
    alt = "Both costs of each pair over the radius of a single radius"
    return Finding("Is a single radius a zero-sum choice?", tuple(sentences), "zero_sum", alt)


def who_leaves(plan: Plan, draws: Draws, stances: StanceMap) -> Finding:
    """Which recipes lie beyond the line at the stated stance, and how surely."""
    opinions = plan.request.opinions
    zoned = [i for i, family in enumerate(stances.families) if family != "single_radius"]
    table = [("recipe", *map(pair_label, draws.pairs))]
    table += [
        (draws.candidates[i], *(leaves(draws.gain[:, i, k], opinions) for k in range(len(draws.pairs)))) for i in zoned
    ]
    sentences = [
        f"{pair_label(pair)}: {_counted(draws.gain[:, zoned, k], opinions)}." for k, pair in enumerate(draws.pairs)
    ]
    sentences += [f"{pair_label(pair)} is {places_text(pair, plan)}." for pair in draws.pairs]
    sentences.append(
        f"Gains are medians of the draws, with where nine of ten lie. Beyond: in {share_text(opinions.line_sure)} of "
        f"the draws no single radius does as well on both by {share_text(opinions.line_within, 1)}. What is measured "
        "at two places of the blade leaves the line almost by construction, each zone serving one measure. Refuted by: "
        "a single radius that does as well on ice."
    )
    alt = "Score and frontier gain of each blade with 90 % intervals and what is said of each"
    question = "Which recipes leave the single-radius line?"
    return Finding(question, tuple(sentences), "certainty", alt, tuple(table))


def _counted(gain: np.ndarray, opinions: Opinions) -> str:
    """Of how many blades what is said, from (draw, blade) gains: 2 beyond every single radius, 1 cannot be told."""
    counts = Counter(statement(one, opinions).kind for one in gain.T)
    return ", ".join(f"{counts[kind]} {words}" for kind, words in COUNTED.items() if counts[kind]) or "no zoned recipe"


def leaves(gain: np.ndarray, opinions: Opinions) -> str:
    """What is said of (draw,) gains, their median, and in how many draws it is not known."""
    missing = int((~np.isfinite(gain)).sum())
    if missing == len(gain):
        return f"could not be computed in {missing} of {len(gain)} draws"
    said, spread = statement(gain, opinions), intervals(gain)
    lost = f"; not known in {missing} of {len(gain)} draws" if missing else ""
    return f"{statement_text(said, spread)}, median G {said.median:.3f}{lost}"


def which_stance(plan: Plan, stances: StanceMap) -> Finding:
    """Where a skater would have to stand for each zoned recipe, at nominal values."""
    opinions = plan.request.opinions
    table = [("recipe", *map(pair_label, stances.pairs))]
    table += [
        (name, *(best_stance(stances, i, pair, opinions) for pair in stances.pairs))
        for i, name in enumerate(stances.candidates) if stances.families[i] != "single_radius"
    ]  # fmt: skip
    sentences = [
        f"{moves_text(plan.request.settings[0])} Nominal G: nothing else in doubt; it is not the median of the draws."
    ]
    alt = "Nominal frontier gain over where the skater stands, the stated stance marked"
    return Finding("For which stance?", tuple(sentences), "stance_map", alt, tuple(table))


def best_stance(stances: StanceMap, i: int, pair: tuple[str, str], opinions: Opinions) -> str:
    """The best stance of a candidate for a pair of the map, with nothing else uncertain."""
    chart = stances.gain[i, stances.pairs.index(pair)]
    known = np.isfinite(chart)
    if not known.any():
        return "no stance on the map gave a value"
    g, t = np.unravel_index(np.nanargmax(chart), chart.shape)
    refused = f" ({int((~known).sum())} stances gave no value)" if not known.all() else ""
    past = statement(chart.ravel(), opinions).share_beyond
    return (
        f"nominal G {chart[g, t]:.3f} at best, gliding on {stances.glide_m[g] * 1e3:+.0f} mm and turning on "
        f"{stances.turn_m[t] * 1e3:+.0f} mm; past the line for {share_text(past)} of the stances{refused}"
    )


def pitch(draws: Draws, felt: Felt) -> Finding:
    """Pitch bias of every candidate."""
    tips = 1e3 * draws.values[:, :, STATIC.index("heel_over_toe")]
    table = [("blade", "heel over toe"), *((n, _tip(tips[:, i], felt)) for i, n in enumerate(draws.candidates))]
    out = [n for n, words in table[1:] if words.startswith(("toe-down", "heel-down"))]
    sentences = [f"A tip that stands out of its interval: {', '.join(out) or 'none'}."]
    sentences.append(f"Too small to feel: less than {1e3 * felt.height_m:g} mm either way (an assumption of ours).")
    alt = "Heel over toe of each blade with 90 % intervals"
    return Finding(
        "How does each recipe tip the foot against the reference?", tuple(sentences), "pitch", alt, tuple(table)
    )


def surroundings(found: dict[str, np.ndarray | str], opinions: Opinions) -> Finding:
    """What hollow, ice and steel change, for the reference blade."""
    table = [("changed", "what that changes on the reference blade")]
    table += [(where, x if isinstance(x, str) else _changes(x, opinions)) for where, x in found.items()]
    sentences = [
        f"Nominal values; changes of less than {share_text(opinions.worth_saying_from)} are left out. The figure: what "
        "becomes of the recipes' nominal gain over single radii for other skaters, ice and hollows."
    ]
    alt = "Nominal frontier gain over mass, ice temperature and hollow"
    question = "What do hollow, ice and steel change?"
    return Finding(question, tuple(sentences), "surroundings", alt, tuple(table))


def _changes(ratios: np.ndarray, opinions: Opinions) -> str:
    mine = {name: ratios[STATIC.index(name)] for name in COMPARED}
    parts = [f"{label(name)} {change_text(r)}" for name, r in mine.items() if abs(r - 1) >= opinions.worth_saying_from]
    parts += [f"{label(name)} could not be computed" for name, r in mine.items() if not np.isfinite(r)]
    return f"{', '.join(parts) or 'nothing'}."


def survives(plan: Plan, physics: ModelForm) -> Finding:
    """Whether the order of the candidates survives other physics, other ice, another skater."""
    standard, others = physics.variants[0], physics.variants[1:]
    sure = share_text(plan.request.opinions.beaten_from)
    table = [("physics", "tied for the first place", "surely turned round", "nominal order, Kendall's tau")]
    table += [(variant.name, *_holds(physics, variant)) for variant in others]
    head = "no place can be given" if not standard.groups else f"tied for first: {first_text(physics, standard)}"
    sentences = [f"As stated, {head}."]
    sentences.append(
        f"Tied: the first of them beats the others in fewer than {sure} of {plan.physics.sampling.draws} draws. "
        f"Refuted by: a pair of blades of which one beats the other in {sure} of the draws as stated and is beaten as "
        f"often elsewhere; there are {sum(len(v.turned) for v in others)} such cases."
    )
    question = (
        f"Does the order by the weighting {plan.request.scheme.name!r} hold under other physics, ice and skaters?"
    )
    alt = "Places of each blade in tie groups under each physics"
    return Finding(question, tuple(sentences), "does_it_hold", alt, tuple(table))


def _holds(physics: ModelForm, variant: Variant) -> tuple[str, str, str]:
    """Who is tied for the first place under a variant, which pairs are surely turned round, and the nominal tau."""
    if not variant.groups:
        return "no order, a part of the score could not be computed", "", ""
    turned = [f"{physics.candidates[j]} beats {physics.candidates[i]}" for i, j in variant.turned]
    return first_text(physics, variant), ", ".join(turned) or "no pair", f"{variant.tau:.2f}"


def trade_rules(rules: Sequence[Check], felt: Felt) -> Finding:
    """Rules of the trade: supported at a size that can be felt, too small, not supported; what would refute each."""
    sentences = [f"{check.title}: {check.verdict}. {check.note} Refuted by: {check.refuted_by}." for check in rules]
    sentences.append(f"A size that can be felt: {felt.percent} or more (an assumption of ours).")
    sentences += [f"Not asked, because it proves nothing. {text}" for text in LEFT_OUT]
    alt = "A long against a short single radius in starts, stops, fast turns and from edge to edge"
    return Finding(RULES_QUESTION, tuple(sentences), "rest_of_game", alt)


def _traded(costs: np.ndarray, radii_m: np.ndarray) -> str:
    trade = bought(costs)
    if not len(trade):
        return "cannot be stated, some radii gave no value or a cost of nothing."
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


def _tip(tips_mm: np.ndarray, felt: Felt) -> str:
    if not np.isfinite(tips_mm).any():
        return f"{NOT_COMPUTED}."
    low, middle, high = spread = intervals(tips_mm)
    if not excludes(spread):
        return f"no tip that stands out of its interval ({low:+.2f} to {high:+.2f} mm heel over toe)."
    way = "toe-down" if middle > 0 else "heel-down"
    small = f", {SMALL}" if max(abs(low), abs(high)) < 1e3 * felt.height_m else ""
    return f"{way}, {middle:+.2f} mm heel over toe ({low:+.2f} to {high:+.2f}){small}."
