"""How a run is carried out, apart from what is asked: who computes, where it goes, whether pictures are drawn, where
visits are kept."""

import re

from experiments.request.fields import Fields
from sim.errors import BladeError

ADDRESS = "tcp://host:8786"
_HOST = re.compile(r"(?:[\w.-]+|\[[0-9a-fA-F:.]+\]):(\d{1,5})/?")
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
        if is_address(value):
            _reachable(value)
        return value
    if isinstance(value, str):
        raise BladeError(f"workers: {value[:40]!r}; write auto, a number, dask, or an address such as {ADDRESS}.")
    return fields.count("workers", 1, 1024)


def _reachable(address: str) -> None:
    """Refuse an address that the cluster's library would only stumble over."""
    from distributed.security import Security

    scheme, _, host = address.partition("://")
    found = _HOST.fullmatch(host)
    if scheme not in ("tcp", "tls") or not found or int(found[1]) >= 1 << 16:
        raise BladeError(f"workers: {address[:80]!r} is no address of a scheduler; write one such as {ADDRESS}.")
    if scheme == "tls" and Security().get_connection_args("client")["ssl_context"] is None:
        raise BladeError("workers: tls:// needs certificates named in Dask's own settings; add them, or write tcp://.")


def first_difference(one: object, other: object, where: str = "") -> str:
    """Where two configs differ first, as a person would type it; empty where they are the same."""
    if isinstance(one, dict) and isinstance(other, dict):
        for key in [*one, *(k for k in other if k not in one)]:
            found = first_difference(one.get(key), other.get(key), f"{where}.{key}" if where else str(key))
            if found:
                return found
        return ""
    return "" if one == other else where
