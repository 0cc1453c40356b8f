"""Certainty, other physics, parts and validation: what they take, and what they make of it."""

from dataclasses import replace

import pytest

from experiments.analysis.grinding import check
from experiments.request.compose import composed
from experiments.request.objectives import Weighting
from experiments.request.opinions import Felt
from experiments.run.workers import HERE, silent
from experiments.studies.certainty import study as certainty
from experiments.studies.findings import study as findings
from experiments.studies.model_form import study as model_form
from experiments.studies.part import study as part
from experiments.studies.validation import study as validation
from experiments.studies.validation.checks import Check
from sim.errors import BladeError
from tests.experiments.analysis.hand import TEN, blade, request, setting
from tests.experiments.analysis.judging.opinions_by_hand import OPINIONS
from tests.experiments.analysis.test_exactly import SHOP_WORDS
from tests.experiments.studies.test_judging_search_run import OWN

FELT = OPINIONS.felt

FIRST = {
    "number": "1",
    "part": "textbook",
    "refuted_by": "another number",
    "title": "t",
    "unit": "m",
    "ours": 1.5,
    "gap": 0.0,
    "verdict": "agrees",
    "source": "s",
    "note": "n",
}
DRAWN = {"uncertainty": OWN["uncertainty"], "draws": 2, "seed": 9}


def test_certainty_draws_for_one_skater_twice_to_a_million_times(monkeypatch):
    asked = request([TEN])
    monkeypatch.setattr(certainty, "read_request", lambda rest: asked)
    for draws in (2, 1_000_000):
        plan = certainty.read(DRAWN | {"draws": draws}, {})
        assert (plan.request, plan.sampling.draws, plan.sampling.seed) == (asked, draws, 9)
    for draws in (1, 1_000_001):
        with pytest.raises(BladeError, match="draws"):
            certainty.read(DRAWN | {"draws": draws}, {})
    many = replace(asked, cases=asked.cases * 3)
    monkeypatch.setattr(certainty, "read_request", lambda rest: many)
    with pytest.raises(BladeError, match="1000000 draws for 3 blades do not fit in memory; use at most 666666"):
        certainty.read(DRAWN | {"draws": 1_000_000}, {})


def test_certainty_is_all_draws_of_its_inputs(monkeypatch):
    plan = certainty.Plan(request([TEN]), certainty.Sampling(("inputs",), 7, 3))
    monkeypatch.setattr(certainty, "run_draws", lambda *given: given)
    assert certainty.run(plan, HERE, silent) == (plan.request, ("inputs",), 7, 3, HERE, silent)


@pytest.mark.parametrize(
    ("weights", "fine"), [({"turn_drag": 1.0}, True), ({"turn_drag": 1.0, "turn_time": 1.0}, False)]
)
def test_other_physics_need_a_weighting_of_what_stands_still(monkeypatch, weights, fine):
    asked = request([TEN], scheme=Weighting("w", weights, dict.fromkeys(weights, "lower")))
    monkeypatch.setattr(model_form, "read_request", lambda rest: asked)
    monkeypatch.setattr(model_form, "read_ice", lambda fields: fields.mapping)
    own = DRAWN | {"draws": 16, "other_ice": {"name": "x"}, "other_hardness": 0.2, "other_mass": "90 kg"}
    if fine:
        plan = model_form.read(own, {})
        assert plan.request is asked and plan.others == model_form.Others({"name": "x"}, 0.2, 90.0)
        assert (plan.sampling.draws, plan.sampling.seed) == (16, 9)
        with pytest.raises(BladeError, match="draws: 15"):
            model_form.read(own | {"draws": 15}, {})
        return
    with pytest.raises(BladeError, match="a weighting of static measures only"):
        model_form.read(own, {})


# ---------------------------------------------------------------- findings


def test_findings_are_of_four_named_blades_and_sixteen_draws_at_least(monkeypatch):
    lines = {"from": "-20 mm", "to": "20 mm", "count": 2}
    own = DRAWN | {
        "draws": 16, "glide_lines": lines, "turn_lines": lines, "other_ice": {"name": "x"}, "other_hardness": 0.2,
        "other_mass": "90 kg", "order_draws": 16, "stands": {"back": "-15 mm", "here": "0 mm"}, "grinding": SHOP_WORDS,
        "one_place_pair": ["glide_drag_coefficient", "critical_ankle_stiffness"], "menu": {"what": "is asked"},
        "short_radius": "8 ft", "long_radius": "13 ft", "quick_enough": "0.35 s",
    }  # fmt: skip
    names = ("mid-flat short ends", "mid-flat long ends", "rear-flat", "rear-flat eased")
    asked = request([TEN, *(blade(8 + k / 10, name=name) for k, name in enumerate(names))])
    monkeypatch.setattr(findings, "read_stated", lambda rest: "stated")
    monkeypatch.setattr(findings, "assemble", lambda stated: asked)
    monkeypatch.setattr(model_form, "read_ice", lambda fields: fields.mapping)
    monkeypatch.setattr(findings.menus, "read_menu", lambda fields, stated: (fields.mapping, stated))
    plan = findings.read(own, {})
    assert plan.request is asked is plan.stances.request is plan.physics.request
    assert (plan.sampling.draws, plan.sampling.seed) == (16, 9) and plan.menu == ({"what": "is asked"}, "stated")
    assert (plan.physics.others.ice, plan.physics.sampling.draws) == ({"name": "x"}, 16)
    assert (plan.stances.glide_m.tolist(), plan.stances.turn_m.tolist()) == ([-0.02, -0.015, 0.02], [-0.02, 0.02, 0.03])
    assert plan.stands == ("back", "here") and plan.one_place == ("glide_drag_coefficient", "critical_ankle_stiffness")
    assert plan.at_stands[0].settings[0].states["glide"].line_m == pytest.approx(-0.030)
    for key, value in (("order_draws", 17), ("one_place_pair", ["turn_drag", "turn_drag"]),
                       ("one_place_pair", ["turn_drag", "turn_time"]), ("one_place_pair", ["turn_drag"]),
                       ("stands", {}),
                       ("stands", {"far": "-95 mm"})):  # fmt: skip
        with pytest.raises(BladeError, match=key if key != "stands" or not value else "off the steel|turned"):
            findings.read(own | {key: value}, {})
    with pytest.raises(BladeError, match="draws: 15 is not a plain number within 16"):
        findings.read(own | {"draws": 15}, {})
    with pytest.raises(BladeError, match="100000 draws for 50 blades"):
        many = replace(asked, cases=asked.cases * 10)
        monkeypatch.setattr(findings, "assemble", lambda stated: many)
        findings.read(own | {"draws": 100_000}, {})
    for k, name in enumerate(names):
        without = replace(asked, cases=asked.cases[: k + 1] + asked.cases[k + 2 :])
        monkeypatch.setattr(findings, "assemble", lambda stated, without=without: without)
        with pytest.raises(BladeError, match=f"'{name}' is missing"):
            findings.read(own, {})


# ---------------------------------------------------------------- parts


@pytest.fixture
def parts(monkeypatch):
    def made(asked, **own):
        monkeypatch.setattr(part, "read_request", lambda rest: asked)
        given = part.read({"grinding": SHOP_WORDS} | own, {"blade": "shared"})
        return given, part.run(given, HERE, silent)

    return made


def test_every_blade_has_a_folder_and_the_limits_it_breaks(parts):
    blades = [blade(9, name="fine"), blade(5, name="tight"), *(blade(9 + k / 10, name=f"b{k}") for k in range(9))]
    plan, found = parts(request(blades))
    assert [p.folder for p in found] == [f"parts/{n}" for n in ("01 02 03 04 05 06 07 08 09 10 11".split())]
    assert [p.candidate for p in found] == blades and plan.stock is None
    assert found[0].limits == () and [x.split(":")[0] for x in found[1].limits] == ["least radius"]


def test_a_part_may_be_ground_out_of_a_stated_curve(parts, monkeypatch):
    """6 ft out of 12 ft takes 14 cm squared over two, times the change of curvature: more than 1.5 mm."""
    monkeypatch.setattr(part, "read_candidate", lambda entry, shared, where: {"old": blade(12)}[entry])
    plan, (found,) = parts(request([blade(6.5)]), starting_curve="old")
    assert [x.split(":")[0] for x in found.limits] == ["steel available"]
    assert list(found.limits) == check(blade(6.5).recipe, plan.limits, blade(12).curve)


def test_a_part_is_the_same_for_every_skater(parts):
    two = replace(request([TEN]), settings=(setting(), setting()))
    with pytest.raises(BladeError, match="leave one of them"):
        parts(two)
    with pytest.raises(BladeError, match="starting_curves: unknown key"):
        parts(request([TEN]), starting_curves="x")


# ---------------------------------------------------------------- validation


def test_groups_are_computed_in_their_order_and_come_back_as_checks(monkeypatch):
    """A journal keeps a band of published values as a list; a single one stays a number."""
    made = {"band": Check(**FIRST, published=(1.0, 2.0)), "number": Check(**FIRST, published=3.0)}
    monkeypatch.setattr(validation, "GROUPS", {"a": lambda: [made["number"]], "b": lambda: [*made.values()]})
    found = validation.run(validation.Plan(FELT, ("b", "a")), HERE, silent)
    assert found == [made["band"], made["number"], made["number"]]
    assert validation._check(dict(FIRST, published=[1.0, 2.0])).published == (1.0, 2.0)
    assert set(validation.Plan(FELT).groups) >= {"hollow", "film", "rocking", "trade"}


def test_validation_takes_no_change_but_of_what_can_be_felt():
    config = composed(["experiment=validation", "results_dir=elsewhere", "opinions.felt_ratio.value=1.1"])[0]
    assert validation.read({}, config) == validation.Plan(Felt(1.1, 1e-3))
    with pytest.raises(
        BladeError, match=r"skater\.mass: validation has states of its own and takes no change but opin"
    ):
        validation.read({}, composed(["experiment=validation", 'skater.mass="81 kg"'])[0])
