"""What counts as better: weightings, declared pairs of costs, objectives of a search."""

from dataclasses import dataclass

from experiments.request.fields import Fields
from sim.errors import BladeError
from sim.measures import REGISTRY, STATIC

MOST_PAIRS = 100


@dataclass(frozen=True)
class Weighting:
    """An objective: weight of each measure, and which way is better where the registry leaves it open."""

    name: str
    weights: dict[str, float]
    better: dict[str, str]


def read_weighting(fields: Fields) -> Weighting:
    """Read and check a weighting. Raises BladeError for unknown measures, bad weights, an open direction."""
    inner = fields.inner("weights")
    weights, better = {}, {}
    for name in inner.mapping:
        measure = REGISTRY[measure_name(inner, name)]
        value = inner.raw(name)
        given = Fields(value, inner.path(name)) if isinstance(value, dict) else None
        weights[name] = given.number("weight", 0, 1e6) if given else inner.number(name, 0, 1e6)
        better[name] = given.choice("better", ("lower", "higher")) if given else measure.better
        if better[name] == "neither":
            raise BladeError(
                f"{inner.path(name)}: more is neither better nor worse; write {{weight: 1, better: lower}} or higher."
            )
        if given:
            given.done()
    if not sum(weights.values()) > 0:
        raise BladeError(f"{inner.where}: the weights add up to nothing; give at least one measure a weight above 0.")
    result = Weighting(fields.text("name", 40), weights, better)
    fields.done()
    return result


def read_pairs(fields: Fields) -> tuple[tuple[str, str], ...]:
    """The declared pairs of costs. Raises BladeError for unknown or directionless measures."""
    pairs = []
    for i, entry in enumerate(fields.listed("pairs")):
        where = f"pairs[{i}]"
        if i >= MOST_PAIRS:
            raise BladeError(f"pairs: more than {MOST_PAIRS}; declare fewer.")
        if not isinstance(entry, list) or len(entry) != 2 or entry[0] == entry[1]:
            raise BladeError(
                f"{where}: write two different measures in [brackets], for example [turn_drag, glide_groove_depth]."
            )
        names = tuple(measure_name(Fields({}, where), str(name)) for name in entry)
        for name in names:
            better_way(name)
        pairs.append(names)
    return tuple(pairs)


def measure_name(fields: Fields, name: str) -> str:
    """A measure's name, or a BladeError that names the nearest ones."""
    return Fields({"measure": name}, fields.where).choice("measure", tuple(REGISTRY))


def read_objectives(fields: Fields) -> tuple[tuple[str, str], ...]:
    """(measure, better) of each objective. Raises BladeError for rolled, signed or directionless ones."""
    out = []
    for i, entry in enumerate(fields.listed("objectives")):
        where = f"objectives[{i}]"
        given = Fields(entry, where) if isinstance(entry, dict) else None
        name = measure_name(Fields({}, where), str(given.raw("measure") if given else entry))
        measure = REGISTRY[name]
        better = given.choice("better", ("lower", "higher")) if given else measure.better
        if given:
            given.done()
        if better == "neither" or measure.signed or name not in STATIC:
            raise BladeError(
                f"{where}: {name} cannot drive a search; choose a static measure with a better direction, or write "
                "{measure: NAME, better: lower} for an open one."
            )
        out.append((name, better))
    if not 2 <= len({n for n, _ in out}) == len(out) <= 4:
        raise BladeError("objectives: name two to four different measures.")
    return tuple(out)


def better_way(name: str, better: str = "") -> str:
    """lower or higher: which way of a measure is better, the registry's unless `better` says.

    Raises BladeError for a measure without a direction: a signed or open measure is no cost.
    """
    way = better or REGISTRY[name].better
    if way == "neither":
        raise BladeError(f"pair: {name} has no better direction and can be no cost; choose a measure that has one.")
    return way
