"""A decision against the rule as it is written down, worked out draw by draw in plain Python on random draws."""

import math
import statistics
from dataclasses import replace

import numpy as np
import pytest

from experiments.analysis.judging.decide import Present, Wanted, decide
from tests.experiments.analysis.judging.opinions_by_hand import OPINIONS

STATED = replace(OPINIONS, weight_doubt=1e10)  # weights within 1e-5 of those stated, so that scores can be worked out
BETTER = ("lower", "higher", "lower")
NAMES = ("turn_drag", "push_hold_angle", "critical_ankle_stiffness")
DRAWS, BLADES = 60, 4


def made_up(rng, blades=1):
    """(present blades whose alternatives differ by a few percent, what is wanted): about every threshold at once."""
    middle, width = rng.normal(0, 0.02, (BLADES, 3)), rng.uniform(0.002, 0.05)
    presents = []
    for _ in range(blades):
        factors = np.exp(middle + rng.normal(0, 0.01, (BLADES, 3)) + width * rng.normal(size=(DRAWS, BLADES, 3)))
        base = rng.uniform(1, 3, (DRAWS, 1, 3))
        values = np.concatenate([base, base * factors], axis=1)
        if rng.random() < 0.2:
            values[rng.integers(DRAWS), 1 + rng.integers(BLADES)] = math.nan
        presents.append(Present(values, rng.uniform(0, 2e-3, BLADES), rng.random(BLADES) < 0.85))
    complaints = tuple(rng.integers(0, 4, 3) + np.eye(3, dtype=int)[rng.integers(3)]
                       for _ in range(int(rng.integers(3))))  # fmt: skip
    return presents, Wanted(NAMES, BETTER, rng.integers(1, 5, 3).astype(float), complaints)


def gain(present, d, blade, m):
    """log2 of how many times better a blade is than the present one in a draw."""
    before, after = present.values[d, 0, m], present.values[d, 1 + blade, m]
    return math.log2(after / before if BETTER[m] == "higher" else before / after)


def harms(present, blade, complaint):
    """Whether a blade is too often worse on a main measure, or too seldom better by the complaint's own weights."""
    for m in range(3):
        if complaint[m] > 0 and complaint[m] >= max(complaint) / 2:
            worse = [not gain(present, d, blade, m) >= -math.log2(1.02) for d in range(DRAWS)]
            if sum(worse) > 0.1 * DRAWS:
                return True
    better = [sum(complaint[m] * gain(present, d, blade, m) for m in range(3)) > 0 for d in range(DRAWS)]
    return sum(better) < 0.5 * DRAWS


def scores_of(presents, wanted, blade):
    """log2 of how many times better a blade is overall, draw by draw; of a pair the mean of both."""
    total = sum(wanted.weights)
    return [statistics.fmean(sum(wanted.weights[m] * gain(p, d, blade, m) for m in range(3)) / total for p in presents)
            for d in range(DRAWS)]  # fmt: skip


def price_of(presents, blade):
    """log2 of what a regrind must earn, on the mean of a pair."""
    return statistics.fmean(math.log2(1.005) + 1000 * p.steel_m[blade] * math.log2(1.02) for p in presents)


def mean_net(presents, wanted, blade):
    """Mean score less price, over the draws in which the blade did not fail."""
    known = [s for s in scores_of(presents, wanted, blade) if not math.isnan(s)]
    return statistics.fmean(known) - price_of(presents, blade)


def by_the_rule(presents, wanted):
    """(kind, best, passed over) by deciding what the words say, blade by blade."""
    found = {}
    for b in range(BLADES):
        scores, price = scores_of(presents, wanted, b), price_of(presents, b)
        found[b] = {
            "net": mean_net(presents, wanted, b), "better": sum(s > 0 for s in scores) / DRAWS,
            "pays": sum(s > price for s in scores) / DRAWS, "able": all(p.able[b] for p in presents),
            "harmless": not any(harms(p, b, c) for p in presents for c in wanted.complaints),
        }  # fmt: skip
    able = {b: f for b, f in found.items() if f["able"]}
    eligible = {b: f for b, f in able.items() if f["harmless"]}
    passed = -1
    if able:
        top = max(able, key=lambda b: able[b]["net"])
        if top not in eligible and able[top]["net"] > 0 and able[top]["better"] >= 0.7:
            passed = top
    if not eligible:
        return "leave", -1, passed
    best = max(eligible, key=lambda b: eligible[b]["net"])
    if eligible[best]["net"] > 0 and eligible[best]["better"] >= 0.9:
        return "regrind", best, passed
    if eligible[best]["net"] > 0 and eligible[best]["better"] >= 0.7:
        return "probably", best, passed
    if all(f["pays"] <= 0.3 for f in eligible.values()):
        return "leave", best, passed
    return "cannot_tell", best, passed


@pytest.mark.parametrize("blades", [1, 2])
def test_a_decision_is_what_the_rule_says(blades):
    """200 made-up cases; every verdict and every way to it occurs among them."""
    seen = []
    for case in range(200):
        presents, wanted = made_up(np.random.default_rng([blades, case]), blades)
        decision = decide(presents, wanted, replace(STATED, measurements=()), case)
        said = decision.verdict.kind, decision.verdict.best, decision.verdict.removed
        assert said == by_the_rule(presents, wanted), f"case {case}"
        seen.append((said[0], said[1] >= 0, said[2] >= 0))
        eligible = [b for b in range(BLADES) if all(p.able[b] for p in presents)
                    and not any(harms(p, b, c) for p in presents for c in wanted.complaints)]  # fmt: skip
        assert sorted(decision.order) == eligible, f"case {case}"
        nets = [mean_net(presents, wanted, b) for b in decision.order]
        assert nets == sorted(nets, reverse=True), f"case {case}"
        assert not decision.advised or decision.verdict.best in eligible
    assert {kind for kind, *_ in seen} == {"regrind", "probably", "leave", "cannot_tell"}
    assert ("leave", False, False) in seen and any(passed for *_, passed in seen)
