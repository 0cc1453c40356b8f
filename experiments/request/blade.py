"""A candidate blade from its entry in a list of recipes, with the shared blade for what the entry does not say."""

from dataclasses import dataclass

from experiments.request.fields import Fields, radius
from experiments.request.grids import label
from sim.blade.recipe import FAMILIES, Recipe, Sweep
from sim.blade.section import Section
from sim.errors import BladeError
from sim.trial import Candidate

LONGEST_NAME = 60  # characters


@dataclass(frozen=True)
class SharedBlade:
    """What a recipe does not say itself: runner length, blend, level point (m), pitch (rad), turned-up ends, section.

    thickness_m, hollow_m, proud_m (inside edge), height_m of the runner and span_m between its supports make the
    section.
    """

    length_m: float
    blend_m: float
    level_m: float
    pitch_rad: float
    heel_sweep: Sweep
    toe_sweep: Sweep
    thickness_m: float
    hollow_m: float
    proud_m: float
    height_m: float
    span_m: float

    @property
    def section(self) -> Section:
        """The section that a blade has which says nothing else. Raises BladeError for one that no runner has."""
        return Section(self.thickness_m, self.hollow_m, self.proud_m, self.height_m, self.span_m)


# key of a config: (field of SharedBlade, unit; "radius" and "sweep" are read as such)
_KEYS = {
    "length": ("length_m", "m"), "blend": ("blend_m", "m"), "level": ("level_m", "m"), "pitch": ("pitch_rad", "rad"),
    "thickness": ("thickness_m", "m"), "hollow": ("hollow_m", "radius"), "inside_edge_proud": ("proud_m", "m"),
    "height": ("height_m", "m"), "span": ("span_m", "m"), "heel_sweep": ("heel_sweep", "sweep"),
    "toe_sweep": ("toe_sweep", "sweep"),
}  # fmt: skip


def read_blade(fields: Fields) -> SharedBlade:
    """The blade that all recipes share. Raises BladeError, so that a fault in it is named as its own."""
    blade = SharedBlade(**{field: _value(fields, key, unit) for key, (field, unit) in _KEYS.items()})
    if not blade.length_m > 0:
        raise BladeError(f"{fields.path('length')}: a length above 0 is needed; use 100 mm to 600 mm.")
    fields.done()
    return blade


def read_candidate(entry: object, blade: SharedBlade, where: str) -> Candidate:
    """A candidate from its entry. Raises BladeError for an entry that no curve can be made of."""
    fields = Fields(entry, where)
    family = fields.choice("family", FAMILIES)
    radii = tuple(radius(v, f"{where}.radii[{i}]") for i, v in enumerate(fields.listed("radii")))
    shares = fields.numbers("shares", -1e9, 1e9) if fields.has("shares") else ()
    name = fields.text("name", LONGEST_NAME) if fields.has("name") else label(family, radii)
    own = {
        field: _value(fields, key, unit) if fields.has(key) else getattr(blade, field)
        for key, (field, unit) in _KEYS.items()
    }
    fields.done()
    recipe = Recipe(name, family, radii, shares, own["length_m"], own["blend_m"], own["level_m"], own["pitch_rad"],
                    own["heel_sweep"], own["toe_sweep"])  # fmt: skip
    section = Section(own["thickness_m"], own["hollow_m"], own["proud_m"], own["height_m"], own["span_m"])
    result = Candidate(name, recipe, section)
    _ = result.curve  # refuses what no curve can be made of
    return result


def _value(fields: Fields, key: str, unit: str) -> float | Sweep:
    if unit == "sweep":
        return _sweep(fields.inner(key))
    return fields.radius(key) if unit == "radius" else fields.quantity(key, unit)


def _sweep(fields: Fields) -> Sweep:
    result = Sweep(fields.quantity("length", "m"), fields.radius("radius"))
    fields.done()
    return result
