"""The one list of the kinds of study."""

from experiments.studies.kind import Kind
from sim.errors import BladeError

# name in a config: folder of experiments/studies
FOLDERS = {
    "compare": "compare",
    "certainty": "certainty",
    "stance_map": "stance_map",
    "does_it_hold": "model_form",
    "sensitivity": "sensitivity",
    "findings": "findings",
    "search": "search",
    "part": "part",
    "size_range": "size_range",
    "recommend": "recommend",
    "team": "team",
    "follow_up": "follow_up",
    "validation": "validation",
}


def kind_of(config: dict) -> Kind:
    """The kind that a config names. Raises BladeError for one that is not in the list."""
    name = str(config.get("kind", "none"))
    if name not in FOLDERS:
        raise BladeError(f"kind: {name!r} is unknown; choose {', '.join(FOLDERS)}.")
    return Kind(name, FOLDERS[name])
