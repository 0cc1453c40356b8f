"""What counts as better: weightings, declared pairs of costs, objectives of a search."""

from dataclasses import dataclass

from experiments.request.fields import Fields
from sim.errors import BladeError
from sim.measures import REGISTRY, STATIC

MOST_PAIRS = 100
NO_WEIGHTING = "none"


@dataclass(frozen=True)
class Weighting:
    """An objective: weight of each measure, and which way is better where the registry leaves it open."""

    name: str
    weights: dict[str, float]
    better: dict[str, str]


def read_weighting(fields: Fields) -> Weighting:
    """Read and check a weighting; the one named none has no weights and orders nothing.

    Raises BladeError for unknown measures, bad weights, an open direction.
    """
    name = fields.text("name", 40)
    if name == NO_WEIGHTING and not fields.has("weights"):
        fields.done()
        return Weighting(name, {}, {})
    inner = fields.inner("weights")
    weights, better = {}, {}
    for measure in inner.mapping:
        weights[measure], better[measure] = read_weight(inner, measure, 1e6)
        if better[measure] == "neither":
            raise BladeError(
                f"{inner.path(measure)}: more is neither better nor worse; write {{weight: 1, better: lower}} or "
                "higher."
            )
    if not sum(weights.values()) > 0:
        raise BladeError(f"{inner.where}: the weights add up to nothing; give at least one measure a weight above 0.")
    result = Weighting("own" if name == NO_WEIGHTING else name, weights, better)
    fields.done()
    return result


def read_weight(fields: Fields, name: str, most: float) -> tuple[float, str]:
    """(weight of a measure, 0 to `most`; lower, higher or neither) of `NAME: 1` or `NAME: {weight: 1, better: lower}`.

    Raises BladeError for an unknown measure or a bad weight.
    """
    measure_name(fields, name)
    if not isinstance(fields.raw(name), dict):
        return fields.number(name, 0, most), _way(None, name)
    given = fields.inner(name)
    return given.number("weight", 0, most), _way(given, name)


def _way(given: Fields | None, name: str) -> str:
    """Which way is better: as the rest of {better: lower} says; without one the registry's, which may be neither."""
    if given is None:
        return REGISTRY[name].better
    way = given.choice("better", ("lower", "higher"))
    given.done()
    return way


def can_drive(name: str, better: str) -> bool:
    """Whether a measure can be a cost by itself: static, of one sign, and with a better direction."""
    return better != "neither" and not REGISTRY[name].signed and name in STATIC


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
        better = _way(given, name)
        if not can_drive(name, better):
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
