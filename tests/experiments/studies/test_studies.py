"""Studies: intervals and indices against analytic answers, numbers that repeat, requests that are refused."""

import csv
import math
from pathlib import Path
from types import SimpleNamespace

import h5py
import numpy as np
import pytest
import xarray as xr
from SALib.analyze import sobol as sobol_indices
from SALib.sample import sobol as sobol_points
from scipy import stats

from experiments.analysis.draws import Draws, beats, columns_of, intervals, ranks, sample
from experiments.analysis.frontier import frontier_gain
from experiments.analysis.variants import LINE_RADII, line_costs
from experiments.main import run_command
from experiments.request.comparison import read_request as check
from experiments.request.compose import composed
from experiments.request.uncertainty import Input
from experiments.studies.findings.pair_words import easing, ends
from experiments.studies.findings.paired import Paired
from experiments.studies.findings.sentences import pitch, which_stance, who_leaves
from experiments.studies.stance_map.study import StanceMap
from sim.measures import STATIC
from tests.experiments.analysis.judging.opinions_by_hand import OPINIONS

FELT = OPINIONS.felt

GROUND = [SimpleNamespace(reading=None)] * 3  # blades that were ground, not measured
BLADES = "candidates=[{family: single_radius, radii: [9 ft]}, {family: mid_flat, radii: [8 ft, 13 ft, 8 ft]}]"


def made(arguments, folder: Path) -> Path:
    assert run_command([*arguments, f"results_dir={folder}"]) == 0
    (found,) = folder.glob("*/*")
    return found


def test_intervals_of_a_measure_linear_in_a_normal_input():
    """y = 3 x + 2, x normal(1, 0.1): quantiles are 5 +- 0.3 x 1.645 (exact)."""
    inputs = (Input("hardness_factor", stats.norm(1.0, 0.1), "test"),)
    x = sample(inputs, columns_of(inputs, GROUND[:1]), 1024, seed=3)[:, 0]
    low, middle, high = intervals(3 * x + 2)
    assert middle == pytest.approx(5.0, abs=2e-3)
    assert (high - 5, 5 - low) == (pytest.approx(0.3 * 1.6449, rel=0.01), pytest.approx(0.3 * 1.6449, rel=0.01))


def test_latin_hypercube_where_draws_are_no_power_of_two():
    inputs = (Input("scuff", stats.uniform(0, 1), "test"), Input("radius_factor", stats.norm(1, 0.01), "test"))
    points = sample(inputs, columns_of(inputs, GROUND), 100, seed=1)
    assert points.shape == (100, 4)
    assert len(np.unique((points[:, 0] * 100).astype(int))) == 100  # one point in each hundredth
    assert np.array_equal(points, sample(inputs, columns_of(inputs, GROUND), 100, seed=1))


def test_who_beats_whom_for_two_normal_measures():
    """A = x, B = y + 0.5, both standard normal: P(A > B) = Phi(-0.5/sqrt(2)) = 0.3618 (exact)."""
    cube = stats.qmc.Sobol(2, rng=np.random.default_rng(5)).random(4096)
    samples = stats.norm.ppf(np.clip(cube, 1e-9, 1 - 1e-9)) + np.array([0.0, 0.5])
    share = beats(samples, "higher")
    assert share[0, 1] == pytest.approx(0.3618, abs=3e-3) and share[0, 1] + share[1, 0] == pytest.approx(1.0)
    assert share[0, 0] == 0.5
    assert beats(samples, "lower")[0, 1] == pytest.approx(1 - share[0, 1])


def test_failed_draws_are_left_out_of_comparisons_and_intervals():
    samples = np.array([[1.0, 2.0], [np.nan, 5.0], [3.0, 1.0]])
    assert beats(samples, "higher")[0, 1] == 0.5
    assert len(ranks(samples, "higher")) == 2
    assert intervals(samples)[1, 0] == 2.0


def test_sobol_indices_of_the_ishigami_function():
    """Ishigami & Homma (1990), a 7, b 0.1: S1 0.3139, 0.4424, 0; ST 0.5576, 0.4424, 0.2437 (published values)."""
    problem = {"num_vars": 3, "names": ["a", "b", "c"], "bounds": [[-math.pi, math.pi]] * 3}
    x = sobol_points.sample(problem, 1024, calc_second_order=False, seed=1)
    y = np.sin(x[:, 0]) + 7 * np.sin(x[:, 1]) ** 2 + 0.1 * x[:, 2] ** 4 * np.sin(x[:, 0])
    found = sobol_indices.analyze(problem, y, calc_second_order=False, seed=1)
    np.testing.assert_allclose(found["S1"], [0.3139, 0.4424, 0.0], atol=0.03)
    np.testing.assert_allclose(found["ST"], [0.5576, 0.4424, 0.2437], atol=0.03)


@pytest.fixture(scope="module")
def certain(tmp_path_factory):
    arguments = [BLADES, "experiment=certainty", "draws=32", "workers=1", "figures=false"]
    return made(arguments, tmp_path_factory.mktemp("certainty"))


def test_certainty_leaves_draws_with_units_and_intervals(certain):
    with xr.open_dataset(certain / "results.h5", engine="h5netcdf", group="draws") as data:
        assert data.sizes["draw"] == 32 and data.sizes["candidate"] == 2
        assert data.turn_drag.attrs["units"] == "N" and np.isfinite(data.turn_drag).all()
        gain = data.gain.sel(candidate="9 ft", pair="turn_drag | critical_ankle_stiffness")
        assert float(abs(gain - 1).max()) < 0.005  # an undominated single radius, ground a little off, is on the line
    with open(certain / "intervals.csv", newline="") as handle:
        rows = list(csv.DictReader(handle))
    assert all(float(r["q05"]) <= float(r["q50"]) <= float(r["q95"]) for r in rows)
    tip = next(r for r in rows if r["measure"] == "heel_over_toe")  # it changes sign: a difference, not a ratio
    assert tip["against_reference"] == "difference" and math.isfinite(float(tip["r50"]))


def test_ranks_add_up(certain):
    with open(certain / "ranks.csv", newline="") as handle:
        rows = list(csv.DictReader(handle))
    assert sum(float(r["share_at_1"]) for r in rows) == pytest.approx(1.0, abs=1e-3)
    assert sum(float(r["mean_rank"]) for r in rows) == pytest.approx(3.0, abs=1e-2)


@pytest.mark.parametrize("feet", [8.5, 9.0, 9.7, 10.4, 11.1, 12.3, 13.6])
def test_undominated_single_radii_have_a_gain_of_one(feet):
    """Radii between those computed for the line, on the real model, where turn drag and steadiness trade."""
    request = check(composed([BLADES])[0])
    setting, pair = request.settings[0], ("turn_drag", "critical_ankle_stiffness")
    radii = np.geomspace(request.line_m[0], request.line_m[-1], LINE_RADII)
    line = line_costs(setting, radii, pair)
    costs = line_costs(setting, [feet * 0.3048], pair)[0]
    assert frontier_gain(costs, radii, line).gain == pytest.approx(1.0, abs=0.005)


OTHER_HOLLOW = (
    "candidates=[{family: single_radius, radii: [9 ft]},"
    "{name: nine on a shallow hollow, family: single_radius, radii: [9 ft], hollow: 5/8 in}]"
)


def test_another_hollow_does_not_pass_for_a_better_curve(tmp_path):
    """One radius on two hollows: each is held against single radii on its own hollow, so neither leaves its line."""
    path = made([OTHER_HOLLOW, "radius_line.count=25", "figures=false"], tmp_path / "a")
    with xr.open_dataset(path / "results.h5", engine="h5netcdf", group="judgement") as data:
        gain = data.gain.sel(pair="turn_drag | critical_ankle_stiffness")
        assert float(abs(gain - 1).max()) < 0.005
        assert float(data.gain.max()) < 1.005
    path = made([OTHER_HOLLOW, "experiment=certainty", "draws=8", "workers=1", "figures=false"], tmp_path / "b")
    with xr.open_dataset(path / "results.h5", engine="h5netcdf", group="draws") as data:
        assert float(data.gain.max()) < 1.005
    few = ["glide_lines.count=2", "turn_lines.count=2", "figures=false"]
    path = made([OTHER_HOLLOW, "experiment=stance_map", *few], tmp_path / "c")
    with xr.open_dataset(path / "results.h5", engine="h5netcdf", group="stance") as data:
        assert float(data.gain.max()) < 1.005


def test_draws_repeat_for_any_number_of_workers(certain, tmp_path):
    again = made([BLADES, "experiment=certainty", "draws=32", "workers=2", "figures=false"], tmp_path)
    with h5py.File(certain / "results.h5") as one, h5py.File(again / "results.h5") as two:
        assert all(
            one[f"draws/{k}"][()].tobytes() == two[f"draws/{k}"][()].tobytes() for k in ("inputs", "turn_drag", "gain")
        )


def test_common_random_numbers_cancel_what_all_share(certain):
    """The ratio of two blades on the same ice varies far less than either blade's drag."""
    with xr.open_dataset(certain / "results.h5", engine="h5netcdf", group="draws") as data:
        drag = data.glide_ploughing_coefficient
        ratio = drag.sel(candidate="9 ft") / data.reference_glide_ploughing_coefficient
        assert float(ratio.std() / ratio.mean()) < 0.3 * float(drag.sel(candidate="9 ft").std() / drag.mean())


def test_stance_map_and_other_physics(tmp_path):
    small = ["glide_lines.count=3", "turn_lines.count=4", "figures=true"]
    path = made([BLADES, "experiment=stance_map", *small], tmp_path / "a")
    with xr.open_dataset(path / "results.h5", engine="h5netcdf", group="stance") as data:
        assert data.gain.dims == ("candidate", "pair", "glide_line", "turn_line")
        assert (
            float(abs(data.gain.sel(candidate="9 ft", pair="turn_drag | critical_ankle_stiffness") - 1).max()) < 0.005
        )
    assert (path / "figures" / "stance_map.png").stat().st_size > 10_000
    path = made([BLADES, "experiment=does_it_hold"], tmp_path / "b")
    with open(path / "does_it_hold.csv", newline="") as handle:
        rows = list(csv.DictReader(handle))
    assert len(rows) == 2 * 19 and float(rows[0]["kendall_tau_to_standard"]) == 1.0


def test_sensitivity_names_the_input_that_decides(tmp_path):
    inputs = (
        "uncertainty.inputs={turn_line_shift: {distribution: normal, mean: 0 mm, sd: 10 mm, why: test},"
        "scuff: {distribution: uniform, low: 0, high: 0.05, why: test}}"
    )
    few = ["trajectories=4", "base_samples=16", "outputs=[turn_drag]"]
    path = made([BLADES, "experiment=sensitivity", inputs, *few], tmp_path)
    with open(path / "sensitivity.csv", newline="") as handle:
        rows = [r for r in csv.DictReader(handle) if r["method"] == "sobol" and r["output"] == "turn_drag"]
    total = {r["input"]: float(r["sigma_or_ST"]) for r in rows}
    assert total["turn_line_shift"] > 0.5 and abs(total["scuff"]) < 1e-9  # scuff does not enter the turn's drag


@pytest.mark.parametrize(
    "arguments, expected",
    [
        (["experiment=certainty", "draws=1"], "draws"),
        (["experiment=certainty", "+uncertainty.inputs.hardness={distribution: normal}"], "hardness_factor"),
        (["experiment=certainty", "uncertainty.inputs.scuff.low=1"], "high must be above"),
        (["experiment=certainty", "uncertainty.inputs.hardness_factor.sd=-1"], "above 0"),
        (["experiment=certainty", "uncertainty.inputs.turn_line_shift.sd=10"], "no unit"),
        (["experiment=certainty", "pairs=[[turn_drag, pitch_bias]]"], "no better direction"),
        (["experiment=certainty", "pairs=[[turn_drag]]"], "two different measures"),
        (["experiment=certainty", "pairs=[[turn_drag, glide_darg_coefficient]]"], "glide_drag_coefficient"),
        (["experiment=stance_map", "glide_lines.to=200 mm"], "off the steel"),
        (["experiment=stance_map", "pairs=[[turn_drag, push_hold_angle]]"], "stance map needs a pair"),
        (["experiment=sensitivity", "subject=nobody"], "subject"),
        (["experiment=sensitivity", "base_samples=60"], "power of 2"),
        (["experiment=sensitivity", "outputs=[stride_ice_loss]"], "static"),
        (["weighting.weights={turn_drag: -1}"], "weighting.weights.turn_drag"),
        (["weighting.weights={turn_darg: 1}"], "turn_drag"),
        (["weighting=fastest"], "even"),
        (["kind=guess"], "unknown"),
        (["experiment=validation", "skater.mass=95 kg"], "no change but opinions, results_dir"),
    ],
)
def test_bad_study_requests_get_one_sentence(arguments, expected, capsys, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert run_command(arguments) == 2
    err = capsys.readouterr().err
    assert expected in err and err.count("\n") == 1 and "Traceback" not in err, err


def test_findings_fill_every_sentence_from_the_run(tmp_path, monkeypatch):
    monkeypatch.setattr("experiments.studies.findings.zones.GENERATIONS", 1)
    monkeypatch.setattr("experiments.studies.findings.zones.MOST_SEARCHED_ZONES", 2)
    library = "menu.library=[{family: single_radius, radii: [9 ft]}, {family: zoned, radii: [10 ft, 8 ft]}]"
    few = ["draws=16", "order_draws=16", "menu.draws=16", library, "glide_lines.count=2", "turn_lines.count=2"]
    path = made(["experiment=findings", *few], tmp_path)
    page, web = (path / "findings.md").read_text(), (path / "findings.html").read_text()
    assert page.count("\n## ") == 13 == web.count("<h2>")
    assert page.index("## The answer") < 20 and [f"\n{k}. " in page for k in range(1, 7)] == [True] * 5 + [False]
    assert "nan" not in page and "None" not in page and web.count("<figure>") == 11
    for asked in (
        "zero-sum",
        "leave the single-radius line",
        "tip the foot",
        "one middle",
        "easing",
        "zones",
        "hollow",
        "not see",
    ):
        assert asked in page
    assert "too close to call" in page  # with 16 draws something must be
    assert ("three zones" not in page and "up to two can be told" in page) or "two zones are worth" in page


def test_findings_say_so_when_numbers_do_not_support_them():
    """Two blades that are one and the same: nothing may be called a difference."""
    values = np.repeat(np.random.default_rng(1).uniform(1, 2, (2, 32, 1, len(STATIC))), 4, axis=2)
    same = Paired(("back", "forward"), values)
    for finding in (ends(same, FELT), easing(same, FELT)):
        assert "not supported" in finding.sentences[0]
        assert all(cell.startswith("no difference that can be felt") for row in finding.table[1:] for cell in row[1:])


def test_findings_say_so_when_a_measure_could_not_be_had():
    names = ("mid-flat short ends", "mid-flat long ends", "rear-flat", "rear-flat eased")
    values = np.full((32, 4, len(STATIC)), np.nan)
    gain = np.full((32, 4, 1), np.nan)
    pair = ("turn_drag", "critical_ankle_stiffness")
    broken = Draws(names, (), (pair,), np.zeros((32, 1)), values, values[:, 0], gain, gain[:, :, 0])
    line = np.zeros(2)
    nothing = StanceMap(names, ("mid_flat",) * 4, (pair,), line, line, np.full((4, 1, 2, 2), np.nan), {}, (pair,), {})
    plan = SimpleNamespace(request=check(composed([BLADES])[0]))
    for finding in (pitch(broken, FELT), who_leaves(plan, broken, nothing), which_stance(plan, nothing)):
        said = [cell for row in finding.table[1:] for cell in row[1:]]
        assert len(said) == 4 and "nan" not in "".join(finding.sentences)
        assert all(("cannot" in s or "could not" in s or "no stance" in s) and "nan" not in s for s in said), finding
    lost = ends(Paired(("back",), values[None]), FELT)
    assert "could not be computed" in lost.sentences[2] and "nan" not in "".join(lost.sentences)


def test_a_study_of_two_skaters_and_two_skaters_of_one_name_are_refused(capsys):
    two = ["+skater@skaters.a=adult", "+skater@skaters.b=adult"]
    assert run_command(two) == 2 and "name of its own" in capsys.readouterr().err
    three = ["experiment=does_it_hold", *two[:1], "+skater@skaters.b=child"]
    assert run_command(three) == 2 and "one skater at a time" in capsys.readouterr().err


def test_an_output_that_cannot_be_had_is_refused_not_indexed(capsys, tmp_path):
    """On a wide path neither blade scrapes: a ratio to nothing would silently zero every index."""
    wide = ["states.turn.path_radius=6 m", "states.turn.speed=5 m/s", "outputs=[turn_scrape]"]
    few = ["trajectories=4", "base_samples=16", f"results_dir={tmp_path}"]
    assert run_command([BLADES, "experiment=sensitivity", *wide, *few]) == 2
    assert "could not be computed" in capsys.readouterr().err
