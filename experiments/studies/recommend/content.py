"""What the sheet says: every sentence and number of a recommendation, gathered from plan, traces and draws."""

import math

import numpy as np

from experiments.analysis.draws import Draws, intervals
from experiments.analysis.judging.decide import Decision, main_weights
from experiments.analysis.judging.intervals import excludes
from experiments.analysis.judging.ratios import deciding
from experiments.report import sources
from experiments.report.page import about
from experiments.report.words import NOT_AVAILABLE, ankle_words, share_text, warm_ice
from experiments.request.grids import zone_words
from experiments.request.opinions import Opinions
from experiments.run.folder import RunFolder
from experiments.studies.recommend import detail, sentences
from experiments.studies.recommend.menu_words import menu_limits, menu_rows
from experiments.studies.recommend.rehearsal import rehearsal_words, rehearsed
from experiments.studies.recommend.steel import Stock, again_words, left_words, spent
from experiments.studies.recommend.study import (
    MEASURED_AT,
    REFRESHED_AT,
    ROLLED_MEASURES,
    Plan,
    Recommendation,
    WorkOrder,
    wanted_of,
)
from experiments.studies.recommend.traces import Blade
from sim.blade.reading import BladeReading
from sim.blade.recipe import Recipe
from sim.blade.stock import Removal
from sim.blade.wear import compare, deviation
from sim.errors import BladeError
from sim.measures import STATIC
from sim.quantities import FOOT_M
from sim.trial import Candidate

SHORTEST_SKATED_M = 1.5  # common practice, no published source
NEW_STEEL = "No curve can be ground out of steel that is used up: fit new steel, and ask again with its trace."
CAUTIONS = (
    "Grinding: eye and lung protection, guards in place; the grinder maker's limits come first.",
    "Thin steel: measure the height left, look for cracks, check holder and mount.",
    "First session slowly, with protective gear, away from traffic.",
    "No medical or safety advice: local rules and qualified people override this sheet.",
)


def sheet_content(plan: Plan, result: Recommendation, folder: RunFolder) -> dict:
    """Everything the sheet says, as plain values: what sheet.json holds."""
    return {
        "run": _run(folder, result.draws),
        **screen_content(plan, result),
        "edges": detail.edges(result),
        "others": [_other(plan, result, i) for i in (MEASURED_AT, *plan.new) if i not in result.shown],
        "cautions": list(CAUTIONS),
        "unknown": _unknown(plan.order, result.draws),
        "physics": [*detail.PHYSICS, detail.draw_words(result.draws), rehearsal_words(rehearsed()),
                    *_measurable(plan, result.decision), *_about_skater_and_ice(plan)],
        "table": detail.table(plan, result),
        "sources": cite(plan, result),
    }  # fmt: skip


def _about_skater_and_ice(plan: Plan) -> list[str]:
    """Where this skater's ankle stands to people measured, and whether the ice is too warm for its own hardness."""
    setting = plan.request.settings[0]
    warm = [warm_ice(setting.ice)] if setting.ice.melts_under_hardness else []
    return [ankle_words(plan.request.settings), *warm]


def cite(plan: Plan, result: Recommendation) -> list[str]:
    """What the run rests on."""
    return sources.cite(plan.request, [*STATIC, *ROLLED_MEASURES], plan.request.settings[0].scenarios)


def screen_content(plan: Plan, result: Recommendation) -> dict:
    """What the page and the terminal say first: who, the blades as they are, the verdict and why, the menu."""
    decision, names, opinions = result.decision, new_names(plan), plan.request.opinions
    found = {} if not result.shown else ratios_of(plan, decision, result.shown[0] - REFRESHED_AT)
    gains, drawbacks, rest = sentences.feel(found, opinions)
    how, sides = measured_how(decision, opinions), [blade.side for blade in plan.order.bench.blades]
    worn_out = spent(plan.order.stock, sides)
    kind = "replace" if worn_out else decision.verdict.kind
    headline = f"Replace the steel: {worn_out}" if worn_out else sentences.headline(decision, names, how)
    return {
        "subject": _subject(plan),
        "blades": [_blade(blade, plan.order.bench.ground) for blade in plan.order.bench.blades],
        "pair": _pair(plan.order.bench.blades),
        "verdict": {
            "kind": kind, "reason": decision.verdict.reason, "headline": headline,
            "plain": [NEW_STEEL] if worn_out else sentences.plain(
                decision, names, list_end(plan, result), len(plan.present) > 1),
            "rule": sentences.rule(opinions, rehearsed().wider, bool(plan.order.needs.complaints)),
            "measure": "" if worn_out else sentences.measurement(decision, how),
        },
        "complaints": complaint_answers(plan, decision),
        "gains": gains, "drawbacks": drawbacks, "even": rest,
        "adapt": "" if kind in ("cannot_tell", "replace") else sentences.adapting(decision.advised, found),
        "choices": [_choice(plan, result, x, kind) for x in result.shown],
        "again": again_words(plan.order.stock, [steel[REFRESHED_AT] for steel in result.steels], sides),
        "menu": menu_rows(decision.menu, plan.order.needs.menu, names, opinions),
        "menu_limits": menu_limits(opinions, bool(plan.order.needs.complaints)),
    }  # fmt: skip


# ---------------------------------------------------------------- the decision


def new_names(plan: Plan) -> list[str]:
    """Names of the blades in the order of the decision."""
    return [plan.request.cases[i].candidate.name for i in plan.new]


def ratios_of(plan: Plan, decision: Decision, place: int) -> dict[str, np.ndarray | None]:
    """5, 50, 95 % of the ratio of every judged measure to the present blade (of a pair, the geometric mean)."""
    wanted = wanted_of(plan.order.needs)
    out: dict[str, np.ndarray | None] = {}
    for k, name in enumerate(wanted.measures):
        gain = decision.gains[:, place, k]
        sign = 1 if wanted.better[k] == "higher" else -1
        out[name] = intervals(2 ** (sign * gain)) if np.isfinite(gain).any() else None
    return out


def measured_how(decision: Decision, opinions: Opinions) -> str:
    """How to make the measurement to name; empty where there is none."""
    if decision.measure is None:
        return ""
    return next(one.how for one in opinions.measurements if one.name == decision.measure.name)


def complaint_answers(plan: Plan, decision: Decision) -> list[str]:
    """A sentence for each complaint."""
    needs, wanted, names = plan.order.needs, wanted_of(plan.order.needs), new_names(plan)
    out = []
    for said, weights, answer in zip(needs.complaints, wanted.complaints, decision.answers):
        main = main_weights(weights, plan.request.opinions) > 0
        higher = all(way == "higher" for way, of in zip(wanted.better, main) if of)
        out.append(
            sentences.complaint(
                said.words, said.best, answer, present_words(plan), names, higher, plan.request.opinions
            )
        )
    return out


def present_words(plan: Plan) -> str:
    """The present blade, or pair, in words."""
    blades = plan.order.bench.blades
    if len(blades) > 1:
        return "the present pair"
    one = blades[0].reading
    return f"the present {feet(one.radii_m[0].value)}" if len(one.radii_m) == 1 else "the present blade"


def list_end(plan: Plan, result: Recommendation) -> str:
    """What is to be said where the best blade stands at the end of the shop's list; the same curve fresh does not."""
    if result.best <= REFRESHED_AT:
        return ""
    recipes = [plan.request.cases[i].candidate.recipe.radii_m for i in plan.new[1:]]
    return sentences.list_ends(plan.request.cases[result.best].candidate.recipe.radii_m, recipes)


def _measurable(plan: Plan, decision: Decision) -> list[str]:
    """What each measurement would be worth in an open case."""
    if not decision.worths:
        return []
    each = "; ".join(f"{x.name.replace('_', ' ')} {share_text(x.settles)}" for x in decision.worths)
    return [f"How often a measurement would settle this case: {each}."]


def _run(folder: RunFolder, draws: Draws) -> dict:
    return {**about(folder), "draws": len(draws.points), "failed_draws": int(draws.failed.sum())}


def _subject(plan: Plan) -> list[list[str]]:
    """Who and what, name and text of each row."""
    setting, needs, bench = plan.request.settings[0], plan.order.needs, plan.order.bench
    shares = ", ".join(f"{100 * v:.0f} % {k.replace('_', ' ')}" for k, v in needs.use[1].items() if v > 0)
    points = ", ".join(f"{b.side} {len(b.raw.position_m)} points" for b in bench.blades)
    return [
        ["Skater", f"{plan.order.initials or 'no name given'}, {setting.skater.mass_kg:g} kg"],
        ["Use", f"{needs.use[0].replace('_', ' ')}: {shares}"],
        ["Stands", needs.stands],
        ["Says", "; ".join(x.words for x in needs.complaints) or "no complaint"],
        ["Ice", f"{setting.ice.temperature_c:g} degC"],
        ["Runner", _runner(plan.request.cases[MEASURED_AT].candidate, bench.length_note, plan.order.stock)],
        ["Trace", f"{', '.join(f.rsplit('/', 1)[-1] for f in bench.files)}: {points}"],
    ]


def _runner(blade: Candidate, length_note: str, stock: Stock) -> str:
    section = blade.section
    hollow = "flat" if math.isinf(section.hollow_m) else f"hollow {section.hollow_m * 1e3:.3g} mm"
    high = f"{section.height_m * 1e3:.3g}"
    if stock.known:
        high = " and ".join(dict.fromkeys(f"{height * 1e3:.3g}" for height in stock.heights_m))
    edges = "edges level" if section.proud_m == 0 else f"inside edge {section.proud_m * 1e6:+.0f} um proud"
    return (
        f"{blade.recipe.length_m * 1e3:.0f} mm long ({length_note}), {section.thickness_m * 1e3:.2g} mm thick, "
        f"{high} mm high{'' if stock.known else ' (assumed)'}, {hollow}, {edges}"
    )


# ---------------------------------------------------------------- the blade as it is


def _blade(blade: Blade, ground: Recipe | None) -> dict:
    r = blade.reading
    low, high = (1e3 * x for x in r.working_m)
    bounds = [low, *(1e3 * b.value for b in r.boundaries_m), high]
    between = ["", *(f"{1e3 * b.low:.0f} to {1e3 * b.high:.0f} mm" for b in r.boundaries_m)]
    zones = [
        {"from_mm": round(a), "to_mm": round(b), "from_interval": doubt, "radius": feet(radius.value),
         "interval": f"{feet(radius.low)} to {feet(radius.high)}"}
        for a, b, doubt, radius in zip(bounds, bounds[1:], between, r.radii_m)
    ]  # fmt: skip
    single = r.single.radius_m
    return {
        "side": blade.side, "noise_um": round(1e6 * r.sigma_m, 1),
        "single": {"label": "best single radius", "value": feet(single.value, 2),
                   "interval": f"{feet(single.low, 2)} to {feet(single.high, 2)}"},
        "zones": zones, "findings": _findings(blade, ground), "aside": [*blade.assumed, *_aside(blade)],
    }  # fmt: skip


def _findings(blade: Blade, ground: Recipe | None) -> list[str]:
    r = blade.reading
    if len(r.radii_m) == 1:
        out = ["One radius describes it to within its noise."]
    else:
        radii = ", ".join(feet(x.value) for x in r.radii_m)
        out = [f"{len(r.radii_m)} zones stand out of the noise: {radii} from heel to toe."]
    if len(r.radii_m) > 1:
        out += [
            f"The {end} zone bends shorter than any blade is skated on: it may be the foot of the turned-up end, seen "
            "by too few readings."
            for end, radius in (("heel", r.radii_m[0]), ("toe", r.radii_m[-1])) if radius.value < SHORTEST_SKATED_M
        ]  # fmt: skip
    if ground is not None:
        out.append(_off_recipe(r, ground))
    out += _aside(blade)
    turned = "the sign of the heights was turned, " if not r.upright else ""
    tilts = ", ".join(f"{math.degrees(t):+.2f}" for t in r.tilts_rad)
    out.append(f"Corrected on reading: {turned}tilt of {tilts} deg.")
    return [out[0], *blade.assumed, *out[1:], *r.notes, *blade.notes]


def _aside(blade: Blade) -> list[str]:
    """Every point that was set aside and every slip that was undone, with its line in the file."""
    out = []
    for flag in blade.reading.flags:
        rows = ", ".join(str(int(blade.raw.row[i])) for i in flag.index[:3])
        what = {"point": "A point was", "group": f"{len(flag.index)} points were", "step": "A slip of the probe was"}
        done = "undone" if flag.kind == "step" else "set aside"
        out.append(f"{what[flag.kind]} {done} near {flag.x_m * 1e3:+.0f} mm ({flag.size_m * 1e6:+.0f} um, line {rows} "
                   "of the file).")  # fmt: skip
    return out


def _off_recipe(reading: BladeReading, ground: Recipe) -> str:
    """How far the blade is from the recipe it was ground to."""
    x, dz, low, high = deviation(reading, ground)
    worst = int(np.argmax(np.abs(dz)))
    size = f"{abs(dz[worst]) * 1e6:.0f} um {'above' if dz[worst] > 0 else 'below'} the recipe it was ground to near "
    size += f"{x[worst] * 1e3:+.0f} mm"
    sure = (low > 0) | (high < 0)
    return f"At most {size}: " + ("more than noise." if sure.any() else "no more than noise.")


def _pair(blades: tuple[Blade, ...]) -> str | None:
    """Left against right in a sentence."""
    if len(blades) < 2:
        return None
    one, other = blades
    try:
        found = compare(one.reading, other.reading)
    except BladeError as refusal:
        return f"{one.side} and {other.side} cannot be compared: {refusal}"
    x, dz, low, high = found.x_m, found.dz_m, found.low_m, found.high_m
    outside = (low > 0) | (high < 0)
    worst = int(np.argmax(np.abs(dz)))
    size = f"up to {abs(dz[worst]) * 1e6:.0f} um apart (near {x[worst] * 1e3:+.0f} mm)"
    verdict_words = "more than their noise explains" if outside.any() else "within their noise"
    return f"{one.side.capitalize()} against {other.side}: {size}, {verdict_words}."


def feet(radius_m: float, digits: int = 1) -> str:
    """A radius in feet; metres beyond the trade's range."""
    return f"{radius_m / FOOT_M:.{digits}f} ft" if radius_m < 30 * FOOT_M else f"{radius_m:.0f} m"


# ---------------------------------------------------------------- the choices


def recipe_words(recipe: Recipe) -> str:
    """A recipe in words a grinder can read."""
    family = recipe.family.replace("_", "-").replace("single-radius", "single radius")
    blend = f", blend {recipe.blend_m * 1e3:.0f} mm" if len(recipe.zones) > 1 else ""
    return f"{family} {zone_words(recipe)}{blend}"


def _choice(plan: Plan, result: Recommendation, i: int, kind: str) -> dict:
    request, decision = plan.request, result.decision
    first = {"regrind": "recommended", "probably": "to try"}.get(kind, "nearest")
    place = i - REFRESHED_AT
    role = first if i == result.best else "passed over" if place == decision.verdict.removed else "runner-up"
    names = deciding(result.draws, request.scheme, result.shown[0])
    blades, steels = plan.order.bench.blades, [steel[i] for steel in result.steels]
    return {
        "role": role, "name": request.cases[i].candidate.name,
        "recipe": recipe_words(request.cases[i].candidate.recipe),
        "score": score_words(decision.scores[:, place]), "first_in": share_text(float(decision.first[place])),
        "numbers": [number_of(plan, result, name, i) for name in names],
        "steels": [
            _steel(plan.order.stock, height, found, blade.side)
            for height, found, blade in zip(plan.order.stock.heights_m, steels, blades)
        ],
        "tip": _tip(plan.order, result.draws, i),
    }  # fmt: skip


def number_of(plan: Plan, result: Recommendation, name: str, i: int) -> dict:
    """A measure of a case beside the first present blade."""
    return sentences.number(result.draws, plan.request.scheme, name, i)


def score_words(samples: np.ndarray) -> str:
    """A score with its interval, from its (draw,) samples."""
    score = intervals(samples)
    return f"{score[1]:+.3f} ({score[0]:+.3f} to {score[2]:+.3f})" if np.isfinite(score).all() else NOT_AVAILABLE


def _steel(stock: Stock, height_m: float, found: Removal | None, side: str) -> dict:
    if found is None:
        return {"side": side, "height_left": "cannot be said"}
    heel, mid, toe = (round(1e3 * found.at(x), 3) for x in (found.x_m[0], 0.0, found.x_m[-1]))
    return {"side": side, "heel_mm": heel, "mid_mm": mid, "toe_mm": toe, "most_mm": round(1e3 * found.most_m, 3),
            "height_left": left_words(stock, height_m, found)}  # fmt: skip


def _tip(order: WorkOrder, draws: Draws, i: int) -> str:
    """How the foot tips against the blade as measured; with an unknown level only the curves themselves can be said."""
    spread = 1e3 * intervals(draws.values[:, i, STATIC.index("heel_over_toe")])
    low, middle, high = spread
    ends = f"({low:+.2f} to {high:+.2f} mm)"
    given = "" if order.gauge_level else ", if both are level at mid-runner"
    if not math.isfinite(middle):
        return "not known"
    if not excludes(spread):
        return f"none that stands out, heel over toe {ends}{given}"
    return f"{abs(middle):.2f} mm {'toe-down' if middle > 0 else 'heel-down'} {ends}{given}"


def _other(plan: Plan, result: Recommendation, i: int) -> dict:
    """A blade that page 1 does not show, with why."""
    name = plan.request.cases[i].candidate.name
    if i == MEASURED_AT:
        return {"name": name, "score": "0 (all others are held against it)", "first_in": NOT_AVAILABLE,
                "steel_mm": "0", "note": ""}  # fmt: skip
    place, decision = i - REFRESHED_AT, result.decision
    samples, note = decision.scores[:, place], result.refused[i]
    if not note and not decision.harmless[place]:
        note = "makes a complaint worse"
    if not note and np.isfinite(samples).any() and not excludes(intervals(samples)):
        note = "too close to call against the blade as it is"
    found = [steel[i].most_m for steel in result.steels if steel[i] is not None]
    return {"name": name, "score": score_words(samples), "first_in": share_text(float(decision.first[place])),
            "steel_mm": f"{1e3 * max(found):.2f}" if found else NOT_AVAILABLE, "note": note}  # fmt: skip


def _unknown(order: WorkOrder, draws: Draws) -> list[str]:
    """What the sheet cannot say, and why."""
    out = []
    if not order.gauge_level:
        out.append(
            "How the boot tips the foot now: the trace's tilt was removed, as it was not stated that the gauge was "
            "level with the boot."
        )
    if draws.failed.any():
        out.append(f"{int(draws.failed.sum())} of {len(draws.points)} draws could not be evaluated and are left out.")
    if order.bench.ground is None and "wear" not in order.needs.stands:
        out.append("What has worn: the recipe last ground was not given.")
    if not order.stock.known:
        out.append("How much steel is left: the runner's height was not given.")
    out.append("Skill, habit, boot, a holder that gives, chips and dirt on the ice are not in the model.")
    return out
