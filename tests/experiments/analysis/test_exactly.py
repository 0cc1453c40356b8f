"""Where a judgement turns, to the last digit that is meant: ends of what may be asked, sizes of excesses, depths."""

import math
from dataclasses import replace

import numpy as np
import pytest

from experiments.analysis import draws, optimizer
from experiments.analysis.grinding import LIMITS, check, read_grinding, violations
from experiments.analysis.grinding_depth import _heights, depth_to_grind
from experiments.analysis.judging.intervals import clear
from experiments.analysis.optimizer import Effort, optimize, read_effort
from experiments.request.fields import Fields
from experiments.request.uncertainty import Input
from experiments.run.workers import HERE
from sim.blade.recipe import Recipe, Sweep
from sim.errors import BladeError
from tests.experiments.analysis.hand import FT, TEN, blade, request
from tests.experiments.analysis.test_limits import BARE, SHOP, zoned
from tests.experiments.analysis.test_space_and_optimizer import problem

# ---------------------------------------------------------------- intervals


@pytest.mark.parametrize(("off", "known"), [(0.000501, True), (0.000499, False)])
def test_clear_from_half_of_the_last_printed_digit(off, known):
    assert clear((1 + off, 1.01, 1.02)) is known and clear((0.98, 0.99, 1 - off)) is known


# ---------------------------------------------------------------- draws


def test_a_point_of_the_cube_at_its_edge_is_six_standard_deviations_out(monkeypatch):
    """The standard normal quantile of 1e-9 is -5.997807 (table value)."""

    class Edges:
        def __init__(self, columns, rng):
            self.columns = columns

        def random(self, count):
            return np.linspace(0.0, 1.0, count)[:, None] * np.ones(self.columns)

    monkeypatch.setattr(draws.scipy.stats.qmc, "Sobol", Edges)
    monkeypatch.setattr(draws.scipy.stats.qmc, "LatinHypercube", Edges)
    normal = (Input("scuff", draws.scipy.stats.norm(0.0, 1.0), "test"),)
    for count in (4, 3):
        found = draws.sample(normal, [("scuff", -1)], count, 1)[:, 0]
        assert (found[0], found[-1]) == (pytest.approx(-5.997807, abs=1e-6), pytest.approx(5.997807, abs=1e-6))


def test_draws_are_held_against_the_whole_line_of_single_radii(monkeypatch):
    """6 to 16 ft in 33 even steps of the logarithm, whatever other radii a figure asks for; four draws at a time."""
    seen = []

    def answered(function, portions, shared, progress):
        seen.append((shared, [len(p) for p in portions]))
        return [[np.ones((len(p), 2, len(draws.STATIC))), np.ones((len(p), len(draws.STATIC))),
                 np.ones((len(p), 2, 1))] for p in portions]  # fmt: skip

    asked = request([TEN, blade(9, name="nine")], line_m=(6 * FT, 7 * FT, 16 * FT))
    workers = type("W", (), {"map": staticmethod(answered)})()
    inputs = (Input("mass_factor", draws.scipy.stats.uniform(0.9, 0.2), "t"),
              Input("radius_factor", draws.scipy.stats.norm(1, 0.01), "t"))  # fmt: skip
    found = draws.run_draws(asked, inputs, 10, 1, workers)
    ((shared, sizes),) = seen
    assert sum(sizes) == 10 == len(found.points) and shared.setting.scenarios == {}
    assert np.diff(np.log(shared.radii)) == pytest.approx(np.full(32, math.log(16 / 6) / 32))
    assert shared.radii[0] == pytest.approx(6 * FT)
    assert found.columns == ("mass_factor", "radius_factor of ten", "radius_factor of nine")


# ---------------------------------------------------------------- what a shop may state

SHOP_WORDS = {
    "name": "mine", "least_radius": "6 ft", "greatest_radius": "30 ft", "least_zone": "25 mm", "least_blend": "5 mm",
    "curvature_change": 0.03, "wheel_radius": "100 mm", "negative_template": True, "template_resolution": "10 um",
    "radius_tolerance": 0.01, "boundary_tolerance": "2 mm", "steel_available": "1.5 mm",
}  # fmt: skip


@pytest.mark.parametrize(
    ("key", "fine", "refused"),
    [
        ("least_zone", ["0 mm", "600 mm"], ["-0.1 mm", "600.1 mm"]),
        ("least_blend", ["0 mm", "200 mm"], ["-0.1 mm", "200.1 mm"]),
        ("template_resolution", ["0 mm", "1 mm"], ["-1 um", "1001 um"]),
        ("boundary_tolerance", ["0 mm", "20 mm"], ["-0.1 mm", "20.1 mm"]),
        ("wheel_radius", ["1 um", "3 m"], ["0 mm", "-1 mm"]),
        ("steel_available", ["1 um", "1 m"], ["0 mm", "-1 mm"]),
        ("radius_tolerance", [0, 0.2], [-0.001, 0.2001]),
        ("curvature_change", [1e-6, 1e3], [0.99e-6, 1000.1]),
        ("least_radius", ["1 ft", "29.9 ft"], ["30 ft", "31 ft", "0 ft"]),
        ("greatest_radius", ["6.1 ft", "flat"], ["6 ft"]),
        ("name", ["n" * 40], ["n" * 41]),
    ],
)
def test_limits_up_to_their_ends_and_no_farther(key, fine, refused):
    for value in fine:
        read_grinding(Fields(SHOP_WORDS | {key: value}, "grinding"))
    for value in refused:
        with pytest.raises(BladeError, match="grinding"):
            read_grinding(Fields(SHOP_WORDS | {key: value}, "grinding"))


def test_what_a_shop_states_is_what_is_held():
    found = read_grinding(Fields(SHOP_WORDS, "grinding"))
    assert found == replace(SHOP, name="mine", least_radius_m=pytest.approx(1.8288),
                            greatest_radius_m=pytest.approx(9.144), steepest_per_m2=pytest.approx(30.0),
                            template_resolution_m=pytest.approx(1e-5), least_blend_m=pytest.approx(5e-3),
                            boundary_tolerance_m=pytest.approx(2e-3), steel_available_m=pytest.approx(1.5e-3),
                            least_zone_m=pytest.approx(0.025), wheel_radius_m=pytest.approx(0.1))  # fmt: skip


@pytest.mark.parametrize(("key", "ends"), [("population", (8, 2000)), ("evaluations", (8, 500)),
                                           ("seed", (0, 2**31 - 1))])  # fmt: skip
def test_how_long_a_search_may_go_on(key, ends):
    usual = {"population": 40, "evaluations": 400, "seed": 1}
    for value in ends:
        assert getattr(read_effort(Fields(usual | {key: value}, ""), 500), key) == value
    for value in (ends[0] - 1, ends[1] + 1):
        with pytest.raises(BladeError, match=key):
            read_effort(Fields(usual | {key: value}, ""), 500)


# ---------------------------------------------------------------- sizes of excesses


def excess(limit, recipe, limits=SHOP, stock=None):
    return violations(recipe, limits, stock)[LIMITS.index(limit)]


def test_a_jump_of_curvature_counts_a_thousandfold():
    assert excess("curvature change", zoned(7, 13, blend_m=0.0)) == 1000.0
    assert excess("curvature change", zoned(9)) == -1.0 == excess("template resolution", zoned(9))


@pytest.mark.parametrize(("share", "size"), [(0.25, 0.75), (0.5, 1.0), (0.75, 0.75), (1.0, 0.0), (1.1, -0.44)])
def test_too_little_for_the_template_counts_most_half_way(share, size):
    """Nothing where two zones are one, nothing where the template shows them, 1 half way: 4 q (1 - q).

    Over 120 mm curvatures k apart part by 0.12^2 k/8: 10 um at k = 1/180 1/m.
    """
    second = 1 / (1 / (10 * FT) - share / 180)
    assert excess("template resolution", zoned(10, second / FT)) == pytest.approx(size, abs=1e-9)


def test_room_for_blends_is_short_in_shares_of_a_zone_or_of_a_millimetre():
    """Of 5 mm a blend of 20 mm asks 10 on each side: 15 mm short of 25, and of 1 where zones may be of any length."""
    short = zoned(9, 12, shares=(47, 1))
    assert excess("room for blends", short) == pytest.approx(15 / 25)
    assert excess("room for blends", short, replace(SHOP, least_zone_m=0.0)) == pytest.approx(15.0)
    ends = zoned(9, 12, shares=(47, 1), **BARE)  # at the end of a bare runner one blend only: 5.83 mm of 280
    assert excess("room for blends", ends) == pytest.approx((10 - 280 / 48) / 25)


def test_steepest_change_and_tightest_place_of_a_graded_curve_are_where_they_are():
    """Curvature runs evenly from heel sweep to toe sweep, half a blend of 10 mm within 120 mm: its middle is at 0."""
    heel, toe = (Recipe("g", "graded", (a * FT, b * FT)) for a, b in ((5, 9), (9, 5)))
    assert [x[:42] for x in check(heel, SHOP)] == ["least radius: the curve at x = -110.0 mm h"]
    assert [x[:42] for x in check(toe, SHOP)] == ["least radius: the curve at x = 110.0 mm ha"]
    assert check(toe, SHOP)[0][42:].startswith("s 5.094 ft")
    slow = replace(SHOP, least_radius_m=FT, steepest_per_m2=0.5)
    (line,) = check(heel, slow)
    steep = (1 / (5 * FT) - 1 / (9 * FT)) / 0.24
    assert line.startswith("curvature change: the curve at x = 0.0 mm curvature changes by")
    assert f"{steep / 0.5:.3g} times" in line


def test_turning_of_a_graded_curve_by_its_mean_curvature():
    """5 ft to 9 ft over 240 mm and two sweeps of 20 mm."""
    recipe = Recipe("g", "graded", (5 * FT, 9 * FT), heel_sweep=Sweep(0.02, 0.2), toe_sweep=Sweep(0.02, 0.1))
    turned = 0.24 * (1 / (5 * FT) + 1 / (9 * FT)) / 2 + 0.02 / 0.2 + 0.02 / 0.1
    assert excess("turning", recipe) == pytest.approx(turned / 2 - 1)


# ---------------------------------------------------------------- depth to grind


def test_heights_are_the_integral_of_the_tangent():
    """Against sixteen-point Gauss quadrature on pieces of half a millimetre: angle by exact antiderivative of the
    piecewise linear curvature, x and z of its cosine and sine, to 1 nm of 280 mm."""
    curve = zoned(6, 13, blend_m=0.03, level_m=0.013).curve()
    k, s = curve.curvature_per_m, curve.arc_m
    turned = np.concatenate([[0.0], np.cumsum(np.diff(s) * (k[1:] + k[:-1]) / 2)])

    def angle(at):
        i = np.clip(np.searchsorted(s, at, "right") - 1, 0, len(s) - 2)
        part = at - s[i]
        slope = (k[i + 1] - k[i]) / (s[i + 1] - s[i])
        return turned[i] + part * (k[i] + slope * part / 2)

    nodes, weights = np.polynomial.legendre.leggauss(16)

    def integral(function, start, stop):
        ends = np.unique([start, stop, *s[(s > min(start, stop)) & (s < max(start, stop))],
                          *np.linspace(start, stop, 561)])  # fmt: skip
        half, middle = np.diff(ends)[:, None] / 2, (ends[1:] + ends[:-1])[:, None] / 2
        return math.copysign(1, stop - start) * float((function(middle + half * nodes) * weights * half).sum())

    level = angle(0.14 + 0.013) + curve.pitch_offset_rad
    x, z = _heights(curve)
    for i, place in ((0, 0.0), (-1, 0.28)):
        assert x[i] == pytest.approx(integral(lambda a: np.cos(angle(a) - level), 0.14, place), abs=1e-11)
        assert z[i] == pytest.approx(integral(lambda a: np.sin(angle(a) - level), 0.153, place), abs=1e-11)
    assert np.diff(x).max() < 1.001e-3, "a place every millimetre"


def test_depth_is_looked_for_where_both_runners_are():
    """A stock 1.9 mm shorter with the same curve: nothing to take off, though the ends of the new one stand over."""
    new, old = (Recipe("r", "single_radius", (9 * FT,), length_m=length, **BARE).curve() for length in (0.28, 0.2781))
    assert depth_to_grind(new, old)[0] < 2e-8 and depth_to_grind(old, new)[0] < 2e-8


# ---------------------------------------------------------------- the box of a search


def test_a_search_stays_within_its_space(monkeypatch):
    """Costs that fall to and beyond both ends of the coordinate: the best allowed lie at 0 and at 1."""

    def known(problem, workers, points):
        points = np.asarray(points)
        return np.hstack([np.exp(points), np.exp(-points)]), np.full((len(points), 11), -1.0)

    monkeypatch.setattr(optimizer, "evaluate", known)
    found = optimize(problem(), HERE, [np.array([0.5])], Effort(16, 160, 3))
    assert 0.0 <= found.points.min() < 0.01 and 0.99 < found.points.max() <= 1.0
