"""One design carried over a range of sizes by stated rules: hold the radii, scale them by length, or search anew."""

import math
from dataclasses import dataclass, replace

import numpy as np

from experiments.analysis.frontier import cost
from experiments.analysis.grinding import Grinding, check, read_grinding
from experiments.analysis.optimizer import Effort, SearchProblem, optimize, read_effort
from experiments.analysis.space import Space, read_space
from experiments.analysis.variants import statics
from experiments.request.comparison import Request, Stated, assemble, read_stated
from experiments.request.fields import Fields
from experiments.request.objectives import read_objectives
from experiments.request.skater import StatedSkater
from experiments.run.workers import Progress, Workers
from sim.blade.recipe import Recipe
from sim.errors import BladeError
from sim.measures import STATIC
from sim.trial import Candidate, Setting

KEYS = ("sizes", "rules", "space", "grinding", "objectives", "evaluations", "population", "seed")
MOST_SIZES = 100
MOST_SEARCHED_A_SIZE = 100_000  # of each search
RULES = ("hold", "scale", "search")


@dataclass(frozen=True)
class Size:
    """A size: its name, the comparison of the design on it, and the space that a search there looks through."""

    name: str
    request: Request
    space: Space


@dataclass(frozen=True)
class Plan:
    """The design on its own size (`request`), the sizes it is carried to, and how."""

    request: Request
    sizes: tuple[Size, ...]
    rules: tuple[str, ...]
    objectives: tuple[tuple[str, str], ...]
    limits: Grinding
    effort: Effort


@dataclass(frozen=True)
class Carried:
    """A design on one size by one rule. values, base: static measures of it and of that size's reference, in
    the order of STATIC; limits: sentences of what cannot be ground."""

    size: str
    length_m: float
    mass_kg: float
    rule: str
    recipe: Recipe
    values: np.ndarray
    base: np.ndarray
    limits: tuple[str, ...]

    def value(self, name: str) -> float:
        """A measure, SI."""
        return float(self.values[STATIC.index(name)])

    def ratio(self, name: str) -> float:
        """A measure relative to the reference's; nan where either is nothing, which has no ratio."""
        value, base = self.value(name), float(self.base[STATIC.index(name)])
        return value / base if value != 0 and base != 0 else math.nan


def read(own: dict, rest: dict) -> Plan:
    """Check the config. Raises BladeError."""
    fields, stated = Fields(own, ""), read_stated(rest)
    listed = [Fields(entry, f"sizes[{i}]") for i, entry in enumerate(fields.listed("sizes"))]
    if len(listed) > MOST_SIZES:
        raise BladeError(f"sizes: {len(listed)} sizes; list at most {MOST_SIZES}.")
    rules = tuple(Fields({"rules": str(r)}, "").choice("rules", RULES) for r in fields.listed("rules"))
    if len(stated.entries) != 1:
        raise BladeError("candidates: a size range carries one design; list one candidate.")
    if len(stated.skaters) != 1:
        raise BladeError("skaters: each size brings a skater of its own; leave one to scale from.")
    sized = [(size.text("name", 40), assemble(_sized(stated, size))) for size in listed]
    space = fields.inner("space")
    sizes = tuple(Size(name, request, _space_of(space, request)) for name, request in sized)
    plan = Plan(assemble(stated), sizes, rules, read_objectives(fields), read_grinding(fields.inner("grinding")),
                read_effort(fields, MOST_SEARCHED_A_SIZE))  # fmt: skip
    fields.done()
    return plan


def _space_of(space: Fields, request: Request) -> Space:
    """The space of one size. The same mapping is read for each of them."""
    return read_space(Fields(space.mapping, space.where), request.settings[0].reference.recipe)


def _sized(stated: Stated, size: Fields) -> Stated:
    """What is asked of one size: its runner, mass and height."""
    usual = stated.skaters[0]
    mass, length = size.quantity("mass", "kg"), size.quantity("length", "m")
    height = size.quantity("height", "m") if size.has("height") else usual.height_m
    size.done()
    skater = replace(scaled_skate(usual, mass), where=size.where, height_m=height, blade_length_m=length)
    return replace(stated, skaters=(skater,))


def scaled_skate(skater: StatedSkater, mass_kg: float) -> StatedSkater:
    """A skater of another mass, skate and foot in proportion: a child does not wear a man's skate.

    Mass of the skate goes with that of the skater, its inertia with the power 5/3 (lengths with the cube root).
    """
    share = mass_kg / skater.usual.mass_kg
    skate_mass, inertia = skater.usual.skate_mass_kg * share, skater.usual.skate_inertia * share ** (5 / 3)
    return replace(
        skater, usual=replace(skater.usual, mass_kg=mass_kg, skate_mass_kg=skate_mass, skate_inertia=inertia)
    )


def run(plan: Plan, workers: Workers, progress: Progress) -> list[Carried]:
    """The design on every size by every rule."""
    out = []
    for k, size in enumerate(plan.sizes):
        out += [_measured(plan, size, rule, _carried(plan, size, rule, workers)) for rule in plan.rules]
        progress(k + 1, len(plan.sizes))
    return out


def _carried(plan: Plan, size: Size, rule: str, workers: Workers) -> Recipe:
    sized = size.request.cases[0].candidate.recipe  # same radii and shares on this size's runner
    if rule == "hold":
        return sized
    if rule == "scale":
        ratio = sized.length_m / plan.request.cases[0].candidate.recipe.length_m
        return replace(sized, radii_m=tuple(r * ratio for r in sized.radii_m))
    return _searched(plan, size, workers)


def _searched(plan: Plan, size: Size, workers: Workers) -> Recipe:
    """The recipe of the space that comes nearest to giving this size what the design gives its own, both held against
    their references: least greatest excess over the design's cost ratios."""
    home, there = plan.request.settings[0], size.request.settings[0]
    wanted = _costs(plan, plan.request.cases[0].candidate, home) / _costs(plan, home.reference, home)
    base = _costs(plan, there.reference, there)
    problem = SearchProblem(size.space, size.request.cases[0].candidate.section, ((_bare(there), {}),),
                            plan.objectives, None, plan.limits, None)  # fmt: skip
    start = size.space.point(size.request.cases[0].candidate.recipe)
    found = optimize(problem, workers, [] if start is None else [start], plan.effort)
    front = found.front()
    if not len(front):
        raise BladeError(
            f"sizes: no blade of the space can be ground for {size.name!r}; widen the space or the limits."
        )
    excess = (found.costs[front] / base / wanted).max(axis=1)
    return size.space.recipe(found.points[front[int(np.argmin(excess))]], f"searched for {size.name}")


def _bare(setting: Setting) -> Setting:
    return replace(setting, scenarios={})


def _costs(plan: Plan, blade: Candidate, setting: Setting) -> np.ndarray:
    values = statics(blade, _bare(setting), [name for name, _ in plan.objectives])
    return np.array([float(cost(name, v, way)) for (name, way), v in zip(plan.objectives, values)])


def _measured(plan: Plan, size: Size, rule: str, recipe: Recipe) -> Carried:
    setting, section = _bare(size.request.settings[0]), size.request.cases[0].candidate.section
    values = statics(Candidate(recipe.name, recipe, section), setting, STATIC)
    base = statics(setting.reference, setting, STATIC)
    return Carried(size.name, recipe.length_m, setting.skater.mass_kg, rule, recipe, values, base,
                   tuple(check(recipe, plan.limits)))  # fmt: skip
