"""A statement is about the blades, not about the draws: another seed never turns one round."""

from collections import Counter

import pytest

from experiments.analysis.draws import run_draws
from experiments.analysis.judging.statement import statement
from experiments.request.comparison import read_request
from experiments.request.compose import composed
from experiments.request.fields import Fields
from experiments.request.uncertainty import read_inputs
from experiments.run.workers import Workers
from experiments.studies.findings import study as findings

SKATERS = (["skater=adult"], ["skater=child"], ["skater=heavy"], ['skater.mass="60 kg"'])
PAIRS = "pairs=[[pivot_forefoot_toe_in, glide_drag_coefficient], [turn_drag, critical_ankle_stiffness], " \
    "[pivot_forefoot_toe_in, critical_ankle_stiffness]]"  # fmt: skip
AGAINST = {"beyond": {"on_the_line", "inside", "not_beyond"}, "inside": {"beyond", "on_the_line"},
           "on_the_line": {"beyond", "inside"}, "not_beyond": {"beyond"}, "cannot_tell": set()}  # fmt: skip


@pytest.mark.slow
def test_no_statement_is_turned_round_by_another_seed():
    """Eleven blades, four skaters, three pairs: 132 statements from 256 draws each of two seeds."""
    turned, kinds = [], Counter()
    for words in SKATERS:
        config = composed(["experiment=findings", PAIRS, *words])[0]
        inputs = read_inputs(Fields(config["uncertainty"], "uncertainty"))
        rest = {key: value for key, value in config.items() if key not in findings.KEYS}
        asked = read_request(rest | {"candidates": config["candidates"][1:]})
        with Workers(2) as workers:
            one, other = (run_draws(asked, inputs, 256, seed, workers) for seed in (1, 2))
        for i, blade in enumerate(one.candidates):
            for k, pair in enumerate(one.pairs):
                first, second = (statement(d.gain[:, i, k], asked.opinions).kind for d in (one, other))
                kinds[first] += 1
                if second in AGAINST[first]:
                    turned.append((words, blade, pair, first, second))
    print(dict(kinds))
    assert sum(kinds.values()) == 132 and not turned
    assert kinds["beyond"] > 5 and kinds["on_the_line"] > 5, "they are not all of one kind"
