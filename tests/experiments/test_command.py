"""A run from the command to the folder: contents, units, bits that repeat, failed cases kept as rows."""

import csv
import re
import subprocess
import sys
from pathlib import Path

import h5py
import numpy as np
import pytest
import xarray as xr
import yaml

from experiments.main import run_command
from experiments.request.compose import composed, experiments_known
from sim.measures import REGISTRY
from tests.cases import numbers_of

KINDS = (
    "compare", "validation", "certainty", "stance_map", "does_it_hold", "sensitivity", "findings", "recommend",
    "search", "size_range", "part", "team", "follow_up",
)  # fmt: skip
BLADES = "candidates=[{family: single_radius, radii: [9 ft]}, {family: rear_flat, radii: [13 ft, 10 ft, 7 ft]}]"
SHORT = [BLADES, "radius_line.count=3", "figures=false"]
NAMES = tuple(REGISTRY)  # held to a list by hand in tests/test_measures.py


def rolled(arguments, folder: Path) -> Path:
    """Run and return the run folder."""
    assert run_command([*arguments, f"results_dir={folder}"]) == 0
    (found,) = folder.glob("*/*")
    return found


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """One short run, shared by the tests that only look at it."""
    return rolled([*SHORT, "workers=1"], tmp_path_factory.mktemp("results"))


def test_folder_holds_all_that_a_run_leaves(folder):
    names = {p.name for p in folder.iterdir()}
    assert {"results.h5", "measures.csv", "config.yaml", "run.log", "sources.txt", "versions.json"} <= names
    assert not [n for n in names if n.endswith(".part")]
    assert yaml.safe_load((folder / "config.yaml").read_text())["skater"]["mass"] == "80 kg"
    log = (folder / "run.log").read_text()
    assert "2 cases" in log and "done in" in log and not list(folder.glob("*.journal"))


def test_what_a_declared_smoothing_moves_stands_in_the_log(folder, tmp_path):
    """117.68 N stated at touch-down and lift-off, 212 and 302.5 N run: 184.9 N at the last instant."""
    assert "smoothing" not in (folder / "run.log").read_text()
    asked = ["detail=measures", 'scenarios.stride.smoothing="12 ms"', "workers=1"]
    log = (rolled([*SHORT, *asked], tmp_path) / "run.log").read_text()
    said = re.search(r"stride, adult: a smoothing of 12 ms moves the stated load by up to ([\d.]+) N, at (\d+) ms", log)
    assert float(said[1]) == pytest.approx(184.9, abs=0.5) and said[2] == "400"


@pytest.mark.parametrize("group", ["curves", "measures", "single_radius", "reference", "contact/turn", "series/stride",
                                   "series/glide", "series/start", "series/tight_turn", "series/nudge"])  # fmt: skip
def test_every_group_opens_in_xarray_with_units(folder, group):
    with xr.open_dataset(folder / "results.h5", engine="h5netcdf", group=group) as data:
        assert data.sizes and all(size > 0 for size in data.sizes.values())
        for name, array in data.data_vars.items():
            assert not any(str(d).startswith("phony") for d in array.dims), name
            if array.dtype.kind == "f":
                assert array.attrs["units"], name
    if group == "measures":
        assert set(NAMES) <= set(data.data_vars) and list(data.candidate.values) == ["9 ft", "rear-flat 13/10/7 ft"]


def test_csv_agrees_with_hdf5(folder):
    with open(folder / "measures.csv", newline="") as handle:
        table = list(csv.DictReader(handle))
    with h5py.File(folder / "results.h5") as file:
        for measure in REGISTRY.values():
            from_csv = [float(row[f"{measure.name} [{measure.unit}]"]) for row in table]
            np.testing.assert_array_equal(from_csv, file[f"measures/{measure.name}"][()])
        assert file.attrs["physics_digest"] and "skater" in file.attrs["config"]


def test_numbers_repeat_bit_for_bit_and_for_any_number_of_workers(folder, tmp_path):
    first = numbers_of(folder / "results.h5")
    assert len(first) > 100
    for workers in (1, 2):
        again = numbers_of(rolled([*SHORT, f"workers={workers}"], tmp_path / str(workers)) / "results.h5")
        assert again.keys() == first.keys()
        assert [k for k in first if first[k] != again[k]] == []


def test_failed_case_is_a_row_with_a_reason(tmp_path):
    # an ankle too soft for the short radius: the body falls, its other measures stay
    soft = ["skater.ankle_stiffness=1150 N*m/rad", "skater.ankle_damping=20 N*m*s/rad"]
    blades = "candidates=[{family: single_radius, radii: [5 ft]}, {family: single_radius, radii: [12 ft]}]"
    path = rolled([blades, *SHORT[1:], *soft, "workers=1"], tmp_path) / "results.h5"
    with h5py.File(path) as file:
        group = file["measures"]
        assert group["outcome_nudge"].asstr()[0] in ("fell", "no_start")
        assert "ankle" in group["reason"].asstr()[0]
        assert np.isnan(group["nudge_shift"][0]) and np.isfinite(group["pivot_heel_toe_in"][0])
        assert group["outcome_nudge"].asstr()[1] == "finished"


def test_own_candidates_file(tmp_path):
    mine = tmp_path / "mine.yaml"
    mine.write_text("- {name: shop special, family: mid_flat, radii: [9 ft, 12 ft, 9 ft], hollow: 5/8 in}\n")
    path = rolled([f"candidates_from={mine}", "radius_line.count=2", "figures=false"], tmp_path / "r") / "measures.csv"
    assert "shop special" in path.read_text()


@pytest.mark.parametrize("name", [name for name, _ in experiments_known()])
def test_every_experiment_composes_and_says_how_to_run_it(name):
    config, chosen = composed([f"experiment={name}"])
    assert chosen == name and config["kind"] in KINDS
    text = (Path(__file__).parents[2] / "configs" / "experiment" / f"{name}.yaml").read_text()
    assert f"# Run: arcstride experiment={name}" in text


@pytest.mark.parametrize("name", ["extremes", pytest.param("compare_families", marks=pytest.mark.slow)])
def test_experiment_runs(name, tmp_path):
    path = rolled([f"experiment={name}", "radius_line.count=3", "figures=false"], tmp_path)
    with h5py.File(path / "results.h5") as file:
        assert np.isfinite(file["measures/glide_drag_coefficient"][()]).all()


def test_extremes_show_the_trade_at_its_ends(tmp_path):
    path = rolled(["experiment=extremes", "radius_line.count=2", "figures=false"], tmp_path)
    with xr.open_dataset(path / "results.h5", engine="h5netcdf", group="measures") as data:
        track, figure = data.sel(candidate="long track"), data.sel(candidate="figure")
        assert track.glide_drag_coefficient < figure.glide_drag_coefficient  # fast
        assert track.critical_ankle_stiffness < figure.critical_ankle_stiffness  # steady
        assert track.turn_tightest_clean_radius > 3 * figure.turn_tightest_clean_radius  # but unwilling to turn


GRID = (
    "candidates=[{family: zoned, each: {radii_each: [{from: 8 ft, to: 10 ft, count: 3}, [9 ft], [7 ft, 9 ft]], "
    "level: {from: -5 mm, to: 5 mm, count: 2}}}]"
)


def test_a_grid_is_every_combination_and_static_measures_are_those_of_a_full_run(tmp_path):
    static = rolled(["experiment=sweep", GRID, "radius_line.count=5", "figures=false"], tmp_path / "static")
    with open(static / "measures.csv", newline="") as handle:
        rows = list(csv.DictReader(handle))
    assert len({row["candidate"] for row in rows}) == len(rows) == 3 * 1 * 2 * 2
    assert "stride_ice_loss [J]" not in rows[0] and all(
        row["gain_turn_drag__critical_ankle_stiffness [1]"] for row in rows
    )
    one = "candidates=[{family: zoned, radii: [9 ft, 9 ft, 7 ft], level: -5 mm}]"
    full = rolled([one, "radius_line.count=5", "figures=false", "detail=measures"], tmp_path / "full")
    with open(full / "measures.csv", newline="") as handle:
        (alone,) = csv.DictReader(handle)
    with h5py.File(static / "results.h5") as file:
        names = list(file["measures/candidate"].asstr())
        assert "series" not in file and "curves" not in file
        i = next(k for k, n in enumerate(names) if "9/9/7" in n and "-0.005" in n)
        for name in [n for n in NAMES if f"{n} [{REGISTRY[n].unit}]" in rows[0]]:
            assert file[f"measures/{name}"][i] == float(alone[f"{name} [{REGISTRY[name].unit}]"]), name
    assert float(alone["stride_ice_loss [J]"]) > 0


@pytest.mark.parametrize("arguments, words", [
    (["detail=static"], "static leaves out stride_ice_loss"), (["detail=some"], "detail"),
    ([GRID.replace("count: 3", "count: 400")], "write detail=measures"),
    (["candidates=[{family: zoned, each: {radii_each: [{from: 1 ft, to: 9 ft, count: 100000}, {from: 1 ft, to: 9 ft, "
      "count: 100000}]}}]"], "more than"), (["workers=many"], "workers"),
])  # fmt: skip
def test_sweeps_that_cannot_be_are_refused(arguments, words, tmp_path, capsys):
    assert run_command([*arguments, "figures=false", f"results_dir={tmp_path}"]) == 2
    said = capsys.readouterr().err
    assert words in said and said.count("\n") == 1 and not list(tmp_path.iterdir())


HEAVY = {"matplotlib", "scipy.stats", "scipy.optimize", "pymoo", "SALib", "ezdxf", "distributed", "numba.np.arraymath"}


def test_a_refusal_loads_no_library_that_only_work_needs():
    """So that it comes within a second of processor time. Each experiment in turn, in a process of its own."""
    asked = [["ice.temperature='3 degC'", f"experiment={name}"] for name, _ in experiments_known()]
    asked = [[*a, "trace=tests/traces/worn_pair.csv"] if "recommend" in a[1] else a for a in asked]
    code = (
        "import sys; from experiments.main import run_command\n"
        f"for words in {asked}:\n"
        "    assert run_command(words) == 2, words\n"
        f"    assert not {HEAVY} & set(sys.modules), (words, {HEAVY} & set(sys.modules))"
    )
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert not told.returncode and len(told.stderr.splitlines()) == len(asked), told.stderr


def test_a_long_movement_is_written_at_a_declared_coarser_step(folder):
    """The nudge lasts 3 s and runs at 1 ms: every fourth instant, the last among them; a stride of 0.4 s is whole."""
    with xr.open_dataset(folder / "results.h5", engine="h5netcdf", group="series/nudge") as nudge:
        assert nudge.time.attrs["long_name"] == "time, every 4 ms of the run" and nudge.sizes["time"] == 751
        assert nudge.time.values[[0, 1, -1]] == pytest.approx([0.0, 0.004, 3.0])
        assert float(nudge["load"][0, 0]) == pytest.approx(80 * 9.80665, rel=0.01)
    with xr.open_dataset(folder / "results.h5", engine="h5netcdf", group="series/stride") as stride:
        assert stride.time.attrs["long_name"] == "time, every 1 ms of the run" and stride.sizes["time"] == 401
