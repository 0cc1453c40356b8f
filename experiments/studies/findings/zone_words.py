"""How many zones are worth having, and what a menu offers, in words."""

import math
from collections.abc import Sequence

import numpy as np

from experiments.analysis.draws import intervals
from experiments.analysis.judging.menu import Item
from experiments.analysis.judging.statement import measured_at_two_places, statement
from experiments.report.words import change_text, pair_label, share_text, statement_text
from experiments.request.opinions import Felt, Opinions
from experiments.studies.findings.differences import SMALL, kind_of_difference, label
from experiments.studies.findings.finding import Finding
from experiments.studies.findings.menus import SkaterMenu
from experiments.studies.findings.study import Plan
from experiments.studies.findings.zones import (
    GENERATIONS,
    RADIUS_FT,
    RESTARTS,
    SEARCH_DRAWS,
    Worth,
    Zones,
    worth_having,
)
from sim.blade.recipe import Recipe
from sim.quantities import FOOT_M

AT_END = 0.01  # of a radius
COUNTS = ("no", "one", "two", "three", "four", "five")


def radii_text(recipe: Recipe) -> str:
    """8.75 ft, or 7/10/8 ft heel to toe."""
    return "/".join(f"{r / FOOT_M:.4g}" for r in recipe.radii_m) + " ft"


def places_text(pair: tuple[str, str], plan: Plan) -> str:
    """Where a pair is measured."""
    two = measured_at_two_places(pair, plan.request.settings[0].states)
    return "measured at two places of the blade" if two else "measured at one place of the blade"


def zones(found: Sequence[Zones], plan: Plan) -> Finding:
    """What each further zone adds, on draws that were not used to search."""
    opinions = plan.request.opinions
    sentences = [f"{pair_label(z.pair)}, {places_text(z.pair, plan)}: {_worth_text(z, opinions)}" for z in found]
    sentences.append(
        f"Best of {RESTARTS} searches of {GENERATIONS} generations each on {SEARCH_DRAWS} draws, within "
        f"{RADIUS_FT[0]:g} to {RADIUS_FT[1]:g} ft and what can be ground; judged on {plan.sampling.draws} draws that "
        "no search saw. A longer search may find more in any number. Refuted by: a blade of more zones whose gain "
        f"over the number named here exceeds {share_text(opinions.line_within, 1)} in {share_text(opinions.line_sure)} "
        "of such draws."
    )
    table = [("pair", *(f"up to {n}" for n in range(1, 1 + len(found[0].recipes))))] if found else []
    for z in found:
        said = [statement_text(statement(gain, opinions), intervals(gain)) for gain in z.gain.T]
        cells = [f"{recipe_text(recipe)}: {words}" for recipe, words in zip(z.recipes, said)]
        table.append((pair_label(z.pair), *cells))
    alt = "Frontier gain of the best blade found by number of zones, with 90 % intervals"
    return Finding("How many zones are worth having?", tuple(sentences), "zones", alt, tuple(table))


def recipe_text(recipe: Recipe) -> str:
    """Radii to a tenth of a foot and, of several, the lengths of their zones: 8/12 ft, zones 134/106 mm."""
    lengths = "/".join(f"{1e3 * zone.length_m:.0f}" for zone in recipe.zones)
    return radii_text(_plain(recipe)) + (f", zones {lengths} mm" if len(recipe.radii_m) > 1 else "")


def at_the_end(recipe: Recipe) -> bool:
    """Whether a radius stands within a hundredth of an end of what was searched."""
    return any(abs(r / FOOT_M / end - 1) < AT_END for r in recipe.radii_m for end in RADIUS_FT)


def _plain(recipe: Recipe) -> Recipe:
    """The recipe with radii to a tenth of a foot, as a search may be read."""
    return Recipe(recipe.name, recipe.family, tuple(round(r / FOOT_M, 1) * FOOT_M for r in recipe.radii_m))


def _worth_text(found: Zones, opinions: Opinions) -> str:
    worth = worth_having(found.gain, opinions)
    count = len(found.recipes)
    best = found.recipes[worth.number - 1]
    end = f" ({recipe_text(best)}, an end of what was searched)" if worth.number > 1 and at_the_end(best) else ""
    return f"{number_text(worth, count)}{end}{_added(worth)}{_no_more(worth, count)}."


def number_text(worth: Worth, most: int) -> str:
    """Up to which number zones can be told apart from fewer."""
    if worth.number == 1:
        return f"no number of zones up to {COUNTS[most]} can be told apart from a single radius"
    return f"{COUNTS[worth.number]} zones are worth having"


def _added(worth: Worth) -> str:
    if worth.number == 1:
        return ""
    low, middle, high = (change_text(1 + x) for x in worth.adds)
    return f", {middle} of gain over one ({low} to {high})"


def _no_more(worth: Worth, most: int) -> str:
    if not np.isfinite(worth.more).all():
        return ""
    low, middle, high = (change_text(1 + x) for x in worth.more)
    head = "the best of them" if worth.number == 1 else "more cannot be told apart from them: the best of more"
    return f"; {head} adds {middle} ({low} to {high})"


# ---------------------------------------------------------------- the menu


def log_text(spread: Sequence[float]) -> str:
    """An interval of log2 gains as changes: +12.3 % (+10.9 % to +14.3 %)."""
    low, middle, high = (change_text(2**x) for x in spread)
    return f"{middle} ({low} to {high})"


def gain_text(item: Item, felt: Felt) -> str:
    """What a wish gains; and where all of it, sure as it is, is less than anyone feels, that too."""
    kind = kind_of_difference([x * math.log(2) for x in item.gain], felt)
    return f"{log_text(item.gain)}{f', {SMALL}' if kind in ('small', 'none') else ''}"


def menu(menus: Sequence[SkaterMenu], plan: Plan) -> Finding:
    """The menu of every skater: what each wish buys and costs, and what zones add over the best single radius."""
    opinions = plan.request.opinions
    sentences = [_skater_text(one, opinions) for one in menus]
    sentences.append(
        f"Yes: more than {share_text(opinions.worth_saying_from)} of it in at least "
        f"{share_text(opinions.wish_yes_from)} of the draws; no: in {share_text(opinions.wish_no_up_to)} or fewer; "
        "else open. Chosen from blades that lose "
        f"more than {share_text(opinions.cap)} of any other wish in {share_text(opinions.cap_harm_up_to)} of the draws "
        f"at most; chosen on half of {plan.menu.draws} draws, judged on the other half, against "
        f"{menus[0].present}. Zones are of equal length. What a better blade is worth to a skater, and whether the "
        "change is noticed, the model does not know."
    )
    head = ("skater", "wish", "", "blade", "gain", "costs most", "best single radius", "zones add", "steel")
    rows = [_row(one, item, opinions) for one in menus for item in one.items]
    alt = "Gain of each wish for three skaters, of the chosen blade and of the best single radius"
    return Finding("What can each skater have for the asking?", tuple(sentences), "menu", alt, (head, *rows))


def surely_zones(one: SkaterMenu, opinions: Opinions) -> list[Item]:
    """The wishes that can be had and to which zones surely add something over the best single radius."""
    return [x for x in one.items if x.answer == "yes" and x.zones_sure >= opinions.wish_yes_from]


def _skater_text(one: SkaterMenu, opinions: Opinions) -> str:
    can = {word: _listed([x for x in one.items if x.answer == word], opinions.felt) for word in ("yes", "no", "open")}
    zoned = surely_zones(one, opinions)
    zone_words = "zones surely add to none of them over the best single radius"
    if zoned:
        only = [x for x in zoned if x.one_number_only]
        zone_words = f"zones surely add to {_listed(zoned, opinions.felt)} over the best single radius"
        if only:
            zone_words += f", and serve that one number only for {_listed(only, opinions.felt)}"
    return (
        f"{one.skater}, {one.mass_kg:g} kg: can have {can['yes']}; cannot have {can['no']}; open {can['open']}; "
        f"{zone_words}."
    )


def _listed(items: Sequence[Item], felt: Felt) -> str:
    return ", ".join(label(x.wish) + _small(x, felt) for x in items) or "nothing"


def _small(item: Item, felt: Felt) -> str:
    """Beside a wish that can be had at a size that nobody feels."""
    return f" ({SMALL})" if item.answer == "yes" and gain_text(item, felt).endswith(SMALL) else ""


def _row(one: SkaterMenu, item: Item, opinions: Opinions) -> tuple[str, ...]:
    if item.blade < 0:
        return one.skater, label(item.wish), item.answer, "no blade keeps the price", "", "", "", "", ""
    name, cost = min(item.others, key=lambda x: x[1][1], default=("", ()))
    recipe = one.recipes[item.blade]
    beside = adds = ""
    if item.single >= 0:
        beside = f"{radii_text(one.recipes[item.single])}: {log_text(item.single_gain)}"
    if item.single >= 0 and item.single != item.blade:
        sure = item.zones_sure >= opinions.wish_yes_from
        adds = f"{log_text(item.zones_add)}{'' if sure else ', not sure'}"
    return (
        one.skater, label(item.wish), item.answer, radii_text(recipe), gain_text(item, opinions.felt),
        f"{label(name)} {log_text(cost)}" if name else "", beside, adds, f"{1e3 * item.steel_m:.2f} mm",
    )  # fmt: skip
