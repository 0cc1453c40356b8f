"""What stands behind the page of answers: draws, a stance map, other physics, zones, menus, pairs, trade rules."""

from dataclasses import dataclass, replace

import numpy as np

from experiments.analysis.draws import Draws, checked_draw_count, run_draws
from experiments.analysis.grinding import Grinding, read_grinding
from experiments.analysis.variants import line_costs, static_pairs, statics, varied_candidate, varied_setting
from experiments.request.comparison import Request, assemble, one_setting, read_stated
from experiments.request.fields import Fields
from experiments.request.objectives import better_way, measure_name
from experiments.request.uncertainty import Sampling, read_sampling
from experiments.run.workers import Progress, Workers
from experiments.studies.findings import menus, paired, rest_of_game, zones
from experiments.studies.model_form import study as model_form
from experiments.studies.stance_map import study as stance_map
from experiments.studies.validation.checks import Check
from experiments.studies.validation.trade import trade_rules
from sim.errors import BladeError
from sim.measures import STATIC

KEYS = (
    "uncertainty", "draws", "seed", "grinding", "glide_lines", "turn_lines", "stands", "one_place_pair", "menu",
    "order_draws", "other_ice", "other_hardness", "other_mass", *rest_of_game.KEYS,
)  # fmt: skip
# what else changes on the reference blade: words, uncertain inputs put elsewhere
ELSEWHERE = {
    "hollow a fifth smaller": {"hollow_factor": 0.8},
    "hollow a quarter larger": {"hollow_factor": 1.25},
    "ice 3 K warmer": {"temperature_shift": 3.0},
    "ice 3 K colder": {"temperature_shift": -3.0},
    "new steel, 5 mm higher": {"height_shift": 5e-3},
    "worn steel, 5 mm lower": {"height_shift": -5e-3},
    "steel held as in a tube": {"span_factor": 0.0},
}


@dataclass(frozen=True)
class Plan:
    """A comparison that holds the blades of paired.NEEDED, and what is asked of it. at_stands: those blades under each
    stance; one_place: a pair of costs that is measured at one place of the blade."""

    request: Request
    sampling: Sampling
    stances: stance_map.Plan
    physics: model_form.Plan
    asked: rest_of_game.Asked
    limits: Grinding
    stands: tuple[str, ...]
    at_stands: tuple[Request, ...]
    one_place: tuple[str, str]
    menu: menus.MenuPlan


@dataclass(frozen=True)
class Findings:
    """Everything that the page reports. line: pair to costs (radius, 2) of single radii over request.line_m;
    surroundings: words to ratios of static measures (measure,), or to the sentence why there are none."""

    draws: Draws
    stances: stance_map.StanceMap
    physics: model_form.ModelForm
    line: dict[tuple[str, str], np.ndarray]
    zones: tuple[zones.Zones, ...]
    menus: tuple[menus.SkaterMenu, ...]
    paired: paired.Paired
    surroundings: dict[str, np.ndarray | str]
    rules: tuple[Check, ...]
    game: rest_of_game.RestOfGame


def read(own: dict, rest: dict) -> Plan:
    """Check the config. Raises BladeError, also where a blade that the page compares is missing."""
    stated, fields = read_stated(rest), Fields(own, "")
    request = one_setting(assemble(stated))
    sampling = read_sampling(fields, 16)
    checked_draw_count(sampling.draws, len(request.cases))
    few = replace(sampling, draws=fields.count("order_draws", 16, sampling.draws))
    physics = model_form.checked_plan(request, model_form.read_others(fields), few)
    stands = paired.read_stands(fields)
    plan = Plan(
        request, sampling, stance_map.checked_plan(request, fields), physics, rest_of_game.read_asked(fields),
        read_grinding(fields.inner("grinding")), tuple(stands), paired.requests_at(request, stands),
        _read_pair(fields, "one_place_pair"), menus.read_menu(fields.inner("menu"), stated),
    )  # fmt: skip
    fields.done()
    return plan


def _read_pair(fields: Fields, key: str) -> tuple[str, str]:
    """A pair of static costs. Raises BladeError."""
    pair = tuple(measure_name(Fields({}, key), str(name)) for name in fields.listed(key))
    if len(set(pair)) != 2 or not set(pair) <= set(STATIC):
        raise BladeError(f"{key}: name two different static measures.")
    for name in pair:
        better_way(name)
    return pair


def run(plan: Plan, workers: Workers, progress: Progress) -> Findings:
    """All parts, one after the other."""
    request, sampling = plan.request, plan.sampling
    draws = run_draws(request, sampling.inputs, sampling.draws, sampling.seed, workers, progress)
    stances = stance_map.run(plan.stances, workers, progress)
    physics = model_form.run(plan.physics, workers, progress)
    radii = np.array(request.line_m)
    line = {pair: line_costs(request.settings[0], radii, pair) for pair in static_pairs(request.pairs)}
    sought = zones.zone_pairs(request, plan.one_place)
    return Findings(
        draws, stances, physics, line,
        zones.best_zones(request, sought, plan.limits, sampling, workers, progress),
        menus.menus(plan.menu, plan.limits, sampling, workers, progress),
        paired.hold_against(plan.at_stands, plan.stands, sampling, workers, progress),
        surroundings(request), tuple(trade_rules(request.opinions.felt)),
        rest_of_game.play(request, plan.asked, sampling, workers, progress),
    )  # fmt: skip


def surroundings(request: Request) -> dict[str, np.ndarray | str]:
    """Static measures of the reference blade elsewhere, as ratios to those at the stated place."""
    setting, out = replace(request.settings[0], scenarios={}), {}
    standard = statics(setting.reference, setting, STATIC)
    for words, inputs in ELSEWHERE.items():
        try:
            there = varied_setting(setting, inputs)
        except BladeError as refusal:
            out[words] = str(refusal)
            continue
        with np.errstate(divide="ignore", invalid="ignore"):  # no scrape there and here has no ratio
            out[words] = statics(varied_candidate(there.reference, {}), there, STATIC) / standard
    return out
