"""Every kind of study: who checks its request, who draws it, who explains it in the terminal."""

from pathlib import Path

import matplotlib

from experiments import compare, figure_style, findings, parts, recommend, search, search_report, sizes, stance, studies
from experiments import figure_study as fig
from experiments.cases import request
from sim.errors import BladeError

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
    *recommend.KEYS,
    *search.KEYS,
    *sizes.KEYS,
)


def _compared(read):
    """A study of the candidates of an ordinary request."""

    def both(own: dict, rest: dict):
        asked = request(rest)
        if len(asked.settings) > 1:
            raise BladeError(f"skaters: this study takes one skater at a time; leave one of {len(asked.settings)}.")
        return asked, read(own, asked)

    return both


# kind: (check a config, split into the study's own keys and the rest, and return the request and what runs it; draw
# what came of it or None; print what came of it)
KINDS = {
    "compare": (compare.read_compare, compare.draw, compare.show),
    "certainty": (_compared(studies.read_certainty), fig.draw_certainty, fig.show_certainty),
    "stance_map": (_compared(stance.read_stance), fig.draw_stance, fig.show_stance),
    "does_it_hold": (_compared(studies.read_hold), fig.draw_hold, fig.show_hold),
    "sensitivity": (_compared(studies.read_sensitivity), fig.draw_sensitivity, fig.show_sensitivity),
    "findings": (_compared(findings.read_findings), None, findings.show_findings),
    "search": (search_report.read_search, search_report.draw, search_report.show),
    "part": (parts.read_parts, None, parts.show),
    "size_range": (sizes.read_sizes, sizes.draw, sizes.show),
    "recommend": (recommend.read_recommend, None, recommend.show_recommend),
}


def draw(kind: str, made, folder: Path) -> list[Path]:
    """Draw a study's figures into `folder`."""
    if KINDS[kind][1] is None:
        return []
    folder.mkdir(parents=True, exist_ok=True)
    with matplotlib.rc_context(figure_style.RC):
        return KINDS[kind][1](made, folder)
