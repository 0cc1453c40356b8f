"""Numbers that lie on a bound to the bit, and what happens there; which points are drawn how."""

import math

import numpy as np
import pytest
from scipy import stats

from experiments.analysis import draws, grinding
from experiments.analysis.draws import beats, checked_draw_count, ratio_samples
from experiments.analysis.frontier import Line, frontier_gain
from experiments.analysis.grinding import LIMITS, ROUNDING, check
from experiments.analysis.judging.intervals import (
    clear,
    large_change,
    near_crown,
    order_kept,
)
from experiments.request.uncertainty import Input
from sim.blade.recipe import Recipe
from sim.errors import BladeError
from sim.measures import STATIC
from tests.experiments.analysis.hand import FT, draws_of
from tests.experiments.analysis.test_limits import SHOP
from tests.experiments.analysis.test_space_reading import space


def test_a_bound_itself_belongs_to_what_is_undecided():
    """1.0005 and 0.9995 are printed as one; 1.005 is no gain; 10 um from the crown is not near."""
    assert not clear((1 + 5e-4, 1.1, 1.2)) and not clear((0.8, 0.9, 1 - 5e-4))
    assert (order_kept(0.8), order_kept(0.4)) == ("partly", "lost")
    assert not near_crown(10e-6, 0.0) and near_crown(9.99e-6, 0.0)
    assert not large_change([]) and not large_change([None])


def test_an_excess_of_just_rounding_is_none(monkeypatch):
    for excess, count in ((ROUNDING, 0), (ROUNDING * 1.001, len(LIMITS))):
        items = [[(excess, lambda: "said")]] * len(LIMITS)
        monkeypatch.setattr(grinding, "_excesses", lambda *_, items=items: items)
        assert check(None, SHOP) == [f"{limit}: said" for limit in LIMITS][:count]
    assert ROUNDING == 1e-9


@pytest.mark.parametrize(("feet", "where"), [((5, 9, 9), "-120.0"), ((9, 5, 9), "0.0"), ((9, 9, 5), "120.0")])
def test_where_no_curve_can_be_made_the_knots_still_say_where(feet, where):
    """Three knots over 240 mm between the sweeps; the level point is off the steel."""
    lost = Recipe("s", "spline", tuple(f * FT for f in feet), level_m=0.15)
    said = [x for x in check(lost, SHOP) if x.startswith("least radius")]
    assert [x.split(" has ")[0] for x in said] == [f"least radius: the curve at x = {where} mm"]
    assert said[0].split(" has ")[1].startswith("5 ft (1524 mm), 1 ft (305 mm) tighter")


@pytest.mark.parametrize(("count", "kind"), [(1, "Sobol"), (2, "Sobol"), (16, "Sobol"), (3, "Latin"), (12, "Latin"),
                                             (15, "Latin"), (24, "Latin")])  # fmt: skip
def test_powers_of_two_are_sobol_points_and_all_else_a_latin_hypercube(monkeypatch, count, kind):
    def maker(number):
        def random(self, n):
            return np.full((n, 1), number)

        return type("Maker", (), {"__init__": lambda self, d, rng: None, "random": random})

    monkeypatch.setattr(draws.scipy.stats.qmc, "Sobol", maker(0.25))
    monkeypatch.setattr(draws.scipy.stats.qmc, "LatinHypercube", maker(0.75))
    even = (Input("scuff", stats.uniform(0, 1), "t"),)
    assert set(draws.sample(even, [("scuff", -1)], count, 1)[:, 0]) == {0.25 if kind == "Sobol" else 0.75}


def test_a_point_outside_the_space_is_its_nearest_inside():
    one = space("graded", (2, 2), level=(-0.02, 0.02), blend=(0.01, 0.02))
    assert one.recipe([1.1, -0.1, 1.3, -0.2]) == one.recipe([1.0, 0.0, 1.0, 0.0])


def test_most_draws_to_the_last():
    """Two million blades in all draws, 200 million pairs of them; two thousand blades."""
    for blades, most in ((1, 2_000_000), (3, 666_666), (150, 8_888), (2_000, 50)):
        assert checked_draw_count(most, blades) == most
        with pytest.raises(BladeError, match=f"mine: {most + 1} draws .* at most {most} draws"):
            checked_draw_count(most + 1, blades, "mine")
    with pytest.raises(BladeError, match="2001 are too many to draw for; list at most 2000"):
        checked_draw_count(1, 2_001)


def test_a_draw_fails_by_any_measure_of_any_blade_or_of_the_reference():
    made = draws_of({"turn_drag": np.ones((4, 2))})
    made.values[1, 1, 0] = made.references[2, -1] = math.nan
    assert made.failed.tolist() == [False, True, True, False]


def test_nobody_beats_anybody_where_every_draw_failed():
    found = beats(np.full((5, 3), math.nan), "lower")
    assert found.shape == (3, 3) and np.isnan(found).all()


def test_a_ratio_to_one_is_a_ratio_and_to_nothing_is_none():
    made = draws_of({"turn_scrape": np.array([[3.0], [3.0], [0.0]])}, references={"turn_scrape": [1.0, 0.0, 2.0]})
    found = ratio_samples(made, "turn_scrape")[:, 0]
    assert (found[0], math.isnan(found[1]), found[2]) == (3.0, True, 0.0)
    assert "pitch_bias" in STATIC and ratio_samples(made, "pitch_bias").tolist() == [[0.0]] * 3


# ---------------------------------------------------------------- the single-radius line


def test_a_line_needs_two_radii_and_is_not_bridged_where_radii_were_refused():
    radii = np.array([2.0, 2.5, 3.0, 3.5, 4.0])
    line = np.column_stack([1 / radii, radii])
    assert Line(radii[:2], line[:2]).known and not Line(radii[:1], line[:1]).known
    for gone in (math.nan, math.inf, -1.0):
        holed = line.copy()
        holed[2, 0] = gone
        assert frontier_gain(line[3], radii, holed).gain == pytest.approx(1.0, abs=1e-9)
        # the blade with the costs of 3 m: the nearest that is known has 2.5 m or 3.5 m, not what lies between
        assert frontier_gain(line[2], radii, holed).gain == pytest.approx(3.5 / 3.0, rel=1e-9)
        inside = np.exp(Line(radii, holed).places)
        assert not ((inside > 2.5 + 1e-9) & (inside < 3.5 - 1e-9)).any() and len(inside) > 1000


def test_a_single_radius_without_a_cost_is_not_bridged_and_is_still_there():
    """Without scrape at 3 m: a blade that scrapes is held against it by the other cost alone, 3/3 or 3/2.4."""
    radii = np.array([2.0, 2.5, 3.0, 3.5, 4.0])
    line = np.column_stack([1 / radii, radii])
    line[2, 0] = 0.0
    assert frontier_gain((1 / 3.0, 3.0), radii, line).gain == pytest.approx(1.0)
    found = frontier_gain((0.25, 2.4), radii, line)
    assert found.gain == pytest.approx(1.25) and found.radius_m == pytest.approx(3.0) and not found.at_end
    inside = np.exp(Line(radii, line).places)
    assert ((inside > 2.5 + 1e-9) & (inside < 3.5 - 1e-9)).sum() == 1 and (np.diff(inside) > 0).all()


def test_a_line_is_looked_at_in_two_thousand_even_steps_and_at_every_radius_computed():
    places = Line([2.0, 4.0], [[1.0, 2.0], [2.0, 1.0]]).places
    assert len(places) == 2001 and np.diff(places) == pytest.approx([math.log(2) / 2000] * 2000)
    assert math.log(3.0) in Line([2.0, 3.0, 4.0], [[1.0, 3.0], [2.0, 2.0], [3.0, 1.0]]).places


@pytest.mark.parametrize(("radius", "end"), [(2.0, True), (4.0, True), (2.01, False), (3.99, False)])
def test_a_gain_at_an_end_of_the_line_says_so(radius, end):
    radii = np.geomspace(2.0, 4.0, 9)
    found = frontier_gain((1 / radius, radius), radii, np.column_stack([1 / radii, radii]))
    assert found.at_end is end and found.radius_m == pytest.approx(radius, rel=1e-3)
    assert found.gain == pytest.approx(1.0, abs=1e-3) == found.beats


@pytest.mark.parametrize("costs", [(0.0, 1.0), (1.0, 0.0), (math.inf, 1.0), (1.0, math.inf), (math.nan, 1.0)])
def test_a_cost_of_nothing_or_of_no_end_has_no_gain(costs):
    radii = np.geomspace(2.0, 4.0, 9)
    found = frontier_gain(costs, radii, np.column_stack([1 / radii, radii]))
    assert math.isnan(found.gain) and math.isnan(found.beats) and math.isnan(found.radius_m) and not found.at_end
