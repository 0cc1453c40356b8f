"""The search for zones: on which draws, from where, what it may use, and gains that are known by hand."""

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from scipy import stats

from experiments.analysis.frontier import frontier_gain
from experiments.analysis.variants import HeldLine, line_costs, statics
from experiments.request.uncertainty import Input, Sampling
from experiments.run.workers import silent
from experiments.studies.findings import zones
from sim.errors import BladeError
from tests.experiments.analysis.hand import FT, PAIRS, TEN, blade, request, section_of, setting
from tests.experiments.analysis.test_limits import SHOP
from tests.experiments.studies.test_judging_zones import NAN, ONE_PLACE, PAIR


def test_numbers_of_a_search_are_radii_in_feet_and_then_shares():
    found = zones.zoned(TEN.recipe, np.array([8.0, 12.0, 9.0, 1.0, 2.0, 1.0]))
    assert found.radii_m == pytest.approx((2.4384, 3.6576, 2.7432)) and found.shares == (1.0, 2.0, 1.0)
    assert [z.length_m for z in found.zones] == pytest.approx([0.06, 0.12, 0.06]) and found.length_m == 0.28
    single = zones.zoned(TEN.recipe, np.array([11.0]))
    assert single.radii_m == pytest.approx((3.3528,)) and single.shares == ()


def held(*costs):
    """Places of a search, each with a line that has the same costs everywhere."""
    radii = np.geomspace(1.0, 8.0, 9)
    return tuple((setting(), {}, (radii, radii, dict.fromkeys(PAIR, np.full(9, c)))) for c in costs or (3.0,))


def test_a_search_for_one_zone_finds_the_known_best(monkeypatch):
    """Costs (r/9 ft + 9 ft/r) both: least 2 at 9 ft, against a line that has 1.9 everywhere: 0.95, no gain. Over two
    places, with lines of 1.9 and 1.6, it is the geometric mean of 0.95 and 0.8. Single radii are in their own line."""

    def known(one, _, pair):
        r = one.recipe.radii_m[0] / (9 * FT)
        return np.array([r + 1 / r] * 2)

    monkeypatch.setattr(zones, "statics", known)
    gain, numbers = zones.search_zones((TEN, held(1.9), SHOP), (PAIR, 1, 5, ()))
    assert gain == pytest.approx(0.95, rel=1e-3) and numbers[0] == pytest.approx(9.0, abs=0.3)
    gain, numbers = zones.search_zones((TEN, held(1.9, 1.6), SHOP), (PAIR, 1, 5, (9.0,)))
    assert gain == pytest.approx(math.sqrt(0.95 * 0.8), rel=1e-6) and numbers[0] == pytest.approx(9.0, abs=1e-3)


@pytest.mark.parametrize("what", ["refused", "no gain", "ungrindable"])
def test_a_blade_that_cannot_be_weighed_or_ground_is_worth_nothing(monkeypatch, what):
    """Only radii above 13 ft can be: the best lies there, though it is worth a tenth of what is needed for a gain."""

    def costs(one, _, pair):
        if one.recipe.radii_m[0] > 13 * FT:
            return np.array([30.0, 30.0])
        if what == "refused":
            raise BladeError("no")
        return np.array([NAN, 30.0]) if what == "no gain" else np.array([1.0, 1.0])

    limits = replace(SHOP, least_radius_m=13 * FT) if what == "ungrindable" else SHOP
    monkeypatch.setattr(zones, "statics", costs)
    gain, best = zones.search_zones((TEN, held(), limits), (PAIR, 1, 5, ()))
    assert gain == pytest.approx(0.1) and best[0] > 13


@pytest.mark.parametrize(("count", "numbers"), [(1, 1), (2, 4)])
def test_a_search_of_zones_looks_at_radii_and_shares_and_goes_on_for_25_generations(monkeypatch, count, numbers):
    """Eight blades a generation for each number, and those it begins with; 7 to 14 ft, shares 1 to 3."""
    looked = []

    def costs(one, _, pair):
        looked.append(one.recipe)
        return np.full(2, 1 + 1e-3 * one.recipe.radii_m[0])  # alike, but never so much that nothing is left to do

    monkeypatch.setattr(zones, "statics", costs)
    monkeypatch.setattr(zones, "violations", lambda recipe, limits: np.full(3, -0.5))
    gain, best = zones.search_zones((TEN, held(0.9), SHOP), (PAIR, count, 5, ()))
    assert gain == pytest.approx(0.9 / (1 + 7e-3 * FT), rel=1e-4) and best.shape == (numbers,)
    assert len(looked) == 26 * 8 * numbers
    radii = np.array([r.radii_m for r in looked]) / FT
    assert radii.shape[1] == count and 7 <= radii.min() < 7.5 and 13.5 < radii.max() <= 14
    shares = np.array([r.shares for r in looked])
    assert count == 1 or (1 <= shares.min() < 1.2 and 2.8 < shares.max() <= 3)


def test_more_zones_never_give_less_and_are_judged_on_draws_of_their_own(monkeypatch):
    """Best of two seeds for each number: 1.01, 1.03, then 1.02 and 0.9 (so that two zones stand), 1.05; each pair is
    judged in its own column and its own five blades. Every number sets out from the best so far, its longest zone cut.
    """
    best = {1: (1.01, 0.8), 2: (0.7, 1.03), 3: (1.02, 1.0), 4: (0.9, 0.9), 5: (1.05, 1.04)}
    asked, sought = [], []

    def answers(function, tries, shared, progress):
        assert {seed for _, _, seed, _ in tries} == {7, 8}
        assert function is zones.search_zones and shared == (TEN, "places", SHOP)
        sought.extend(tries)
        return [(best[n][seed - 7], np.array([9.0 + n] * n + [1.0] * (n if n > 1 else 0))) for _, n, seed, _ in tries]

    def drawn(made, inputs, draws, seed, workers, progress):
        asked.append((made, inputs, draws, seed))
        gain = np.arange(len(made.cases) * 2.0).reshape(1, -1, 2)
        return SimpleNamespace(gain=np.repeat(gain, draws, axis=0))

    monkeypatch.setattr(zones, "run_draws", drawn)
    monkeypatch.setattr(zones, "search_places", lambda there, radii, pairs, sampling: (
        "places" if there.scenarios == {} and sampling.seed == 7 and len(radii) == 5 else None))  # fmt: skip
    one = request([TEN], one=setting(scenarios={"stride": 0}), line_m=tuple(np.geomspace(6 * FT, 16 * FT, 5)))
    pairs = zones.zone_pairs(one, ONE_PLACE)
    assert pairs == (PAIR, ONE_PLACE) == zones.zone_pairs(replace(one, pairs=(PAIR, PAIRS[2])), ONE_PLACE)
    found = zones.best_zones(one, pairs, SHOP, Sampling(("x",), 3, 7), SimpleNamespace(map=answers), silent)
    assert [z.pair for z in found] == list(pairs)
    assert [z.sought for z in found] == [(1.01, 1.03, 1.03, 1.03, 1.05)] * 2
    assert [len(r.radii_m) for r in found[0].recipes] == [1, 2, 2, 2, 5]
    assert found[0].gain.tolist() == [[0, 2, 4, 6, 8]] * 3 and found[1].gain.tolist() == [[11, 13, 15, 17, 19]] * 3
    ((made, inputs, draws, seed),) = asked
    assert (inputs, draws, seed, made.pairs, len(made.cases)) == (("x",), 3, 7, pairs, 10)
    starts = {n: {start for pair, count, _, start in sought if count == n and pair == PAIR} for n in (1, 2, 3, 4, 5)}
    two = (11.0, 11.0, 11.0, 1.0, 1.0, 2.0)
    assert starts == {1: {()}, 2: {(10.0, 10.0, 1.0, 1.0)}, 3: {two}, 4: {two}, 5: {two}}


def test_a_search_sets_out_from_fewer_zones_with_the_longest_cut():
    """9 ft: 9/9. 8/12 ft of 1:3: 8/12/12 of 1:1.5:1.5; shares are scaled to the least, 1, and cut off at 3."""
    assert zones.split((9.0,)) == (9.0, 9.0, 1.0, 1.0)
    assert zones.split((8.0, 12.0, 1.0, 3.0)) == (8.0, 12.0, 12.0, 1.0, 1.5, 1.5)
    assert zones.split((8.0, 12.0, 1.0, 1.5)) == pytest.approx((8.0, 12.0, 12.0, 4 / 3, 1.0, 1.0))
    assert zones.split((8.0, 9.0, 1.0, 1.0)) == (8.0, 8.0, 9.0, 1.0, 1.0, 2.0)
    assert zones.split((7.0, 8.0, 3.0, 2.9)) == pytest.approx((7.0, 7.0, 8.0, 1.0, 1.0, 2.9 / 1.5))
    assert zones.split((7.0, 8.0, 9.0, 1.0, 1.0, 1.0))[4:] == (1.0, 1.0, 2.0, 2.0)


def test_draws_of_the_search_are_not_those_of_the_judgement():
    """From the seed after that of the judgement; without errors of grinding; the line of each draw its own."""
    inputs = (Input("mass_factor", stats.uniform(0.9, 0.2), "t"), Input("radius_factor", stats.norm(1, 0.01), "t"))
    radii = np.geomspace(6 * FT, 16 * FT, 9)
    found = zones.search_places(setting(), radii, (PAIR,), Sampling(inputs, 8, 3))
    assert len(found) == 4 and all(set(named) == {"mass_factor"} for _, named, _ in found)
    for there, named, (_, span, table) in found:
        assert there.skater.mass_kg == pytest.approx(80 * named["mass_factor"])
        by_hand = statics(blade(span[20] / FT), there, PAIR)
        assert [table[name][20] for name in PAIR] == pytest.approx(by_hand)
    judged = zones.sample(inputs[:1], [("mass_factor", -1)], 4, 3)[:, 0]
    assert not set(judged) & {named["mass_factor"] for _, named, _ in found}
    assert found[0][1] != zones.search_places(setting(), radii, (PAIR,), Sampling(inputs, 8, 4))[0][1]


def test_a_search_never_ends_below_where_it_sets_out(monkeypatch):
    """Costs are least at 9 ft exactly: one generation from a random start does not find that to the last digit."""

    def known(one, _, pair):
        r = one.recipe.radii_m[0] / (9 * FT)
        return np.array([r + 1 / r] * 2)

    monkeypatch.setattr(zones, "statics", known)
    monkeypatch.setattr(zones, "GENERATIONS", 1)
    gain, numbers = zones.search_zones((TEN, held(1.9), SHOP), (PAIR, 1, 5, (9.0,)))
    assert gain == pytest.approx(0.95, rel=1e-15) and numbers[0] == pytest.approx(9.0, rel=1e-7)
    assert zones.search_zones((TEN, held(1.9), SHOP), (PAIR, 1, 5, ()))[0] < 0.95 * (1 - 1e-9)


def test_a_gain_of_the_search_is_that_of_the_blade_in_each_draw():
    """On the model: the hollow of a draw is the blade's and its single radii's, two draws, worked out apart."""
    inputs = (Input("hollow_factor", stats.uniform(0.8, 0.6), "t"),)
    radii = np.geomspace(6 * FT, 16 * FT, 9)
    places = zones.search_places(setting(), radii, (PAIR,), Sampling(inputs, 8, 3))[:2]
    logs = []
    for there, named, (_, span, _) in places:
        ground = blade(8, 12, section=section_of(hollow_m=12.7e-3 * named["hollow_factor"]))
        costs = statics(ground, there, PAIR)
        logs.append(math.log(frontier_gain(costs, span, line_costs(there, span, PAIR)).gain))
    found = zones.mean_log_gain(blade(8, 12), PAIR, places, [HeldLine(*p[2]) for p in places])
    assert found == pytest.approx(np.mean(logs), abs=1e-9) and abs(logs[0] - logs[1]) > 1e-6


def test_a_place_that_cannot_be_is_left_out_and_a_missing_gain_is_as_bad_as_none(monkeypatch):
    """A hollow of nothing cannot be built; a blade without a gain in one place has none at all."""
    bad = (Input("hollow_factor", stats.uniform(0.0, 1e-6), "t"),)
    assert zones.search_places(setting(), np.array([2.0, 3.0]), (PAIR,), Sampling(bad, 8, 3)) == ()
    assert zones.mean_log_gain(TEN, PAIR, (), ()) == -10.0
    monkeypatch.setattr(zones, "statics", lambda *_: np.array([1.0, NAN]))
    places = held(2.0)
    assert zones.mean_log_gain(blade(8, 12), PAIR, places, [HeldLine(*places[0][2])]) == -10.0


def test_the_line_of_the_search_is_the_models_own():
    """33 radii over the stated line, continued by their own ratio; a gain is that of the frontier worked out alone."""
    radii = np.geomspace(6 * FT, 16 * FT, 9)
    line = HeldLine(*zones.single_radii(setting(), radii, (PAIR,)))
    assert len(line.radii) == 33 and line.span[0] <= 4.8 * FT * 1.0001 and line.span[-1] >= 20 * FT * 0.9999
    mine = blade(8, 12)
    costs = statics(mine, setting(), PAIR)
    alone = frontier_gain(costs, line.span, line_costs(setting(), line.span, PAIR))
    assert line.gain(PAIR, costs, mine.recipe).gain == pytest.approx(alone.gain, rel=1e-9)
