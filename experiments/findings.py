"""One page of answers: every sentence is filled from the run's numbers, and says so when they do not support it."""

import html
import math
from dataclasses import dataclass, field, replace

import numpy as np
from scipy.optimize import differential_evolution

from experiments import certainty as c
from experiments import stance, studies
from experiments.cases import Request
from experiments.fields import Fields
from experiments.scoring import BEYOND, cost, frontier_gain
from experiments.store import whole
from experiments.variants import line_costs, static_pairs, statics, varied_candidate, varied_setting
from sim.blade.recipe import Recipe
from sim.errors import BladeError
from sim.measures import REGISTRY
from sim.quantities import FOOT_M
from sim.trial import Candidate

NEEDED = ("mid-flat short ends", "mid-flat long ends", "rear-flat", "rear-flat eased")
MOST_ZONES = 5
RADIUS_FT = (7.0, 14.0)  # what the search for the best zones may use
GENERATIONS, RESTARTS = 25, 2
ALIKE = math.log(1.01)  # two measures are alike when the whole interval of their ratio lies within 1 %


STYLE = (
    "body{font:15px/1.5 sans-serif;max-width:50em;margin:2em auto;padding:0 1em;color:#222}h1{font-size:1.5em}"
    "h2{font-size:1.1em;margin-top:1.6em}li{margin:.2em 0}"
)


@dataclass
class Finding:
    """A question and the sentences that answer it."""

    question: str
    sentences: list[str] = field(default_factory=list)


def read_findings(own: dict, request: Request):
    """Check the request of a findings page; returns what runs it."""
    fields = Fields(own, "")
    inputs, draws = c.read_inputs(fields.inner("uncertainty")), fields.count("draws", 16, 100_000)
    seed, lines = (
        fields.count("seed", 0, 2**31 - 1),
        [stance.read_range(fields.inner(k)) for k in ("glide_lines", "turn_lines")],
    )
    fields.done()
    c.fitting(draws, len(request.cases))
    stance.mapped(request, *lines)
    names = [case.candidate.name for case in request.cases]
    missing = [n for n in NEEDED if n not in names]
    if missing:
        raise BladeError(f"candidates: the findings compare {', '.join(NEEDED)}; {missing[0]!r} is missing.")

    def run(folder, on_chunk):
        made = c.run_draws(request, inputs, draws, seed, folder.crew, on_chunk)
        where = stance.stance_map(request, *lines, folder, on_chunk)
        hold = studies.does_it_hold(request, folder, on_chunk)
        studies.write_intervals(folder.path / "intervals.csv", made)
        found = answers(request, made, where, hold, seed)
        write_page(folder.path, found, request, made)
        return found

    return run


def answers(request, made: c.Draws, where, hold, seed) -> list[Finding]:
    """All findings, in the order of the page."""
    return [
        zero_sum(request, made),
        who_leaves(made, where),
        pitch(made),
        ends(made),
        easing(made),
        zones(request, seed),
        surroundings(request),
        survives(request, hold),
        trade_rules(),
    ]


# ---------------------------------------------------------------- sentences


def label(name: str) -> str:
    """A measure in words."""
    return REGISTRY[name].label


def against(made: c.Draws, name: str, one: str, other: str) -> str:
    """How much more or less of a measure one candidate has than another, with its interval; or too close to call."""
    spread = compared(made, name, one, other)
    if spread is None:
        return f"{label(name)}: cannot be had, some draws gave no value"
    low, middle, high = np.exp(spread)
    if low <= 1 <= high:
        return f"{label(name)}: too close to call ({percent(low)} to {percent(high)})"
    return f"{label(name)}: {percent(middle)} ({percent(low)} to {percent(high)})"


def compared(made: c.Draws, name: str, one: str, other: str):
    """5, 50, 95 % of the log ratio of a measure of two candidates; None when any draw lacks it."""
    i, k, j = made.candidates.index(one), made.candidates.index(other), c.STATIC.index(name)
    values = made.values[:, [i, k], j]
    if not (np.isfinite(values).all() and (values > 0).all()):
        return None
    return c.intervals(np.log(values[:, 0] / values[:, 1]))


def percent(ratio: float) -> str:
    """A ratio as a signed percentage."""
    return f"{100 * (ratio - 1):+.1f} %"


def zero_sum(request, made: c.Draws) -> Finding:
    """Is a single radius a zero-sum choice: do both costs of a pair ever fall together along the line."""
    found = Finding("Is a single radius a zero-sum choice?")
    setting, radii = request.settings[0], np.array(request.line_m)
    for pair in static_pairs(request.pairs):
        costs = line_costs(setting, radii, pair)
        words = f"{label(pair[0])} against {label(pair[1])}"
        if not (np.isfinite(costs).all() and (costs > 0).all()):
            found.sentences.append(f"{words}: cannot be said, some radii gave no value or a cost of nothing.")
            continue
        steps = np.diff(np.log(costs), axis=0)
        trade = steps[:, 0] * steps[:, 1] < 0
        if trade.all():
            found.sentences.append(f"{words}: yes, everywhere between {_feet(radii[0])} and {_feet(radii[-1])} one is "
                                   "bought with the other.")  # fmt: skip
        else:
            alike = np.flatnonzero(~trade)
            both = _feet(radii[alike[0]]), _feet(radii[alike[-1] + 1])
            found.sentences.append(
                f"{words}: not everywhere; over {100 * (~trade).mean():.0f} % of the steps in log radius (within "
                f"{both[0]} and {both[1]}) both change the same way, so that some radii lose on both."
            )
    return found


def _feet(radius_m: float) -> str:
    return f"{radius_m / FOOT_M:.1f} ft"


def who_leaves(made: c.Draws, where) -> Finding:
    """Which recipes lie beyond the line, how surely at the default stance, and for which stance at all."""
    found = Finding("Which recipes leave the single-radius line, and for which stance?")
    for i, name in enumerate(made.candidates):
        if where["families"][i] == "single_radius":
            continue
        for k, pair in enumerate(made.pairs):
            gain = made.gain[:, i, k]
            words = f"{name}, {label(pair[0])} against {label(pair[1])}"
            if not np.isfinite(gain).all():
                found.sentences.append(
                    f"{words}: cannot be had in {int((~np.isfinite(gain)).sum())} of {len(gain)} draws."
                )
                continue
            low, middle, high = c.intervals(gain)
            inside = 2 - BEYOND
            verdict = "beyond the line" if low > BEYOND else "inside the line" if high < inside else "too close to call"
            text = f"{words}: {verdict} at the stated stance (gain {middle:.3f}, {low:.3f} to {high:.3f}; beyond in "
            text += f"{100 * (gain > BEYOND).mean():.0f} % of draws)"
            text += _best_stance(where, i, pair)
            found.sentences.append(text + ".")
    return found


def _best_stance(where, i: int, pair) -> str:
    """The best stance of a candidate for a pair, from the nominal stance map; empty when there is none."""
    if pair not in where["pairs"]:
        return ""
    chart = where["gain"][i, where["pairs"].index(pair)]
    known = np.isfinite(chart)
    if not known.any():
        return "; no stance on the map gave a value"
    g, t = np.unravel_index(np.nanargmax(chart), chart.shape)
    reach = 100 * (chart[known] > BEYOND).mean()
    refused = f" ({int((~known).sum())} stances gave no value)" if not known.all() else ""
    return (
        f"; over all stances with nothing else uncertain {chart[g, t]:.3f} at best, gliding on "
        f"{where['glide'][g] * 1e3:+.0f} mm and turning on {where['turn'][t] * 1e3:+.0f} mm, beyond for "
        f"{reach:.0f} % of them{refused}"
    )


def pitch(made: c.Draws) -> Finding:
    """Pitch bias of every candidate."""
    found = Finding("How does each recipe tip the foot against the reference?")
    j = c.STATIC.index("heel_over_toe")
    for i, name in enumerate(made.candidates):
        if not np.isfinite(made.values[:, i, j]).all():
            found.sentences.append(f"{name}: cannot be had, some draws gave no value.")
            continue
        low, middle, high = 1e3 * c.intervals(made.values[:, i, j])
        if low <= 0 <= high:
            found.sentences.append(
                f"{name}: no tip that stands out of its interval ({low:+.2f} to {high:+.2f} mm heel over toe)."
            )
        else:
            way = "toe-down" if middle > 0 else "heel-down"
            found.sentences.append(f"{name}: {way}, {middle:+.2f} mm heel over toe ({low:+.2f} to {high:+.2f}).")
    return found


COMPARED = ("glide_drag_coefficient", "pivot_forefoot_toe_in", "pivot_heel_toe_in", "turn_drag",
            "turn_tightest_clean_radius", "critical_ankle_stiffness", "push_hold_angle")  # fmt: skip


def ends(made: c.Draws) -> Finding:
    """Same middle, different ends."""
    found = Finding("Do two mid-flat recipes with one middle and different ends glide alike and differ elsewhere?")
    one, other = "mid-flat short ends", "mid-flat long ends"
    found.sentences = [f"Short ends against long ends, {against(made, name, one, other)}." for name in COMPARED]
    glide = compared(made, "glide_drag_coefficient", one, other)
    pivot = compared(made, "pivot_forefoot_toe_in", one, other)
    if glide is None or pivot is None:
        verdict = "cannot be said: some draws gave no value"
    elif not (glide[0] > -ALIKE and glide[2] < ALIKE):
        verdict = "not supported: the glide is not shown to be alike within 1 %"
    elif pivot[0] <= 0 <= pivot[2]:
        verdict = "not supported: the pivot may be the same"
    else:
        verdict = "supported (the glide alike within 1 %)"
    found.sentences.append(f"Gliding alike and pivoting differently: {verdict}.")
    return found


def easing(made: c.Draws) -> Finding:
    """What easing the heel zone gives and costs."""
    found = Finding("What does easing the heel zone of a rear-flat give and cost?")
    found.sentences = [f"Eased against plain, {against(made, n, 'rear-flat eased', 'rear-flat')}." for n in COMPARED]
    spreads = [compared(made, n, "rear-flat eased", "rear-flat") for n in COMPARED]
    if all(x is None or x[0] <= 0 <= x[2] for x in spreads):
        found.sentences.append("An effect of easing at the stated stance is not supported: no interval excludes none.")
    return found


def zones(request, seed) -> Finding:
    """Best frontier gain found with one to five zones, for the last of the declared static pairs."""
    found = Finding("How many zones are worth having?")
    setting = replace(request.settings[0], scenarios={})
    if not static_pairs(request.pairs):
        return Finding(found.question, ["Cannot be said: no pair of static measures was declared."])
    pair = static_pairs(request.pairs)[-1]
    radii = np.geomspace(request.line_m[0], request.line_m[-1], 2 * studies.LINE_RADII)
    line = line_costs(setting, radii, pair)
    base, best = setting.reference.recipe, [(1.0, None)]
    for count in range(1, MOST_ZONES + 1):
        tries = [_best(setting, base, pair, radii, line, count, seed + k) for k in range(RESTARTS)]
        best.append(max([*tries, best[-1]], key=lambda x: x[0]))
    words = f"{label(pair[0])} against {label(pair[1])}"
    for count, ((gain, recipe), (last, _)) in enumerate(zip(best[1:], best), 1):
        what = f" ({_recipe(recipe)})" if recipe else ""
        found.sentences.append(f"Up to {count} zone{'s' * (count > 1)}: gain {gain:.3f} found for {words}{what}, "
                               f"{gain - last:+.3f} by the last one.")  # fmt: skip
    worth = [n for n in range(1, MOST_ZONES + 1) if best[n][0] - best[n - 1][0] > BEYOND - 1]
    found.sentences.append(
        f"In this search the {max(worth)}th zone is the last that adds more than half a percent."
        if worth else "More than one zone is not supported at the stated stance by this search."
    )  # fmt: skip
    found.sentences.append(
        f"{RESTARTS} searches of {GENERATIONS} generations within {RADIUS_FT[0]:g} to {RADIUS_FT[1]:g} ft: each gain "
        "is a lower bound, and a longer search may find more in any number of zones."
    )
    return found


def _recipe(recipe: Recipe) -> str:
    radii = "/".join(f"{r / FOOT_M:.1f}" for r in recipe.radii_m) + " ft"
    if not recipe.shares:
        return radii
    return f"{radii}, shares " + "/".join(f"{x / sum(recipe.shares):.2f}" for x in recipe.shares)


def _best(setting, base: Recipe, pair, radii, line, count, seed):
    """Best gain with `count` zones, and the recipe: differential evolution (Storn & Price 1997), radii and shares."""

    def recipe(v):
        radii = tuple(r * FOOT_M for r in v[:count])
        return replace(base, name="search", family="zoned", radii_m=radii, shares=tuple(v[count:]) if count > 1 else ())

    def loss(v):
        try:
            values = statics(Candidate("search", recipe(v), setting.reference.section), setting, pair)
        except BladeError:
            return 0.0
        gain = frontier_gain([float(cost(n, x)) for n, x in zip(pair, values)], radii, line).gain
        return -gain if math.isfinite(gain) else 0.0

    bounds = [RADIUS_FT] * count + ([(1.0, 3.0)] * count if count > 1 else [])
    made = differential_evolution(
        loss, bounds, maxiter=GENERATIONS, popsize=8, rng=np.random.default_rng(seed), polish=False, tol=0
    )
    return -float(made.fun), recipe(made.x)


def surroundings(request) -> Finding:
    """What hollow and ice temperature change, for the reference blade."""
    found = Finding("What do hollow and ice temperature change, on the reference blade?")
    setting = replace(request.settings[0], scenarios={})
    standard = statics(setting.reference, setting, COMPARED)
    for what, inputs in (
        ("hollow a fifth smaller", {"hollow_factor": 0.8}), ("hollow a quarter larger", {"hollow_factor": 1.25}),
        ("ice 3 K warmer", {"temperature_shift": 3.0}), ("ice 3 K colder", {"temperature_shift": -3.0}),
    ):  # fmt: skip
        try:
            here = varied_setting(setting, inputs)
        except BladeError as refusal:
            found.sentences.append(f"{what}: {refusal}")
            continue
        ratio = statics(varied_candidate(here.reference, {}), here, COMPARED) / standard
        parts = [f"{label(n)} {percent(r)}" for n, r in zip(COMPARED, ratio) if abs(r - 1) > 0.005]
        parts += [f"{label(n)} cannot be had" for n, r in zip(COMPARED, ratio) if not np.isfinite(r)]
        found.sentences.append(f"{what}: {', '.join(parts) or 'nothing by more than half a percent'}.")
    return found


def survives(request, hold) -> Finding:
    """Whether the order of the candidates survives other physics."""
    found = Finding(f"Does the order by the weighting {request.scheme.name!r} survive other physics?")
    for row in hold[1:]:
        if not math.isfinite(row["tau"]):
            found.sentences.append(f"{row['variant']}: no order, a part of the score cannot be had.")
            continue
        kept = "kept" if row["tau"] > 0.8 else "partly kept" if row["tau"] > 0.4 else "not kept"
        first = row["candidates"][int(np.argmax(row["score"]))]
        found.sentences.append(f"{row['variant']}: order {kept} (Kendall's tau {row['tau']:.2f}), first is {first}.")
    lost = [r["variant"] for r in hold[1:] if not r["tau"] > 0.8]
    found.sentences.append(f"The ranking by this weighting is not supported under: {', '.join(lost)}." if lost else
                           "The ranking is kept (tau above 0.8) under every physics tried.")  # fmt: skip
    return found


def trade_rules() -> Finding:
    """Rules of the trade: supported, not supported, not visible to the model."""
    from experiments.validation import checks

    found = Finding("Which rules of the trade does the model support?")
    for check in checks():
        if str(check.number).startswith("12"):
            word = {"disagrees": "not supported", "cannot see": "cannot be seen"}.get(check.verdict, "supported")
            found.sentences.append(f"{check.title}: {word}. {check.note}")
    found.sentences.append("Cannot be seen: feel of the edge, steel, boot and skill; first-session falls; wear.")
    return found


# ---------------------------------------------------------------- page


def write_page(folder, found: list[Finding], request, made: c.Draws) -> None:
    """findings.md and findings.html."""
    skater = request.settings[0].skater
    head = (
        f"Skater {skater.name}, {skater.mass_kg:g} kg; {len(made.candidates)} blades; {len(made.points)} draws of the "
        f"uncertain inputs, {int(made.failed.sum())} failed; intervals are 5 to 95 %. All recipes are invented for "
        "demonstration. The model: a rigid blade on ice that yields at its hardness; smooth-ice theory lies 30 to 45 % "
        "below measured friction."
    )
    text = ["# Findings", "", head, ""]
    page = [
        "<!doctype html><html lang='en'><meta charset='utf-8'><title>Findings</title>", f"<style>{STYLE}</style>",
        "<h1>Findings</h1>", f"<p>{html.escape(head)}</p>",
    ]  # fmt: skip
    for finding in found:
        text += [f"## {finding.question}", "", *(f"- {s}" for s in finding.sentences), ""]
        page += [
            f"<h2>{html.escape(finding.question)}</h2><ul>",
            *(f"<li>{html.escape(s)}</li>" for s in finding.sentences),
            "</ul>",
        ]
    for name, lines in (("findings.md", text), ("findings.html", [*page, "</html>"])):
        with whole(folder / name) as temporary:
            temporary.write_text("\n".join(lines) + "\n", encoding="utf-8")


def show_findings(found: list[Finding], request, console) -> None:
    """The page in the terminal."""
    for finding in found:
        console.print(finding.question, style="bold", markup=False)
        for sentence in finding.sentences:
            console.print(f"  - {sentence}", markup=False)
