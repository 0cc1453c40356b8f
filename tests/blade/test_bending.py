"""The runner as a bending beam: against beam elements on two points, on two seats, and on a bed."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.blade.recipe import Recipe
from sim.blade.section import Section
from sim.blade.steel import Steel, flattening, flexed, height, lowest, meet, unbent
from tests.cases import FT

RUNNER, ELEMENTS = 0.28, 1120  # m; elements of a quarter of a millimetre
HOCKEY = Section(2.9e-3, 12.7e-3, height_m=0.025, span_m=0.075)
LOAD = 784.5
EI = 200e9 * 2.9e-3 * 0.025**3 / 12


def steel(section: Section, radius_m: float = 10 * FT) -> Steel:
    curve = Recipe("x", "single_radius", (radius_m,)).curve()
    return Steel(*curve.table, section.thickness_m, section.hollow_m, 0.0, section.rigidity, section.span_m)


class Beam:
    """Euler-Bernoulli beam of two-node Hermite elements (any text on finite elements); u: deflection, v: slope."""

    def __init__(self, ei: float):
        self.x = np.linspace(-RUNNER / 2, RUNNER / 2, ELEMENTS + 1)
        self.h = RUNNER / ELEMENTS
        h, n = self.h, 2 * (ELEMENTS + 1)
        one = ei / h**3 * np.array([[12, 6 * h, -12, 6 * h], [6 * h, 4 * h * h, -6 * h, 2 * h * h],
                                    [-12, -6 * h, 12, -6 * h], [6 * h, 2 * h * h, -6 * h, 4 * h * h]])  # fmt: skip
        self.k = np.zeros((n, n))
        for i in range(ELEMENTS):
            self.k[2 * i : 2 * i + 4, 2 * i : 2 * i + 4] += one

    def held(self, places, stiffness: float):
        """Springs under deflection at every node within the given stretches, N/m per node."""
        for low, high in places:
            for i in np.flatnonzero((self.x >= low - 1e-9) & (self.x <= high + 1e-9)):
                self.k[2 * i, 2 * i] += stiffness
        return self

    def mean_curvature(self, load: float, arc: float) -> float:
        """Mean curvature over an arc in the middle under a load spread evenly over it, 1/m."""
        force = np.zeros(len(self.k))
        on = np.flatnonzero(abs(self.x) <= arc / 2 + 1e-9)
        weight = np.ones(len(on))
        weight[[0, -1]] = 0.5
        force[2 * on] = load * weight / weight.sum()
        slope = np.linalg.solve(self.k, force)[1::2]
        return -(slope[on[-1]] - slope[on[0]]) / (self.x[on[-1]] - self.x[on[0]])


@pytest.mark.parametrize("arc", [0.01, 0.03, 0.06, 0.10])
@pytest.mark.parametrize("span", [0.05, 0.075, 0.15])
def test_flattening_is_that_of_a_beam_on_two_points(span, arc):
    """Both ends of the load stay between the supports, or (long arcs) reach beyond them."""
    if arc > span:
        pytest.skip("a load beyond its supports bends the beam the other way there; the form leaves that out")
    beam = Beam(EI).held([(-span / 2, -span / 2), (span / 2, span / 2)], 1e13)
    theirs = beam.mean_curvature(LOAD, arc)
    section = Section(2.9e-3, 12.7e-3, height_m=0.025, span_m=span)
    ours = flattening(steel(section), LOAD, arc)
    print(f"span {span * 1e3:.0f}, arc {arc * 1e3:.0f} mm: beam elements {theirs:.5f}, ours {ours:.5f} 1/m")
    # an arc longer than half of the span leaves out what the far ends of the load do: up to 6 % at arc = span
    assert ours == pytest.approx(theirs, rel=0.005 if arc <= 0.55 * span else 0.15)


def span_for(curvature: float, arc: float) -> float:
    """Span, m, at which the form gives this flattening at this arc."""
    grid = np.linspace(0.0, 0.3, 3001)
    values = [flattening(steel(Section(2.9e-3, 12.7e-3, span_m=s)), LOAD, arc) for s in grid]
    return float(np.interp(curvature, values, grid))


def test_other_holders_are_covered_by_some_span_of_the_prior():
    """Two seats 60 mm apart that hold the runner straight, and a bed as stiff as plastic 3 mm thick: one span each."""

    def seats():
        return Beam(EI).held([(-0.08, -0.03), (0.03, 0.08)], 1e10)

    def bed():  # 2 GPa over 3 mm on a strip of 2.9 mm: 1.9 GPa of line stiffness; on nodes
        return Beam(EI).held([(-0.12, 0.12)], 2e9 * 2.9e-3 / 3e-3 * RUNNER / ELEMENTS)

    # clamped ends: half of the moment of a beam on points at the same distance; a bed of stiffness k: N/(4 lambda),
    # lambda = (k/4EI)^(1/4), so that the span is 1/lambda (Hetenyi, Beams on Elastic Foundation, value from memory)
    bed_span = (2e9 * 2.9e-3 / 3e-3 / (4 * EI)) ** -0.25
    for name, build, expected in (("two seats", seats, 0.030), ("bed", bed, bed_span)):
        middle = build().mean_curvature(LOAD, 0.03)
        span = span_for(middle, 0.03)
        print(f"{name}: flattening {middle:.5f} 1/m at 30 mm, effective span {span * 1e3:.0f} mm")
        assert span == pytest.approx(expected, rel=0.15) and 0 <= span <= 0.15


def test_rigidity_by_hand():
    assert HOCKEY.rigidity == pytest.approx(755.2, abs=0.1)  # 200e9 x 2.9e-3 x 0.025^3/12
    assert Section(2.9e-3, 12.7e-3, height_m=0.02).rigidity / HOCKEY.rigidity == pytest.approx(0.8**3)


def test_a_short_arc_is_a_point_load():
    """N s/(4 EI): the greatest moment of a beam on two points, over E I (any handbook)."""
    assert flattening(steel(HOCKEY), LOAD, 1e-6) == pytest.approx(LOAD * 0.075 / (4 * EI), rel=1e-4)


@given(arc=st.floats(1e-3, 0.15), span=st.floats(0.0, 0.15), tall=st.floats(0.015, 0.035), load=st.floats(50, 2500))
def test_flattening_grows_with_span_and_load_and_falls_with_height_and_arc(arc, span, tall, load):
    def c(s=span, h=tall, n=load, a=arc):
        return flattening(steel_of(s, h), n, a)

    assert c() >= 0 and c(s=0.0) == 0
    assert c(s=span + 0.01) > c() and c(h=tall + 1e-3) <= c() and c(n=2 * load) == pytest.approx(2 * c())
    assert c(a=1.1 * arc) <= c() * (1 + 1e-12)


PLAIN = steel(HOCKEY)


def steel_of(span: float, tall: float) -> Steel:
    return PLAIN._replace(span=span, rigidity=200e9 * 2.9e-3 * tall**3 / 12)


@given(bend=st.floats(0.0, 0.1), about=st.floats(-0.1, 0.1), x=st.floats(-0.1, 0.1))
def test_bent_steel_keeps_height_and_slope_where_it_is_pressed(bend, about, x):
    bent = flexed(PLAIN, bend, about)
    assert height(bent, about) == pytest.approx(unbent(PLAIN, about), abs=1e-15)
    z, slope = unbent(PLAIN, x)
    assert height(bent, x) == pytest.approx((z - bend * (x - about) ** 2 / 2, slope - bend * (x - about)), abs=1e-14)


@pytest.mark.parametrize("bend", [0.0, 0.0145, 0.08])
@pytest.mark.parametrize("beta", [-0.02, 0.0, 0.013])
def test_bent_steel_is_a_longer_radius(bend, beta):
    """Deepest point and arc of a bent single radius, by a dense search over its heights."""
    bent = flexed(PLAIN, bend, 0.01)
    x = np.linspace(-0.11, 0.11, 220001)
    gap = np.array([height(bent, v)[0] for v in x[::20]])
    gap = np.interp(x, x[::20], gap) * math.cos(beta) - x * math.sin(beta)
    at, base = lowest(bent, beta)
    assert at == pytest.approx(x[np.argmin(gap)], abs=5e-5)
    assert base == pytest.approx(gap.min(), abs=1e-10)
    ahead = meet(bent, beta, at, base, 60e-6, 1.0)
    radius = 1 / (1 / (10 * FT) - bend)
    if abs(ahead) < 0.11:
        assert (ahead - at) ** 2 / (2 * 60e-6) == pytest.approx(radius, rel=0.03)
