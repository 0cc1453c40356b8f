"""The running surface as a DXF drawing at 1:1, and such a drawing read back as heights."""

import math
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from pathlib import Path

import ezdxf
import numpy as np
from ezdxf import units

from experiments.run.files import whole
from sim.blade.curve import CELL_M, BladeCurve
from sim.blade.recipe import Recipe
from sim.errors import BladeError
from sim.quantities import MM_PER_M, trade_radius

CURVE, MARKS, TEXT = "curve", "marks", "text"  # layers
CHORD_M = 0.05e-6  # greatest distance of the drawn curve from the recipe's
KINK_RAD = 20e-6  # greatest difference of its tangent from the recipe's
LONGEST_CHORD_M = 1e-3  # of one bulge; also what a reader that drops bulges is left with: chords within 1 um
FLATTEST_ARC_M = 1e5  # a longer radius is drawn as a line: off by at most 0.5 um over 600 mm
GAP_M = 1e-6  # ends that are farther apart than this when read are a gap


# --- the curve in pieces


def pieces(curve: BladeCurve) -> list[tuple[float, float, np.ndarray | None]]:
    """(start, stop, None) of constant curvature, or (start, stop, breakpoints) of ramped; arc from the heel, m."""
    s, k, out = curve.arc_m, curve.curvature_per_m, []
    for i in np.flatnonzero(np.diff(s) > 1e-12):
        same = abs(k[i + 1] - k[i]) <= 1e-12 * max(k[i], k[i + 1])
        if out and out[-1][0] == same and (not same or abs(k[i] - out[-1][1]) <= 1e-12 * k[i]):
            out[-1][2].append(s[i + 1])
        else:
            out.append((same, k[i], [s[i], s[i + 1]]))
    return [(at[0], at[-1], None if same else np.array(at)) for same, _, at in out]


def _nodes(curve, breakpoints, chord_m):
    """Ends of arcs that stay within chord_m of a ramp, and within KINK_RAD of its tangent.

    An arc through two points of the ramp that turns by the same angle leaves it by max|t^3/6 - t^2/4 + t/12| = 0.0080
    times change of curvature times length squared (curvature's excess integrated twice, nought at both ends), and its
    tangent by a twelfth of change of curvature times length.
    """
    k = np.interp(breakpoints, curve.arc_m, curve.curvature_per_m)
    out = [breakpoints[:1]]
    for i, step in enumerate(np.diff(breakpoints)):
        change = max(abs(k[i + 1] - k[i]), 1e-12) / step
        most = min((chord_m / (0.0081 * change)) ** (1 / 3), math.sqrt(12 * KINK_RAD / change), LONGEST_CHORD_M)
        count = math.ceil(step / most - 1e-9)
        out.append(np.linspace(breakpoints[i], breakpoints[i + 1], count + 1)[1:])
    return np.concatenate(out)


# --- writing


def write_dxf(path: Path, recipe: Recipe, demo: bool = False, chord_m: float = CHORD_M) -> None:
    """Draw the recipe, mm, 1:1: origin at mid-runner and the level point's height, toe to the right, steel above.

    Layer curve: one ARC for each stretch of one radius, an LWPOLYLINE of short arcs for each ramp, within chord_m of
    the recipe's curve, end to end from the heel. Layer marks: boundaries, mid-runner, level point. Layer text: what it
    is; "demo: invented" when `demo`. No dates, persons or machines: the same recipe gives the same bytes.
    """
    curve = recipe.curve()
    with _repeatable(), whole(path) as temporary:
        document = ezdxf.new("R2010", units=units.MM)
        for layer, colour in ((CURVE, 7), (MARKS, 1), (TEXT, 8)):
            document.layers.add(layer, color=colour)
        space = document.modelspace()
        for piece in pieces(curve):
            _draw(space, curve, *piece, chord_m)
        _marks(space, recipe, curve)
        _words(space, recipe, demo)
        for kind in sorted(document.entitydb.dxf_types_in_use()):  # or they are listed in the order of a set
            document.classes.add_class(kind)
        document.saveas(temporary)


@contextmanager
def _repeatable():
    """Fixed dates and identifiers in the files that are written."""
    before = ezdxf.options.write_fixed_meta_data_for_testing
    ezdxf.options.write_fixed_meta_data_for_testing = True
    try:
        yield
    finally:
        ezdxf.options.write_fixed_meta_data_for_testing = before


def _draw(space, curve, start, stop, breakpoints, chord_m):
    look = {"layer": CURVE}
    if breakpoints is not None:
        x, z, phi, _ = curve.at(_nodes(curve, breakpoints, chord_m))
        bulges = [*np.tan(np.diff(phi) / 4), 0.0]
        points = [tuple(map(float, p)) for p in zip(MM_PER_M * x, MM_PER_M * z, bulges)]
        space.add_lwpolyline(points, format="xyb", dxfattribs=look)
        return
    (x0, x1), (z0, z1), (phi0, phi1), _ = curve.at([start, stop])
    turn = phi1 - phi0
    if turn * FLATTEST_ARC_M < stop - start:
        space.add_line(
            (MM_PER_M * float(x0), MM_PER_M * float(z0)), (MM_PER_M * float(x1), MM_PER_M * float(z1)), dxfattribs=look
        )
        return
    radius = (stop - start) / turn
    centre = MM_PER_M * (x0 - radius * math.sin(phi0)), MM_PER_M * (z0 + radius * math.cos(phi0))
    first, last = 270.0 + math.degrees(phi0), 270.0 + math.degrees(phi1)
    space.add_arc(tuple(map(float, centre)), MM_PER_M * float(radius), first, last, dxfattribs=look)


def boundaries(recipe: Recipe) -> np.ndarray:
    """Arc from the heel of every boundary between zones and sweeps, m."""
    lengths = [z.length_m for z in recipe.zones] or [recipe.working_m]
    at = recipe.heel_sweep.length_m + np.concatenate([[0.0], np.cumsum(lengths)])
    return at[(at > 1e-12) & (at < recipe.length_m - 1e-12)]


def _marks(space, recipe, curve):
    """Boundaries and mid-runner on the side of the steel, the level point on the side of the ice."""
    middle = recipe.length_m / 2
    places = [(s, 1.0, 5.0, "") for s in boundaries(recipe)]
    places += [(middle, 1.0, 9.0, "mid-runner"), (middle + recipe.level_m, -1.0, -5.0, "level point")]
    for arc, near, far, word in places:
        x, z = (MM_PER_M * float(v[0]) for v in curve.at(arc)[:2])
        space.add_line((x, z + near), (x, z + far), dxfattribs={"layer": MARKS})
        if word:
            low = z + far + (1.0 if far > 0 else -3.5)
            space.add_text(word, height=2.5, dxfattribs={"layer": TEXT, "insert": (x + 1.0, low)})


def _words(space, recipe, demo):
    lines = [
        plain(recipe.name),
        f"running surface, length {recipe.length_m * MM_PER_M:.6g} mm along the arc, heel left, toe right",
        "scale 1:1, mm; steel above the curve",
    ]
    if demo:
        lines.append("demo: invented")
    for i, line in enumerate(lines):
        insert = (-MM_PER_M * recipe.length_m / 2, -15.0 - 5.0 * i)
        space.add_text(line, height=3.0, dxfattribs={"layer": TEXT, "insert": insert})
    arc = recipe.heel_sweep.length_m
    for zone in recipe.zones:
        where = MM_PER_M * (arc + zone.length_m / 2 - recipe.length_m / 2)
        label = f"R {trade_radius(zone.radius_m)}"
        space.add_text(label, height=2.5, dxfattribs={"layer": TEXT, "insert": (where, 16.0)})
        arc += zone.length_m


def plain(text: str) -> str:
    """A name as text that DXF readers show as it is: one line, no codes that they replace."""
    line = "".join(c if c.isprintable() else " " for c in text)
    return line.replace("%%", "% %").replace("^", "^ ")


# --- reading


@dataclass(frozen=True)
class DrawnCurve:
    """A running surface read from a drawing: arcs and lines, heel to toe, SI. What stands in for BladeCurve.

    ends: (n + 1, 2) x and z of the joints; centres: (n, 2); radii: (n,), inf for lines.
    """

    ends: np.ndarray
    centres: np.ndarray
    radii: np.ndarray

    def at_x(self, x: float | np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """(z, dz/dx) at x from mid-runner, arrays as given. Raises BladeError off the steel."""
        x = np.atleast_1d(np.asarray(x, float))
        first, last = self.ends[0, 0], self.ends[-1, 0]
        if not np.all((x >= first - GAP_M) & (x <= last + GAP_M)):
            raise BladeError(f"drawing: x must lie within {first * MM_PER_M:.1f} and {last * MM_PER_M:.1f} mm.")
        i = np.clip(np.searchsorted(self.ends[:, 0], x, side="right") - 1, 0, len(self.radii) - 1)
        (x0, z0), (x1, z1) = self.ends[i].T, self.ends[i + 1].T
        slope = (z1 - z0) / (x1 - x0)
        z = z0 + slope * (x - x0)
        bent = np.isfinite(self.radii[i])
        cx, cz = self.centres[i][bent].T
        drop = np.sqrt(np.maximum(self.radii[i][bent] ** 2 - (x[bent] - cx) ** 2, 0.0))
        z[bent], slope[bent] = cz - drop, (x[bent] - cx) / drop
        return z, slope

    @cached_property
    def table(self) -> tuple:
        """(x_first, dx, z, slope) on a uniform grid of x, as BladeCurve.table: what the contact solver reads."""
        first, last = self.ends[0, 0], self.ends[-1, 0]
        grid = np.linspace(first, last, round((last - first) / CELL_M) + 1)
        return float(grid[0]), float(grid[1] - grid[0]), *self.at_x(grid)


def read_dxf(path: Path) -> DrawnCurve:
    """The running surface of a drawing in mm: arcs, lines and polylines of its layer "curve", joined heel to toe.

    Raises BladeError for a file that is no such drawing, a gap of more than 1 um, or a hollow.
    """
    try:
        document = ezdxf.readfile(path)
    except (OSError, ezdxf.DXFError, UnicodeDecodeError, ValueError):
        raise BladeError(f"drawing: cannot read {path}; give a DXF file that exists.") from None
    if document.units != units.MM:
        raise BladeError(f"drawing: {path} is not in millimetres; set its units to mm.")
    found = []
    for entity in document.modelspace().query(f'*[layer=="{CURVE}"]'):
        found += _read(entity)
    if not found:
        raise BladeError(f"drawing: {path} has nothing on the layer {CURVE!r}; draw the running surface there.")
    found.sort(key=lambda piece: piece[0][0])
    for (_, before, *_), (after, *_) in pairwise(found):
        gap = math.dist(before, after)
        if gap > GAP_M * MM_PER_M:
            raise BladeError(
                f"drawing: the running surface has a gap or an overlap of {gap:.3g} mm at x = {after[0]:.1f} mm; join "
                "its pieces end to end."
            )
    ends = np.array([found[0][0], *(piece[1] for piece in found)]) / MM_PER_M
    return DrawnCurve(ends, np.array([p[2] for p in found]) / MM_PER_M, np.array([p[3] for p in found]) / MM_PER_M)


def _read(entity) -> list[tuple]:
    """(start, end, centre, radius) of each arc or line of an entity, mm, heel to toe."""
    kind = entity.dxftype()
    if kind == "ARC":
        if not 180.0 <= entity.dxf.start_angle < entity.dxf.end_angle <= 360.0:
            raise BladeError("drawing: an arc of the running surface bends away from the ice; draw a convex curve.")
        start, end = entity.start_point, entity.end_point
        return [((start.x, start.y), (end.x, end.y), tuple(entity.dxf.center)[:2], entity.dxf.radius)]
    if kind == "LINE":
        a, b = (tuple(p)[:2] for p in (entity.dxf.start, entity.dxf.end))
        return [_bent(min(a, b), max(a, b), 0.0)]
    if kind != "LWPOLYLINE":
        raise BladeError(f"drawing: a {kind} on the layer {CURVE!r}; draw arcs, lines and polylines there only.")
    points = [tuple(map(float, p)) for p in entity.get_points("xyb")]
    if points[0][0] > points[-1][0]:  # drawn from the toe
        bulges = [-b for *_, b in points[-2::-1]] + [0.0]
        points = [(x, y, b) for (x, y, _), b in zip(points[::-1], bulges)]
    return [_bent(a[:2], b[:2], a[2]) for a, b in pairwise(points)]


def _bent(a, b, bulge):
    """The arc from a to b whose bulge, tan(turn/4), is given; a line for 0."""
    if bulge < 0:
        raise BladeError(f"drawing: the running surface is hollow at x = {a[0]:.1f} mm; draw a convex curve.")
    if not a[0] < b[0]:
        raise BladeError(f"drawing: the running surface turns back at x = {a[0]:.1f} mm; draw it heel to toe.")
    if bulge == 0:
        return a, b, (0.0, 0.0), math.inf
    dx, dy = b[0] - a[0], b[1] - a[1]
    away = (1.0 - bulge * bulge) / (4.0 * bulge)  # of the centre from the chord, in chords
    radius = math.hypot(dx, dy) * (1.0 + bulge * bulge) / (4.0 * bulge)
    return a, b, (0.5 * (a[0] + b[0]) - away * dy, 0.5 * (a[1] + b[1]) + away * dx), radius
