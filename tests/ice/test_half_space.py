"""The rebound behind the deepest point against a solution in plan on an elastic half-space."""

import math
from dataclasses import dataclass
from functools import cache
from itertools import pairwise, product

import numpy as np
import pytest
from scipy.integrate import dblquad
from scipy.optimize import lsq_linear, root

from sim.blade.recipe import Recipe
from sim.ice.contact import gap, pressed
from sim.ice.drag import ploughing
from sim.ice.standing import stand
from tests import reference_model
from tests.cases import FT, GRAVITY, relative, steel_of
from tests.ice.half_space import COARSE, Cells, Footprint, Mesh, complementary, rebound, settlement


@dataclass(frozen=True)
class Case:
    """A blade (radius, m; thickness and hollow, mm; runner, m) under a load (kg of body weight) at a lean and line."""

    radius: float = 10 * FT
    thickness: float = 2.9
    hollow: float = 12.7
    kg: float = 80.0
    lean_deg: float = 0.0
    line: float = -0.015
    runner: float = 0.28


CASES = {
    "8 ft": Case(8 * FT),
    "10 ft": Case(),
    "13 ft": Case(13 * FT),
    "7 ft, heavy": Case(7 * FT, kg=100.0),
    "on the toe sweep": Case(line=0.110),
    "hollow 9.5 mm": Case(hollow=9.5),
    "hollow 19 mm": Case(hollow=19.0),
    "heavy, crown covered": Case(kg=105.0),
    "heavy, hollow 9.5 mm": Case(kg=105.0, hollow=9.5, line=0.0),
    "child, 8 ft": Case(8 * FT, kg=30.0),
    "child, short runner": Case(kg=35.0, line=-0.010, runner=0.24),
    "lean 2 deg": Case(lean_deg=2.0),
    "lean 15 deg": Case(lean_deg=15.0, line=0.045),
    "lean 15 deg, 8 ft": Case(8 * FT, lean_deg=15.0, line=0.045),
    "push, 40 deg": Case(kg=120.0, lean_deg=40.0, line=0.070),
    "figure": Case(2.1, 4.0, 11.0, kg=60.0, line=0.0),
    "figure, 15 deg": Case(2.1, 4.0, 11.0, kg=60.0, lean_deg=15.0, line=0.030),
    "long track": Case(22.0, 1.1, math.inf, kg=72.0, line=0.0, runner=0.42),
    "long track, 20 deg": Case(22.0, 1.1, math.inf, kg=72.0, lean_deg=20.0, line=0.0, runner=0.42),
}
FLAT = Case(hollow=math.inf)


@pytest.fixture(scope="module")
def elastic(law):
    """The half-space form as it was derived, nothing lost in the rebound."""
    return law._replace(rebound=2.0, rebound_factor=1.0)


@cache
def curve_of(case):
    return reference_model.single_radius(case.radius, case.runner)


@cache
def section_of(case):
    return reference_model.section(case.thickness * 1e-3, case.hollow * 1e-3, math.radians(case.lean_deg))


def footprint(case, depth, pitch):
    return Footprint(curve_of(case), section_of(case), depth, pitch)


class Model:
    """What the model says of a case: its contact, work given back per metre of track, N, and load of the rear, N."""

    def __init__(self, case, ice, law, gauss):
        recipe = Recipe("one", "single_radius", (case.radius,), length_m=case.runner)
        self.steel = steel_of(recipe, case.thickness * 1e-3, case.hollow * 1e-3)
        t = math.tan(math.radians(case.lean_deg))
        self.patch = stand(self.steel, ice, law, t, case.kg * GRAVITY, case.line, *gauss)
        groove = reference_model.groove_area(section_of(case), self.patch.depth)
        self.work = ice.hardness * groove - ploughing(self.steel, ice, law, self.patch, *gauss)
        self.rear_load = self._behind(ice, law)

    @property
    def place(self):
        """(depth, m; pitch, rad)."""
        return self.patch.depth, self.patch.beta

    def _behind(self, ice, law, points=4000):
        """Integral of p a from the rear end to the deepest point: midpoint sum of the model's own pressure."""
        edges = np.linspace(self.patch.rear, self.patch.deepest, points + 1)
        carried = 0.0
        for x in 0.5 * (edges[1:] + edges[:-1]):
            p, a = pressed(self.steel, ice, law, self.patch, x, self.patch.depth - gap(self.steel, self.patch, x))
            carried += p * a
        return carried * (edges[1] - edges[0])


def gaps(name, case, ice, law, gauss, mesh):
    """(work, rear load): relative gaps of the model to the half-space at the model's own depth and pitch.

    The same depth and pitch, not the same load: the arc ahead is then one and the same, and only the rear is judged.
    """
    ours = Model(case, ice, law, gauss)
    theirs = rebound(footprint(case, *ours.place), ice.hardness, ice.modulus, mesh)
    work, load = ours.work / theirs.work - 1.0, ours.rear_load / theirs.rear_load - 1.0
    share, rear = theirs.rear_load / theirs.load, ours.patch.deepest - ours.patch.rear
    print(f"{name}: work {theirs.work:.4f} N ({work:+.1%}), rear load {theirs.rear_load:.1f} N ({load:+.1%}), "
          f"{share:.1%} of all, rear {1e3 * theirs.rear_m:.1f} mm, ours {1e3 * rear:.1f}")  # fmt: skip
    return work, load


def settled_by_quadrature(x, y, cell):
    """Integral of dA/r over a cell, cut at the point so that 1/r is met at corners only."""
    ends = [(float(c - h), float(c + h)) for c, h in ((cell.x[0], cell.a[0]), (cell.y[0], cell.b[0]))]
    cuts = [sorted({low, high, min(max(at, low), high)}) for (low, high), at in zip(ends, (x, y))]

    def inverse(v, u):
        return 1.0 / max(math.hypot(u - x, v - y), 1e-12)

    parts = product(pairwise(cuts[0]), pairwise(cuts[1]))
    return sum(dblquad(inverse, *along, *across, epsabs=1e-9)[0] for along, across in parts)


def test_a_loaded_rectangle_settles_as_the_integral_of_one_over_r():
    """From inside, on an edge, on an edge's prolongation, outside, far away; and in the middle of a unit square."""
    cell = Cells(*(np.array([v]) for v in (0.3, -0.2, 2.0, 0.4)))
    for x, y in ((0.3, -0.2), (1.9, 0.1), (3.1, -0.2), (0.3, 0.9), (2.3, 0.2), (2.3, 1.0), (40.0, 30.0)):
        ours = settlement(np.array([x]), np.array([y]), cell)[0, 0]
        assert ours == pytest.approx(settled_by_quadrature(x, y, cell), rel=1e-6)
    square = Cells(*(np.array([v]) for v in (0.0, 0.0, 0.5, 0.5)))
    assert settlement(np.zeros(1), np.zeros(1), square)[0, 0] == pytest.approx(4 * math.asinh(1.0), rel=1e-12)


def test_cells_that_touch_against_bounded_least_squares():
    """A matrix A^T A makes the conditions those of min |A p - b|^2 in a box, which scipy solves another way."""
    rng = np.random.default_rng(4)
    tall = rng.normal(size=(30, 12))
    wanted = rng.normal(size=30) * 3.0
    theirs = lsq_linear(tall, wanted, bounds=(0.0, 0.3), tol=1e-14).x
    ours = complementary(tall.T @ tall, tall.T @ wanted, 0.3)
    assert np.allclose(ours, theirs, atol=1e-7)
    assert (ours == 0.0).any() and (ours == 0.3).any() and ((ours > 0.0) & (ours < 0.3)).any()


def test_a_sphere_on_the_half_space_is_hertz():
    """Load (4/3) E* sqrt(R) delta^(3/2), p = p_0 sqrt(1 - r^2/a^2), a^2 = R delta (Hertz 1882, value from memory).

    Hence p_0 = 1.5 load/(pi a^2), and the load's mean r^2 is 2 a^2/5.
    """
    n, radius, modulus, sunk = 20, 2.0, 10.4e9, 1e-6
    edge = 1.3 * math.sqrt(radius * sunk)
    middles = edge * (2.0 * np.arange(n) + 1.0 - n) / n
    x, y = (v.ravel() for v in np.meshgrid(middles, middles))
    cells = Cells(x, y, np.full(n * n, edge / n), np.full(n * n, edge / n))
    matrix = settlement(x, y, cells) / (math.pi * modulus)
    p = complementary(matrix, sunk - (x * x + y * y) / (2.0 * radius), 1e12)
    load = 4.0 / 3.0 * modulus * math.sqrt(radius) * sunk**1.5
    print(f"load {load:.4f} N, found {p @ cells.area:.4f}")
    assert p @ cells.area == pytest.approx(load, rel=5e-3)
    assert p.max() == pytest.approx(1.5 * load / (math.pi * radius * sunk), rel=1e-2)
    spread = (p @ (cells.area * (x * x + y * y))) / (p @ cells.area)
    assert spread == pytest.approx(0.4 * radius * sunk, rel=1e-2)


@pytest.mark.parametrize("name", CASES)
def test_the_rear_against_the_half_space(ice, elastic, gauss, name):
    """Within 5 %: what the form of two fitted constants is good for."""
    work, load = gaps(name, CASES[name], ice, elastic, gauss, COARSE)
    assert abs(work) < 0.05, f"work given back: {work:+.1%} off"
    assert abs(load) < 0.05, f"load of the rear: {load:+.1%} off"


@pytest.mark.parametrize("name", ["10 ft", "push, 40 deg"])
def test_another_law_is_told_apart(ice, elastic, gauss, name):
    """A rebound a tenth lower or higher lies outside the 5 %, and the first form far outside."""
    for change, least in (({"rebound_factor": 0.9}, 0.05), ({"rebound_factor": 1.1}, 0.05), ({"rebound": 1.0}, 0.4)):
        law = elastic._replace(**change)
        assert abs(gaps(name, CASES[name], ice, law, gauss, COARSE)[0]) > least, f"{change}"


@pytest.mark.slow
@pytest.mark.parametrize("name", CASES)
def test_halved_cells_give_the_same_rear(ice, elastic, gauss, name):
    foot = footprint(CASES[name], *Model(CASES[name], ice, elastic, gauss).place)
    coarse, plain = (rebound(foot, ice.hardness, ice.modulus, mesh) for mesh in (COARSE, Mesh()))
    print(f"{name}: work {coarse.work:.5f}, {plain.work:.5f} N")
    assert relative(coarse.work, plain.work) < 1e-2 and relative(coarse.rear_load, plain.rear_load) < 5e-3


@pytest.mark.slow
@pytest.mark.parametrize("name", ["10 ft", "lean 2 deg", "figure, 15 deg", "long track"])
def test_cells_halved_once_more(ice, elastic, gauss, name):
    foot = footprint(CASES[name], *Model(CASES[name], ice, elastic, gauss).place)
    plain, fine = (rebound(foot, ice.hardness, ice.modulus, mesh) for mesh in (Mesh(), Mesh().halved()))
    print(f"{name}: work {plain.work:.5f}, {fine.work:.5f} N")
    assert relative(plain.work, fine.work) < 5e-3 and relative(plain.rear_load, fine.rear_load) < 2e-3


@pytest.mark.slow
def test_a_wide_flat_bottom_is_the_worst_case(ice, elastic, gauss):
    """Work 7 to 8 % too low, a tolerance of its own: the form knows one pressure across a strip, and this one is wide.

    Its rear is only twice as long as the strip is wide. The ice lets go of the sides first and of a tongue in the
    middle last, farther back than the form's end, where the steel rises fastest: the work suffers more than the load.
    A hollow leaves two narrow strips, a flat long-track blade one.
    """
    foot = footprint(FLAT, *Model(FLAT, ice, elastic, gauss).place)
    solved = rebound(foot, ice.hardness, ice.modulus, Mesh())
    last = solved.rear.y[(solved.pressure > 0.0) & (-solved.rear.x > 0.85 * solved.rear_m)]
    assert len(last) and np.all(np.abs(last - 0.5e-3 * FLAT.thickness) < 0.9e-3), "a tongue is left in the middle"
    work, load = gaps("flat", FLAT, ice, elastic, gauss, Mesh())
    assert -0.09 < work < -0.05, f"work given back: {work:+.1%} off, known to be about -7.6 %"
    assert abs(load) < 0.05, f"load of the rear: {load:+.1%} off"


# What another solver found (pressure on a uniform grid, Love's settlement by FFT, projected gradient; not kept here):
# share of the load on the rear, work given back, N, depth, um, length of the rear and of the front, mm. 80 kg, line
# -15 mm, hardness 17.7 MPa.
OTHER_SOLVER = {
    "8 ft": (0.258, 0.172, 87.0, 5.3, 20.6), "10 ft": (0.265, 0.155, 83.0, 5.9, 22.5),
    "13 ft": (0.246, 0.120, 80.2, 6.2, 25.2),
}  # fmt: skip


@pytest.mark.slow
@pytest.mark.parametrize("name", OTHER_SOLVER)
def test_under_the_same_load(ice, elastic, gauss, name):
    """Depth and pitch solved with the pressure in plan: as the other solver found, and the model is as near as before.

    10 ft stands where the hollow is just covered; there a little load moves the work by much.
    """
    case, share, work = CASES[name], *OTHER_SOLVER[name][:2]
    ours = Model(case, ice, elastic, gauss)

    def solved(v):
        return rebound(footprint(case, *(v * (1e-6, 1e-3))), ice.hardness, ice.modulus, Mesh())

    def miss(v):
        now = solved(v)
        return now.load / (case.kg * GRAVITY) - 1.0, (now.centre - case.line) / 0.01

    v = root(miss, np.array(ours.place) * (1e6, 1e3), method="hybr", options={"eps": 1e-4, "xtol": 1e-6}).x
    assert np.max(np.abs(miss(v))) < 1e-4, "load and line are met"
    found, front = solved(v), footprint(case, *(v * (1e-6, 1e-3))).front_m
    found_share = found.rear_load / found.load
    print(f"{name}: {found_share:.1%}, {found.work:.4f} N, {v[0]:.1f} um, {1e3 * found.rear_m:.1f} and "
          f"{1e3 * front:.1f} mm; the model {ours.rear_load / ours.patch.load:.1%}, {ours.work:.4f} N, "
          f"{1e6 * ours.patch.depth:.1f} um")  # fmt: skip
    assert found_share == pytest.approx(share, abs=1e-3) and found.work == pytest.approx(work, rel=5e-3)
    depth, rear_mm, front_mm = OTHER_SOLVER[name][2:]
    assert v[0] == pytest.approx(depth, abs=0.1) and 1e3 * front == pytest.approx(front_mm, abs=0.1)
    assert 1e3 * found.rear_m == pytest.approx(rear_mm, abs=0.3), "to a cell"
    assert ours.rear_load == pytest.approx(found.rear_load, rel=0.05)
    assert ours.work == pytest.approx(found.work, rel=0.05)
