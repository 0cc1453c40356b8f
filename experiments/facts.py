"""What the sheet says: every sentence and number of a recommendation, gathered from the request, trace and draws."""

import math
from dataclasses import dataclass

import numpy as np

from experiments import certainty as c
from experiments import detail, verdict
from experiments.grids import zone_words
from experiments.runfolder import provenance
from experiments.sources import sources
from sim.blade.wear import compare, deviation
from sim.errors import BladeError
from sim.quantities import FOOT_M

SHORTEST_SKATED_M = 1.5  # common practice, no published source
CAUTIONS = (
    "Grinding: eye and lung protection, guards in place; the grinder maker's limits come first.",
    "Thin steel: measure the height left, look for cracks, check holder and mount.",
    "First session slowly, with protective gear, away from traffic.",
    "No medical or safety advice: local rules and qualified people override this sheet.",
)


@dataclass(frozen=True)
class Told:
    """facts: plain values, as in sheet.json; figures: SVG by name."""

    facts: dict
    figures: dict[str, str]


def gather(asked, counter, made: c.Draws, steel, refused, folder) -> Told:
    """Everything the sheet shows. asked: Request; counter: what was asked at the counter; folder: of the run."""
    all_choices = verdict.choices(made, steel, refused)
    found = verdict.judge(made, all_choices, 1, counter.wishes.worth)
    line, plain = verdict.headline(found, counter.wishes.worth)
    told = [x for x in (found.best, found.second) if x is not None and x.index]
    facts = {
        "run": _run(folder, made),
        "subject": _subject(asked, counter),
        "blades": [_blade(b, counter.ground) for b in counter.blades],
        "pair": _pair(counter.blades),
        "verdict": {"kind": found.kind, "headline": line, "plain": plain},
        "choices": [_choice(asked, counter, made, found, x) for x in told],
        "feel": verdict.feel(made, found.best.index) if found.best.index else [],
        "adapt": _adapt(made, found),
        "edges": detail.edges(asked),
        "others": [_other(x) for x in all_choices if x not in told],
        "cautions": list(CAUTIONS),
        "unknown": _unknown(counter, made),
        "physics": [*detail.PHYSICS, *detail.draw_words(made)],
        "table": detail.table(asked, made, told),
        "sources": sources(asked),
    }
    return Told(facts, detail.figures(asked, counter, made, found, told))


def _run(folder, made) -> dict:
    known, day = provenance(), folder.path.name[:8]
    return {
        "id": folder.path.name, "date": f"{day[:4]}-{day[4:6]}-{day[6:]}",
        "version": f"arcstride {known['arcstride_version']}",
        "physics": known["physics_digest"], "revision": known["code_revision"], "command": folder.command,
        "draws": len(made.points), "failed_draws": int(made.failed.sum()),
    }  # fmt: skip


def _subject(asked, counter) -> list[list[str]]:
    skater, wishes = asked.settings[0].skater, counter.wishes
    section, recipe = asked.cases[0].candidate.section, asked.cases[0].candidate.recipe
    shares = ", ".join(f"{100 * v:.0f} % {k.replace('_', ' ')}" for k, v in wishes.use[1].items() if v > 0)
    hollow = "flat" if math.isinf(section.hollow_m) else f"hollow {section.hollow_m * 1e3:.3g} mm"
    edges = "edges level" if section.proud_m == 0 else f"inside edge {section.proud_m * 1e6:+.0f} um proud"
    points = ", ".join(f"{b.side} {len(b.raw.position_m)} points" for b in counter.blades)
    rows = [
        ["Skater", f"{counter.initials or 'no name given'}, {skater.mass_kg:g} kg"],
        ["Use", f"{wishes.use[0].replace('_', ' ')}: {shares}"],
        ["Stands", wishes.stands],
        ["Says", "; ".join(wishes.complaints) or "no complaint"],
        ["Ice", f"{asked.settings[0].ice.temperature_c:g} degC"],
        ["Runner", f"{recipe.length_m * 1e3:.0f} mm long ({counter.length_note}), {section.thickness_m * 1e3:.2g} mm "
                   f"thick, {hollow}, {edges}"],
        ["Trace", f"{', '.join(f.rsplit('/', 1)[-1] for f in counter.files)}: {points}"],
    ]  # fmt: skip
    return rows


# ---------------------------------------------------------------- the blade as it is


def _blade(blade, ground) -> dict:
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


def _findings(blade, ground) -> list[str]:
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
    out.append(f"Found and undone: {turned}tilt of {tilts} deg.")
    return [out[0], *blade.assumed, *out[1:], *r.notes, *blade.notes]


def _aside(blade) -> list[str]:
    """Every point that was set aside and every slip that was undone, with its line in the file."""
    out = []
    for flag in blade.reading.flags:
        rows = ", ".join(str(int(blade.raw.row[i])) for i in flag.index[:3])
        what = {"point": "A point was", "group": f"{len(flag.index)} points were", "step": "A slip of the probe was"}
        done = "undone" if flag.kind == "step" else "set aside"
        out.append(f"{what[flag.kind]} {done} near {flag.x_m * 1e3:+.0f} mm ({flag.size_m * 1e6:+.0f} um, line {rows} "
                   "of the file).")  # fmt: skip
    return out


def _off_recipe(reading, ground) -> str:
    """How far the blade is from the recipe it was ground to."""
    x, dz, low, high = deviation(reading, ground)
    worst = int(np.argmax(np.abs(dz)))
    size = f"{abs(dz[worst]) * 1e6:.0f} um {'above' if dz[worst] > 0 else 'below'} the recipe it was ground to near "
    size += f"{x[worst] * 1e3:+.0f} mm"
    sure = (low > 0) | (high < 0)
    return f"At most {size}: " + ("more than noise." if sure.any() else "no more than noise.")


def _pair(blades) -> str | None:
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


def recipe_words(recipe) -> str:
    """A recipe in words a grinder can read."""
    family = recipe.family.replace("_", "-").replace("single-radius", "single radius")
    blend = f", blend {recipe.blend_m * 1e3:.0f} mm" if len(recipe.zones) > 1 else ""
    return f"{family} {zone_words(recipe)}{blend}"


def _choice(asked, counter, made, found, choice) -> dict:
    recipe, first = asked.cases[choice.index].candidate.recipe, choice is found.best
    advised = found.kind in ("change", "refresh")
    role = ("recommended" if advised else "nearest") if first else "runner-up"
    names = verdict.deciding(made, asked.scheme, found.best.index)
    return {
        "role": role, "name": choice.name, "recipe": recipe_words(recipe), "score": score_words(choice.score),
        "first_in": f"{100 * choice.first:.0f} %",
        "numbers": [verdict.number(made, asked.scheme, name, choice.index) for name in names],
        "steel": _steel(asked, counter, made, choice),
    }  # fmt: skip


def score_words(score) -> str:
    """A score with its interval."""
    return f"{score[1]:+.3f} ({score[0]:+.3f} to {score[2]:+.3f})" if np.isfinite(score).all() else "none"


def _steel(asked, counter, made, choice) -> dict:
    found = choice.steel
    places = found.x_m[0], 0.0, found.x_m[-1]
    heel, mid, toe = (round(1e3 * found.at(x), 3) for x in places)
    left = "not known: no runner height was given"
    if math.isfinite(counter.height_m):
        left = f"at least {(counter.height_m - found.most_m) * 1e3:.1f} mm of {counter.height_m * 1e3:.1f} mm"
    return {"heel_mm": heel, "mid_mm": mid, "toe_mm": toe, "most_mm": round(1e3 * found.most_m, 3), "height_left": left,
            "tip": _tip(asked, counter, made, choice)}  # fmt: skip


def _tip(asked, counter, made, choice) -> str:
    """How the foot tips against the blade as measured; with an unknown level only the curves themselves can be said."""
    low, middle, high = 1e3 * c.intervals(made.values[:, choice.index, c.STATIC.index("heel_over_toe")])
    ends = f"({low:+.2f} to {high:+.2f} mm)"
    given = "" if counter.gauge_level else ", if both are level at mid-runner"
    if not math.isfinite(middle):
        return "not known"
    if low <= 0 <= high:
        return f"none that stands out, heel over toe {ends}{given}"
    return f"{abs(middle):.2f} mm {'toe-down' if middle > 0 else 'heel-down'} {ends}{given}"


def _adapt(made, found) -> str:
    """How long to get used to it: by the greatest change that is sure."""
    if found.kind not in ("change", "refresh"):
        return "Nothing to get used to: the curve stays."
    changes = [verdict.ratios(made, name, found.best.index) for name in verdict.FEEL]
    sure = [abs(math.log(r[1])) for r in changes if r is not None and verdict.clear(r)]
    many = max(sure, default=0.0) > 0.08
    words = "several sessions" if many else "a session or two"
    return f"Expect {words} before it feels like one's own (common practice, no published source)."


def _other(choice) -> dict:
    note = choice.refused
    if not note and choice.index and np.isfinite(choice.score).all() and choice.score[0] <= 0 <= choice.score[2]:
        note = "too close to call against the blade as it is"
    most = "0" if choice.steel is None else f"{1e3 * choice.steel.most_m:.2f}"
    score = "0 (all others are held against it)" if choice.index == 0 else score_words(choice.score)
    return {"name": choice.name, "score": score, "first_in": f"{100 * choice.first:.0f} %", "steel_mm": most,
            "note": note}  # fmt: skip


def _unknown(counter, made) -> list[str]:
    out = []
    if not counter.gauge_level:
        out.append("How the boot tips the foot now: the trace's tilt was undone, since nobody said that the gauge was "
                   "level with the boot.")  # fmt: skip
    if made.failed.any():
        out.append(f"{int(made.failed.sum())} of {len(made.points)} draws could not be judged and are left out.")
    if counter.ground is None and "wear" not in counter.wishes.stands:
        out.append("What has worn: the recipe last ground was not given.")
    if not math.isfinite(counter.height_m):
        out.append("How much steel is left: the runner's height was not given.")
    out.append("Skill, habit, boot, bending of steel and holder, chips and roughness of ice are not in the model.")
    return out


def show(facts: dict, console) -> None:
    """The verdict in the terminal: what the page says first."""
    for row in facts["subject"]:
        console.print(f"{row[0]:8s} {row[1]}", markup=False)
    for blade in facts["blades"]:
        radius = blade["single"]
        console.print(f"\n{blade['side']} blade: {radius['label']} {radius['value']} ({radius['interval']}), noise "
                      f"{blade['noise_um']} um. {blade['findings'][0]}", markup=False)  # fmt: skip
        for note in blade["aside"]:
            console.print(f"  {note}", markup=False)
    if facts["pair"]:
        console.print(facts["pair"], markup=False)
    console.print(f"\n{facts['verdict']['headline']}", style="bold", markup=False)
    for sentence in facts["verdict"]["plain"]:
        console.print(f"  {sentence}", markup=False)
    for choice in facts["choices"]:
        console.print(f"\n{choice['role']}: {choice['name']} ({choice['recipe']})", markup=False)
        for n in choice["numbers"]:
            console.print(f"  {n['label']}: {n['now']} -> {n['then']} {n['unit']}, ratio {n['ratio']} "
                          f"({n['ratio_interval']}), {n['way']}", markup=False)  # fmt: skip
        steel = choice["steel"]
        console.print(f"  steel to remove, mm: heel {steel['heel_mm']}, mid {steel['mid_mm']}, toe {steel['toe_mm']}, "
                      f"most {steel['most_mm']}", markup=False)  # fmt: skip
    console.print(
        "\nAt the grinder: guards, eye and lung protection. First session slowly. Page: sheet.html", markup=False
    )
