"""What a skater does, complains of and where they stand, turned into a weighting of measures and a shift of stance."""

from dataclasses import dataclass

from experiments.request.fields import Fields
from experiments.request.objectives import Weighting, can_drive, measure_name, read_weight
from sim.errors import BladeError
from sim.measures import REGISTRY
from sim.quantities import parse_quantity

FARTHEST_M = 0.06  # a stance shifted further is off the working part of any runner


@dataclass(frozen=True)
class Complaint:
    """What a skater complains of. words: as said; best: the blade that has least of it, in words ("the steadiest");
    scheme: the measures that it is about, weights of sum 1."""

    words: str
    best: str
    scheme: Weighting


@dataclass(frozen=True)
class Needs:
    """Use, complaints and stance of the skater.

    use: (name, {activity: share of time}); shift_m: of all load lines, toe positive, nan: to be read from the wear;
    stands: in words; scheme: the weighting made of it all; menu: {measure: wish in words} of what may be wished for.
    """

    use: tuple[str, dict[str, float]]
    complaints: tuple[Complaint, ...]
    shift_m: float
    stands: str
    scheme: Weighting
    menu: dict[str, str]


def read_needs(use: Fields, wishes: Fields, said: list, stands: object) -> Needs:
    """Check and combine. Raises BladeError for unknown activities, complaints or measures, or shares that are none."""
    wishes.text("name", 40)
    activities = {k: _weights(wishes.inner("activities"), k) for k in wishes.inner("activities").mapping}
    book = wishes.inner("complaints")
    known = {}
    for key in book.mapping:
        entry = book.inner(key)
        known[key] = entry.text("words", 80), entry.text("best", 60), _weights(entry, "measures")
        entry.done()
    name, shares = _use(use, tuple(activities))
    if not isinstance(said, list):
        raise BladeError("says: write complaints in [brackets], for example [falls_back_on_heels], or [] for none.")
    chosen = [Fields({"says": str(k)}, "").choice("says", tuple(known)) for k in said]
    share, menu = wishes.number("complaint_share", 0, 10), _menu(wishes.inner("menu"))
    shift, words = _stance(wishes.inner("stands"), stands)
    wishes.done()
    parts = [(shares[a], weights) for a, weights in activities.items()]
    parts += [(share / len(chosen), known[k][2]) for k in chosen]
    complaints = tuple(Complaint(said, best, _combined(said, [(1.0, w)])) for said, best, w in map(known.get, chosen))
    return Needs((name, shares), complaints, shift, words, _combined(name, parts), menu)


def _menu(fields: Fields) -> dict[str, str]:
    """{measure: wish in words}. Raises BladeError for a measure that has no better direction, or has to be rolled."""
    out = {}
    for name in fields.mapping:
        if not can_drive(measure_name(fields, name), REGISTRY[name].better):
            raise BladeError(f"{fields.path(name)}: wish for a static measure with a better direction.")
        out[name] = fields.text(name, 60)
    return out


def _use(fields: Fields, activities) -> tuple[str, dict[str, float]]:
    inner = fields.inner("shares")
    for key in inner.mapping:
        Fields({"activity": key}, inner.where).choice("activity", activities)
    shares = {a: inner.number(a, 0, 1) if inner.has(a) else 0.0 for a in activities}
    total = sum(shares.values())
    if abs(total - 1) > 0.02:
        raise BladeError(f"{inner.where}: the shares of time add up to {total:.2f}; they must add up to 1.")
    result = fields.text("name", 40), shares
    fields.done()
    return result


def _weights(fields: Fields, key: str) -> list[tuple[str, float, str]]:
    """(measure, weight scaled to a sum of 1, which way is better) of a list of measures."""
    inner, out = fields.inner(key), []
    for name in inner.mapping:
        weight, better = read_weight(inner, name, 1e3)
        if not can_drive(name, better):
            raise BladeError(
                f"{inner.path(name)}: only a static measure of one sign with a better direction can be weighted; write "
                "{weight: 1, better: lower} for an open one, or choose another."
            )
        out.append((name, weight, better))
    total = sum(weight for _, weight, _ in out)
    if not total > 0:
        raise BladeError(f"{inner.where}: the weights add up to nothing; give one measure a weight above 0.")
    return [(name, weight / total, better) for name, weight, better in out]


def _combined(name: str, parts) -> Weighting:
    weights, better = {}, {}
    for share, entries in parts:
        for measure, weight, way in entries:
            if better.setdefault(measure, way) != way:
                raise BladeError(f"wishes: {measure} is wanted both lower and higher; leave one of the two out.")
            weights[measure] = weights.get(measure, 0.0) + share * weight
    return Weighting(name, weights, better)


def _stance(places: Fields, stands) -> tuple[float, str]:
    """(shift of the load lines, m; in words); nan for "wear", which the trace has to answer."""
    text = str(stands).strip()
    if text == "wear":
        return float("nan"), "read from the wear on the trace"
    if text in places.mapping:
        shift = places.quantity(text, "m")
        words = f"{place_words(shift)} (stated)" if shift == 0 else f"{text}, {place_words(shift)} (stated)"
    else:
        try:
            shift = parse_quantity(text, "m", "stands")
        except BladeError:
            known = ", ".join([*places.mapping, "wear"])
            raise BladeError(f"stands: {text[:40]!r} is no stance; use {known}, or a distance like '-10 mm'.") from None
        words = f"{place_words(shift)} (stated)"
    if abs(shift) > FARTHEST_M:
        raise BladeError(f"stands: {shift * 1e3:.0f} mm is farther than anyone stands; use -60 mm to 60 mm.")
    return shift, words


def place_words(shift: float) -> str:
    """A shift of stance in words."""
    if abs(shift) < 0.5e-3:
        return "at the usual place"
    return f"{abs(shift) * 1e3:.0f} mm {'ahead of' if shift > 0 else 'behind'} the usual place"
