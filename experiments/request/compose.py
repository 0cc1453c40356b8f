"""The command line to one config of plain values, by Hydra; a fault is one sentence with the nearest right names."""

import difflib
import re
from collections.abc import Sequence

from hydra import compose, initialize_config_module
from hydra.core.override_parser.types import Quote, QuotedString
from hydra.errors import HydraException
from omegaconf import OmegaConf
from omegaconf.errors import OmegaConfBaseException

from experiments.request.plain import CONFIGS, NAME, check_arguments, plain
from sim.errors import BladeError

# keys that name a file or a folder
FILE_KEYS = ("resume", "results_dir", "trace", "second_trace", "candidates_from", "shop", "visits", "roster")
_PLAIN_PLACE = re.compile(r"[\w./\\:~+-]+")  # a name that Hydra takes as it stands


def experiments_known() -> list[tuple[str, str]]:
    """(name, one line) of every experiment in configs/experiment."""
    folder = CONFIGS / "experiment"
    out = []
    for path in sorted(folder.glob("*.yaml")):
        remarks = [
            x[2:] for x in path.read_text(encoding="utf-8").splitlines() if x.startswith("# ") and "Run:" not in x
        ]
        out.append((path.stem, next((r for r in remarks if not r.startswith("@")), "")))
    return out


def composed(arguments: Sequence[str]) -> tuple[dict, str]:
    """(config as plain values, experiment name) from key=value arguments. Raises BladeError in one sentence."""
    arguments = [as_it_stands(argument) for argument in arguments]
    check_arguments(arguments)
    try:
        with initialize_config_module("configs", version_base="1.3"):
            config = compose("config", overrides=list(arguments), return_hydra_config=True)
        name = config.hydra.runtime.choices.experiment
        OmegaConf.set_struct(config, False)
        config.pop("hydra")
        missing = OmegaConf.missing_keys(config)
        if missing:
            raise BladeError(f"{sorted(missing)[0]}: no value given; write {sorted(missing)[0]}=value.")
        values = OmegaConf.to_container(config, resolve=False)  # shipped configs refer to nothing, others must not
    except BladeError:
        raise
    except (
        HydraException,
        OmegaConfBaseException,
        ArithmeticError,
        LookupError,
        OSError,
        TypeError,
        ValueError,
    ) as fault:
        raise BladeError(_plain_fault(fault, arguments)) from None
    plain(values)
    if not isinstance(name, str) or not NAME.fullmatch(name):
        raise BladeError("experiment: choose one by its plain name, for example experiment=first_look.")
    return values, name


def as_it_stands(argument: str) -> str:
    """An argument that names a place on disk, quoted for Hydra's grammar, in which blanks, brackets and commas mean
    something; any other as it is, and one that is in quotes already."""
    key, mark, value = argument.partition("=")
    if key.lstrip("+") not in FILE_KEYS or not mark or not value or value[0] in "'\"" or _PLAIN_PLACE.fullmatch(value):
        return argument
    return f"{key}={QuotedString(value, Quote.double).with_quotes()}"


def _plain_fault(fault, arguments) -> str:
    """Hydra's many lines as one sentence with the nearest right names."""
    text = " ".join(str(fault).split())
    for argument in arguments:
        key, _, value = argument.partition("=")
        key = key.lstrip("+~")
        if f"Could not override '{key}'" in text or f"Key '{key.rsplit('.', 1)[-1]}'" in text:
            keys = _keys()
            near = [k for k in keys if k.endswith(f".{key}") and k.count(".") == 1][:3]
            near = near or difflib.get_close_matches(key, keys, 3, 0.6)
            hint = f"did you mean {' or '.join(near)}?" if near else "see configs/ for what there is."
            return f"{key}: unknown key; {hint}"
        if "Could not find" in text and f"Could not find '{key}/" in text:
            options = [name for name, _ in experiments_known()] if key == "experiment" else _options(key)
            return f"{key}={value[:40]}: there is no such {key}; choose one of {', '.join(options)}."
    text = text.split(" See https")[0].split(" Config search path")[0][:300]
    return f"the request could not be read: {text}; check quotes and brackets."


def _keys() -> list[str]:
    with initialize_config_module("configs", version_base="1.3"):
        config = OmegaConf.to_container(compose("config"), resolve=False)

    def walk(node, path):
        if isinstance(node, dict):
            for key, value in node.items():
                yield from walk(value, f"{path}.{key}" if path else str(key))
        yield path

    return [k for k in walk(config, "") if k]


def _options(group: str) -> list[str]:
    folder = CONFIGS / group.split("@")[0]
    return sorted(p.stem for p in folder.glob("*.yaml"))
