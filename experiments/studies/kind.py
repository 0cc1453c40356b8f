"""The contract of a study: what each kind gives, and where it stands.

A kind is a folder of experiments/studies with up to four modules, each imported when it is first needed:

    study.py    KEYS                      keys of the config that belong to the study and not to the comparison in it
                read(own, rest)           config -> checked, typed plan; raises BladeError, before any work
                run(plan, workers, progress)   plan -> typed result; computes, and neither writes nor draws
    tables.py   write(plan, result, folder)    result -> named tables in the run folder
                cite(plan, result)        lines of sources.txt
                show(plan, result, console)    what the terminal says
    figures.py  draw(plan, result, folder, processes)   pictures into a folder; left out where there are none
    page.py     write_page(plan, result, folder)   a page for people, after the figures; left out where there is none

study.py imports nothing that words or draws, so that a changed caption leaves answers kept by a journal valid.
"""

from dataclasses import dataclass
from importlib import import_module
from importlib.util import find_spec
from pathlib import Path
from types import ModuleType
from typing import Any

from experiments.run.folder import RunFolder
from experiments.run.workers import Progress, Workers

STUDIES = "experiments.studies"


@dataclass(frozen=True)
class Kind:
    """A kind of study by the name that a config's `kind` gives it, and the name of its folder."""

    name: str
    folder: str

    @property
    def module(self) -> str:
        """The module that computes: what a journal's digest starts from."""
        return f"{STUDIES}.{self.folder}.study"

    @property
    def keys(self) -> tuple[str, ...]:
        """Keys of a config that belong to the study."""
        return self.part("study").KEYS

    def read(self, config: dict) -> Any:
        """The checked plan of a composed config. Raises BladeError in one sentence."""
        own = {key: config[key] for key in self.keys if key in config}
        return self.part("study").read(own, {key: value for key, value in config.items() if key not in own})

    def run(self, plan: Any, workers: Workers, progress: Progress) -> Any:
        """The result of a plan."""
        return self.part("study").run(plan, workers, progress)

    def write(self, plan: Any, result: Any, folder: RunFolder) -> None:
        """Leave the tables, and what they rest on, in the run folder."""
        self.part("tables").write(plan, result, folder)
        folder.note(self.part("tables").cite(plan, result))

    def draw(self, plan: Any, result: Any, folder: Path, processes: int) -> list[Path]:
        """Draw the figures into a folder that is made for them; none where the kind has none."""
        if not self.has("figures"):
            return []
        import matplotlib

        from experiments.report.style import RC

        folder.mkdir(parents=True, exist_ok=True)
        with matplotlib.rc_context(RC):
            return self.part("figures").draw(plan, result, folder, processes)

    def write_page(self, plan: Any, result: Any, folder: RunFolder) -> None:
        """Leave the page for people, where the kind has one."""
        if self.has("page"):
            self.part("page").write_page(plan, result, folder)

    def show(self, plan: Any, result: Any, console: Any) -> None:
        """Say in the terminal what came of it."""
        self.part("tables").show(plan, result, console)

    def has(self, part: str) -> bool:
        """Whether the kind has a module of that name."""
        return find_spec(f"{STUDIES}.{self.folder}.{part}") is not None

    def part(self, part: str) -> ModuleType:
        """A module of the kind: study, tables, figures or page."""
        return import_module(f"{STUDIES}.{self.folder}.{part}")
