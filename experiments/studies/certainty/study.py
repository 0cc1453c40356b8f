"""How certain the differences are: every candidate under many draws of the uncertain inputs."""

from dataclasses import dataclass

from experiments.analysis.draws import Draws, checked_draw_count, run_draws
from experiments.request.comparison import Request, one_setting, read_request
from experiments.request.fields import Fields
from experiments.request.uncertainty import Sampling, read_sampling
from experiments.run.workers import Progress, Workers

KEYS = ("uncertainty", "draws", "seed")
MOST_DRAWS = 1_000_000


@dataclass(frozen=True)
class Plan:
    """A comparison, and how its uncertain inputs are drawn."""

    request: Request
    sampling: Sampling


def read(own: dict, rest: dict) -> Plan:
    """Check the config. Raises BladeError."""
    request, fields = one_setting(read_request(rest)), Fields(own, "")
    sampling = read_sampling(fields, 2, MOST_DRAWS)
    fields.done()
    checked_draw_count(sampling.draws, len(request.cases))
    return Plan(request, sampling)


def run(plan: Plan, workers: Workers, progress: Progress) -> Draws:
    """All draws."""
    return run_draws(plan.request, plan.sampling.inputs, plan.sampling.draws, plan.sampling.seed, workers, progress)
