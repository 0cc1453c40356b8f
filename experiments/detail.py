"""The second page of a sheet, its figures and its recipes: what stands behind a recommendation."""

import math
from dataclasses import replace

import numpy as np
import yaml

from experiments import certainty as c
from experiments import figure_sheet, verdict
from experiments.template import entry
from experiments.variants import line_costs, statics, varied_candidate
from sim.blade.smooth import Z90
from sim.errors import BladeError
from sim.measures import REGISTRY
from sim.quantities import FOOT_M
from sim.trial import Trial

UNEVEN_M = 25e-6
EDGE_ROWS = (
    "push_hold_angle", "pivot_forefoot_toe_in", "turn_drag", "turn_tightest_clean_radius", "glide_inside_share",
)  # fmt: skip
TABLE = (
    "glide_drag_coefficient", "glide_loaded_arc", "glide_groove_depth", "pivot_forefoot_toe_in",
    "pivot_forefoot_toe_out", "pivot_heel_toe_in", "pivot_heel_toe_out", "turn_loaded_arc", "turn_scrape", "turn_drag",
    "turn_tightest_clean_radius", "push_hold_angle", "critical_ankle_stiffness",
)  # fmt: skip
ROLLED = ("turn_exit_speed", "turn_time", "stride_ice_loss", "stride_balance_travel", "stride_pitch_travel",
          "nudge_shift", "nudge_settling_time")  # fmt: skip
PHYSICS = (
    "A rigid blade is pressed on ice that yields at its hardness wherever the steel presses, and springs back a little "
    "behind the deepest point. From the contact follow drag, the moment to twist the blade, the tightest path that it "
    "follows without scraping, how far a push may tilt before the edge lets go, and the ankle stiffness it asks for.",
    "Smooth-ice theory puts friction 30 to 45 % below what has been measured; ratios between blades are far safer.",
    "The score is the sum of weight x log2(ratio, better above 1) over the sum of weights; 0 is the blade as measured, "
    "+0.1 is 7 % better overall. The weights come from the stated use and complaints: opinions (configs/wishes).",
)


def edges(asked) -> dict:
    """What uneven edges cost, on the blade as measured, nothing else uncertain."""
    blade, setting = asked.cases[0].candidate, replace(asked.settings[0], scenarios={})
    level = replace(blade, section=replace(blade.section, proud_m=0.0), reading=None)
    base = statics(level, setting, EDGE_ROWS)
    sides = [statics(varied_candidate(level, {"edge_shift": d}), setting, EDGE_ROWS) for d in (UNEVEN_M, -UNEVEN_M)]
    rows = []
    for i, name in enumerate(EDGE_ROWS):
        if name == "glide_inside_share":
            cells = [f"{100 * s[i]:.0f} %" for s in sides]
        else:
            cells = [f"{100 * (s[i] / base[i] - 1):+.1f} %" for s in sides]
        rows.append([REGISTRY[name].label, *(x if "nan" not in x else "none" for x in cells)])
    words = (
        f"What {UNEVEN_M * 1e6:.0f} um between the edges costs against level ones, on the blade as measured: the edge "
        "leaned on standing proud / standing low"
    )
    return {"words": words, "rows": rows}


def draw_words(made) -> list[str]:
    return [
        f"Every interval is 5 to 95 % over {len(made.points)} draws of what a shop does not know exactly "
        "(configs/uncertainty): hardness and rebound of the ice, stance, mass, hollow, edges, errors of a new grind, "
        "and for the blade as measured the noise of its trace. All blades of a draw share the same ice and skater."
    ]


def table(asked, made, told) -> dict:
    """Static measures with intervals, then what the rolled movements give, nothing uncertain."""
    blades = [0, *(x.index for x in told)]
    head = ["measure", "unit", "as measured"]
    for x in told:
        head += [x.name, "ratio"]
    rows = [_static_row(made, REGISTRY[name], blades) for name in TABLE]
    trials = [Trial(asked.cases[i].candidate, asked.settings[0]) for i in blades]
    return {"head": head, "rows": rows + [_rolled_row(REGISTRY[name], trials) for name in ROLLED]}


def _static_row(made, measure, blades) -> list[str]:
    row = [measure.label, measure.shown_unit]
    for i in blades:
        spread = measure.to_shown(c.intervals(made.values[:, i, c.STATIC.index(measure.name)]))
        text = f"{verdict.shown(spread[1])} ({verdict.span(spread)})"
        if i == 0:
            row.append(text)
            continue
        ratio = verdict.ratios(made, measure.name, i)
        words = "none" if ratio is None else verdict.ratio_text(ratio[1])
        if ratio is not None:
            words += f" ({verdict.ratio_text(ratio[0])} to {verdict.ratio_text(ratio[2])})"
        row += [text, words]
    return row


def _rolled_row(measure, trials) -> list[str]:
    row, base = [measure.label, measure.shown_unit], math.nan
    for i, trial in enumerate(trials):
        try:
            value = float(measure.function(trial))
        except BladeError:
            value = math.nan
        base = value if i == 0 else base
        row.append(verdict.shown(measure.to_shown(value)))
        if i:
            row.append(verdict.ratio_text(value / base))
    return row


def recipes_text(asked) -> str:
    """Every blade of the sheet as a YAML list that candidates_from takes."""
    return "# Blades of this sheet; run them with: arcstride candidates_from=recipes.yaml\n" + yaml.safe_dump(
        [entry(case.candidate) for case in asked.cases], sort_keys=False, allow_unicode=True
    )


def figures(asked, counter, made, found, told) -> dict[str, str]:
    """Curves of both blades and the choices; the trade-off on the axes that the scheme weighs most."""
    blades = [_drawn(b) for b in counter.blades]
    chosen = [{"name": x.name, "role": "recommended" if x is found.best else "runner-up",
               **_heights(asked.cases[x.index].candidate.curve, counter.blades[0].reading)}
              for x in told]  # fmt: skip
    axes = _axes(asked)
    roles = {0: "measured"} | {x.index: ("recommended" if x is found.best else "runner-up") for x in told}
    points = []
    for i, name in enumerate(made.candidates):
        spread = [REGISTRY[a].to_shown(c.intervals(made.values[:, i, c.STATIC.index(a)])) for a in axes]
        point = {"name": name, "role": roles.get(i, "other")}
        for axis, (low, middle, high) in zip("xy", spread):
            point |= {axis: middle, f"{axis}_low": low, f"{axis}_high": high}
        points.append(point)
    radii = np.geomspace(asked.line_m[0], asked.line_m[-1], 25)
    line = line_costs(asked.settings[0], radii, axes, asked.cases[0].candidate)
    shown = [REGISTRY[a].to_shown(line[:, k]) for k, a in enumerate(axes)]
    labels = {k: f"{REGISTRY[a].label}{', ' * bool(REGISTRY[a].shown_unit)}{REGISTRY[a].shown_unit}"
              for k, a in zip("xy", axes)}  # fmt: skip
    trade = {"x": shown[0], "y": shown[1], "radius_ft": radii / FOOT_M}
    return {"curves": figure_sheet.curves(blades, chosen), "trade": figure_sheet.trade(points, trade, labels)}


def _axes(asked) -> tuple[str, str]:
    """The pair of costs that the scheme weighs most, of those declared; each less is better."""

    def weight(pair):
        return sum(asked.scheme.weights.get(name, 0.0) for name in pair)

    static = [p for p in asked.pairs if set(p) <= set(c.STATIC) and all(REGISTRY[n].better == "lower" for n in p)]
    return max(static, key=weight, default=("pivot_forefoot_toe_in", "glide_drag_coefficient"))


def _drawn(blade) -> dict:
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


def _inside(x, reading) -> np.ndarray:
    return (x >= reading.working_m[0]) & (x <= reading.working_m[1])


def _heights(curve, reading) -> dict:
    arc = np.linspace(0.0, curve.length_m, 561)
    x, z, *_ = curve.at(arc)
    keep = _inside(x, reading)
    return {"x_mm": 1e3 * x[keep], "z_mm": 1e3 * z[keep]}
