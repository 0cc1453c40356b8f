"""From point to part: the folder that a grinder gets for one recipe."""

import hashlib
import math
import re
import unicodedata
from pathlib import Path

import yaml

from experiments.analysis.grinding import Grinding
from experiments.report.part.drawing import draw
from experiments.report.part.dxf import DrawnCurve, read_dxf, write_dxf
from experiments.report.part.tables import gauge, write_curve_csv, write_gauge_csv
from experiments.request.blade import LONGEST_NAME
from experiments.run.files import whole
from sim.quantities import FOOT_M
from sim.trial import Candidate

__all__ = ["DrawnCurve", "entry", "gauge", "read_dxf", "safe_name", "write_part", "write_recipe"]
_RESERVED = re.compile(r"con|prn|aux|nul|com\d|lpt\d", re.IGNORECASE)  # no file names on some systems


def write_part(folder: Path, candidate: Candidate, limits: Grinding, demo: bool = False) -> list[Path]:
    """Write recipe.yaml, NAME.dxf, NAME.csv, NAME_gauge.csv, NAME.svg and NAME.pdf; one folder for each part.

    demo: the recipe is invented, and every drawing says so. A recipe beyond the limits is written too, and its drawing
    says which limits. The same candidate gives the same bytes. Raises BladeError when the recipe has no curve.
    """
    recipe, name = candidate.recipe, safe_name(candidate.name)
    recipe.curve()  # refuses before the folder is there
    folder.mkdir(parents=True, exist_ok=True)
    paths = [folder / "recipe.yaml", *(folder / f"{name}{end}" for end in (".dxf", ".csv", "_gauge.csv"))]
    write_recipe(paths[0], candidate)
    write_dxf(paths[1], recipe, demo)
    write_curve_csv(paths[2], recipe)
    write_gauge_csv(paths[3], recipe, limits)
    return [*paths, *draw(folder, name, candidate, limits, demo)]


def safe_name(name: str) -> str:
    """A file name for any recipe name: ASCII letters, digits, dot, minus and underscore, at most 60 characters.

    "rear-flat 13/10/7 ft": rear-flat_13_10_7_ft. Where letters were lost or cut off, a digest keeps names apart.
    """
    ascii_only = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode()
    safe = re.sub(r"[^A-Za-z0-9.-]+", "_", ascii_only).strip("._-")
    lost = any(unicodedata.category(c)[0] in "LN" and ord(c) > 127 for c in name)
    if lost or len(safe) > LONGEST_NAME or not safe or _RESERVED.fullmatch(safe.split(".")[0]):
        digest = hashlib.sha256(name.encode("utf-8", "surrogatepass")).hexdigest()[:8]
        safe = f"{safe[: LONGEST_NAME - 9].rstrip('._-') or 'part'}_{digest}"
    return safe


# --- the recipe as a list entry


def entry(candidate: Candidate) -> dict:
    """The candidate as `candidates_from` takes it, with every value of its own; read back equal to 1e-12."""
    r, s = candidate.recipe, candidate.section
    listed = {"name": _name(candidate.name), "family": r.family, "radii": [_radius(v) for v in r.radii_m]}
    if r.shares:
        listed["shares"] = [float(v) for v in r.shares]
    listed |= {"length": _length(r.length_m), "blend": _length(r.blend_m), "level": _length(r.level_m)}
    listed["pitch"] = f"{r.pitch_offset_rad!r} rad" if r.pitch_offset_rad else "0 deg"
    for key, sweep in (("heel_sweep", r.heel_sweep), ("toe_sweep", r.toe_sweep)):
        listed[key] = {"length": _length(sweep.length_m), "radius": _radius(sweep.radius_m, feet=False)}
    listed |= {"thickness": _length(s.thickness_m), "hollow": _radius(s.hollow_m, feet=False)}
    listed["inside_edge_proud"] = _length(s.proud_m, "um", 1e6)
    listed |= {"height": _length(s.height_m), "span": _length(s.span_m)}
    return listed


def write_recipe(path: Path, candidate: Candidate) -> None:
    """A list of one entry, as `candidates_from` takes it."""
    text = yaml.safe_dump([entry(candidate)], sort_keys=False, allow_unicode=True, width=1000)
    with whole(path) as temporary:
        head = "# Radii heel to toe. Run: arcstride candidates_from=recipe.yaml\n"
        temporary.write_text(head + text, encoding="utf-8")


def _name(name):
    """What the config takes as a name: one line of at most 60 characters."""
    return " ".join("".join(c if ord(c) >= 32 else " " for c in name).split())[:LONGEST_NAME].strip() or "part"


def _length(value: float, unit: str = "mm", factor: float = 1e3) -> str:
    """Trade units where ten digits say it exactly, else metres in full."""
    value = float(value)
    short = f"{value * factor:.10g}"
    return f"{short} {unit}" if abs(float(short) / factor - value) <= 1e-13 * abs(value) else f"{value!r} m"


def _radius(value: float, feet: bool = True) -> str:
    if math.isinf(value):
        return "flat"
    short = f"{value / FOOT_M:.6g}"
    if feet and abs(float(short) * FOOT_M - value) <= 1e-13 * value:
        return f"{short} ft"
    return _length(value)
