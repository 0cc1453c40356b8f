"""The rule of defaults: what the program takes where nothing is drawn is the mean of the prior, for every input."""

import numpy as np
import pytest
from scipy import stats

from experiments.request.comparison import read_request
from experiments.request.compose import composed
from experiments.request.fields import Fields
from experiments.request.uncertainty import INPUTS, Normal, Uniform, read_inputs
from sim.ice.contact import Law

CONFIG = composed(["experiment=certainty"])[0]
SETTING = read_request(composed([])[0]).settings[0]
PRIORS = {i.name: i for i in read_inputs(Fields(dict(CONFIG["uncertainty"]), "uncertainty"))}
# inputs that are the value itself: what the shipped configuration takes for it
ITSELF = {
    "rebound_factor": SETTING.law.rebound_factor, "steel_sink": SETTING.law.sink, "roughness": SETTING.law.rough,
    "scuff": SETTING.law.scuff, "passive_share": SETTING.skater.passive_share,
    "guide_rate": SETTING.scenarios["stride"].guide_rate_rad_s,
}  # fmt: skip


@pytest.mark.parametrize("name", INPUTS)
def test_every_input_has_a_prior_whose_mean_is_the_default(name):
    assert name in PRIORS, f"{name} is drawn by no shipped config: give it a prior in configs/uncertainty/shop.yaml"
    neutral = 1.0 if name.endswith("_factor") else 0.0
    default = ITSELF.get(name, neutral)
    mean, width = PRIORS[name].law.mean(), PRIORS[name].law.std()
    print(f"{name}: mean of the prior {mean:g}, default {default:g}")
    assert abs(mean - default) <= 1e-9 * max(abs(default), width)
    assert width > 0 and PRIORS[name].why


@pytest.mark.parametrize("name", INPUTS)
def test_no_default_stands_at_the_end_of_its_prior(name):
    """At least a quarter of the draws on either side."""
    law = PRIORS[name].law
    low, high = law.ppf(np.array([0.25, 0.75]))
    assert low <= ITSELF.get(name, 1.0 if name.endswith("_factor") else 0.0) <= high


@pytest.mark.parametrize(
    ("ours", "theirs"),
    [(Normal(0.3, 0.02), stats.norm(0.3, 0.02)), (Uniform(-0.005, 0.015), stats.uniform(-0.005, 0.02))],
)
def test_the_priors_are_those_of_the_statistics_library(ours, theirs):
    """scipy.stats, value by value; only its time to load is not wanted where a request is read."""
    shares = np.array([1e-9, 0.05, 0.25, 0.5, 0.9, 1 - 1e-9])
    assert ours.ppf(shares) == pytest.approx(theirs.ppf(shares), rel=1e-14, abs=1e-17)
    assert (ours.mean(), ours.std()) == pytest.approx((theirs.mean(), theirs.std()), rel=1e-14)
    assert ours.support() == pytest.approx(theirs.support())


def test_the_law_of_the_shipped_config_is_what_python_takes_when_nothing_is_said():
    assert SETTING.law == Law()


def test_what_is_the_value_itself_reads_its_unit():
    """Kilowatts become watts once, at the door."""
    assert PRIORS["steel_sink"].law.support() == (0.0, 30e3)
    guided = [s.guide_rate_rad_s for s in SETTING.scenarios.values() if s.mode == "guided"]
    assert len(guided) == 5 and len(set(guided)) == 1, "one prior for all guided movements"
    assert PRIORS["height_shift"].law.support() == pytest.approx((-5e-3, 5e-3))
