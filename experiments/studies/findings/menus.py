"""Menus of several skaters: for each wish the blade of a library that gives most of it at a stated price."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from experiments.analysis.draws import DRAWS_TOGETHER, checked_draw_count, columns_of, drawn, sample
from experiments.analysis.grinding import Grinding, check
from experiments.analysis.judging.menu import Item, Library, menu
from experiments.analysis.judging.weights import log_gains
from experiments.analysis.variants import only_radius, statics
from experiments.request.comparison import MOST_NAMED, Request, Stated, assemble
from experiments.request.fields import Fields
from experiments.request.grids import expand
from experiments.request.objectives import can_drive, measure_name
from experiments.request.skater import read_skater
from experiments.request.uncertainty import Sampling
from experiments.run.workers import Progress, Workers
from sim.blade.recipe import Recipe
from sim.errors import BladeError
from sim.measures import REGISTRY
from sim.trial import Candidate, Setting

MOST_LIBRARY = 2_000
LEAST_DRAWS = 16


@dataclass(frozen=True)
class MenuPlan:
    """A library under each skater, the wishes, and how often what is unknown is drawn."""

    requests: tuple[Request, ...]
    wishes: tuple[str, ...]
    draws: int


@dataclass(frozen=True)
class SkaterMenu:
    """The menu of one skater. present: the blade that gains are against; recipes: of the library, by the places in the
    items; left_out: how many of it cannot be ground."""

    skater: str
    mass_kg: float
    present: str
    recipes: tuple[Recipe, ...]
    left_out: int
    items: tuple[Item, ...]


def read_menu(fields: Fields, stated: Stated) -> MenuPlan:
    """`menu` of a config: library, skaters, wishes, draws. Raises BladeError."""
    entries = tuple(expand(fields.listed("library"), MOST_LIBRARY))
    people = fields.inner("skaters")
    if not 1 <= len(people.mapping) <= MOST_NAMED:
        raise BladeError(f"{people.where}: name 1 to {MOST_NAMED} skaters.")
    wishes = tuple(measure_name(Fields({}, fields.path("wishes")), str(w)) for w in fields.listed("wishes"))
    for wish in wishes:
        if not can_drive(wish, REGISTRY[wish].better):
            raise BladeError(f"{fields.path('wishes')}: {wish} is no wish; choose static measures with a better side.")
    if len(set(wishes)) < len(wishes):
        raise BladeError(f"{fields.path('wishes')}: one stands twice.")
    draws = fields.count("draws", LEAST_DRAWS, 100_000)
    requests = tuple(
        assemble(replace(stated, skaters=(read_skater(people.inner(name)),), entries=entries, pairs=(), scenarios={}))
        for name in people.mapping
    )  # fmt: skip
    fields.done()
    checked_draw_count(draws, len(entries), fields.path("draws"))
    return MenuPlan(requests, wishes, draws)


def menus(
    plan: MenuPlan, limits: Grinding, sampling: Sampling, workers: Workers, progress: Progress
) -> tuple[SkaterMenu, ...]:
    """The menu of every skater."""
    return tuple(_of_skater(plan, request, limits, sampling, workers, progress) for request in plan.requests)


def _of_skater(
    plan: MenuPlan, request: Request, limits: Grinding, sampling: Sampling, workers: Workers, progress: Progress
) -> SkaterMenu:
    setting, everything = request.settings[0], request.candidates
    blades = tuple(blade for blade in everything if not check(blade.recipe, limits))
    columns = tuple(columns_of(sampling.inputs, blades))
    points = sample(sampling.inputs, columns, plan.draws, sampling.seed)
    portions = [points[i : i + DRAWS_TOGETHER] for i in range(0, len(points), DRAWS_TOGETHER)]
    parts = workers.map(drawn_gains, portions, (blades, setting, columns, plan.wishes), progress)
    library = library_of(np.concatenate(parts), plan.wishes, blades, setting)
    skater = setting.skater
    return SkaterMenu(
        skater.name, skater.mass_kg, setting.reference.name, tuple(b.recipe for b in blades),
        len(everything) - len(blades), tuple(menu(library, plan.wishes, request.opinions)),
    )  # fmt: skip


def library_of(gains: np.ndarray, wishes: Sequence[str], blades: Sequence[Candidate], setting: Setting) -> Library:
    """The library of blades that can all be ground. gains: (draw, blade, wish) log2."""
    steel = np.array([statics(blade, setting, ("steel_removed_depth",))[0] for blade in blades])
    single = np.array([np.isfinite(only_radius(blade.recipe)) for blade in blades])
    return Library(gains, tuple(wishes), np.ones(len(blades), bool), single, steel)


def drawn_gains(
    shared: tuple[tuple[Candidate, ...], Setting, tuple[tuple[str, int], ...], tuple[str, ...]], points: np.ndarray
) -> np.ndarray:
    """(draw, blade, measure) log2 gains over the present blade, which is the reference, in each draw; nan where a draw
    or a blade cannot be. What a worker does."""
    blades, setting, columns, names = shared
    values = np.full((len(points), len(blades), len(names)), np.nan)
    base = np.full((len(points), len(names)), np.nan)
    for d, point in enumerate(points):
        try:
            there, ground = drawn(blades, setting, columns, point)
        except BladeError:
            continue
        values[d] = [statics(blade, there, names) for blade in ground]
        base[d] = statics(there.reference, there, names)
    return log_gains(values, base, [REGISTRY[name].better for name in names])
