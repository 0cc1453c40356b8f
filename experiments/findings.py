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
GENERATIONS = 12


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
    names = [case.candidate.name for case in request.cases]
    missing = [n for n in NEEDED if n not in names]
    if missing:
        raise BladeError(f"candidates: the findings compare {', '.join(NEEDED)}; {missing[0]!r} is missing.")

    def run(folder, on_chunk):
        made = c.run_draws(request, inputs, draws, seed, lambda d, n: on_chunk(d, n))
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


def share(samples: np.ndarray) -> float:
    """Share of draws that are true, of those that did not fail."""
    good = samples[~np.isnan(samples)]
    return float(good.mean()) if len(good) else math.nan


def against(made: c.Draws, name: str, one: str, other: str) -> str:
    """How much more or less of a measure one candidate has than another, with its interval; or too close to call."""
    i, k, j = made.candidates.index(one), made.candidates.index(other), c.STATIC.index(name)
    ratio = made.values[:, i, j] / made.values[:, k, j]
    low, middle, high = c.intervals(ratio)
    if low <= 1 <= high:
        return f"{label(name)}: too close to call ({percent(low)} to {percent(high)})"
    return f"{label(name)}: {percent(middle)} ({percent(low)} to {percent(high)})"


def percent(ratio: float) -> str:
    """A ratio as a signed percentage."""
    return f"{100 * (ratio - 1):+.1f} %"


def zero_sum(request, made: c.Draws) -> Finding:
    """Is a single radius a zero-sum choice: do both costs of a pair ever fall together along the line."""
    found = Finding("Is a single radius a zero-sum choice?")
    setting, radii = request.settings[0], np.array(request.line_m)
    for pair in static_pairs(request.pairs):
        costs = line_costs(setting, radii, pair)
        steps = np.diff(np.log(costs), axis=0)
        trade = steps[:, 0] * steps[:, 1] < 0
        words = f"{label(pair[0])} against {label(pair[1])}"
        if trade.all():
            found.sentences.append(f"{words}: yes, everywhere between {_feet(radii[0])} and {_feet(radii[-1])} one is "
                                   "bought with the other.")  # fmt: skip
        else:
            alike = np.flatnonzero(~trade)
            both = _feet(radii[alike[0]]), _feet(radii[alike[-1] + 1])
            found.sentences.append(
                f"{words}: not everywhere; over {100 * (~trade).mean():.0f} % of the range (within {both[0]} and "
                f"{both[1]}) both change the same way, so that some radii lose on both."
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
            sure, (low, middle, high) = (
                share(np.where(np.isnan(gain), np.nan, gain > BEYOND)),
                c.intervals(gain),
            )
            verdict = "beyond the line" if low > 1 else "inside the line" if high < 1 else "too close to call"
            text = f"{name}, {label(pair[0])} against {label(pair[1])}: {verdict} at the stated stance "
            text += f"(gain {middle:.3f}, {low:.3f} to {high:.3f}; beyond in {100 * sure:.0f} % of draws)"
            if pair in where["pairs"]:
                chart = where["gain"][i, where["pairs"].index(pair)]
                g, t = np.unravel_index(np.nanargmax(chart), chart.shape)
                reach = 100 * np.nanmean(chart > BEYOND)
                text += (
                    f"; over all stances {chart[g, t]:.3f} at best, gliding on {where['glide'][g] * 1e3:+.0f} mm and "
                )
                text += f"turning on {where['turn'][t] * 1e3:+.0f} mm, beyond for {reach:.0f} % of them"
            found.sentences.append(text + ".")
    return found


def pitch(made: c.Draws) -> Finding:
    """Pitch bias of every zoned recipe."""
    found = Finding("How does each recipe tip the foot against the reference?")
    j = c.STATIC.index("heel_over_toe")
    for i, name in enumerate(made.candidates):
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
    glide, pivot = (_settled(made, n, one, other) for n in ("glide_drag_coefficient", "pivot_forefoot_toe_in"))
    found.sentences.append(
        "Gliding alike and pivoting differently is " + ("supported." if not glide and pivot else "not supported.")
    )
    return found


def _settled(made, name, one, other, least=0.005) -> bool:
    """Whether two candidates differ in a measure by more than `least` with the whole interval."""
    i, k, j = made.candidates.index(one), made.candidates.index(other), c.STATIC.index(name)
    low, _, high = c.intervals(np.log(made.values[:, i, j] / made.values[:, k, j]))
    return low > least or high < -least


def easing(made: c.Draws) -> Finding:
    """What easing the heel zone gives and costs."""
    found = Finding("What does easing the heel zone of a rear-flat give and cost?")
    found.sentences = [f"Eased against plain, {against(made, n, 'rear-flat eased', 'rear-flat')}." for n in COMPARED]
    if not any(_settled(made, n, "rear-flat eased", "rear-flat") for n in COMPARED):
        found.sentences.append("An effect of easing at the stated stance is not supported: no interval excludes none.")
    return found


def zones(request, seed) -> Finding:
    """Best frontier gain with one to five zones, for the first static pair of a turn and a steadiness or glide cost."""
    found = Finding("How many zones are worth having?")
    setting = replace(request.settings[0], scenarios={})
    pair = static_pairs(request.pairs)[-1]
    radii = np.geomspace(request.line_m[0], request.line_m[-1], studies.LINE_RADII)
    line = line_costs(setting, radii, pair)
    base, best, before = setting.reference.recipe, [], 1.0
    for count in range(1, MOST_ZONES + 1):
        gain, recipe = _best(setting, base, pair, radii, line, count, seed)
        best.append((count, max(gain, before), recipe))
        before = max(gain, before)
    words = f"{label(pair[0])} against {label(pair[1])}"
    for (count, gain, recipe), last in zip(best, [1.0, *(b[1] for b in best)]):
        what = "/".join(f"{r / FOOT_M:.1f}" for r in recipe.radii_m) + " ft"
        found.sentences.append(f"{count} zone{'s' if count > 1 else ''}: gain {gain:.3f} at best for {words} ({what}), "
                               f"{gain - last:+.3f} by the last one.")  # fmt: skip
    worth = [n for (n, gain, _), last in zip(best, [1.0, *(b[1] for b in best)]) if gain - last > BEYOND - 1]
    found.sentences.append(
        f"Worth having at the stated stance: {max(worth)} zones; a further one adds under half a percent here."
        if worth else "More than one zone is not supported at the stated stance."
    )  # fmt: skip
    found.sentences.append(
        f"A search of {GENERATIONS} generations within {RADIUS_FT[0]:g} to {RADIUS_FT[1]:g} ft: a lower bound."
    )
    return found


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
        loss, bounds, maxiter=GENERATIONS, popsize=6, rng=np.random.default_rng(seed), polish=False, tol=0
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
        found.sentences.append(f"{row['variant']}: order {kept} (Kendall's tau {row['tau']:.2f}).")
    lost = [r["variant"] for r in hold[1:] if not r["tau"] > 0.4]
    found.sentences.append(f"A ranking by this weighting is not supported under: {', '.join(lost)}." if lost else
                           "The ranking is supported under every physics tried.")  # fmt: skip
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
