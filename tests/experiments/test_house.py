"""The house: imports run downward, no circles, one meaning a constant, studies as their contract says."""

import ast
import subprocess
import sys
from collections import defaultdict
from pathlib import Path

import pytest

from experiments.run.imports import reachable
from experiments.studies.kind import Kind
from experiments.studies.kinds import FOLDERS

TOP = Path(__file__).parents[2]
# from the bottom up; a module may import of its own floor and of those below
FLOORS = ("sim", "experiments.request", "experiments.run", "experiments.analysis", "experiments.report",
          "experiments.studies", "experiments.main")  # fmt: skip
# names that each study has of its own, by contract
CONTRACT = {"KEYS"}
USES = {"team": ("recommend",)}  # the one other study that a study is made of; findings may use any


def modules() -> dict[str, ast.Module]:
    """Every module of the project by its dotted name."""
    found = {}
    for root in ("sim", "experiments", "configs"):
        for path in sorted((TOP / root).rglob("*.py")):
            parts = path.relative_to(TOP).with_suffix("").parts
            name = ".".join(parts[:-1] if parts[-1] == "__init__" else parts)
            found[name] = ast.parse(path.read_text(encoding="utf-8"))
    return found


MODULES = modules()


def imports_of(name: str) -> set[str]:
    """Modules of the project that a module imports, inside functions too."""
    out = set()
    for node in ast.walk(MODULES[name]):
        if isinstance(node, ast.Import):
            out |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{name}: write imports in full"
            out |= {node.module, *(f"{node.module}.{alias.name}" for alias in node.names)}
    return {found for found in out if found in MODULES}


def floor_of(name: str) -> int:
    return next((i for i, floor in enumerate(FLOORS) if name == floor or name.startswith(f"{floor}.")), -1)


@pytest.mark.parametrize("name", MODULES)
def test_imports_run_downward(name):
    up = [other for other in imports_of(name) if floor_of(other) > floor_of(name)]
    assert not up, f"{name} imports {up} from a floor above"
    assert floor_of(name) >= 0 or name in ("experiments", "configs"), f"{name} stands on no floor"


def test_no_circles():
    state: dict[str, int] = {}

    def visit(name, way):
        assert state.get(name) != 1, " -> ".join([*way[way.index(name) :], name])
        if name not in state:
            state[name] = 1
            for other in sorted(imports_of(name) - {name}):
                visit(other, [*way, name])
            state[name] = 2

    for name in MODULES:
        if len(MODULES[name].body) > 1 or not name.count("."):
            visit(name, [])


@pytest.mark.parametrize("folder", FOLDERS.values())
def test_a_study_computes_without_wording_or_drawing(folder):
    """A changed caption must not make answers kept by a journal worthless."""
    reached = reachable(f"experiments.studies.{folder}.study")
    assert not [name for name in reached if name.startswith("experiments.report")]
    assert not [name for name in reached if name.rsplit(".", 1)[-1] in ("tables", "figures", "page", "sentences")]
    names = {alias.name.split(".")[0] for module in reached if module in MODULES
             for node in ast.walk(MODULES[module]) if isinstance(node, ast.Import | ast.ImportFrom)
             for alias in ([ast.alias(node.module)] if isinstance(node, ast.ImportFrom) else node.names)}  # fmt: skip
    assert not names & {"matplotlib", "rich", "jinja2", "ezdxf", "PIL"}


@pytest.mark.parametrize("folder", [f for f in FOLDERS.values() if f != "findings"])
def test_only_findings_and_team_use_other_studies(folder):
    own = [name for name in MODULES if name.startswith(f"experiments.studies.{folder}.")]
    assert own
    allowed = tuple(f"experiments.studies.{name}" for name in (folder, *USES.get(folder, ())))
    others = {other for name in own for other in imports_of(name) if other.startswith("experiments.studies.")}
    assert all(other.startswith(allowed) for other in others), others


@pytest.mark.parametrize("name", FOLDERS)
def test_every_kind_keeps_the_contract(name):
    kind = Kind(name, FOLDERS[name])
    assert isinstance(kind.keys, tuple) and len(set(kind.keys)) == len(kind.keys)
    parts = {
        "study": ("read", "run"),
        "tables": ("write", "cite", "show"),
        "figures": ("draw",),
        "page": ("write_page",),
    }
    for part, functions in parts.items():
        if part in ("study", "tables") or kind.has(part):
            assert all(callable(getattr(kind.part(part), function)) for function in functions), part


def test_one_experiment_does_not_load_the_others():
    code = (
        "import sys; from experiments.request.compose import composed; from experiments.studies.kinds import kind_of;"
        "config = composed(['experiment=certainty'])[0]; kind_of(config).read(config);"
        "studies = [m.split('.')[2] for m in sys.modules if m.startswith('experiments.studies.') and m.count('.') > 2];"
        "print(*sorted(set(studies)),"
        "*[m for m in ('matplotlib', 'pymoo', 'SALib', 'ezdxf', 'distributed') if m in sys.modules])"
    )
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=TOP, check=True).stdout
    assert out.split() == ["certainty"]


def test_a_constant_has_one_place():
    places = defaultdict(set)
    for name, tree in MODULES.items():
        for node in tree.body:
            targets = node.targets if isinstance(node, ast.Assign) else [getattr(node, "target", None)]
            for target in targets if isinstance(node, ast.Assign | ast.AnnAssign) else ():
                stored = [x.id for x in ast.walk(target) if isinstance(x, ast.Name) and isinstance(x.ctx, ast.Store)]
                for constant in stored:
                    if constant.strip("_").isupper() and len(constant.strip("_")) > 1:
                        places[constant].add(name)
    twice = {
        constant: sorted(names) for constant, names in places.items() if len(names) > 1 and constant not in CONTRACT
    }
    assert not twice


def test_every_module_says_what_it_is_for():
    silent = [name for name, tree in MODULES.items() if tree.body and not (ast.get_docstring(tree) or "").strip()]
    assert not silent
    assert not [name for name, tree in MODULES.items() if (ast.get_docstring(tree) or "").startswith("TODO")]
