"""Figures of the findings: intervals, stances and other physics, as their own studies draw them."""

from pathlib import Path

from experiments.studies.certainty import figures as certainty
from experiments.studies.certainty import study as certainty_study
from experiments.studies.findings.study import Findings, Plan
from experiments.studies.model_form import figures as model_form
from experiments.studies.stance_map import figures as stance_map


def draw(plan: Plan, result: Findings, folder: Path, processes: int) -> list[Path]:
    """One set for each part."""
    sampled = certainty_study.Plan(plan.request, plan.sampling)
    return [
        *certainty.draw(sampled, result.draws, folder, processes),
        *stance_map.draw(plan.stances, result.stances, folder, processes),
        *model_form.draw(plan.physics, result.physics, folder, processes),
    ]
