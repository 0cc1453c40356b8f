"""Figure of a model-form study: score of every candidate under every physics."""

from pathlib import Path

from experiments.report import style as fs
from experiments.report.tables import cell
from experiments.studies.model_form.study import ModelForm, Plan

MOST_CANDIDATES = 12


def draw(plan: Plan, result: ModelForm, folder: Path, processes: int) -> list[Path]:
    """Candidates as lines over variants."""
    names = result.candidates[:MOST_CANDIDATES]
    note = "score above 0: better than the reference; under each name: Kendall's tau of the order"
    fig = fs.page(11.5, 5.6, "Does the order survive other physics", [note])
    width = max(fs.text_width(n, 8) for n in names) / 72 + 0.9
    ax = fig.add_subplot(fs.grid(fig, 1, 1, 0.75, width, 0.8, 1.25)[0])
    for i, name in enumerate(names):
        second = i >= len(fs.HUES)
        ax.plot([variant.score[i] for variant in result.variants], "o-", color=fs.HUES[i % len(fs.HUES)],
                dashes=(4, 2) if second else (1, 0), linewidth=1.2, markersize=4, label=name)  # fmt: skip
    ax.axhline(0, color=fs.INK, linewidth=0.7)
    ticks = [f"{variant.name}\n{cell(variant.tau, '.2f')}" for variant in result.variants]
    ax.set_xticks(range(len(ticks)), ticks, rotation=35, ha="right", fontsize=8)
    ax.set_ylabel("score")
    ax.legend(loc="upper left", bbox_to_anchor=(1.01, 1), frameon=False, fontsize=8)
    return fs.save(fig, folder, "does_it_hold")
