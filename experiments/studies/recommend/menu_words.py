"""The menu by wish as rows of a table: what one may have, what it buys and costs, and whether zones are needed."""

from collections.abc import Mapping, Sequence

from experiments.analysis.judging.intervals import side, worth_saying
from experiments.analysis.judging.menu import Item
from experiments.request.opinions import Opinions
from experiments.studies.recommend.sentences import FEEL, brief, change
from sim.measures import REGISTRY

COSTS = 2  # losses that a row names, the largest
NO_COSTS = "nothing clear"


def menu_limits(opinions: Opinions, complaints: bool) -> str:
    """What every other measure may lose on the menu. complaints: whether the skater has any."""
    least = f"; of what the skater complains of {100 * opinions.veto_cap:.0f} %" if complaints else ""
    return f"nothing else may get worse by more than {100 * opinions.cap:.0f} %{least}"


def menu_rows(items: Sequence[Item], wishes: Mapping[str, str], names: Sequence[str], opinions: Opinions) -> list[dict]:
    """One row a wish. wishes: {measure: in words}; names: of the blades of the decision."""
    return [_row(item, wishes, names, opinions) for item in items]


def _row(item: Item, wishes: Mapping[str, str], names: Sequence[str], opinions: Opinions) -> dict:
    row = {"wish": wishes[item.wish], "answer": item.answer}
    if item.blade < 0 or item.answer == "no":
        none = "nothing on your list keeps within these limits"
        if item.blade >= 0:
            most = f"{names[item.blade]}, {brief(item.gain, _higher(item.wish))}"
            none = (
                f"nothing within these limits surely gains {100 * opinions.worth_saying_from:.0f} %; the most: {most}"
            )
        return row | {"blade": none, "buys": "", "costs": "", "steel_mm": "", "single": "", "zones": ""}
    return row | {
        "blade": names[item.blade], "buys": brief(item.gain, _higher(item.wish)), "costs": costs(item, opinions),
        "steel_mm": f"{1e3 * item.steel_m:.2f}", "single": _single(item, names), "zones": zones(item, opinions),
    }  # fmt: skip


def _higher(name: str) -> bool:
    return REGISTRY[name].better == "higher"


def costs(item: Item, opinions: Opinions) -> str:
    """The largest losses that are clear and of 1 % or more, with intervals; what else is lost is counted."""
    lost = []
    for name, gain in item.others:
        ratio = [2**x for x in gain] if _higher(name) else [2**-x for x in reversed(gain)]
        if worth_saying(ratio, opinions) and side(ratio, REGISTRY[name].better) == "worse":
            lost.append(
                (gain[1], f"{FEEL[name][2] if name in FEEL else REGISTRY[name].label} {change(gain, _higher(name))}")
            )
    lost.sort()
    more = f"; {len(lost) - COSTS} more" if len(lost) > COSTS else ""
    return "; ".join(text.replace(" worse", "") for _, text in lost[:COSTS]) + more if lost else NO_COSTS


def _single(item: Item, names: Sequence[str]) -> str:
    if item.single < 0:
        return "none keeps those limits"
    if item.single == item.blade:
        return "it is one"
    return f"{names[item.single]}: {brief(item.single_gain, _higher(item.wish))}"


def zones(item: Item, opinions: Opinions) -> str:
    """What zones add to the best single radius, where they surely add something worth saying."""
    if item.single == item.blade:
        return "no zones"
    if item.single < 0:
        return "no single radius to compare"
    if item.zones_sure < opinions.wish_yes_from:
        return "nothing sure"
    return brief(item.zones_add, _higher(item.wish)) + (", in this alone" if item.one_number_only else "")
