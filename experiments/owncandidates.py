"""A person's own recipes: one YAML file, or a folder of them; plain data only, and never much of it."""

from pathlib import Path

import yaml

from sim.errors import BladeError

LARGEST_FILE = 1_000_000  # bytes
MOST_FILES, MOST_ENTRIES = 100, 60  # of a shop's folder: what a sheet can still judge in seconds
SHIPPED = Path(__file__).parent.parent / "configs" / "shop_recipes"


def own_candidates(path: str, where: str) -> list:
    """The candidates of a file. Raises BladeError for a file that is missing, large or no list."""
    file = Path(path)
    try:
        if file.stat().st_size > LARGEST_FILE:
            raise BladeError(f"{where}: {path} is larger than 1 MB; list fewer candidates.")
        entries = yaml.safe_load(file.read_text(encoding="utf-8"))
    except BladeError:
        raise
    except (OSError, ValueError):
        raise BladeError(f"{where}: cannot read {path}; give a YAML file of plain text that exists.") from None
    except yaml.YAMLError as fault:
        line = getattr(getattr(fault, "problem_mark", None), "line", 0) + 1
        raise BladeError(f"{where}: {path} is not YAML from line {line} on; compare configs/candidate_list.") from None
    if not isinstance(entries, list) or not entries:
        raise BladeError(f"{where}: {path} must be a list of candidates (lines that start with '- ').")
    return entries


def own_folder(path: str | None) -> list:
    """The candidates of every .yaml file of a folder, by name of file; or of one file; None: the shipped ones.

    Raises BladeError for a folder without any, or with more than a sheet can judge.
    """
    place = Path(path) if path else SHIPPED
    if not place.is_dir():
        return own_candidates(str(place), "shop")
    files = sorted([*place.glob("*.yaml"), *place.glob("*.yml")])
    if not 0 < len(files) <= MOST_FILES:
        raise BladeError(f"shop: {place} holds {len(files)} .yaml files; give a folder with 1 to {MOST_FILES}.")
    entries = [entry for file in files for entry in own_candidates(str(file), "shop")]
    if len(entries) > MOST_ENTRIES:
        raise BladeError(f"shop: {place} lists {len(entries)} recipes; a sheet judges at most {MOST_ENTRIES}.")
    return entries
