"""A short moving picture: a blade beside the reference through a movement, contact lit, load line moving."""

from pathlib import Path

import numpy as np
from matplotlib.animation import PillowWriter
from matplotlib.figure import Figure

from experiments.report import style as fs
from experiments.run.files import whole
from sim.errors import BladeError
from sim.rolling.scenarios import Roll
from sim.trial import Candidate, Setting, Trial

FRAMES, PER_SECOND = 48, 12
TALL = 15.0  # heights are drawn this many times as high
REACH_MM = (-160, 160)
SIZE_IN, BOX = (6.4, 3.9), (0.96, 0.34)  # of the picture; of each blade's part, as a share of it


def animate(candidate: Candidate, setting: Setting, scenario: str, path: Path) -> bool:
    """Write a GIF of the candidate above the reference through a scenario; False where one of them does not finish.

    The scenario is drawn slower than life: the slowing is printed.
    """
    pair = [(candidate.name, candidate), (f"{setting.reference.name}", setting.reference)]
    try:
        rolls = [Trial(blade, setting).finished(scenario) for _, blade in pair]
    except BladeError:
        return False
    with whole(path) as temporary:
        _write(pair, rolls, scenario, temporary)
    return True


def _write(pair, rolls: list[Roll], scenario: str, path: Path) -> None:
    last = min(r["time"][-1] for r in rolls)
    times = np.linspace(0.0, last, FRAMES)
    slow = FRAMES / PER_SECOND / last
    fig = Figure(figsize=SIZE_IN, dpi=100, facecolor="white")
    fig.text(0.02, 0.955, f"{scenario.replace('_', ' ')}, {slow:.0f} times slower than life", fontsize=10,
             fontweight="bold", va="center")  # fmt: skip
    fig.text(0.02, 0.02, f"heights x {TALL:.0f}; toe to the right; lit: where ice presses; arrow: load line. "
             "Model: blade on ice that yields.", fontsize=7, color=fs.SOFT)  # fmt: skip
    axes = [fig.add_axes([0.02, 0.51 - 0.43 * k, *BOX]) for k in range(2)]
    deepest = max(float(r["depth"].max()) for r in rolls) * 1e3
    heaviest = max(float(r["load"].max()) for r in rolls)
    writer = PillowWriter(fps=PER_SECOND)
    with writer.saving(fig, str(path.with_suffix(".gif")), 100):
        for t in times:
            for ax, (name, blade), roll in zip(axes, pair, rolls):
                _frame(ax, name, blade, roll, t, deepest, heaviest)
            writer.grab_frame()
    path.with_suffix(".gif").replace(path)


def _frame(ax, name, blade: Candidate, roll: Roll, t: float, deepest: float, heaviest: float) -> None:
    """One blade at an instant: curve in the frame of the ice, arc under load, load line."""
    at = {c: float(np.interp(t, roll["time"], roll[c]))
          for c in ("pitch", "depth", "load", "balance_position", "arc_front", "arc_rear", "lean")}  # fmt: skip
    x_0, dx, z, _ = blade.curve.table
    x = x_0 + dx * np.arange(len(z))
    height = z * np.cos(at["pitch"]) - x * np.sin(at["pitch"])
    height = 1e3 * (height - height.min() - at["depth"])
    ax.clear()
    ax.set_axis_off()
    ax.set_xlim(*REACH_MM)
    tall = (REACH_MM[1] - REACH_MM[0]) / TALL * (SIZE_IN[1] * BOX[1]) / (SIZE_IN[0] * BOX[0])
    low = -1.3 * deepest - 0.1
    ax.set_ylim(low, low + tall)
    ax.axhspan(-10, 0, color="#dbe9f4", linewidth=0)
    ax.fill_between(1e3 * x, height, height + 2.2, color="#d0d0d0", linewidth=0)
    ax.plot(1e3 * x, height, color=fs.INK, linewidth=1.2)
    lit = (x >= at["arc_rear"]) & (x <= at["arc_front"]) & (at["load"] > 0)
    ax.plot(1e3 * x[lit], height[lit], color=fs.VERMILLION, linewidth=3.5, solid_capstyle="round")
    if at["load"] > 0.02 * heaviest:
        here = 1e3 * at["balance_position"]
        ax.annotate("", (here, 0.0), (here, 2.4 * at["load"] / heaviest + 0.3),
                    arrowprops={"arrowstyle": "-|>", "color": fs.BLUE, "linewidth": 1.8})  # fmt: skip
    words = f"{1e3 * t:.0f} ms   load {at['load']:.0f} N   lean {np.degrees(at['lean']):.0f} deg   " \
            f"pitch {np.degrees(at['pitch']):+.2f} deg"  # fmt: skip
    ax.text(0.0, 1.02, name, transform=ax.transAxes, fontsize=9, va="bottom", fontweight="bold")
    ax.text(1.0, 1.02, words, transform=ax.transAxes, fontsize=8, va="bottom", ha="right")
