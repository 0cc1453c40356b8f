"""Search: known optima, a published front, the same bits after a kill, and every blade of a front within the limits."""

import csv
import math
import re
from pathlib import Path
from types import SimpleNamespace

import h5py
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pymoo.indicators.igd import IGD
from pymoo.problems import get_problem

from experiments.analysis import optimizer
from experiments.analysis.grinding import LIMITS, check, read_grinding
from experiments.analysis.optimizer import Effort, optimize
from experiments.analysis.space import Space, read_space
from experiments.main import run_command
from experiments.request.compose import composed
from experiments.request.fields import Fields
from experiments.request.plain import read_yaml
from sim.blade.recipe import Recipe
from sim.errors import BladeError
from sim.quantities import FOOT_M
from tests.cases import numbers_of

OBJECTIVES = ("pivot_forefoot_toe_in", "critical_ankle_stiffness")
SMALL = ["experiment=search", "evaluations=60", "population=12", "draws=8", "front_size=3", "radius_line.count=2",
         "figures=false", "scenarios={}", f"objectives=[{', '.join(OBJECTIVES)}]"]  # fmt: skip
BASE = Recipe("base", "single_radius", (10 * FOOT_M,))


def space(kind="zones", count=(1, 5), shape="free", level=(0.0, 0.0)) -> Space:
    return Space(kind, *count, shape, (2.0, 4.5), level, (0.02, 0.02), BASE)


def run(arguments, folder: Path) -> Path:
    assert run_command([*arguments, f"results_dir={folder}"]) == 0
    (found,) = folder.glob("*/*")
    return found


def front_of(folder: Path) -> list[dict]:
    with open(folder / "front.csv", newline="") as handle:
        return list(csv.DictReader(handle))


# ---------------------------------------------------------------- spaces


@pytest.mark.parametrize("shape", ["free", "symmetric", "rear_flat", "mid_flat"])
@given(data=st.data())
def test_every_point_has_a_recipe_of_its_shape(shape, data):
    s = space(count=(3, 5) if shape == "mid_flat" else (1, 5), shape=shape, level=(-0.02, 0.02))
    point = data.draw(st.lists(st.floats(0, 1), min_size=len(s.names), max_size=len(s.names)))
    recipe = s.recipe(point)
    radii = recipe.radii_m
    assert all(2.0 - 1e-9 <= r <= 4.5 + 1e-9 for r in radii) and abs(recipe.level_m) <= 0.02
    if shape == "symmetric":
        assert radii == radii[::-1] and recipe.shares == recipe.shares[::-1]
    if shape == "rear_flat":
        assert list(radii) == sorted(radii, reverse=True)
    if shape == "mid_flat":
        assert 0 < radii.index(max(radii)) < len(radii) - 1 or len(set(radii)) == 1 or max(radii) in radii[1:-1]


@pytest.mark.parametrize(
    ("recipe", "held"),
    [
        (Recipe("a", "mid_flat", (2.4, 4.0, 2.4), (1, 2, 1)), True),
        (Recipe("b", "rear_flat", (4.0, 3.0)), True),
        (Recipe("c", "single_radius", (3.0,)), True),
        (Recipe("d", "single_radius", (9.0,)), False),  # beyond the radii of the space
        (Recipe("e", "graded", (4.0, 3.0)), False),  # another kind
    ],
)
def test_known_recipes_are_points_of_the_space(recipe, held):
    point = space().point(recipe)
    assert (point is not None) == held
    if held:
        back = space().recipe(point)
        assert back.radii_m == pytest.approx(recipe.radii_m)
        assert [z.length_m for z in back.zones] == pytest.approx([z.length_m for z in recipe.zones])


def test_a_shape_refuses_a_seed_of_another_shape():
    assert space(shape="symmetric").point(Recipe("a", "rear_flat", (4.0, 3.0))) is None
    assert space(shape="rear_flat").point(Recipe("a", "zoned", (3.0, 4.0))) is None


# ---------------------------------------------------------------- against the outside


def test_zdt1_front_is_reached_as_usual(monkeypatch):
    """Zitzler, Deb & Thiele 2000, test problem ZDT1 (30 variables, front known in closed form).

    NSGA-II with 100 members after 250 generations comes within an IGD of about 0.005 (Deb et al. 2002 print a
    convergence of 0.03 for their binary and real coded runs; usual values of today's codes from memory).
    """
    problem = get_problem("zdt1")
    wanted = SimpleNamespace(space=SimpleNamespace(names=tuple(range(30))), objectives=((), ()), excesses=len(LIMITS))

    def evaluate(_, __, points):
        return problem.evaluate(points), -np.ones((len(points), len(LIMITS)))

    monkeypatch.setattr(optimizer, "evaluate", evaluate)
    found = optimize(wanted, None, [], Effort(100, 25_000, 3))
    last = found.costs[-3000:]
    assert IGD(problem.pareto_front())(last) < 0.01


def test_largest_single_radius_of_a_given_clean_radius(tmp_path):
    """Known optimum: ploughing falls with R, and the cap on the tightest clean radius rho gives
    R = rho cos(gamma)/sin(lean + gamma) in closed form (derived here, checked in tests/ice/test_scrape.py)."""
    rho = 2.2
    arguments = [*SMALL, "space.count=[1,1]", "space.radii=[2 m, 6 m]", "grinding.least_radius=1.5 m",
                 f"caps=[{{measure: turn_tightest_clean_radius, at_most: {rho}}}]", "evaluations=400",
                 "population=20",
                 "objectives=[turn_ploughing, critical_ankle_stiffness]", "compare_random=false",
                 "workers=1", "blade.span=0 mm", "radius_step=1 mm"]  # fmt: skip
    rows = front_of(run(arguments, tmp_path))
    lean, gamma = math.atan(16 / (9.80665 * 1.8)), math.asin(2.9 / 2 / 12.7)
    best = max(float(row["recipe"].split(" mm")[0]) * 1e-3 for row in rows)
    assert all(float(row["recipe"].split(" mm")[0]) % 1 == 0 for row in rows), "in whole millimetres, as asked for"
    assert best == pytest.approx(rho * math.cos(gamma) / math.sin(lean + gamma), rel=0.01)


# ---------------------------------------------------------------- the study


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    return run([*SMALL, "workers=1"], tmp_path_factory.mktemp("search"))


def test_every_blade_of_the_front_can_be_ground_and_runs_as_any_other(made, tmp_path):
    limits = read_grinding(Fields(composed(["experiment=search"])[0]["grinding"], "grinding"))
    rows = front_of(made)
    assert 1 <= len(rows) <= 3 and all(not row["beyond_limits"] for row in rows)
    parts = sorted((made / "parts").iterdir())
    assert len(parts) == len(rows)
    names = {p.suffix for p in parts[0].iterdir()}
    assert {".yaml", ".dxf", ".csv", ".svg", ".pdf"} <= names
    again = run([f"candidates_from={parts[0] / 'recipe.yaml'}", "radius_line.count=2", "figures=false", "workers=1",
                 "scenarios={}", "pairs=[[pivot_forefoot_toe_in, critical_ankle_stiffness]]"], tmp_path)  # fmt: skip
    with open(again / "measures.csv", newline="") as handle:
        measures = next(csv.DictReader(handle))
    ours = float(rows[0]["cost of critical_ankle_stiffness"])
    assert float(measures["critical_ankle_stiffness [N m/rad]"]) == pytest.approx(ours, rel=1e-6)
    assert limits.least_radius_m > 0 and check(BASE, limits) == []


def test_same_seed_same_front_with_any_number_of_workers(made, tmp_path):
    other = run([*SMALL, "workers=2"], tmp_path / "two")
    assert (other / "front.csv").read_bytes() == (made / "front.csv").read_bytes()
    assert numbers_of(other / "results.h5") == numbers_of(made / "results.h5")
    different = run([*SMALL, "seed=2", "workers=1"], tmp_path / "other")
    assert (different / "front.csv").read_bytes() != (made / "front.csv").read_bytes()


def test_a_find_is_what_its_recipe_file_says_in_shop_steps(made):
    """Radii in quarters of a foot and zones in whole millimetres, in the file that a grinder gets and in the table."""
    for row, part in zip(front_of(made), sorted((made / "parts").iterdir())):
        (entry,) = read_yaml(str(part / "recipe.yaml"), "part")
        feet = [float(r.removesuffix(" ft")) for r in entry["radii"]]
        assert all(f * 4 == int(f * 4) for f in feet) and len(feet) > 1
        assert all(x == int(x) for x in entry["shares"]) and sum(entry["shares"]) == 240
        zones = "/".join(f"{x:.0f}" for x in entry["shares"])
        assert row["recipe"] == f"{'/'.join(f'{f:g}' for f in feet)} ft, zones {zones} mm"


def test_a_page_names_prices_bounds_and_places_and_needs_nothing_else(made):
    text = (made / "gallery.html").read_text(encoding="utf-8")
    head = text.split("</h1>")[0].split("<h1>")[1]
    assert head == "Recipes found, measured at two places of the blade"
    assert "adult, 80 kg" in text and "arcstride" in text and "physics" in text
    assert "Against the reference it loses" in text and "At the bound" in text
    assert not re.findall(r"(?:src|href)=[\"'](?!data:|parts/)", text), "pictures inside, parts beside it"
    for place in re.findall(r'href="(parts/[^"]+)"', text):
        assert (made / place).is_file(), place
    assert len(re.findall(r'href="parts/01/', text)) == 4


def test_a_space_in_which_several_radii_do_no_better_says_so(tmp_path, capsys):
    """From 10 to 10.3 ft all is one radius to one grind."""
    folder = run([*SMALL, "space.radii=[10 ft, 10.3 ft]", "workers=1"], tmp_path)
    assert "Nothing was found: no recipe of the front is left" in capsys.readouterr().out
    assert front_of(folder) == [] and not (folder / "parts").exists()
    assert "Nothing was found" in (folder / "gallery.html").read_text(encoding="utf-8")


def test_a_search_starts_from_a_recipe_of_ones_own(tmp_path, capsys):
    """9/12 ft is the first that is evaluated; a graded curve is none of this space's."""
    own = "start_from=[{name: mine, family: zoned, radii: [9 ft, 12 ft]}, {family: graded, radii: [9 ft, 12 ft]}]"
    folder = run([*SMALL, own, "workers=1"], tmp_path)
    said = " ".join(capsys.readouterr().out.split())
    assert "Started also from mine." in said and "Not started from graded 9/12 ft" in said
    with h5py.File(folder / "results.h5") as file:
        first = dict(zip(file["search/coordinate"].asstr()[()], file["search/point"][0]))
    span = math.log(2)
    assert [first["radius_1"], first["radius_2"]] == pytest.approx([math.log(9 / 7) / span, math.log(12 / 7) / span])


BAD = {
    "one objective": (["objectives=[turn_drag]"], "two to four"),
    "rolled objective": (["objectives=[turn_drag, stride_ice_loss]"], "stride_ice_loss"),
    "open objective": (["objectives=[turn_drag, glide_loaded_arc]"], "better"),
    "unknown objective": (["objectives=[turn_drag, glide_drag]"], "glide_drag_coefficient"),
    "counts reversed": (["space.count=[3,1]"], "space.count"),
    "too many zones": (["space.count=[1,9]"], "space.count"),
    "mid flat of two": (["space.shape=mid_flat"], "at least 3 zones"),
    "radii reversed": (["space.radii=[14 ft, 7 ft]"], "space.radii"),
    "cap on nothing known": (["caps=[{measure: glide_drag, at_most: 1}]"], "glide_drag_coefficient"),
    "cap without a way": (["caps=[{measure: turn_drag, about: 1}]"], "ratio_at_most"),
    "resume from nowhere": (["resume=nowhere"], "not the folder of a run"),
    "grinder without a wheel": (["grinding.wheel_radius=0 mm"], "wheel_radius"),
    "step of nothing": (["radius_step=0 ft"], "radius_step"),
    "coarse step": (["boundary_step=5 cm"], "boundary_step"),
    "starts that are none": (["start_from=[9 ft]"], "start_from[0]"),
    "starts from nowhere": (["start_from=nowhere.yaml"], "start_from"),
    "nothing can be ground": (["grinding.least_radius=20 ft", "grinding.greatest_radius=25 ft"], "widen"),
}  # fmt: skip


@pytest.mark.parametrize("case", BAD)
def test_bad_searches_are_refused_in_one_sentence(case, tmp_path, capsys):
    arguments, words = BAD[case]
    assert run_command([*SMALL, *arguments, "workers=1", f"results_dir={tmp_path}"]) == 2
    said = capsys.readouterr().err
    assert words in said and said.count("\n") == 1


def test_read_space_refuses_an_unknown_key():
    config = composed(["experiment=search"])[0]["space"] | {"zons": 3}
    with pytest.raises(BladeError, match="zons"):
        read_space(Fields(config, "space"), BASE)


def test_robust_cost_is_the_worst_or_the_mean_over_skaters_and_draws(tmp_path):
    both = [
        "+skater@skaters.child=child",
        "+skater@skaters.adult=adult",
        "workers=1",
        "evaluations=12",
        "robust_draws=4",
    ]
    answers = []
    for how in (["robust=worst", "worst_quantile=1.0"], ["robust=mean"]):
        with h5py.File(run([*SMALL, *both, *how], tmp_path / how[0][7:]) / "results.h5") as file:
            costs = np.column_stack([file[f"search/cost_{n}"][()] for n in OBJECTIVES])
            answers.append({p.tobytes(): c for p, c in zip(file["search/point"][()], costs)})
    shared = [k for k in answers[0] if k in answers[1] and np.isfinite(answers[0][k] + answers[1][k]).all()]
    assert len(shared) > 5  # the first generation asks the same points
    assert all((answers[0][k] > answers[1][k]).all() for k in shared)
    assert run_command([*SMALL, *both, f"results_dir={tmp_path}"]) == 2  # nominal over two skaters
