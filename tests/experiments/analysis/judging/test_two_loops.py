"""What knowing the stance is worth, by regression on draws in hand and by two loops through the model itself."""

from dataclasses import replace
from functools import partial

import numpy as np
import pytest
from scipy.stats import qmc

from experiments.analysis.draws import columns_of, run_draws, sample
from experiments.analysis.judging.measuring import normal_scores, value_of_knowing
from experiments.request.comparison import read_request
from experiments.request.compose import composed
from experiments.request.fields import Fields
from experiments.request.objectives import Weighting
from experiments.request.uncertainty import read_inputs
from experiments.run.workers import Workers
from experiments.studies.compare import study as compare

BLADES = (
    "candidates=[{family: single_radius, radii: [10 ft]}, {family: single_radius, radii: [8 ft]},"
    "{family: rear_flat, radii: [13 ft, 10 ft, 7 ft]}, {family: mid_flat, radii: [8 ft, 13 ft, 8 ft]}]"
)
STANCE = ("glide_line_shift", "turn_line_shift", "push_line_shift", "pivot_line_shift")
OUTER, INNER = 64, 24
SCHEME = Weighting(
    "hand", {"pivot_forefoot_toe_in": 1.0, "turn_drag": 1.0, "critical_ankle_stiffness": 1.0},
    {"pivot_forefoot_toe_in": "lower", "turn_drag": "lower", "critical_ankle_stiffness": "lower"},
)  # fmt: skip


@pytest.mark.slow
def test_the_regression_agrees_with_two_loops_through_the_model():
    """Outer: 64 stances; inner: the same 24 draws of all else at each. The value of knowing the stance is the mean over
    stances of the best blade's mean score, less the best of the overall means (blade 0 is kept: its score is 0)."""
    config = composed([BLADES])[0]
    inputs = read_inputs(Fields(config["uncertainty"], "uncertainty"))
    request = read_request({k: v for k, v in config.items() if k not in compare.KEYS} | {"weighting": {
        "name": "hand", "weights": SCHEME.weights}})  # fmt: skip
    request = replace(request, pairs=())
    columns = columns_of(inputs, request.candidates)
    places = [columns.index((name, -1)) for name in STANCE]
    with Workers(2) as workers:
        run = partial(run_draws, request, inputs, workers=workers)
        points = sample(inputs, columns, 1024, 1)
        score = run(1024, 1, points=points).score
        net = score - score[:, :1]
        z = np.column_stack([normal_scores(points[:, j]) for j in places])
        regressed = value_of_knowing(z, net)
        stances = 0.010 * qmc.MultivariateNormalQMC(np.zeros(4), rng=np.random.default_rng(5)).random(OUTER)
        rest = sample(inputs, columns, INNER, 7)
        looped = np.repeat(rest, OUTER, axis=0)
        looped[:, places] = np.tile(stances, (INNER, 1))
        found = run(INNER * OUTER, 1, points=looped).score.reshape(INNER, OUTER, -1)
    means = (found - found[:, :, :1]).mean(axis=0)
    two_loops = float(means.max(axis=1).mean() - means.mean(axis=0).max())
    print(f"value of knowing the stance, log2 of score: {regressed:.5f} by regression, {two_loops:.5f} by two loops")
    assert two_loops > 1e-3, "the stance matters for these blades"
    assert regressed == pytest.approx(two_loops, rel=0.15)
