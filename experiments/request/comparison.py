"""From a config to checked, typed cases, before any work starts."""

import math
from dataclasses import dataclass, replace

import numpy as np

from experiments.request.blade import SharedBlade, read_blade, read_candidate
from experiments.request.fields import Fields
from experiments.request.grids import MOST_CASES, expand
from experiments.request.how import read_workers
from experiments.request.objectives import Weighting, read_pairs, read_weighting
from experiments.request.opinions import Opinions, read_opinions
from experiments.request.setting import read_ice, read_law, read_scenario, read_states, scaled_scenario, scaled_state
from experiments.request.skater import StatedSkater, read_skater
from sim.errors import BladeError
from sim.ice.contact import Law
from sim.ice.ice import Ice
from sim.measures import REGISTRY, ROLLED_STATES
from sim.skater.movement import Scenario
from sim.trial import Candidate, Setting, State

DETAILS = ("full", "measures", "static")  # with curves, contact and series; without; and without rolling
MOST_FULL = 300
MOST_NAMED = 1_000  # skaters, or scenarios


@dataclass(frozen=True)
class Case:
    """One candidate under one setting; `index` is its place in the run."""

    index: int
    candidate: Candidate
    setting: Setting


@dataclass(frozen=True)
class Request:
    """A whole checked comparison: cases in order, the settings they are under (one a skater), the single radii of the
    comparison line, the weighting, the declared pairs of costs, the sources of the ice, how much is kept, and what its
    judgements turn on (None: of one made by hand, which nothing judges)."""

    cases: tuple[Case, ...]
    settings: tuple[Setting, ...]
    line_m: tuple[float, ...]
    scheme: Weighting
    pairs: tuple[tuple[str, str], ...]
    sources: tuple[str, ...] = ()
    detail: str = "full"
    opinions: Opinions | None = None

    @property
    def rolled(self) -> bool:
        """Whether movements are rolled."""
        return self.detail != "static"

    @property
    def measures(self) -> tuple[str, ...]:
        """Names of the measures asked for."""
        return tuple(name for name, m in REGISTRY.items() if self.rolled or m.state not in ROLLED_STATES)

    @property
    def candidates(self) -> tuple[Candidate, ...]:
        """The candidates under the first setting, in order."""
        return tuple(case.candidate for case in self.cases if case.setting is self.settings[0])


@dataclass(frozen=True)
class Stated:
    """A config read once into typed values, before candidates are put under skaters; a study may replace any of them.

    states, scenarios, bias_lines_m: before they are scaled to a skater's blade; reference and entries: recipes as
    listed, with their place in the config, to be read against `blade`.
    """

    blade: SharedBlade
    ice: Ice
    law: Law
    contact_damping: float
    states: dict[str, State]
    bias_lines_m: tuple[float, ...]
    scenarios: dict[str, Scenario]
    skaters: tuple[StatedSkater, ...]
    reference: object
    entries: tuple[tuple[object, str], ...]
    line_m: tuple[float, ...]
    scheme: Weighting
    pairs: tuple[tuple[str, str], ...]
    detail: str
    opinions: Opinions


def read_request(config: dict) -> Request:
    """Check a composed config and build its cases. Raises BladeError with one sentence for the first fault."""
    return assemble(read_stated(config))


def read_stated(config: dict, recipes: list | None = None) -> Stated:
    """A config as typed values; recipes: instead of its own candidates. Raises BladeError for the first fault."""
    top = Fields(config, "")
    for key in ("kind", "results_dir"):
        top.text(key)
    for key in ("candidates_from", "resume", "skater"):  # dealt with elsewhere
        top.has(key)
    if top.has("visits"):
        raise BladeError("visits: a sheet keeps them; use experiment=recommend, team or follow_up.")
    if top.raw("kind") == "compare":  # what its study reads of a whole config
        for key in ("uncertainty", "draws", "seed"):
            top.has(key)
    blade, ice, (law, damping) = read_blade(top.inner("blade")), read_ice(top.inner("ice")), read_law(top.inner("law"))
    scenarios = {name: read_scenario(name, Fields(v, f"scenarios.{name}")) for name, v in _named(top, "scenarios")}
    detail = top.choice("detail", DETAILS) if top.has("detail") else "full"
    kept = {"full": tuple(scenarios), "measures": ROLLED_STATES, "static": ()}[detail]
    states, bias_lines = read_states(top.inner("states"))
    line, scheme, pairs = _line(top.inner("radius_line")), read_weighting(top.inner("weighting")), read_pairs(top)
    if not scheme.weights and top.raw("kind") != "compare":
        raise BladeError("weighting: this study orders blades by one; choose even, turns_first or another.")
    skaters = [(f"skaters.{key}", value) for key, value in _named(top, "skaters")] or [("skater", top.raw("skater"))]
    top.has("candidates")
    entries = expand(recipes or top.listed("candidates"), MOST_CASES // len(skaters))
    stated = Stated(
        blade, ice, law, damping, states, bias_lines, {name: s for name, s in scenarios.items() if name in kept},
        tuple(read_skater(Fields(value, where)) for where, value in skaters), top.raw("reference"), tuple(entries),
        line, scheme, pairs, detail, read_opinions(top.inner("opinions")),
    )  # fmt: skip
    read_workers(top), top.flag("figures")  # how it is carried out: refused here, used by the command
    top.done()
    return stated


def assemble(stated: Stated) -> Request:
    """Every candidate under every skater. Raises BladeError for what cannot be built, or is not distinct."""
    groups = [_cases_of(skater, stated) for skater in stated.skaters]
    cases = tuple(Case(i, *pair) for i, pair in enumerate(pair for _, members in groups for pair in members))
    settings = tuple(setting for setting, _ in groups)
    _distinct(cases[: len(stated.entries)], settings)
    for case in cases:
        on_steel(case)
    request = Request(
        cases, settings, stated.line_m, stated.scheme, stated.pairs, (stated.ice.source,), stated.detail,
        stated.opinions,
    )  # fmt: skip
    _feasible(request)
    return request


def one_setting(request: Request) -> Request:
    """The request itself. Raises BladeError when it asks for several skaters, which a study of draws does not take."""
    if len(request.settings) > 1:
        raise BladeError(f"skaters: this study takes one skater at a time; leave one of {len(request.settings)}.")
    return request


def _cases_of(skater: StatedSkater, stated: Stated) -> tuple[Setting, list[tuple[Candidate, Setting]]]:
    """(setting, its cases) of one skater: load lines and the blade's length scaled to him or her."""
    scale, sized = skater.scale_of(stated.blade.length_m), stated.blade
    if not math.isnan(skater.blade_length_m):
        sized = replace(sized, length_m=skater.blade_length_m)
    setting = Setting(
        stated.ice, stated.law, skater.scaled(), {k: scaled_state(s, scale) for k, s in stated.states.items()},
        {k: scaled_scenario(s, scale) for k, s in stated.scenarios.items()}, _reference(stated.reference, sized),
        tuple(x * scale for x in stated.bias_lines_m), stated.contact_damping,
    )  # fmt: skip
    return setting, [(read_candidate(entry, sized, where), setting) for entry, where in stated.entries]


def _feasible(request: Request) -> None:
    """Refuse what `detail` leaves out, and more series than can be held."""
    if request.detail == "full" and len(request.cases) > MOST_FULL:
        raise BladeError(
            f"detail: {len(request.cases)} cases with all their series would take gigabytes; write detail=measures, or "
            "detail=static for static measures only."
        )
    if not request.rolled:
        names = [*request.scheme.weights, *(name for pair in request.pairs for name in pair)]
        rolled = [name for name in names if REGISTRY[name].state in ROLLED_STATES]
        if rolled:
            raise BladeError(
                f"detail: static leaves out {rolled[0]}; leave it out of weighting and pairs, or write detail=measures."
            )


def _reference(entry: object, blade: SharedBlade) -> Candidate:
    blade_read = read_candidate(entry, blade, "reference")
    named = isinstance(entry, dict) and entry.get("name")
    return blade_read if named else replace(blade_read, name=f"{blade_read.name} reference")


def _distinct(cases: tuple[Case, ...], settings: tuple[Setting, ...]) -> None:
    """Refuse two candidates, or two skaters, of one name."""
    seen = set()
    for case in cases:
        if case.candidate.name in seen:
            raise BladeError(f"candidates: {case.candidate.name!r} stands twice; give one of them another name.")
        seen.add(case.candidate.name)
    people = [setting.skater.name for setting in settings]
    if len(set(people)) < len(people):
        raise BladeError(f"skaters: two are named {max(people, key=people.count)!r}; give each a name of its own.")


def on_steel(case: Case) -> None:
    """Refuse a load line off a candidate's runner or the reference's, or on a turned-up end. Raises BladeError."""
    s = case.setting
    lines = {f"states.{k}.line": (v.line_m,) for k, v in s.states.items()}
    lines |= {f"scenarios.{k}.line": v.line_m for k, v in s.scenarios.items()}
    lines["states.pitch_bias"] = s.bias_lines_m
    for one in (case.candidate, s.reference):
        for where, places in lines.items():
            for line in (min(places), max(places)):
                check_line(line, one, where)


def check_line(line_m: float, one: Candidate, where: str) -> None:
    """Refuse a load line, m, off the runner of a blade or on a turned-up end of it. Raises BladeError."""
    half = one.recipe.length_m / 2
    if abs(line_m) >= half:
        raise BladeError(
            f"{where}: a load line of {line_m * 1e3:.0f} mm is off the steel of {one.name!r}; "
            f"stay within +-{half * 1e3:.0f} mm of mid-runner."
        )
    if fault := one.recipe.turned_up(line_m):
        raise BladeError(f"{where}: on {one.name!r} a load line of {fault}")


def _named(top: Fields, key: str) -> list[tuple[str, dict]]:
    value = top.raw(key)
    if not isinstance(value, dict):
        raise BladeError(f"{key}: expected named entries (name: values).")
    if len(value) > MOST_NAMED:
        raise BladeError(f"{key}: {len(value)} entries; use at most {MOST_NAMED}.")
    return list(value.items())


def _line(f: Fields) -> tuple[float, ...]:
    start, stop, count = f.radius("from"), f.radius("to"), f.count("count", 2, 2001)
    f.done()
    if not start < stop < math.inf:
        raise BladeError("radius_line: 'from' must be a shorter radius than 'to', and neither flat.")
    return tuple(np.geomspace(start, stop, count))
