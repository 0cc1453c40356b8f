"""From gauge traces and a skater to a recommendation: plan, draws, steel, and what the sheet needs besides."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import scipy

from experiments.analysis.draws import Draws, checked_draw_count, run_draws
from experiments.analysis.grinding import read_grinding
from experiments.analysis.judging.decide import Decision, Present, Wanted, decide
from experiments.analysis.shop import read_steps
from experiments.analysis.variants import line_costs, statics, varied_candidate, varied_setting
from experiments.request.comparison import Case, Request, Stated, assemble, on_steel, read_stated
from experiments.request.fields import Fields
from experiments.request.objectives import Weighting
from experiments.request.recipe_files import own_folder
from experiments.request.uncertainty import Input, Normal, Sampling, read_sampling
from experiments.request.visits import Book, read_book
from experiments.run.workers import Progress, Workers
from experiments.studies.recommend import traces
from experiments.studies.recommend.steel import Stock, read_heights, same_again, to_remove
from experiments.studies.recommend.traces import Bench, read_bench
from experiments.studies.recommend.use import FARTHEST_M, Needs, place_words, read_needs
from sim.blade.recipe import Recipe, Sweep
from sim.blade.section import Section
from sim.blade.stock import Removal
from sim.blade.wear import wear
from sim.errors import BladeError
from sim.measures import REGISTRY, ROLLED_STATES, STATIC, evaluate
from sim.trial import Candidate, Trial

KEYS = (
    *traces.TRACE_KEYS, "gauge_level", "runner_height", "least_height", "radius_step",
    "boundary_step", "shop", "initials", "stands", "says", "use",
    "wishes", "grinding", "uncertainty", "draws", "seed", "visits",
)  # fmt: skip
MEASURED, REFRESHED = "blade as measured", "the same curve again"
MEASURED_AT, REFRESHED_AT = 0, 1  # places of these two among the blades
LINES = ("glide_line_shift", "turn_line_shift", "push_line_shift", "pivot_line_shift")
WIDEST_BLEND_M = 0.2  # of a blade whose ends leave more room than any blend takes
UNEVEN_M = 25e-6  # between the edges, for what uneven ones cost
LINE_POINTS = 25  # of the single-radius line in the sheet's trade-off
USUAL_AXES = ("pivot_forefoot_toe_in", "glide_drag_coefficient")
JUDGED = tuple(n for n in STATIC if REGISTRY[n].better != "neither" and not REGISTRY[n].signed)
ROLLED_MEASURES = tuple(name for name, measure in REGISTRY.items() if measure.state in ROLLED_STATES)


@dataclass(frozen=True)
class WorkOrder:
    """All that was asked besides the traces."""

    bench: Bench
    needs: Needs
    initials: str
    gauge_level: bool
    stock: Stock


@dataclass(frozen=True)
class Plan:
    """The blades that are weighed (as measured, refreshed, the shop's, and last the other of a pair as measured), the
    work order, how doubt is drawn, and the visits that are kept of this skater, if any."""

    request: Request
    order: WorkOrder
    sampling: Sampling
    book: Book | None = None

    @property
    def present(self) -> tuple[int, ...]:
        """Places of the present blades among the cases: of one, or of both of a pair."""
        both = len(self.order.bench.blades) > 1
        return (MEASURED_AT, len(self.request.cases) - 1) if both else (MEASURED_AT,)

    @property
    def new(self) -> tuple[int, ...]:
        """Places among the cases of the blades that the present ones may be ground to."""
        return tuple(i for i in range(len(self.request.cases)) if i not in self.present)


@dataclass(frozen=True)
class Recommendation:
    """What came of it. steels: of each present blade, steel to remove for every case, None where it is that blade or
    cannot be said; refused: for every case, why it cannot be ground, or empty; decision: its places count from
    REFRESHED_AT; uneven: (level, proud, low) x static measures of the blade as measured with even edges; rolled:
    measures of movements of the blade as measured and those shown; axes, line: pair of costs of the trade-off, and
    those costs (radius, 2) of single radii over radii_m."""

    draws: Draws
    steels: list[list[Removal | None]]
    refused: list[str]
    decision: Decision
    uneven: np.ndarray
    rolled: list[dict[str, float]]
    axes: tuple[str, str]
    radii_m: np.ndarray
    line: np.ndarray

    @property
    def shown(self) -> list[int]:
        """Places among the cases of the blades that the sheet shows, the one meant first."""
        return shown_places(self.decision)

    @property
    def best(self) -> int:
        """Place among the cases of the blade meant; MEASURED_AT where there is none."""
        return self.decision.verdict.best + REFRESHED_AT if self.decision.verdict.best >= 0 else MEASURED_AT


def shown_places(decision: Decision) -> list[int]:
    """Places among the cases: the best, and the runner-up or what was passed over for its harm to a complaint."""
    removed = decision.verdict.removed
    places = [*decision.order[:1], removed] if removed >= 0 else decision.order[:2]
    return [place + REFRESHED_AT for place in places]


def read(own: dict, rest: dict) -> Plan:
    """Check everything, read the traces and build the blades. Raises BladeError."""
    fields = Fields(own, "")
    entries = own_folder(str(fields.raw("shop")) if fields.has("shop") else None)
    stated = read_stated(rest, entries)
    if len(stated.skaters) > 1 or stated.skaters[0].where != "skater":
        raise BladeError("skaters: a recommendation is for one skater; set skater, and leave skaters empty.")
    needs = read_needs(fields.inner("use"), fields.inner("wishes"), fields.raw("says"), fields.raw("stands"))
    book = read_book(fields)
    sampling, order = read_sampling(fields, 16), _read_order(fields, stated, needs)
    if order.stock.known:  # measured: no longer one of the things that a shop does not know
        sampling = replace(sampling, inputs=tuple(i for i in sampling.inputs if i.name != "height_shift"))
    fields.done()
    request = _blades(stated, order)
    shift, order, sampling = _stance(order, request, sampling)
    request = _shifted(request, shift, order.needs)
    checked_draw_count(sampling.draws, len(request.cases))
    return Plan(request, order, sampling, book)


def _read_order(fields: Fields, stated: Stated, needs: Needs) -> WorkOrder:
    """The work order with its traces read. Raises BladeError."""
    level, initials = fields.flag("gauge_level"), fields.text("initials", 12) if fields.has("initials") else ""
    least = fields.quantity("least_height", "m") if fields.has("least_height") else math.nan
    limits, steps, bench = read_grinding(fields.inner("grinding")), read_steps(fields), read_bench(fields, stated)
    stock = Stock(read_heights(fields, len(bench.blades)), least, limits, steps)
    return WorkOrder(bench, needs, initials, level, stock)


# ---------------------------------------------------------------- the blades


def _blades(stated: Stated, order: WorkOrder) -> Request:
    """The blade as measured (first, and as the reference), the same curve ground fresh, and the shop's blades on this
    runner: its ends stay as they are, new edges are ground level."""
    reading = order.bench.blades[0].reading
    recipe = reading.recipe(MEASURED, level_from_trace=order.gauge_level)
    heights = order.stock.heights_m
    request = assemble(_on_runner(stated, recipe, sum(heights) / len(heights)))
    section = request.cases[0].candidate.section
    measured = Candidate(MEASURED, recipe, _as_it_is(section, stated, heights[0]), reading)
    again = same_again(recipe, order.bench.ground, order.stock.steps, REFRESHED)
    second = _second(order, recipe, _as_it_is(section, stated, heights[-1]))
    taken = {x.name for x in request.candidates} & {MEASURED, REFRESHED, *(x.name for x in second)}
    if taken:
        raise BladeError(f"shop: {taken.pop()!r} is a name that the sheet uses itself; give that recipe another.")
    setting = replace(request.settings[0], reference=measured)
    blades = [measured, Candidate(REFRESHED, again, section), *request.candidates, *second]
    cases = tuple(Case(i, blade, setting) for i, blade in enumerate(blades))
    return replace(request, cases=cases, settings=(setting,))


def _as_it_is(section: Section, stated: Stated, height_m: float) -> Section:
    """The section of a blade as measured: its own edges, and its own height where that was stated."""
    height = section.height_m if math.isnan(height_m) else height_m
    return replace(section, proud_m=stated.blade.proud_m, height_m=height)


def _second(order: WorkOrder, recipe: Recipe, section: Section) -> list[Candidate]:
    """The other blade of a pair as measured, on a runner as long as the first; none where one blade was traced."""
    if len(order.bench.blades) < 2:
        return []
    other = order.bench.blades[1]
    reading, name = replace(other.reading, length_m=recipe.length_m), f"{other.side} blade as measured"
    found = reading.recipe(name, level_from_trace=order.gauge_level)
    return [Candidate(name, found, section, reading)]


def _on_runner(stated: Stated, measured: Recipe, height_m: float) -> Stated:
    """What is asked, on the measured runner: its length and ends to the nanometre, a blend that fits in, its height."""
    heel, toe = (
        Sweep(_nanometre(s.length_m), _nanometre(s.radius_m)) for s in (measured.heel_sweep, measured.toe_sweep)
    )
    room = min([WIDEST_BLEND_M, *(2 * s.length_m for s in (measured.heel_sweep, measured.toe_sweep) if s.length_m > 0)])
    blend = _nanometre(min(stated.blade.blend_m, room))
    height = stated.blade.height_m if math.isnan(height_m) else height_m
    blade = replace(stated.blade, heel_sweep=heel, toe_sweep=toe, blend_m=blend, proud_m=0.0, height_m=height)
    skater = replace(stated.skaters[0], blade_length_m=_nanometre(measured.length_m))
    return replace(stated, blade=blade, skaters=(skater,))


def _nanometre(length_m: float) -> float:
    """A length as its millimetres read with six digits behind the point."""
    return round(length_m * 1e3, 6) * 1e-3


# ---------------------------------------------------------------- where the skater stands


def _stance(order: WorkOrder, request: Request, sampling: Sampling) -> tuple[float, WorkOrder, Sampling]:
    """(shift of the load lines, order, sampling): from the wear where that was asked, with its own doubt added."""
    if not math.isnan(order.needs.shift_m):
        return order.needs.shift_m, order, sampling
    if order.bench.ground is None:
        raise BladeError("stands=wear: wear shows only against the recipe last ground; give ground_as={...} as well.")
    place = wear(order.bench.blades[0].reading, order.bench.ground).centroid_m
    if place is None:
        raise BladeError("stands=wear: no wear stands out of the noise of this trace; state where the skater stands.")
    shift = float(np.clip(place.value - request.settings[0].states["glide"].line_m, -FARTHEST_M, FARTHEST_M))
    doubt = (place.high - place.low) / (2 * scipy.special.ndtri(0.95))
    inputs = tuple(_widened(i, doubt) if i.name in LINES else i for i in sampling.inputs)
    words = (
        f"{place_words(shift)}, read from the wear (worn most near {place.value * 1e3:+.0f} mm; wear also comes from "
        "stops and from sharpening)"
    )
    needs = replace(order.needs, shift_m=shift, stands=words)
    return shift, replace(order, needs=needs), replace(sampling, inputs=inputs)


def _widened(line: Input, doubt_m: float) -> Input:
    """The doubt about a load line with that of the wear added."""
    law = Normal(line.law.mean(), math.hypot(line.law.std(), doubt_m))
    return replace(line, law=law, why=f"{line.why}; widened by the doubt about the wear")


def _shifted(request: Request, shift: float, needs: Needs) -> Request:
    """The request with all load lines moved, under the weighting that the needs make."""
    setting = request.settings[0]
    scenarios = {k: replace(s, line_m=tuple(x + shift for x in s.line_m)) for k, s in setting.scenarios.items()}
    moved = varied_setting(setting, dict.fromkeys(LINES, shift))
    moved = replace(moved, scenarios=scenarios, reference=setting.reference)
    cases = tuple(replace(case, setting=moved) for case in request.cases)
    for case in cases:
        on_steel(case)
    return replace(request, cases=cases, settings=(moved,), scheme=needs.scheme)


# ---------------------------------------------------------------- the study


def run(plan: Plan, workers: Workers, progress: Progress) -> Recommendation:
    """Draw, decide, and compute what the sheet shows besides. No frontier gains in the draws."""
    request, sampling, order = plan.request, plan.sampling, plan.order
    draws = run_draws(replace(request, pairs=()), sampling.inputs, sampling.draws, sampling.seed, workers, progress)
    each = [to_remove(request, order.stock, not order.gauge_level, place, height, REFRESHED_AT)
            for place, height in zip(plan.present, order.stock.heights_m)]  # fmt: skip
    refused = [next((reason for reason in reasons if reason), "") for reasons in zip(*(found for _, found in each))]
    decision = decided(plan, draws, [steel for steel, _ in each], refused)
    axes, radii = trade_axes(request), np.geomspace(request.line_m[0], request.line_m[-1], LINE_POINTS)
    line = line_costs(request.settings[0], radii, axes, request.cases[MEASURED_AT].candidate)
    rolled = [rolled_measures(request.cases[i]) for i in (MEASURED_AT, *shown_places(decision))]
    return Recommendation(draws, [steel for steel, _ in each], refused, decision, uneven_edges(request), rolled, axes,
                          radii, line)  # fmt: skip


def wanted_of(needs: Needs) -> Wanted:
    """What the skater wants, over the measures that are judged."""

    def weights(scheme: Weighting) -> np.ndarray:
        return np.array([scheme.weights.get(name, 0.0) for name in measures])

    schemes = [needs.scheme, *(complaint.scheme for complaint in needs.complaints)]
    better = {name: REGISTRY[name].better for name in JUDGED}
    for scheme in schemes:
        better |= scheme.better
    measures = tuple(better)
    complaints = tuple(weights(scheme) for scheme in schemes[1:])
    return Wanted(measures, tuple(better.values()), weights(needs.scheme), complaints, tuple(needs.menu))


def decided(plan: Plan, draws: Draws, steels: Sequence[Sequence[Removal | None]], refused: Sequence[str]) -> Decision:
    """The decision from the draws of all cases. steels: of each present blade, for every case."""
    wanted, new = wanted_of(plan.order.needs), list(plan.new)
    measures = [STATIC.index(name) for name in wanted.measures]
    able = np.array([not refused[i] for i in new])
    presents = [
        Present(draws.values[:, [place, *new]][:, :, measures],
                np.array([math.nan if steel[i] is None else steel[i].most_m for i in new]), able)
        for place, steel in zip(plan.present, steels)
    ]  # fmt: skip
    columns = dict(zip(draws.columns, draws.points.T))
    single = np.array([len(set(plan.request.cases[i].candidate.recipe.radii_m)) == 1 for i in new])
    return decide(presents, wanted, plan.request.opinions, plan.sampling.seed, columns, single)


def uneven_edges(request: Request) -> np.ndarray:
    """(level, edge leaned on standing proud, standing low) x static measures, for the blade as measured."""
    blade, setting = request.cases[MEASURED_AT].candidate, replace(request.settings[0], scenarios={})
    level = replace(blade, section=replace(blade.section, proud_m=0.0), reading=None)
    blades = [level, *(varied_candidate(level, {"edge_shift": d}) for d in (UNEVEN_M, -UNEVEN_M))]
    return np.array([statics(x, setting, STATIC) for x in blades])


def rolled_measures(case: Case) -> dict[str, float]:
    """Measures of the rolled movements; nan where a movement did not finish."""
    return evaluate(Trial(case.candidate, case.setting), ROLLED_MEASURES)[0]


def trade_axes(request: Request) -> tuple[str, str]:
    """The pair of costs that the scheme weighs most, of those declared; each less is better."""

    def weight(pair: Sequence[str]) -> float:
        return sum(request.scheme.weights.get(name, 0.0) for name in pair)

    able = [p for p in request.pairs if set(p) <= set(STATIC) and all(REGISTRY[n].better == "lower" for n in p)]
    return max(able, key=weight, default=USUAL_AXES)
