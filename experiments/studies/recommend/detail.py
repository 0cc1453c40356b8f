"""The second page of a sheet, its figures and its recipes: what stands behind a recommendation."""

import math

import numpy as np
import yaml

from experiments.analysis.draws import Draws, intervals
from experiments.analysis.judging.ratios import ratios
from experiments.report.part.folder import entry
from experiments.report.shown import SHEET, SHEET_EDGES, SHEET_ROLLED
from experiments.report.words import (
    NOT_AVAILABLE,
    axis_label,
    change_text,
    interval_text,
    number_text,
    ratio_interval_text,
    ratio_text,
    share_text,
)
from experiments.studies.recommend import inline
from experiments.studies.recommend.study import MEASURED_AT, UNEVEN_M, Plan, Recommendation
from experiments.studies.recommend.traces import Blade
from sim.blade.curve import BladeCurve
from sim.blade.reading import BladeReading
from sim.blade.smooth import Z90
from sim.measures import REGISTRY, STATIC, Measure
from sim.quantities import FOOT_M

DRAWN_POINTS = 561
PHYSICS = (
    "A blade that bends a little in its holder is pressed on ice that yields at its hardness wherever the steel "
    "presses, and springs back a little behind the deepest point. From the contact follow drag, the moment to twist "
    "the blade, the tightest path that it follows without scraping, how far a push may tilt before the edge lets go, "
    "and the ankle stiffness and the time to react that it leaves.",
    "The level of friction rests on an assumed roughness of the ice; ratios between blades are far safer.",
    "The score is the sum of weight x log2(ratio, better above 1) over the sum of weights; 0 is the blade as measured, "
    "+0.1 is 7 % better overall. The weights come from the stated use and complaints and are drawn about those: "
    "opinions (configs/wishes, configs/opinions).",
)


def edges(result: Recommendation) -> dict:
    """What uneven edges cost, on the blade as measured, nothing else uncertain."""
    words = (
        f"What {UNEVEN_M * 1e6:.0f} um between the edges costs against level ones, on the blade as measured: the edge "
        "leaned on standing proud / standing low"
    )
    return {"words": words, "rows": [_edge_row(result.uneven[:, STATIC.index(name)], name) for name in SHEET_EDGES]}


def _edge_row(values: np.ndarray, name: str) -> list[str]:
    """values: with level edges, with the edge leaned on proud, and low."""
    level, *uneven = values
    if name == "glide_inside_share":
        cells = [share_text(value) for value in uneven]
    else:
        cells = [change_text(value / level) if math.isfinite(value / level) else NOT_AVAILABLE for value in uneven]
    return [REGISTRY[name].label, *cells]


def draw_words(draws: Draws) -> str:
    """What the intervals are over."""
    return (
        f"Every interval is 5 to 95 % over {len(draws.points)} draws of what a shop does not know exactly "
        "(configs/uncertainty): hardness, rebound, temperature and roughness of the ice, stance, mass, hollow, edges, "
        "how the steel bends in its holder, errors of a new grind, and for the blade as measured the noise of its "
        "trace. All blades of a draw share the same ice and skater."
    )


def table(plan: Plan, result: Recommendation) -> dict:
    """Static measures with intervals, then what the rolled movements give, nothing uncertain."""
    blades = [MEASURED_AT, *result.shown]
    head = ["measure", "unit", "as measured"]
    for i in result.shown:
        head += [plan.request.cases[i].candidate.name, "ratio"]
    rows = [_static_row(result.draws, REGISTRY[name], blades) for name in SHEET]
    return {"head": head, "rows": rows + [_rolled_row(REGISTRY[name], result.rolled) for name in SHEET_ROLLED]}


def _static_row(draws: Draws, measure: Measure, blades: list[int]) -> list[str]:
    row = [measure.label, measure.shown_unit]
    for i in blades:
        spread = measure.to_shown(intervals(draws.values[:, i, STATIC.index(measure.name)]))
        row.append(f"{number_text(spread[1])} ({interval_text(spread)})")
        if i != MEASURED_AT:
            ratio = ratios(draws, measure.name, i)
            row.append(NOT_AVAILABLE if ratio is None else f"{ratio_text(ratio[1])} ({ratio_interval_text(ratio)})")
    return row


def _rolled_row(measure: Measure, rolled: list[dict[str, float]]) -> list[str]:
    base, *others = (values[measure.name] for values in rolled)
    row = [measure.label, measure.shown_unit, number_text(measure.to_shown(base))]
    for value in others:
        row += [number_text(measure.to_shown(value)), ratio_text(value / base)]
    return row


def recipes_text(plan: Plan) -> str:
    """Every blade of the sheet as a YAML list that candidates_from takes."""
    return "# Blades of this sheet; run them with: arcstride candidates_from=recipes.yaml\n" + yaml.safe_dump(
        [entry(case.candidate) for case in plan.request.cases], sort_keys=False, allow_unicode=True
    )


def sheet_figures(plan: Plan, result: Recommendation) -> dict[str, str]:
    """SVG by name: curves of both blades and the choices; the trade-off on the axes that the scheme weighs most."""
    bench = plan.order.bench.blades
    roles = {MEASURED_AT: "measured"}
    roles |= {i: "recommended" if i == result.shown[0] else "runner-up" for i in result.shown}
    cases = [plan.request.cases[i].candidate for i in result.shown]
    chosen = [{"name": x.name, "role": roles[i], **_heights(x.curve, bench[0].reading)}
              for i, x in zip(result.shown, cases)]  # fmt: skip
    points = [_point(result, i, roles.get(i, "other")) for i in (MEASURED_AT, *plan.new)]
    line = [REGISTRY[a].to_shown(result.line[:, k]) for k, a in enumerate(result.axes)]
    trade = {"x": line[0], "y": line[1], "radius_ft": result.radii_m / FOOT_M}
    labels = {k: axis_label(REGISTRY[a]) for k, a in zip("xy", result.axes)}
    return {
        "curves": inline.curves([_drawn(blade) for blade in bench], chosen),
        "trade": inline.trade(points, trade, labels),
    }


def _point(result: Recommendation, i: int, role: str) -> dict:
    """A blade in the trade-off, with its intervals."""
    point = {"name": result.draws.candidates[i], "role": role}
    for axis, name in zip("xy", result.axes):
        low, middle, high = REGISTRY[name].to_shown(intervals(result.draws.values[:, i, STATIC.index(name)]))
        point |= {axis: middle, f"{axis}_low": low, f"{axis}_high": high}
    return point


def _drawn(blade: Blade) -> dict:
    """A measured blade between its turned-up ends: beyond them nothing rests on ice, and heights dwarf the rest."""
    r = blade.reading
    x, z, *_ = r.smoothed()
    keep = _inside(x, r)
    x, z = x[keep], z[keep]
    rows = r.smooth.matrix(x)
    band = Z90 * np.sqrt(np.maximum(np.einsum("ij,jk,ik->i", rows, r.smooth.cov_m2, rows), 0))
    used = ~r.flagged & _inside(r.x_m, r)
    return {"name": blade.label, "x_mm": 1e3 * x, "z_mm": 1e3 * z,
            "points_mm": (1e3 * r.x_m[used], 1e3 * r.z_m[used]), "flags_mm": 1e3 * r.x_m[r.flagged & _inside(r.x_m, r)],
            "low_um": -1e6 * band, "high_um": 1e6 * band,
            "zones_mm": [1e3 * b.value for b in r.boundaries_m]}  # fmt: skip


def _inside(x: np.ndarray, reading: BladeReading) -> np.ndarray:
    return (x >= reading.working_m[0]) & (x <= reading.working_m[1])


def _heights(curve: BladeCurve, reading: BladeReading) -> dict:
    """A new curve between the turned-up ends of the blade that it is ground out of."""
    arc = np.linspace(0.0, curve.length_m, DRAWN_POINTS)
    x, z, *_ = curve.at(arc)
    keep = _inside(x, reading)
    return {"x_mm": 1e3 * x[keep], "z_mm": 1e3 * z[keep]}
