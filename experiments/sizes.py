"""One design carried over a range of sizes by stated rules: hold the radii, scale them by length, or search anew."""

import math
from dataclasses import dataclass, replace

import numpy as np
from rich import box
from rich.table import Table

from experiments import figure_style as fs
from experiments import seeker
from experiments.cases import Request, request
from experiments.fields import Fields
from experiments.grinding import check, read_grinding
from experiments.report import HEADLINE
from experiments.scoring import cost
from experiments.search import objectives_of
from experiments.space import read_space
from experiments.store import csv_table
from experiments.variants import statics
from sim.blade.recipe import Recipe
from sim.errors import BladeError
from sim.measures import REGISTRY
from sim.quantities import FOOT_M
from sim.trial import Candidate

KEYS = ("sizes", "rules")
MOST_SIZES = 100
RULES = ("hold", "scale", "search")
TABLE = ("glide_drag_coefficient", "pivot_forefoot_toe_in", "pivot_heel_toe_in", "turn_drag",
         "turn_tightest_clean_radius", "push_hold_angle", "critical_ankle_stiffness")  # fmt: skip


@dataclass(frozen=True)
class Carried:
    """A design on one size by one rule. values, base: measures of it and of that size's reference, in the order of
    TABLE; limits: sentences of what cannot be ground."""

    size: str
    length_m: float
    mass_kg: float
    rule: str
    recipe: Recipe
    values: np.ndarray
    base: np.ndarray
    limits: tuple[str, ...]

    @property
    def ratios(self) -> np.ndarray:
        """Measures over the reference's; nan where either is nothing, which has no ratio."""
        usable = (self.base != 0) & (self.values != 0)
        return np.where(usable, self.values, np.nan) / np.where(usable, self.base, 1.0)


def read_sizes(own: dict, rest: dict):
    """Check the request of a size range; returns the request of the design's own size and what runs it."""
    fields = Fields(own, "")
    sizes = [Fields(entry, f"sizes[{i}]") for i, entry in enumerate(fields.listed("sizes"))]
    if len(sizes) > MOST_SIZES:
        raise BladeError(f"sizes: {len(sizes)} sizes; list at most {MOST_SIZES}.")
    rules = [Fields({"rules": str(r)}, "").choice("rules", RULES) for r in fields.listed("rules")]
    if len(Fields(rest, "").listed("candidates")) != 1:
        raise BladeError("candidates: a size range carries one design; list one candidate.")
    own_size = request(rest)
    asked = [(f.text("name", 40), _sized(rest, f)) for f in sizes]
    objectives, limits = objectives_of(fields), read_grinding(fields.inner("grinding"))
    seed, budget = fields.count("seed", 0, 2**31 - 1), fields.count("evaluations", 8, 100_000)
    population = fields.count("population", 8, 2000)
    spaces = [read_space(fields.inner("space"), a.settings[0].reference.recipe) for _, a in asked]
    fields.done()

    def run(folder, on_chunk):
        made, design = [], own_size.cases[0].candidate
        for k, ((name, here), space) in enumerate(zip(asked, spaces)):
            for rule in rules:
                bare = replace(here.settings[0], scenarios={})
                section = here.cases[0].candidate.section
                sought = seeker.Asked(space, section, ((bare, {}),), objectives, None, limits, None)
                recipe = _carried(rule, design, here, sought, own_size, (population, budget, seed), folder.crew, name)
                made.append(_judged(name, rule, recipe, here, limits))
            on_chunk(k + 1, len(asked))
        write(made, folder.path / "sizes.csv")
        return made

    return own_size, run


def _sized(rest: dict, size: Fields) -> Request:
    """The request of one size: its runner, mass and height."""
    skater = dict(rest["skater"], blade_length=size.raw("length"), mass=size.raw("mass"))
    skater["height"] = size.raw("height") if size.has("height") else skater.get("height")
    size.done()
    skater |= _scaled_skate(rest["skater"], skater)
    return request({**rest, "skater": skater})


def _scaled_skate(usual: dict, own: dict) -> dict:
    """Skate and foot in proportion to the skater's mass: a child does not wear a man's skate."""
    f, g = Fields(usual, "skater"), Fields(own, "sizes")
    share = g.quantity("mass", "kg") / f.quantity("mass", "kg")
    return {
        "skate_mass": f"{f.quantity('skate_mass', 'kg') * share:.6g} kg",
        "skate_inertia": f"{f.quantity('skate_inertia', 'kg*m^2') * share ** (5 / 3):.6g} kg*m^2",
    }


def _carried(rule, design: Candidate, here: Request, sought, own_size: Request, effort, crew, name) -> Recipe:
    sized = here.cases[0].candidate.recipe  # same radii and shares on this size's runner
    if rule == "hold":
        return sized
    if rule == "scale":
        ratio = sized.length_m / design.recipe.length_m
        return replace(sized, radii_m=tuple(r * ratio for r in sized.radii_m))
    return _searched(design, here, sought, own_size, effort, crew, name)


def _searched(design, here, sought, own_size, effort, crew, name) -> Recipe:
    """The recipe of the space that comes nearest to giving this size what the design gives its own, both held against
    their references: least greatest excess over the design's cost ratios."""
    wanted = _costs(design, own_size.settings[0], sought) / _costs(own_size.settings[0].reference,
                                                                  own_size.settings[0], sought)  # fmt: skip
    base = _costs(here.settings[0].reference, here.settings[0], sought)
    size, budget, seed = effort
    start = sought.space.point(here.cases[0].candidate.recipe)
    answers = seeker.Answers(sought, crew)
    found = seeker.seek(sought, answers, [] if start is None else [start], size, budget, seed)
    front = found.front()
    if not len(front):
        raise BladeError(f"sizes: no blade of the space can be ground for {name!r}; widen the space or the limits.")
    excess = (found.costs[front] / base / wanted).max(axis=1)
    return sought.space.recipe(found.points[front[int(np.argmin(excess))]], f"searched for {name}")


def _costs(blade: Candidate, setting, sought) -> np.ndarray:
    names = [n for n, _ in sought.objectives]
    values = statics(blade, replace(setting, scenarios={}), names)
    return np.array([float(cost(n, v, way)) for (n, way), v in zip(sought.objectives, values)])


def _judged(size, rule, recipe, here: Request, limits) -> Carried:
    setting = replace(here.settings[0], scenarios={})
    values = statics(Candidate(recipe.name, recipe, here.cases[0].candidate.section), setting, TABLE)
    return Carried(size, recipe.length_m, setting.skater.mass_kg, rule, recipe, values,
                   statics(setting.reference, setting, TABLE), tuple(check(recipe, limits)))  # fmt: skip


# ---------------------------------------------------------------- tables and figure


def write(made: list[Carried], path) -> None:
    """One line a size and rule: recipe, measures in SI, ratios to that size's reference."""
    header = ["size", "length [m]", "mass [kg]", "rule", "radii [ft]"]
    header += [f"{n} [{REGISTRY[n].unit}]" for n in TABLE] + [f"ratio of {n}" for n in TABLE] + ["beyond_limits"]
    with csv_table(path, header) as writer:
        for x in made:
            radii = "/".join(f"{r / FOOT_M:.3f}" for r in x.recipe.radii_m)
            row = [x.size, x.length_m, x.mass_kg, x.rule, radii, *x.values, *x.ratios]
            writer.writerow([*row, " | ".join(x.limits)])


def draw(made: list[Carried], folder) -> list:
    """Ratios to each size's reference over blade length, a panel a measure, a line a rule."""
    rules = list(dict.fromkeys(x.rule for x in made))
    fig = fs.page(
        12.4,
        6.0,
        "One design over a range of sizes: ratio to the reference of the same size",
        ["hold: same radii; scale: radii follow the length; search: looked for anew for each size"],
    )
    cells = fs.grid(fig, 2, 4, 0.65, 0.25, 0.85, 0.8, wgap=0.6, hgap=0.75)
    for i, name in enumerate(TABLE):
        ax = fig.add_subplot(cells[i // 4, i % 4])
        ax.axhline(1.0, color=fs.INK, linewidth=0.8)
        for k, rule in enumerate(rules):
            rows = [x for x in made if x.rule == rule]
            dash = {"dashes": fs.DASHES[k]} if fs.DASHES[k] else {}
            ax.plot([1e3 * x.length_m for x in rows], [x.ratios[i] for x in rows], color=fs.HUES[k],
                    marker=fs.MARKERS[k], markersize=4, linewidth=1.5, label=rule, **dash)  # fmt: skip
        ax.set_title(REGISTRY[name].label, loc="left", fontsize=8.5)
        if i >= 3:
            ax.set_xlabel("blade length, mm")
    fig.legend(*ax.get_legend_handles_labels(), loc="lower right", bbox_to_anchor=(0.96, 0.22), frameon=False)
    return fs.save(fig, folder, "sizes")


def show(made: list[Carried], asked, console) -> None:
    """Ratios of each size and rule, and what changes from the smallest to the largest."""
    table = Table(title="Ratio to the reference of the same size", title_justify="left", title_style="bold",
                  box=box.SIMPLE_HEAD, pad_edge=False)  # fmt: skip
    for head in ("size", "rule", "radii, ft"):
        table.add_column(head, no_wrap=True)
    for name in TABLE:
        table.add_column(dict(HEADLINE)[name], justify="right")
    for x in made:
        radii = "/".join(f"{r / FOOT_M:.1f}" for r in x.recipe.radii_m)
        table.add_row(
            f"{x.size}, {x.mass_kg:g} kg",
            x.rule,
            radii,
            *(f"{v:.3f}" if math.isfinite(v) else "none" for v in x.ratios),
        )
    console.print(table)
    for rule in dict.fromkeys(x.rule for x in made):
        rows = [x for x in made if x.rule == rule]
        first, last = (min(rows, key=lambda x: x.length_m), max(rows, key=lambda x: x.length_m))
        change = last.ratios / first.ratios
        parts = [f"{REGISTRY[n].label} {100 * (v - 1):+.1f} %" for n, v in zip(TABLE, change)
                 if math.isfinite(v) and abs(v - 1) > 0.005]  # fmt: skip
        words = ", ".join(parts) or "under 0.5 %"
        console.print(f"{rule}: from {first.size} to {last.size} the ratios change by {words}.", markup=False)
    for x in [x for x in made if x.limits]:
        console.print(f"{x.size}, {x.rule}: {x.limits[0]}", markup=False)
