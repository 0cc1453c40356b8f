"""From draws to a verdict: invented draws whose answer is known by hand."""

import math

import numpy as np
import pytest

from experiments.analysis.draws import Draws
from experiments.analysis.judging.judge import choices, judge
from experiments.analysis.judging.ratios import deciding, ratios
from experiments.analysis.scores import scores
from experiments.request.compose import composed
from experiments.request.fields import Fields
from experiments.request.objectives import Weighting
from experiments.studies.recommend.sentences import feel, number
from experiments.studies.recommend.use import read_needs
from sim.errors import BladeError
from sim.measures import STATIC

NAMES = ("blade as measured", "refreshed", "shorter", "longer")
PIVOT, GLIDE = "pivot_forefoot_toe_in", "glide_drag_coefficient"
SCHEME = Weighting("test", {PIVOT: 1.0, GLIDE: 1.0}, {PIVOT: "lower", GLIDE: "lower"})


def draws(ratios: dict[str, tuple[float, float]], spread: float, count: int = 400) -> Draws:
    """Draws in which blade i has ratio (mean, spread in log) of pivot and glide to the first blade."""
    rng = np.random.default_rng(7)
    values = np.full((count, len(NAMES), len(STATIC)), 1.0)
    for i, name in enumerate(NAMES):
        for measure, mean in zip((PIVOT, GLIDE), ratios.get(name, (1.0, 1.0))):
            noise = np.exp(rng.normal(0, spread, count)) if i else 1.0
            values[:, i, STATIC.index(measure)] = mean * noise
    values *= np.exp(rng.normal(0, 0.2, count))[:, None, None]  # shared by all blades of a draw: must cancel
    references = values[:, 0]
    score = scores(values, references, SCHEME)
    return Draws(NAMES, (), (), np.zeros((count, 1)), values, references, np.zeros((count, 4, 0)), score)


def judged(made, refused=("", "", "", ""), worth=1.01):
    return judge(made, choices(made, [None] * 4, list(refused)), 1, worth)


def test_a_clearly_better_blade_is_advised_with_its_runner_up():
    found = judged(draws({"shorter": (0.8, 1.0), "longer": (0.9, 1.0)}, 0.005))
    assert (found.kind, found.best.name, found.second.name) == ("change", "shorter", "longer")
    # score of 0.8 in one of two equal weights: log2(1/0.8)/2
    assert found.best.score[1] == pytest.approx(0.5 * math.log2(1.25), abs=2e-3)
    assert found.best.first > 0.99 and found.apart[0] > 0


def test_the_same_curve_fresh_is_named_so():
    assert judged(draws({"refreshed": (0.9, 0.95)}, 0.003)).kind == "refresh"


@pytest.mark.parametrize(
    ("ratios", "spread", "kind"),
    [
        ({"shorter": (0.97, 1.0)}, 0.05, "too_close"),  # the interval holds none
        ({"shorter": (0.99, 1.0)}, 0.0005, "too_close"),  # sure, but half a percent is not worth the steel
        ({"refreshed": (1.1, 1.1), "shorter": (1.2, 1.0), "longer": (1.0, 1.2)}, 0.01, "keep"),
    ],
)
def test_no_regrind_without_reason(ratios, spread, kind):
    assert judged(draws(ratios, spread)).kind == kind


def test_a_blade_that_cannot_be_ground_is_never_advised():
    made = draws({"shorter": (0.7, 0.9), "longer": (0.9, 1.0)}, 0.005)
    found = judged(made, ("", "", "cannot be ground: too thin", ""))
    assert found.best.name == "longer" and found.second.name == "refreshed"
    assert judged(made, ("", "no", "no", "no")).kind == "none"


def test_ratios_are_taken_within_each_draw():
    # the 20 % shared scatter cancels: only the blade's own 1 % is left
    low, middle, high = ratios(draws({"shorter": (0.8, 1.0)}, 0.01), PIVOT, 2)
    assert middle == pytest.approx(0.8, rel=2e-3) and (high - low) / middle == pytest.approx(2 * 1.645 * 0.01, rel=0.15)


def test_sentences_only_where_the_interval_supports_them():
    sure = feel(draws({"shorter": (0.8, 1.1)}, 0.01), 2)
    assert sure[0].startswith("Pivots easier on the toes: 20 %") and sure[1].startswith("Glides less far: 10 %")
    unsure = feel(draws({"shorter": (0.97, 1.03)}, 0.1), 2)
    assert len(unsure) == 1 and "Too close to call" in unsure[0] and "pivot on forefoot" in unsure[0]


def test_the_deciding_numbers_come_by_weight_and_say_when_unsure():
    made = draws({"shorter": (0.8, 1.02)}, 0.02)
    assert deciding(made, SCHEME, 2) == [PIVOT, GLIDE]
    first, second = (number(made, SCHEME, name, 2) for name in (PIVOT, GLIDE))
    assert (first["way"], second["way"]) == ("clearly better", "too close to call")
    assert first["clear"] and first["ratio"] == "0.80" and not second["clear"]
    assert first["better"] == "less is better: pivots easily"


def test_missing_numbers_are_said_not_faked():
    made = draws({}, 0.01)
    made.values[:, 2, STATIC.index(PIVOT)] = np.nan
    assert ratios(made, PIVOT, 2) is None
    assert number(made, SCHEME, PIVOT, 2)["ratio"] == "n/a" and not number(made, SCHEME, PIVOT, 2)["clear"]


# ---------------------------------------------------------------- wishes


def wished(says=(), stands="mid", **use):
    config = composed(["experiment=recommend"])[0]
    if use:
        config["use"]["shares"] = use
    return read_needs(Fields(config["use"], "use"), Fields(config["wishes"], "wishes"), list(says), stands)


def test_weights_are_shares_of_time_and_a_complaint_on_top():
    plain = wished(glide=1.0).scheme.weights
    assert plain["glide_drag_coefficient"] == pytest.approx(2 / 3)
    assert sum(plain.values()) == pytest.approx(1.0)
    more = wished(["slips_in_push"], glide=1.0).scheme.weights
    assert more["push_hold_angle"] == pytest.approx(0.5) and sum(more.values()) == pytest.approx(1.5)


def test_stances():
    assert wished(stands="back").shift_m == -0.015 and wished(stands="1/2 in").shift_m == pytest.approx(0.0127)
    assert math.isnan(wished(stands="wear").shift_m)


@pytest.mark.parametrize(
    ("says", "stands", "use", "words"),
    [
        (["falls_back_on_heel"], "mid", {}, "falls_back_on_heels"),
        ([], "front", {}, "forward"),
        ([], "200 mm", {}, "farther than anyone stands"),
        ([], "mid", {"glide": 0.5}, "add up to 0.50"),
        ([], "mid", {"glide": 0.5, "turns": 0.5}, "tight_turns"),
        ([], "mid", {"glide": -0.5, "starts": 1}, "use.shares.glide"),
    ],
)
def test_wishes_that_cannot_be_read(says, stands, use, words):
    with pytest.raises(BladeError, match=words):
        wished(says, stands, **use)
