"""Comparison, findings, sensitivity, map and sizes from their configs to their results, with hand-made answers."""

import math
from dataclasses import fields, replace
from types import SimpleNamespace

import numpy as np
import pytest

from experiments.analysis.optimizer import Effort
from experiments.request.comparison import Stated
from experiments.request.fields import Fields
from experiments.run.workers import HERE, silent
from experiments.studies.compare import study as compare
from experiments.studies.findings import study as findings
from experiments.studies.sensitivity import study as sensitivity
from experiments.studies.size_range import study as sizes
from experiments.studies.stance_map import study as stance_map
from sim.errors import BladeError
from sim.measures import STATIC
from sim.skater.body import Skater
from tests.experiments.analysis.hand import FT, PAIRS, TEN, blade, request, section_of, setting
from tests.experiments.analysis.judging.opinions_by_hand import OPINIONS
from tests.experiments.analysis.test_exactly import SHOP_WORDS
from tests.experiments.analysis.test_space_reading import ASKED
from tests.experiments.studies.test_judging_physics import answering, planned
from tests.experiments.studies.test_judging_search_and_sizes import stated
from tests.experiments.studies.test_judging_search_run import OWN

PAIR = ("turn_drag", "critical_ankle_stiffness")
ONE_PLACE = ("glide_drag_coefficient", "critical_ankle_stiffness")


# ---------------------------------------------------------------- the comparison


def known(name, radius_m, mass_kg):
    """Made-up measures: turn drag R, ankle stiffness mass/R, all others the radius and the mass."""
    return {"turn_drag": radius_m, "critical_ankle_stiffness": mass_kg / radius_m}.get(name, radius_m + mass_kg)


def worked(shared, item):
    """In place of the workers' part: answers of `known` for cases, and for single radii (runner length in m times)."""
    kind, i, what, radii = item
    mass = shared.settings[i].skater.mass_kg
    if kind == "line":
        long = what.recipe.length_m / 0.28
        return np.array([[long * known(n, r, mass) for n in shared.on_line] for r in radii])
    return [one(c.recipe.radii_m[0], mass, shared.measures) for c in what]


def one(radius, mass, measures):
    return {"values": np.array([known(n, radius, mass) for n in measures]), "reasons": {}, "outcomes": {},
            "curve": {}, "contacts": {}, "series": {}}  # fmt: skip


@pytest.fixture
def compared(monkeypatch):
    def made(asked, steps=silent):
        monkeypatch.setattr(compare, "work", worked)
        monkeypatch.setattr(compare, "run_case", lambda c, s, m, full: one(c.recipe.radii_m[0], s.skater.mass_kg, m))
        return compare.compared(asked, HERE, steps)

    return made


def test_rows_lines_and_references_of_two_skaters(compared):
    """Costs R and m/R trade evenly: a candidate that is a single radius of 0.3048 ft steps has a gain of 1 on its own
    line; one of two radii whose costs are those of its first has 1.25 on a runner a quarter longer, where every single
    radius costs a quarter more."""
    heavy = setting(skater=Skater("heavy", 100.0))
    blades = [blade(8, name="a"), blade(12, 12.5, name="long", length_m=0.35)]
    line = tuple(np.geomspace(6 * FT, 16 * FT, 35))
    first = request(blades, pairs=(PAIR,), line_m=line)
    cases = (*first.cases, *(replace(c, index=c.index + 2, setting=heavy) for c in first.cases))
    results = compared(replace(first, cases=cases, settings=(first.settings[0], heavy), detail="static"))
    assert [(r.index, r.candidate, r.skater) for r in results.rows] == [
        (0, "a", "adult"), (1, "long", "adult"), (2, "a", "heavy"), (3, "long", "heavy")]  # fmt: skip
    for row in results.rows:
        radius, mass = (8 if row.candidate == "a" else 12) * FT, 80.0 if row.skater == "adult" else 100.0
        assert row.values["turn_drag"] == radius and row.values["critical_ankle_stiffness"] == mass / radius
        assert row.gains[PAIR].gain == pytest.approx(1.0 if row.candidate == "a" else 1.25, rel=3e-4)
        assert row.score == pytest.approx(0.75 * math.log2(10 * FT / radius) - 0.25 * (
            math.log2((10 * FT + mass) / (radius + mass))))  # fmt: skip
    assert results.line_radii.tolist() == list(line) and set(results.line) == {"adult", "heavy"}
    for name, mass in (("adult", 80.0), ("heavy", 100.0)):
        assert results.line[name]["turn_drag"] == pytest.approx(line), "on the reference's own runner"
        assert results.line[name]["critical_ankle_stiffness"] == pytest.approx(mass / np.array(line))
        base = results.references[name]
        assert (base.index, base.candidate, base.values["turn_drag"]) == (-1, "ten", 10 * FT)
    assert set(results.line["adult"]) == set(STATIC) and "turn_time" not in results.measures


def test_a_comparison_says_how_far_it_is(compared):
    """Two portions of one blade each and four portions of 53 single radii: 35 and, at 1/34 of log(2.5) each, 9 more at
    both ends to cover 0.8 x 2 m and 1.25 x 5 m."""
    steps = []
    asked = request([blade(8, name="a"), blade(9, name="b")], line_m=tuple(np.geomspace(2.0, 5.0, 35)), detail="static")
    compared(asked, lambda *step: steps.append(step))
    assert steps == [(k, 6) for k in range(1, 7)]


@pytest.mark.parametrize(
    ("count", "detail", "sizes"),
    [
        (64, "static", [1] * 64), (65, "static", [2] * 32 + [1]), (129, "static", [3] * 43),
        (64 * 64, "static", [64] * 64), (64 * 64 + 1, "static", [64] * 64 + [1]), (64 * 65, "static", [64] * 65),
        (192, "measures", [3] * 64), (193, "measures", [4] * 48 + [1]), (300, "full", [4] * 75),
    ],
)  # fmt: skip
def test_cases_go_out_in_64_portions_of_no_more_than_a_worker_takes_at_once(count, detail, sizes):
    """64 static cases at most, or 4 that are rolled."""
    asked = replace(request([TEN], detail=detail), cases=request([TEN]).cases * count)
    cuts = compare._portions(asked, {id(c.setting): 7 for c in asked.cases})
    assert [len(cases) for _, cases in cuts] == sizes and {place for place, _ in cuts} == {7}


def test_a_portion_is_under_one_setting():
    two = [setting(), setting()]
    cases = tuple(replace(request([TEN]).cases[0], index=i, setting=two[i >= 67]) for i in range(130))
    asked = replace(request([TEN], detail="static"), cases=cases, settings=tuple(two))
    cuts = compare._portions(asked, {id(s): i for i, s in enumerate(two)})
    assert [(place, [c.index for c in part]) for place, part in cuts[21:25]] == [
        (0, [63, 64, 65]), (0, [66]), (1, [67, 68, 69]), (1, [70, 71, 72])]  # fmt: skip


def test_single_radii_go_out_by_sixteen_and_come_back_in_one_table():
    assert [list(map(int, part)) for part in compare._together(range(35))] == [
        list(range(16)), list(range(16, 32)), [32, 33, 34]]  # fmt: skip
    short, long = tuple(range(1, 18)), tuple(range(1, 34))  # 2 and 3 portions
    spans = {(0, TEN): short, (1, TEN): long}
    parts = [np.array([[k * r, 10.0 * k * r] for r in part]) for k, span in ((1, short), (2, long))
             for part in compare._together(span)]  # fmt: skip
    found = compare._lines_of(spans, parts, ("a", "b"), np.array([3.0, 4.0, 5.0]))
    assert [len(p) for p in parts] == [16, 1, 16, 16, 1]
    for k, (key, span) in enumerate(spans.items(), 1):
        assert found[key].span.tolist() == list(span) and found[key].radii.tolist() == [3, 4, 5]
        assert found[key].table["a"].tolist() == [k * r for r in span]
        assert found[key].table["b"].tolist() == [10 * k * r for r in span]
        assert compare._as_stated(found[key])["b"].tolist() == [30 * k, 40 * k, 50 * k]


def test_a_line_goes_on_as_far_as_the_blades_on_its_runner_ask_for():
    """The reference's own from 0.8 x 2 m to 1.25 x 5 m; the runner with a hollow of 16 mm to 1.25 x 20 ft."""
    hollow = section_of(2.9e-3, 16e-3)
    blades = [blade(8, name="a"), blade(9, 20, name="b", section=hollow)]
    asked = request(blades, line_m=tuple(np.geomspace(2.0, 5.0, 35)), detail="static")
    held = [(0, TEN), (0, blade(10, name="ten", section=hollow))]
    spans = compare._spans(asked, held)
    assert list(spans) == held
    for key, longest in zip(held, (5.0, 20 * FT)):
        steps = np.diff(np.log(spans[key]))
        assert steps == pytest.approx([math.log(2.5) / 34] * len(steps))
        assert spans[key][1] > 1.6 >= spans[key][0] * (1 - 1e-12)
        assert spans[key][-2] < 1.25 * longest <= spans[key][-1] * (1 + 1e-12)


# ---------------------------------------------------------------- findings


def test_findings_are_put_together_of_their_parts(monkeypatch):
    """Draws as often as asked, from its seed; lines of the static pairs over the radii of the line; zones for them and
    for the pair at one place."""
    asked = {}
    monkeypatch.setattr(findings, "run_draws", lambda r, inputs, draws, seed, *_: asked.update(
        draws=(inputs, draws, seed)) or "draws")  # fmt: skip
    for name in ("stance_map", "model_form"):
        monkeypatch.setattr(findings, name, SimpleNamespace(run=lambda plan, *_: plan))
    monkeypatch.setattr(findings, "line_costs", lambda one, radii, pair: radii * len(pair[0]))
    monkeypatch.setattr(
        findings.zones, "best_zones", lambda r, pairs, limits, sampling, *_: (pairs, limits, sampling.seed)
    )
    monkeypatch.setattr(findings.menus, "menus", lambda plan, limits, sampling, *_: (plan, limits, sampling.seed))
    monkeypatch.setattr(findings.paired, "hold_against", lambda at, stands, sampling, *_: (at, stands, sampling.seed))
    monkeypatch.setattr(findings, "surroundings", lambda r: "around")
    monkeypatch.setattr(findings.rest_of_game, "play", lambda r, asked, sampling, *_: ("game", asked, sampling.seed))
    monkeypatch.setattr(findings, "trade_rules", lambda felt: [felt])
    plan = SimpleNamespace(request=request([TEN], pairs=PAIRS, opinions=OPINIONS), stances="map",
                           physics="forms", asked="radii",
                           limits="limits", stands=("back",), at_stands="there", one_place=ONE_PLACE, menu="menu",
                           sampling=SimpleNamespace(inputs="inputs", draws=16, seed=5))  # fmt: skip
    found = findings.run(plan, HERE, silent)
    assert (found.draws, asked["draws"], found.stances, found.physics) == ("draws", ("inputs", 16, 5), "map", "forms")
    assert found.game == ("game", "radii", 5) and found.menus == ("menu", "limits", 5)
    assert found.zones == ((*PAIRS[:2], ONE_PLACE), "limits", 5) and found.paired == ("there", ("back",), 5)
    assert (found.surroundings, found.rules) == ("around", (OPINIONS.felt,))
    assert set(found.line) == set(PAIRS[:2])
    assert found.line[PAIRS[1]] == pytest.approx(np.array([6 * FT, 16 * FT]) * len("turn_drag"))


# ---------------------------------------------------------------- sensitivity and map

STATED = {"uncertainty": OWN["uncertainty"], "seed": 4, "subject": "nine", "outputs": ["turn_drag"], "trajectories": 2,
          "base_samples": 64}  # fmt: skip


def test_a_sensitivity_is_of_one_blade_of_the_request(monkeypatch):
    asked = request([TEN, blade(9, name="nine"), blade(8, name="eight")])
    monkeypatch.setattr(sensitivity, "read_request", lambda rest: asked)
    plan = sensitivity.read(STATED, {})
    assert [c.candidate.name for c in plan.request.cases] == ["nine"] and plan.outputs == ("turn_drag",)
    assert (plan.trajectories, plan.base_samples, plan.seed, len(plan.inputs)) == (2, 64, 4, 2)
    for key, fine, refused in (("trajectories", (2, 10_000), (1, 10_001)), ("subject", ("ten",), ("nobody",)),
                               ("base_samples", (2, 4, 65_536), (1, 3, 96, 131_072)),
                               ("outputs", (["turn_drag", "pitch_bias"],), (["turn_drag", "turn_time"],))):  # fmt: skip
        for value in fine:
            sensitivity.read(STATED | {key: value}, {})
        for value in refused:
            with pytest.raises(BladeError, match=key):
                sensitivity.read(STATED | {key: value}, {})


def test_screening_and_indices_say_together_how_far_they_are(monkeypatch):
    """10 paths of 3 inputs are 40 points, and 8 x 5 = 40 may follow; one input moves anything, so that 8 x 3 do."""
    steps = []

    def drawn(*given):
        for done in range(1, len(given[6]) // 4 + 1):
            given[5](done, 10)
        return answering(lambda scuff, **_: scuff)(*given)

    monkeypatch.setattr(sensitivity, "run_draws", drawn)
    sensitivity.run(planned(base_samples=8), HERE, lambda *step: steps.append(step))
    assert steps == [(4 * k, 80) for k in range(1, 11)] + [(40 + 4 * k, 64) for k in range(1, 7)]


def test_an_index_is_made_for_whatever_varies_at_all(monkeypatch):
    """A spread of 2e-12 varies and one of 0.5e-12 does not."""
    for size, found in ((2e-12, True), (0.4e-12, False)):
        monkeypatch.setattr(sensitivity, "_samples", lambda plan, draws, size=size: {
            "y": np.linspace(0.0, size, len(draws.points))})  # fmt: skip
        monkeypatch.setattr(sensitivity, "run_draws", answering(lambda scuff, **_: scuff))
        assert bool(sensitivity.run(planned(base_samples=8), HERE, silent).indices) is found


@pytest.mark.parametrize(("count", "fine"), [(2, True), (201, True), (1, False), (202, False)])
def test_places_of_a_map_along_each_line(count, fine):
    stated = Fields({"from": "-30 mm", "to": "20 mm", "count": count}, "glide_lines")
    if not fine:
        with pytest.raises(BladeError, match=r"glide_lines\.count"):
            stance_map._read_range(stated)
        return
    found = stance_map._read_range(stated)
    assert len(found) == count and np.diff(found) == pytest.approx([0.05 / (count - 1)] * (count - 1))
    assert (found[0], found[-1]) == (pytest.approx(-0.03), pytest.approx(0.02))


def test_lines_of_a_map_stay_on_the_steel_of_every_blade(monkeypatch):
    """Half of 280 mm is 140 mm, half of 240 mm is 120; the ends turn up over the last 20 mm."""
    usual = {"from": "-20 mm", "to": "20 mm", "count": 2}
    for length, far in ((0.28, 140), (0.24, 120)):
        asked = request([TEN, blade(9, name="other", length_m=length)])
        monkeypatch.setattr(stance_map, "read_request", lambda rest, asked=asked: asked)
        for key in ("glide_lines", "turn_lines"):
            ahead = 15 if key == "turn_lines" else 0  # the pivot on the forefoot moves ahead of the turn
            for ends in ({"to": f"{far - 20.1 - ahead} mm"}, {"from": f"{20.1 - far} mm"}):
                stance_map.read({"glide_lines": usual, "turn_lines": usual} | {key: usual | ends}, {})
            for ends in ({"to": f"{far - ahead} mm"}, {"from": f"{-far} mm"}):
                wanted = rf"{key}: a load line of -?{far} mm is off the steel of '.*'; stay within \+-{far} mm"
                with pytest.raises(BladeError, match=wanted):
                    stance_map.read({"glide_lines": usual, "turn_lines": usual} | {key: usual | ends}, {})


def test_surroundings_are_asked_one_by_one_over_the_whole_line():
    """Nine masses, six temperatures, nine hollows, each its own block; under the stated setting, nothing rolled."""
    asked = []

    def answers(function, places, shared, progress):
        asked.append((function, shared))
        return [np.array([[value]]) for _, value in places]

    one = request([TEN], one=setting(scenarios={"stride": 0}), pairs=PAIRS, line_m=(6 * FT, 7 * FT, 16 * FT))
    found = stance_map.gains_around(one, SimpleNamespace(map=answers), silent)
    assert {n: v[:, 0, 0].tolist() for n, v in found.items()} == {
        n: v.tolist() for n, (v, _) in stance_map.SURROUNDINGS.items()}  # fmt: skip
    ((function, (candidates, there, pairs, radii)),) = asked
    assert function is stance_map.gains_at and candidates == (TEN,) and pairs == PAIRS[:2] and there.scenarios == {}
    assert radii[0] == pytest.approx(6 * FT) and np.diff(np.log(radii)) == pytest.approx([math.log(16 / 6) / 32] * 32)


# ---------------------------------------------------------------- sizes

RANGE = {"sizes": [{"name": "small", "mass": "40 kg", "length": "225 mm"}, {"name": "usual", "mass": "80 kg",
         "length": "280 mm", "height": "1.8 m"}], "rules": ["scale", "hold"], "space": ASKED, "grinding": SHOP_WORDS,
         "objectives": ["turn_drag", "push_hold_angle"], "evaluations": 24, "population": 8, "seed": 3}  # fmt: skip


@pytest.fixture
def ranged(monkeypatch):
    """The plan of these keys; a request of the skater's own mass and runner in place of an assembled one."""

    def assembled(asked):
        (person,) = asked.skaters
        length = 0.28 if math.isnan(person.blade_length_m) else person.blade_length_m
        there = setting(skater=person.usual, reference=blade(10, name="ten", length_m=length))
        return request([blade(13, 8, name="design", length_m=length)], there)

    def made(entries=1, skaters=1, **change):
        bare = Stated(**dict.fromkeys(f.name for f in fields(Stated)))
        asked = replace(bare, entries=("entry",) * entries, skaters=(stated(),) * skaters)
        monkeypatch.setattr(sizes, "read_stated", lambda rest: asked)
        monkeypatch.setattr(sizes, "assemble", assembled)
        return sizes.read(RANGE | change, {})

    return made


def test_every_size_has_its_own_skater_runner_and_space(ranged):
    plan = ranged()
    assert [size.name for size in plan.sizes] == ["small", "usual"] and plan.rules == ("scale", "hold")
    found = [(s.request.settings[0].skater.mass_kg, s.space.base.length_m, s.space.radii_m) for s in plan.sizes]
    assert found == [(40.0, 0.225, (2.0, 4.5)), (80.0, 0.28, (2.0, 4.5))]
    assert plan.request.settings[0].skater.mass_kg == 80.0 and plan.effort == Effort(8, 24, 3)
    assert plan.objectives == (("turn_drag", "lower"), ("push_hold_angle", "higher"))
    assert plan.limits.least_radius_m == pytest.approx(6 * FT)


def test_a_range_carries_one_design_of_one_skater_to_at_most_a_hundred_sizes(ranged):
    many = [{"name": f"s{k}", "mass": "80 kg", "length": "280 mm"} for k in range(101)]
    assert len(ranged(sizes=many[:100]).sizes) == 100
    for change, words in (({"sizes": many}, "101 sizes; list at most 100"), ({"entries": 2}, "carries one design"),
                          ({"skaters": 2}, "leave one to scale from"), ({"rules": ["stretch"]}, "rules: 'stretch'"),
                          ({"evaluations": 100_001}, "evaluations"), ({"seeds": 1}, "unknown key")):  # fmt: skip
        with pytest.raises(BladeError, match=words):
            ranged(**change)
    assert ranged(evaluations=100_000).effort.evaluations == 100_000


def test_every_size_is_measured_by_every_rule_in_their_order(ranged, monkeypatch):
    steps = []
    monkeypatch.setattr(sizes, "_carried", lambda plan, size, rule, workers: f"{size.name} {rule}")
    monkeypatch.setattr(sizes, "_measured", lambda plan, size, rule, recipe: (size.name, rule, recipe))
    found = sizes.run(ranged(), HERE, lambda *step: steps.append(step))
    assert found == [(s, r, f"{s} {r}") for s in ("small", "usual") for r in ("scale", "hold")]
    assert steps == [(1, 2), (2, 2)]
