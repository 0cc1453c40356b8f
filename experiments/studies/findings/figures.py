"""Figures of the findings: intervals, stances and other physics, as their own studies draw them."""

from pathlib import Path

import matplotlib
import numpy as np

from experiments.report import style as fs
from experiments.request.opinions import Felt
from experiments.studies.certainty import figures as certainty
from experiments.studies.certainty import study as certainty_study
from experiments.studies.findings import pictures
from experiments.studies.findings.game_rules import ends, sizes
from experiments.studies.findings.paired import EASED_HEEL, LONG_ENDS, PLAIN_HEEL, SHORT_ENDS
from experiments.studies.findings.rest_of_game import RestOfGame
from experiments.studies.findings.study import Findings, Plan
from experiments.studies.model_form import figures as model_form
from experiments.studies.stance_map import figures as stance_map


def draw(plan: Plan, result: Findings, folder: Path, processes: int) -> list[Path]:
    """One set for each part."""
    felt = plan.request.opinions.felt
    sampled = certainty_study.Plan(plan.request, plan.sampling)
    titles = "Short ends against long ends, same middle", "A rear-flat with its heel eased against the same without"
    return [
        *pictures.zero_sum(plan, result, folder),
        *pictures.zones(plan, result, folder),
        *pictures.menu(result, plan, folder),
        *pictures.pairs(result.paired, SHORT_ENDS, LONG_ENDS, "ends", titles[0], folder, felt),
        *pictures.pairs(result.paired, EASED_HEEL, PLAIN_HEEL, "easing", titles[1], folder, felt),
        *pictures.pitch(result.draws, folder, felt),
        *certainty.draw(sampled, result.draws, folder, processes),
        *stance_map.draw(plan.stances, result.stances, folder, processes),
        *model_form.draw(plan.physics, result.physics, folder, processes),
        *draw_game(result.game, folder, felt),
    ]


def draw_game(game: RestOfGame, folder: Path, felt: Felt) -> list[Path]:
    """Long over short, measure by measure, with what can be felt as a band."""
    rows = sizes(game)
    if not rows:
        return []
    left = max(fs.text_width(label, 8) for label, _ in rows) / 72 + 0.35
    note = "bar: 5 to 95 % of the draws; dot: median; band: too small to feel (an assumption)"
    with matplotlib.rc_context(fs.RC):
        short, long = ends(game).split(" over ")
        title = f"Starts, stops, speed, quickness: {long} against {short} ft"
        fig = fs.page(left + 5.2, 1.6 + 0.3 * len(rows), title, [note])
        ax = fig.add_subplot(fs.grid(fig, 1, 1, left, 0.35, 0.75, 0.65)[0])
        y = np.arange(len(rows))[::-1]
        spread = np.array([x for _, x in rows]).T
        ax.axvspan(1 / felt.ratio, felt.ratio, color="#bbbbbb", alpha=0.4, linewidth=0)
        ax.axvline(1.0, color=fs.INK, linewidth=0.8)
        ax.hlines(y, spread[0], spread[2], color=fs.BLUE, linewidth=2.2)
        ax.plot(spread[1], y, "o", color=fs.INK, markersize=5)
        ax.set_yticks(y, [label for label, _ in rows])
        ax.set_ylim(-0.6, len(rows) - 0.4)
        ax.set_xlabel(f"ratio, {long} over {short} ft")
        return fs.save(fig, folder, "rest_of_game")
