"""Made-up skaters on made-up blades, what a shop would know of them, and a truth drawn wider than it allows for."""

from dataclasses import replace

import numpy as np

from experiments.analysis.draws import Shared, columns_of, evaluate_draws, run_draws, sample
from experiments.analysis.grinding import read_grinding
from experiments.analysis.judging.decide import Decision, Present, Wanted, decide, main_weights
from experiments.analysis.judging.verdict import KINDS, price
from experiments.analysis.judging.weights import log_gains, weighted
from experiments.analysis.shop import read_steps
from experiments.analysis.variants import varied_setting
from experiments.request.comparison import Request, assemble, read_stated
from experiments.request.compose import composed
from experiments.request.fields import Fields
from experiments.request.opinions import Opinions
from experiments.request.plain import CONFIGS, read_yaml
from experiments.request.recipe_files import own_folder
from experiments.request.uncertainty import Input, Normal, Uniform, read_inputs
from experiments.studies.recommend.steel import Stock, to_remove
from experiments.studies.recommend.study import KEYS, LINES, MEASURED_AT, wanted_of
from experiments.studies.recommend.use import Needs, read_needs
from sim.measures import STATIC
from sim.quantities import FOOT_M

USES = ("all_round", "defence", "distance", "forward", "goal")
COMPLAINTS = (0.4, 0.85)  # shares of skaters with none, and with one at most; the rest have two
ADULT_FROM_KG = 50  # lighter skaters are built as the child of configs/skater
WIDER_NORMAL, WIDER_UNIFORM = 1.5, 1.3  # times the width that the shop allows for: an assumption of ours
TRUE_DOUBT = 20.0  # the skater's own weights are Dirichlet(20 w) about what the shop was told; the shop takes 30
DRAWS = 512
COLUMNS = ("wider", "kind", "score", "passed_over", "passed_over_allowed", "complaints", "harmed", "helped")


def widened(one: Input) -> Input:
    """An input as the truth is drawn: wider about the same middle, but never across 0 where the shop's is not."""
    law = one.law
    if isinstance(law, Normal):
        return replace(one, law=Normal(law.mean(), WIDER_NORMAL * law.std()))
    low, high = law.support()
    middle, half = (low + high) / 2, WIDER_UNIFORM * (high - low) / 2
    bottom, top = middle - half, middle + half
    if low >= 0:
        bottom = max(bottom, 0.0)
    if one.name == "passive_share":
        top = min(top, 1.0)  # above 1 nothing topples
    return replace(one, law=Uniform(bottom, top))


def body(rng: np.random.Generator) -> list[str]:
    """Overrides that make a skater: 30 to 110 kg, height with the mass."""
    mass = float(rng.uniform(30, 110))
    tall = float(np.clip(1.76 * (mass / 78) ** 0.33 + rng.normal(0, 0.05), 1.15, 2.0))
    return [f"skater={'adult' if mass >= ADULT_FROM_KG else 'child'}", f"skater.mass={mass:.1f} kg",
            f"skater.height={tall:.2f} m"]  # fmt: skip


def present_blade(rng: np.random.Generator) -> dict:
    """The blade that a skater comes with: half of them one radius, the others two or three zones, 7 to 14 ft."""
    zones = int(rng.choice([1, 1, 2, 3]))
    radii = [f"{x / 2:g} ft" for x in rng.integers(14, 29, zones)]
    shares = [int(x) for x in rng.integers(2, 5, zones)]
    family = "single_radius" if zones == 1 else "zoned"
    return {"name": "present", "family": family, "radii": radii} | ({} if zones == 1 else {"shares": shares})


def shop(rng: np.random.Generator) -> tuple[Request, dict]:
    """(present blade first, then the shop's list, under one skater where he stands; the rest of the config)."""
    config = composed(["experiment=recommend", "scenarios={}", *body(rng)])[0]
    own = {key: config.pop(key) for key in KEYS}
    request = assemble(read_stated(config, [present_blade(rng), *own_folder(None)]))
    shift = float(rng.choice([-0.015, 0.0, 0.015]))
    setting = varied_setting(request.settings[0], dict.fromkeys(LINES, shift))
    cases = tuple(replace(case, setting=setting) for case in request.cases)
    return replace(request, cases=cases, settings=(setting,), pairs=()), own


def asked(own: dict, rng: np.random.Generator) -> Needs:
    """What one skater does and complains of."""
    use = read_yaml(str(CONFIGS / "use" / f"{rng.choice(USES)}.yaml"), "use")
    known = list(own["wishes"]["complaints"])
    said = rng.choice(known, int(np.searchsorted(COMPLAINTS, rng.random())), replace=False)
    return read_needs(Fields(use, "use"), Fields(own["wishes"], "wishes"), [str(x) for x in said], "mid")


def rehearse(shared: int, seed: int) -> np.ndarray:
    """(2 shared, column) rows of one body on one blade with `shared` wishes, columns as COLUMNS.

    What a worker does. Draws are the shop's; advice is judged by two truths each that the shop does not know: one drawn
    wider than it allows for, and one just as it does, which tells what the wider one alone does to the rates.
    """
    rng = np.random.default_rng([seed, 77])
    request, own = shop(rng)
    inputs = read_inputs(Fields(own["uncertainty"], "uncertainty"))
    draws = run_draws(request, inputs, DRAWS, seed)
    stock = Stock((np.nan,), np.nan, read_grinding(Fields(own["grinding"], "grinding")), read_steps(Fields(own, "")))
    steel, refused = to_remove(request, stock, True, MEASURED_AT, np.nan, again=-1)
    depth = np.array([np.nan if x is None else x.most_m for x in steel[1:]])
    able = np.array([not x for x in refused[1:]])
    columns = columns_of(inputs, request.candidates)
    there = Shared(request.candidates, request.settings[0], tuple(columns), (), np.array([6, 16]) * FOOT_M)
    truths = [
        evaluate_draws(there, sample(of, columns, shared, seed + 1_000_000))[0]
        for of in ([widened(one) for one in inputs], inputs)
    ]
    opinions = replace(request.opinions, measurements=())
    rows = []
    for k in range(shared):
        wanted = replace(wanted_of(asked(own, rng)), menu=())
        measures = [STATIC.index(name) for name in wanted.measures]
        present = Present(draws.values[:, :, measures], depth, able)
        decision = decide([present], wanted, opinions, seed * 1000 + k)
        for wider, values, doubt in ((1, truths[0], TRUE_DOUBT), (0, truths[1], opinions.weight_doubt)):
            true = log_gains(values[k : k + 1, 1:, measures], values[k : k + 1, 0, measures], list(wanted.better))[0]
            weights = true_weights(wanted.weights, doubt, rng)
            rows.append([wider, *judged(decision, true, weights, wanted, price(depth, opinions), able, opinions)])
    return np.array(rows, float)


def true_weights(told: np.ndarray, doubt: float, rng: np.random.Generator) -> np.ndarray:
    """(measure,) weights of the skater, of a Dirichlet of doubt x w about what the shop was told."""
    used, out = told > 0, np.zeros(len(told))
    out[used] = rng.dirichlet(doubt * told[used] / told.sum())
    return out


def judged(
    decision: Decision, true: np.ndarray, weights: np.ndarray, wanted: Wanted, prices: np.ndarray, able: np.ndarray,
    opinions: Opinions,
) -> list[float]:  # fmt: skip
    """One row, columns as COLUMNS after the first. true: (blade, measure) log2 gains really had; weights: wanted.

    score: of the blade meant, nan where there is none or it failed; passed_over: whether some blade that could be
    ground really pays, and _allowed: some of those that the complaints allow; harmed: whether a main measure of a
    complaint is really worse by more than 2 % under the advised blade; helped: whether every complaint is really
    better by its own weights.
    """
    score = weighted(weights, true[None])[0]
    pays = able & (score - np.where(able, prices, 0.0) > 0)
    best, harmed, helped = decision.verdict.best, False, True
    if decision.advised:
        least = -np.log2(1 + opinions.complaint_worse_by)
        for complaint in wanted.complaints:
            main = main_weights(complaint, opinions) > 0
            harmed |= bool((true[best, main] < least).any())
            helped &= float(weighted(complaint / complaint.sum(), true[None])[0, best]) > 0
    return [KINDS.index(decision.verdict.kind), score[best] if best >= 0 else np.nan, pays.any(),
            (pays & decision.harmless).any(), len(wanted.complaints), harmed, helped]  # fmt: skip
