"""The file of a visit: what was read, and what was advised, with blank lines for what only the shop can know."""

import hashlib
import math
from pathlib import Path

import yaml

from experiments.analysis.judging.decide import ADVISED
from experiments.request.visits import FORM, LONGEST_KEPT_M
from experiments.run.folder import RunFolder
from experiments.run.visits import keep
from experiments.studies.recommend.study import REFRESHED, Plan
from experiments.studies.recommend.traces import Blade
from sim.blade.reading import Interval
from sim.quantities import FOOT_M

VISIT_HEAD = """# One visit, kept by arcstride. Fill in the last three lines at any time, in any editor; leave the rest.
# Lengths along the blade are from mid-runner, toe positive. What is not known is left empty.
"""
VISIT_TAIL = """
# What left the shop: as advised, or what was done instead, in words.
as_left:
# How the skater found it, asked at the next visit: better, same or worse.
found:
# Anything else, on one line; in quotes if it holds a colon.
words:
"""
LONGEST_WORDS = 800  # characters of one value; fewer than are read back
ASKED = {"mass": "Skater", "stands": "Stands", "use": "Use", "says": "Says"}  # rows of the sheet's heading


def keep_visit(plan: Plan, content: dict, folder: RunFolder) -> None:
    """Keep the visit of a finished sheet, once; nothing where no visits are kept. Raises BladeError, OSError."""
    book = plan.book
    if book is None or book.holds(folder.path.name):
        return
    path = keep(book.folder, book.initials, content["run"]["date"], visit_text(plan, content))
    folder.log(f"visit kept: {path}")


def visit_text(plan: Plan, content: dict) -> str:
    """The whole text of a visit's file. content: of the sheet."""
    run, verdict = content["run"], content["verdict"]
    asked = dict(map(tuple, content["subject"]))
    advised = content["choices"][0] if verdict["kind"] in ADVISED else {}
    steels = {steel["side"]: steel.get("most_mm") for steel in advised.get("steels", ())}
    heights = plan.order.stock.heights_m
    record = {
        "form": FORM,
        "date": run["date"],
        "initials": plan.book.initials,
        "skater": {"mass": f"{plan.request.settings[0].skater.mass_kg:g} kg",
                   **{fact: asked[ASKED[fact]] for fact in ("stands", "use", "says")}},
        "traces": [{"file": Path(file).name, "sha256": _digest(file)} for file in plan.order.bench.files],
        "blades": [_blade(blade, height, steels.get(blade.side))
                   for blade, height in zip(plan.order.bench.blades, heights)],
        "advised": {"verdict": verdict["kind"], "headline": verdict["headline"], "recipe": advised.get("name"),
                    "recipe_words": advised.get("recipe"),
                    "new_curve": bool(advised) and advised["name"] != REFRESHED},
        "run": run["id"],
        "version": f"{run['version']}, {run['revision']}, physics {run['physics']}",
    }  # fmt: skip
    return VISIT_HEAD + "".join(_part(key, value) for key, value in record.items()) + VISIT_TAIL


def _part(key: str, value: object) -> str:
    """One part of the record: a line for each fact, a radius on one line."""
    flow = None if isinstance(value, list) else False
    if isinstance(value, dict):
        value = {k: v[:LONGEST_WORDS] if isinstance(v, str) else v for k, v in value.items()}
    text = yaml.safe_dump({key: value}, sort_keys=False, allow_unicode=True, width=200, default_flow_style=flow)
    return text.replace(": null\n", ":\n")


def _digest(file: str) -> str:
    """What tells the trace file from any other."""
    return hashlib.sha256(Path(file).read_bytes()).hexdigest()


def _blade(blade: Blade, height_m: float, steel_mm: float | None) -> dict:
    r = blade.reading
    ends = [1e3 * x for x in (r.working_m[0], *(b.value for b in r.boundaries_m), r.working_m[1])]
    return {
        "side": blade.side, "noise_um": round(1e6 * r.sigma_m, 2),
        "height_mm": round(1e3 * height_m, 3) if math.isfinite(height_m) else None,
        "steel_to_remove_mm": steel_mm,
        "single_radius": _radius(r.single.radius_m),
        "zones": [{"from_mm": round(low, 1), "to_mm": round(high, 1), **_radius(radius)}
                  for low, high, radius in zip(ends, ends[1:], r.radii_m)],
    }  # fmt: skip


def _radius(radius: Interval) -> dict:
    """In both units, with its interval in m."""
    m = {"m": radius.value, "low_m": radius.low, "high_m": radius.high}
    m = {key: round(min(value, LONGEST_KEPT_M), 4) for key, value in m.items()}  # what is flat has no end above
    return {"ft": round(m["m"] / FOOT_M, 2), **m}
