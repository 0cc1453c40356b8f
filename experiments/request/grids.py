"""Names of recipes, and grids of them: every combination of the values that an entry lists, with its place."""

import itertools
import math
from collections.abc import Sequence

import numpy as np

from experiments.request.fields import Fields, radius
from sim.blade.recipe import Recipe
from sim.errors import BladeError
from sim.quantities import FOOT_M, trade_radius

MOST_CASES = 100_000


def label(family: str, radii: Sequence[float]) -> str:
    """A plain name: "9 ft", or "rear-flat 13/10/7 ft"."""
    words = [trade_radius(r) for r in radii]
    if all(w.endswith(" ft") for w in words):
        words = ["/".join(w[:-3] for w in words) + " ft"]
    elif len(words) > 1 and "flat" not in words:  # one unit, though a shop would not say such feet
        words = ["/".join(f"{r / FOOT_M:.4g}" for r in radii) + " ft"]
    joined = "/".join(words)
    return joined if family == "single_radius" else f"{family.replace('_', '-')} {joined}"


def zone_words(recipe: Recipe, digits: int = 4) -> str:
    """Radii heel to toe in ft and, where there are several, the lengths of the zones in mm."""
    radii = "/".join(f"{r / FOOT_M:.{digits}g}" for r in recipe.radii_m) + " ft"
    if len(recipe.zones) < 2:
        return radii
    return f"{radii} heel to toe, zones {'/'.join(f'{zone.length_m * 1e3:.0f}' for zone in recipe.zones)} mm"


def expand(entries: Sequence, most: int) -> list[tuple[dict, str]]:
    """Each entry, or with `each` every combination of the values listed there, with its place in the config.

    Raises BladeError, before the list is made, when there would be more than `most`.
    """
    out = []
    for i, entry in enumerate(entries):
        where = f"candidates[{i}]"
        if len(out) + len(entries) - i > most:
            raise BladeError(f"candidates: candidates times skaters are more than {MOST_CASES} cases; list fewer.")
        if not isinstance(entry, dict) or "each" not in entry:
            out.append((entry, where))
            continue
        options = Fields(entry["each"], f"{where}.each")
        keys = ["radii" if k == "radii_each" else k for k in options.mapping]
        choices = [_radii_each(options) if k == "radii_each" else _choices(options, k) for k in options.mapping]
        if len(out) + math.prod(len(c) for c in choices) > most:
            raise BladeError(
                f"{where}.each: candidates times skaters are more than {MOST_CASES} cases; list fewer values."
            )
        rest = {k: v for k, v in entry.items() if k != "each"}
        for combination in itertools.product(*choices):
            entry_of = {**rest, **dict(zip(keys, combination))}
            extra = [f"{k} {v}" for k, v, c in zip(keys, combination, choices) if k != "radii" and len(c) > 1]
            if extra and "name" not in rest:
                entry_of["name"] = ", ".join([_plain_label(entry_of, where), *extra])[:60]
            out.append((entry_of, where))
    return out


def _radii_each(options: Fields) -> list[list]:
    """Every combination of the radii listed for each zone, heel to toe."""
    zones = options.listed("radii_each")
    by_zone = Fields({str(i): zone for i, zone in enumerate(zones)}, options.path("radii_each"))
    choices = [_choices(by_zone, key) for key in by_zone.mapping]
    if math.prod(len(c) for c in choices) > MOST_CASES:
        raise BladeError(f"{by_zone.where}: more than {MOST_CASES} combinations; list fewer radii.")
    return [list(radii) for radii in itertools.product(*choices)]


def _choices(options: Fields, key: str) -> list:
    """The values listed for a key, or evenly spaced lengths {from: 8 ft, to: 12 ft, count: 9}."""
    if not isinstance(options.raw(key), dict):
        return options.listed(key)
    given = options.inner(key)
    start, stop, number = given.quantity("from", "m"), given.quantity("to", "m"), given.count("count", 2, MOST_CASES)
    given.done()
    return [f"{value:.9g} m" for value in np.linspace(start, stop, number)]


def _plain_label(entry, where):
    radii = tuple(radius(v, f"{where}.radii[{i}]") for i, v in enumerate(Fields(entry, where).listed("radii")))
    return label(str(entry.get("family")), radii)
