"""Commands that the README gives under "Visits and teams" run as they stand there, one after the other."""

import shlex
import shutil
from pathlib import Path

from experiments.main import run_command

TOP = Path(__file__).parents[2]


def commands(title: str) -> list[list[str]]:
    """Words of each command in the first block under a title."""
    block = (TOP / "README.md").read_text(encoding="utf-8").split(f"## {title}\n")[1].split("```")[1]
    return [shlex.split(line) for line in block.strip().splitlines()]


def test_visits_and_teams(tmp_path, monkeypatch):
    shutil.copytree(TOP / "tests" / "traces", tmp_path / "tests" / "traces")
    monkeypatch.chdir(tmp_path)
    asked = commands("Visits and teams")
    assert [words[0] for words in asked] == ["arcstride"] * 3
    for words in asked:
        few = [] if "experiment=follow_up" in words else ["draws=16"]
        assert run_command([*words[1:], *few, "workers=1"]) == 0
    sheets = list(tmp_path.glob("results/team/*/sheet-*.html"))
    assert len(sheets) == 3 and any("Last visit" in page.read_text() for page in sheets)
    assert len(list((tmp_path / "visits").glob("*.yaml"))) == 4
    assert "visits holds 4 visits" in next(tmp_path.glob("results/follow_up/*/follow_up.html")).read_text()
    assert {path.name for path in tmp_path.iterdir()} == {"tests", "results", "visits"}
