"""Every kind of study: who checks its request, who draws it, who explains it in the terminal."""

from pathlib import Path

import matplotlib

from experiments import figure_study as fig
from experiments import figure_style, findings, stance, studies

# keys of a config that belong to a study and not to the comparison inside it
KEYS = (
    "uncertainty",
    "draws",
    "seed",
    "glide_lines",
    "turn_lines",
    "subject",
    "outputs",
    "trajectories",
    "base_samples",
)

# kind: (check the request and return what runs it, draw what came of it or None, print what came of it)
KINDS = {
    "certainty": (studies.read_certainty, fig.draw_certainty, fig.show_certainty),
    "stance_map": (stance.read_stance, fig.draw_stance, fig.show_stance),
    "does_it_hold": (studies.read_hold, fig.draw_hold, fig.show_hold),
    "sensitivity": (studies.read_sensitivity, fig.draw_sensitivity, fig.show_sensitivity),
    "findings": (findings.read_findings, None, findings.show_findings),
}


def draw(kind: str, made, folder: Path) -> list[Path]:
    """Draw a study's figures into `folder`."""
    if KINDS[kind][1] is None:
        return []
    folder.mkdir(parents=True, exist_ok=True)
    with matplotlib.rc_context(figure_style.RC):
        return KINDS[kind][1](made, folder)
