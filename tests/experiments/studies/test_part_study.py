"""Parts of any recipe: what can be ground is said for each, and its files are there."""

import csv

from experiments.main import run_command


def test_every_blade_gets_its_part_and_its_limits(tmp_path, capsys):
    blades = "candidates=[{family: single_radius, radii: [9 ft]}, {name: tight, family: zoned, radii: [4 ft, 9 ft]}]"
    assert run_command(["experiment=part", blades, f"results_dir={tmp_path}"]) == 0
    (folder,) = tmp_path.glob("*/*")
    with open(folder / "limits.csv", newline="") as handle:
        rows = list(csv.DictReader(handle))
    assert [r["can_be_ground"] for r in rows if r["blade"] == "9 ft"] == ["yes"]
    tight = [r["limit"] for r in rows if r["blade"] == "tight"]
    assert any("least radius" in sentence and "zone 1" in sentence for sentence in tight)
    for place in ("01", "02"):
        assert {p.suffix for p in (folder / "parts" / place).iterdir()} == {".yaml", ".dxf", ".csv", ".svg", ".pdf"}
    assert "can be ground" in capsys.readouterr().out


def test_limits_that_are_none_are_refused(tmp_path, capsys):
    assert run_command(["experiment=part", "grinding.least_radius=0 ft", f"results_dir={tmp_path}"]) == 2
    assert "least_radius" in capsys.readouterr().err and not list(tmp_path.iterdir())
