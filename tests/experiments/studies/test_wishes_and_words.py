"""From draws to what a sheet says of a blade, and from use and complaints to weights: answers known by hand."""

import math

import numpy as np
import pytest

from experiments.analysis.draws import Draws
from experiments.analysis.judging.ratios import deciding, ratios
from experiments.analysis.scores import scores
from experiments.request.compose import composed
from experiments.request.fields import Fields
from experiments.request.objectives import Weighting
from experiments.studies.recommend.sentences import feel, number
from experiments.studies.recommend.use import read_needs
from sim.errors import BladeError
from sim.measures import STATIC
from tests.experiments.analysis.judging.opinions_by_hand import OPINIONS

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


def test_ratios_are_taken_within_each_draw():
    # the 20 % shared scatter cancels: only the blade's own 1 % is left
    low, middle, high = ratios(draws({"shorter": (0.8, 1.0)}, 0.01), PIVOT, 2)
    assert middle == pytest.approx(0.8, rel=2e-3) and (high - low) / middle == pytest.approx(2 * 1.645 * 0.01, rel=0.15)


def test_sentences_only_where_the_interval_supports_them():
    def said(made):
        return feel({name: ratios(made, name, 2) for name in (PIVOT, GLIDE)}, OPINIONS)

    gains, drawbacks, rest = said(draws({"shorter": (0.8, 1.1)}, 0.01))
    assert gains[0].startswith("Pivots easier on the toes: 20 %") and drawbacks[0].startswith("Glides less far: 10 %")
    assert (len(gains), len(drawbacks), rest) == (1, 1, [])
    assert said(draws({"shorter": (0.97, 1.03)}, 0.1)) == ([], [], ["Too close to call: pivot on the toes, glide."])


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
