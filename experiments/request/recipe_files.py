"""A person's own recipes: one YAML file, or a folder of them; plain data only, and never much of it."""

from pathlib import Path

from experiments.request.plain import CONFIGS, read_yaml
from sim.errors import BladeError

MOST_FILES, MOST_ENTRIES = 100, 60  # of a shop's folder: what a sheet can still judge in seconds
SHIPPED = CONFIGS / "shop_recipes"


def own_candidates(path: str, where: str) -> list:
    """The candidates of a file. Raises BladeError for a file that cannot be read as plain values, or is no list."""
    entries = read_yaml(path, where)
    if not isinstance(entries, list) or not entries:
        raise BladeError(f"{where}: {path[:100]} must be a list of candidates (lines that start with '- ').")
    return entries


def own_folder(path: str | None) -> list:
    """The candidates of every .yaml file of a folder, by name of file; or of one file; None: the shipped ones.

    Raises BladeError for a folder without any, or with more than a sheet can judge.
    """
    place = Path(path) if path else SHIPPED
    try:
        if not place.is_dir():
            return own_candidates(str(place), "shop")
        files = sorted([*place.glob("*.yaml"), *place.glob("*.yml")])
    except OSError:
        raise BladeError(f"shop: cannot read {str(place)[:100]}; give a folder of .yaml files, or one file.") from None
    if not 0 < len(files) <= MOST_FILES:
        raise BladeError(f"shop: {place} holds {len(files)} .yaml files; give a folder with 1 to {MOST_FILES}.")
    entries = [entry for file in files for entry in own_candidates(str(file), "shop")]
    if len(entries) > MOST_ENTRIES:
        raise BladeError(f"shop: {place} lists {len(entries)} recipes; a sheet judges at most {MOST_ENTRIES}.")
    return entries
