"""Which uncertain inputs decide: Morris screening and Sobol indices of ratios to the reference, for one candidate."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from experiments.analysis.draws import DRAWS_TOGETHER, Draws, columns_of, ratio_samples, run_draws
from experiments.request.comparison import Request, one_setting, read_request
from experiments.request.fields import Fields
from experiments.request.objectives import measure_name
from experiments.request.uncertainty import Input, read_inputs, read_seed
from experiments.run.workers import Progress, Workers
from sim.errors import BladeError
from sim.measures import STATIC

KEYS = ("uncertainty", "seed", "subject", "outputs", "trajectories", "base_samples")
MORRIS_LEVELS = 8  # of a Morris trajectory
CUT = 0.005  # screening levels at 0 and 1 would be infinite normal draws
NOTHING = 1e-12  # an output that varies by less does not vary: no index can be formed


@dataclass(frozen=True)
class Plan:
    """One candidate, the inputs and outputs, and how many points are taken. request: of that candidate alone."""

    request: Request
    inputs: tuple[Input, ...]
    outputs: tuple[str, ...]
    trajectories: int
    base_samples: int
    seed: int


@dataclass(frozen=True)
class Index:
    """One line of the result: `first` with its 95 % confidence is mu* (morris) or the first-order index (sobol);
    `total` is sigma (morris) or the total index (sobol), which has a confidence too."""

    method: str
    output: str
    input: str
    first: float
    confidence: float
    total: float
    total_confidence: float | None


@dataclass(frozen=True)
class Sensitivity:
    """All indices of one candidate."""

    subject: str
    indices: tuple[Index, ...]

    @property
    def outputs(self) -> tuple[str, ...]:
        """Outputs with Sobol indices."""
        return tuple(dict.fromkeys(x.output for x in self.indices if x.method == "sobol"))

    def sobol(self, output: str) -> dict[str, Index]:
        """Sobol indices of an output by input."""
        return {x.input: x for x in self.indices if x.method == "sobol" and x.output == output}


def read(own: dict, rest: dict) -> Plan:
    """Check the config. Raises BladeError."""
    request, fields = one_setting(read_request(rest)), Fields(own, "")
    inputs, seed = read_inputs(fields.inner("uncertainty")), read_seed(fields)
    subject = fields.choice("subject", [case.candidate.name for case in request.cases])
    outputs = tuple(measure_name(Fields({}, "outputs"), str(n)) for n in fields.listed("outputs"))
    if not set(outputs) <= set(STATIC):
        raise BladeError("outputs: only static measures; a rolled one would take hours over thousands of draws.")
    paths, base = fields.count("trajectories", 2, 10_000), fields.count("base_samples", 2, 100_000)
    if base & (base - 1):
        raise BladeError(f"base_samples: {base} is no power of 2, which Sobol points need; use for example 64.")
    fields.done()
    one = replace(request, cases=tuple(x for x in request.cases if x.candidate.name == subject)[:1])
    return Plan(one, inputs, outputs, paths, base, seed)


def run(plan: Plan, workers: Workers, progress: Progress) -> Sensitivity:
    """Indices of the outputs and of each frontier gain. Raises BladeError where a draw failed.

    Indices are of the ratio to the reference, since that is what decides; one nan would silently spoil them all, so
    failed draws are refused with their count. Screening takes all inputs; what moves no output there is held at its
    median in what follows, which leaves draws for what does.
    """
    from SALib.sample import morris as morris_points  # heavy: not before the request is known to be good
    from SALib.sample import sobol as sobol_points

    names = [i.name for i in plan.inputs]
    cube = morris_points.sample(_problem(names), plan.trajectories, num_levels=MORRIS_LEVELS, seed=plan.seed)
    most = len(cube) + plan.base_samples * (len(names) + 2)
    draws = _evaluated(plan, cube, workers, lambda done, _: progress(DRAWS_TOGETHER * done, most))
    screened = _all_indices("morris", plan, names, cube, draws)
    moving = [name for name in names if any(x.first > 0 for x in screened if x.input == name)]
    if not moving:
        return Sensitivity(plan.request.cases[0].candidate.name, tuple(screened))
    part = sobol_points.sample(_problem(moving), plan.base_samples, calc_second_order=False, seed=plan.seed)
    full, begun = np.full((len(part), len(names)), 0.5), len(cube)
    full[:, [names.index(name) for name in moving]] = part
    total = begun + len(part)
    draws = _evaluated(plan, full, workers, lambda done, _: progress(begun + DRAWS_TOGETHER * done, total))
    found = _all_indices("sobol", plan, moving, part, draws)
    return Sensitivity(plan.request.cases[0].candidate.name, (*screened, *found))


def _problem(names: list[str]) -> dict:
    """Inputs over the unit cube, as SALib takes them."""
    return {"num_vars": len(names), "names": names, "bounds": [[0.0, 1.0]] * len(names)}


def _all_indices(method: str, plan: Plan, names: list[str], cube: np.ndarray, draws: Draws) -> list[Index]:
    """Indices of every output that varies, by the (draw, input) points of these inputs."""
    return [
        index for output, y in _samples(plan, draws).items() if np.ptp(y) >= NOTHING
        for index in _indices(method, output, _problem(names), cube, y, plan.seed)
    ]  # fmt: skip


def _evaluated(plan: Plan, cube: np.ndarray, workers: Workers, progress: Callable[[int, int], None]) -> Draws:
    """All draws of a cube of points."""
    inside = np.clip(cube, CUT, 1 - CUT)
    names = [i.name for i in plan.inputs]
    columns = columns_of(plan.inputs, plan.request.candidates)
    points = np.column_stack([plan.inputs[names.index(n)].law.ppf(inside[:, names.index(n)]) for n, _ in columns])
    draws = run_draws(plan.request, plan.inputs, len(points), plan.seed, workers, progress, points)
    failed = np.isnan(draws.values).all(axis=(1, 2))  # a measure that is not asked for may be missing
    if failed.any():
        raise BladeError(f"sensitivity: {int(failed.sum())} of {len(points)} draws failed; narrow the inputs.")
    return draws


def _samples(plan: Plan, draws: Draws) -> dict[str, np.ndarray]:
    """(draw,) values of every output and frontier gain, all finite."""
    samples = {name: ratio_samples(draws, name)[:, 0] for name in plan.outputs}
    samples |= {f"gain {' | '.join(p)}": draws.gain[:, 0, k] for k, p in enumerate(draws.pairs)}
    for label, y in samples.items():
        if not np.isfinite(y).all():
            raise BladeError(
                f"sensitivity: {label} could not be computed in {int((~np.isfinite(y)).sum())} of {len(y)} draws, and "
                "one such draw spoils every index; choose another output or pair, or narrow the inputs."
            )
    return samples


def _indices(method: str, output: str, problem: dict, cube: np.ndarray, y: np.ndarray, seed: int) -> list[Index]:
    from SALib.analyze import morris as morris_indices
    from SALib.analyze import sobol as sobol_indices

    if method == "morris":
        found = morris_indices.analyze(problem, cube, y, num_levels=MORRIS_LEVELS, seed=seed)
        columns = [found["mu_star"], found["mu_star_conf"], found["sigma"]]
    else:
        found = sobol_indices.analyze(problem, y, calc_second_order=False, seed=seed)
        columns = [found["S1"], found["S1_conf"], found["ST"], found["ST_conf"]]
    rows = zip(*(map(float, column) for column in columns))
    return [
        Index(method, output, name, *row, *[None] * (4 - len(columns))) for name, row in zip(problem["names"], rows)
    ]
