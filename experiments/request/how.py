"""How a run is carried out, apart from what is asked: who computes, where it goes, whether pictures are drawn, where
visits are kept."""

from experiments.request.fields import Fields
from sim.errors import BladeError

# the same numbers carry the same request, whatever these say
HOW = ("workers", "results_dir", "figures", "resume", "visits")


def request_of(config: dict) -> dict:
    """The part of a config that says what is asked."""
    return {key: value for key, value in config.items() if key not in HOW}


def is_address(workers: object) -> bool:
    """Whether `workers` is the address of a scheduler, such as tcp://host:8786."""
    return isinstance(workers, str) and "://" in workers


def read_workers(fields: Fields) -> int | str | None:
    """`workers` of a config: auto (None), a number, dask, or an address. Raises BladeError for anything else."""
    value = fields.raw("workers")
    if value == "auto":
        return None
    if value == "dask" or is_address(value):
        try:
            import distributed  # noqa: F401
        except ImportError:
            raise BladeError(
                f"workers: {value} needs Dask, which is not installed; in arcstride's folder: pip install -e '.[dask]'."
            ) from None
        return value
    if isinstance(value, str):
        raise BladeError(f"workers: {value[:40]!r}; write auto, a number, dask, or an address such as tcp://host:8786.")
    return fields.count("workers", 1, 1024)


def first_difference(one: object, other: object, where: str = "") -> str:
    """Where two configs differ first, as a person would type it; empty where they are the same."""
    if isinstance(one, dict) and isinstance(other, dict):
        for key in [*one, *(k for k in other if k not in one)]:
            found = first_difference(one.get(key), other.get(key), f"{where}.{key}" if where else str(key))
            if found:
                return found
        return ""
    return "" if one == other else where
