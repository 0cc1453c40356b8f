"""Figure of a sensitivity study: total Sobol indices with their confidence, one panel an output."""

from pathlib import Path

import numpy as np
from matplotlib.axes import Axes

from experiments.report import style as fs
from experiments.studies.sensitivity.study import Plan, Sensitivity

INDEX_WORDS = (
    "bar: total Sobol index, the share of the variance that is left when all other inputs are known, what the input "
    "does\ntogether with others included; totals may add up to more than 1; line: 95 % confidence; "
    "what moves nothing in the screening is left out"
)


def draw(plan: Plan, result: Sensitivity, folder: Path, processes: int) -> list[Path]:
    """One panel an output; nothing where no output varies."""
    outputs = result.outputs
    inputs = list(dict.fromkeys(index.input for index in result.indices if index.method == "sobol"))
    if not outputs:
        return []
    left = max(fs.text_width(name.replace("_", " "), 8) for name in inputs) / 72 + 0.35
    fig = fs.page(left + 2.5 * len(outputs), 1.85 + 0.27 * len(inputs),
                  f"Most influential uncertain inputs: {result.subject}",
                  [INDEX_WORDS])  # fmt: skip
    cells = fs.grid(fig, 1, len(outputs), left, 0.3, 1.3, 0.55, wgap=0.3)
    for k, output in enumerate(outputs):
        ax = fig.add_subplot(cells[k])
        _panel(ax, result, output, inputs)
        y = np.arange(len(inputs))[::-1]
        ax.set_yticks(y, [name.replace("_", " ") for name in inputs] if k == 0 else [""] * len(inputs))
    return fs.save(fig, folder, "sensitivity")


def _panel(ax: Axes, result: Sensitivity, output: str, inputs: list[str]) -> None:
    found, y = result.sobol(output), np.arange(len(inputs))[::-1]
    total = np.array([found[name].total for name in inputs])
    ax.barh(y, np.maximum(total, 0), color=fs.BLUE, height=0.6, xerr=[found[n].total_confidence for n in inputs],
            error_kw={"elinewidth": 0.8, "ecolor": fs.INK})  # fmt: skip
    title = output.replace("gain ", "frontier gain\n").replace(" | ", "\n")
    ax.set_title(title.replace("_", " "), fontsize=8, loc="left")
    ax.set_xlim(0, farthest(result))


def farthest(result: Sensitivity) -> float:
    """Where all axes end: past the farthest end of a confidence line, and at 1 at least."""
    ends = [x.total + x.total_confidence for x in result.indices if x.method == "sobol"]
    return max(1.0, 1.03 * max(ends))
