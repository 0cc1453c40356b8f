"""From a trace to a sheet: what the run folder holds, that the page says what the draws say, and what is refused."""

import json
import math
import re
from pathlib import Path

import h5py
import numpy as np
import pytest
import yaml

from experiments.main import run_command
from sim.blade.recipe import Recipe
from sim.quantities import FOOT_M

TRACES = Path(__file__).parents[2] / "traces"
QUICK = ["draws=16", "workers=1"]


def trace_of(recipe: Recipe, path: Path, noise_um: float = 2.0) -> Path:
    """A made-up trace of a recipe: 1 mm pitch, seeded noise."""
    curve = recipe.curve()
    x, z, *_ = curve.at(np.linspace(0.0, curve.length_m, 20001))
    at = np.arange(math.ceil(x[0] * 1e3), math.floor(x[-1] * 1e3) + 1) / 1e3
    heights = np.interp(at, x, z) + np.random.default_rng(4).normal(0, noise_um * 1e-6, len(at))
    rows = [f"{1e3 * (a - at[0]):.3f},{1e3 * h:.5f}" for a, h in zip(at, heights)]
    path.write_text("from heel [mm],height [mm]\n" + "\n".join(rows) + "\n")
    return path


def sheet(arguments, folder: Path):
    """(facts, run folder) of a recommendation."""
    assert run_command(["experiment=recommend", *QUICK, *arguments, f"results_dir={folder}"]) == 0
    (found,) = folder.glob("*/*")
    return json.loads((found / "sheet.json").read_text()), found


@pytest.fixture(scope="module")
def worn(tmp_path_factory):
    """The worn pair of the README, with everything that a counter may state."""
    return sheet(
        [f"trace={TRACES / 'worn_pair.csv'}", "skater.mass=82 kg", "skater.height=1.80 m", "stands=back",
         "says=[falls_back_on_heels]", "runner_height=28 mm", "least_height=20 mm", "use=forward", "initials=A.B.",
         "blade.inside_edge_proud=20 um"],
        tmp_path_factory.mktemp("worn"),
    )  # fmt: skip


def test_folder_holds_page_data_tables_and_recipes(worn):
    facts, folder = worn
    names = {p.name for p in folder.iterdir()}
    assert {"sheet.html", "sheet.json", "intervals.csv", "reading.csv", "recipes.yaml", "results.h5"} <= names
    page = (folder / "sheet.html").read_text(encoding="utf-8")
    assert facts["verdict"]["headline"] in page and "A.B." in page and "82 kg" in page and "svg" in page
    assert "nan" not in re.sub(r"<svg.*?</svg>", "", page, flags=re.S).lower().replace("finance", "")
    assert sum(1 for _ in open(folder / "reading.csv")) == 1 + 2 * 279


def test_the_page_says_what_the_draws_say(worn):
    facts, folder = worn
    with h5py.File(folder / "results.h5") as file:
        group = file["draws"]
        names = list(group["candidate"].asstr()[()])
        for choice in facts["choices"]:
            i = names.index(choice["name"])
            assert len(choice["numbers"]) == 3
            for number in choice["numbers"]:
                values = group[number["measure"]][()]
                low, middle, high = np.quantile(values[:, i] / values[:, 0], (0.05, 0.5, 0.95))
                assert float(number["ratio"]) == pytest.approx(middle, abs=6e-3)
                assert number["clear"] == (low > 1.0005 or high < 0.9995)
        # the reference of every draw is the blade as measured itself
        measured, reference = group["turn_drag"][:, 0], group["reference_turn_drag"][()]
        np.testing.assert_array_equal(measured, reference)
        assert np.ptp(group["inputs"][:, [c.startswith("trace_0") for c in group["input"].asstr()[()]]]) > 1


def test_zones_of_the_worn_pair_are_read(worn):
    facts, _ = worn
    left, right = facts["blades"]
    assert (left["side"], right["side"]) == ("left", "right")
    assert len(left["zones"]) >= 3 and max(float(z["radius"].split()[0]) for z in left["zones"]) > 11
    assert facts["pair"].startswith("Left against right: up to")


def test_recipes_run_as_any_other(worn, tmp_path):
    _, folder = worn
    entries = yaml.safe_load((folder / "recipes.yaml").read_text())
    assert entries[0]["name"] == "blade as measured" and entries[0]["inside_edge_proud"] == "20 um"
    arguments = [f"candidates_from={folder / 'recipes.yaml'}", "radius_line.count=2", "figures=false", "workers=1",
                 f"blade.length={entries[0]['length']}", "scenarios={}"]  # fmt: skip
    assert run_command([*arguments, f"results_dir={tmp_path}"]) == 0


def test_a_fresh_blade_is_left_as_it_is(tmp_path):
    # the shop's only recipe is what the blade already has: nothing can be better
    shop = tmp_path / "shop.yaml"
    shop.write_text("- {name: the same again, family: single_radius, radii: [10 ft]}\n")
    path = trace_of(Recipe("10 ft", "single_radius", (10 * FOOT_M,)), tmp_path / "ten.csv")
    facts, _ = sheet([f"trace={path}", f"shop={shop}"], tmp_path / "r")
    assert (facts["verdict"]["kind"], facts["verdict"]["reason"]) == ("leave", "makes_no_difference")
    assert "difference for the better that one feels" in facts["verdict"]["headline"] and not facts["complaints"]
    assert facts["choices"][0]["steels"][0]["most_mm"] < 0.05 + 0.03
    assert all(0.98 < float(n["ratio"]) < 1.02 for n in facts["choices"][0]["numbers"])


def test_a_long_radius_is_shortened_for_one_who_pivots_and_kept_where_steel_is_short(tmp_path):
    path = trace_of(Recipe("13 ft", "single_radius", (13 * FOOT_M,)), tmp_path / "thirteen.csv")
    turns = "{glide: 0, tight_turns: 1, starts: 0, stops: 0, fast_turns: 0, quick_changes: 0, battles: 0}"
    common = [f"trace={path}", "says=[pivots_hard,turns_too_wide]", f"use.shares={turns}"]
    facts, _ = sheet(common, tmp_path / "enough")
    assert facts["verdict"]["kind"] == "regrind" and facts["choices"][0]["name"] == "single 8 ft"
    assert any(s.startswith("Pivots easier on the toes") for s in facts["gains"])
    assert any(s.startswith("Less steady fore and aft") for s in facts["drawbacks"])
    assert any("Your list ends there: it has no shorter radius" in s for s in facts["verdict"]["plain"])
    pivots, turns_wide = facts["complaints"]
    assert re.fullmatch(r"Pivots with effort: the advised blade makes it \d+ % better \(\d+ to \d+ %\)\.", pivots)
    assert turns_wide.startswith("Turns too wide: the advised blade makes it")
    # 8 ft out of 13 ft: nothing in the middle, the difference of the sagittas at the ends of the working part
    sagitta = 0.109**2 / 2 * (1 / (8 * FOOT_M) - 1 / (13 * FOOT_M))
    (steel,) = facts["choices"][0]["steels"]
    assert steel["most_mm"] == pytest.approx(0.05 + 1e3 * sagitta, rel=0.05) and 0.05 <= steel["mid_mm"] < 0.07
    thin, _ = sheet([*common, "runner_height=21 mm", "least_height=20.5 mm"], tmp_path / "thin")
    refused = [o for o in thin["others"] if "cannot be ground" in o["note"]]
    assert "single 8 ft" in {o["name"] for o in refused} and "20.5 mm" in refused[0]["note"]
    assert thin["choices"][0]["name"] not in {o["name"] for o in refused}


def test_steel_that_is_used_up_is_said_first(tmp_path):
    """One blade of a pair under the least height: nothing is advised, and it is no matter of getting used to."""
    words = [f"trace={TRACES / 'worn_pair.csv'}", "least_height=22 mm"]
    facts, folder = sheet([*words, "runner_height=[24 mm, 21.9 mm]"], tmp_path / "low")
    assert facts["verdict"]["kind"] == "replace" and not facts["adapt"] and not facts["verdict"]["measure"]
    assert facts["verdict"]["headline"] == (
        "Replace the steel: the right blade is 21.9 mm high, under the least stated, 22.0 mm"
    )
    assert not facts["choices"] and not facts["gains"] and "fit new steel" in facts["verdict"]["plain"][0]
    page = (folder / "sheet.html").read_text(encoding="utf-8")
    assert "Replace the steel" in page and "24 and 21.9 mm high" in page
    fine, _ = sheet([*words, "runner_height=[24 mm, 22.5 mm]"], tmp_path / "fine")
    assert fine["verdict"]["kind"] != "replace"
    left = [steel["height_left"] for steel in fine["choices"][0]["steels"]]
    assert left[0].startswith("at least 23.") and left[1].startswith("at least 22.") and "visits of 0.05 mm" in left[1]
    assert re.match(r"The same curve again would take left 0\.\d\d mm, right 0\.\d\d mm; 0\.05 mm of it", fine["again"])


def test_no_cure_that_makes_the_complaint_worse(tmp_path):
    """30 kg on 13 ft who falls back on the heels was told 8 ft, 14 % worse on that complaint's own measure."""
    path = trace_of(Recipe("13 ft", "single_radius", (13 * FOOT_M,)), tmp_path / "thirteen.csv")
    singles = Path(__file__).parents[3] / "configs" / "shop_recipes" / "single_radii.yaml"
    common = [f"trace={path}", "skater.mass=30 kg", "stands=back", "says=[falls_back_on_heels]", "draws=128"]
    facts, _ = sheet(common, tmp_path / "all")
    assert "8 ft" not in facts["verdict"]["headline"]
    assert all(c["name"] != "single 8 ft" or c["role"] == "passed over" for c in facts["choices"])
    facts, folder = sheet([*common, f"shop={singles}"], tmp_path / "singles")
    assert facts["verdict"]["kind"] == "leave" and facts["verdict"]["headline"].startswith("Leave it: ")
    (answer,) = facts["complaints"]
    said = re.fullmatch(r"Falls back on the heels: the present 13.0 ft is already the steadiest of your list; "
                        r"(single \d+ ft) would make it (\d+) % worse \(\d+ to \d+ %\)\.", answer)  # fmt: skip
    assert said and int(said.group(2)) >= 2
    with h5py.File(folder / "results.h5") as file:  # the size is that of the complaint's own measure
        group = file["draws"]
        names, ankle = list(group["candidate"].asstr()[()]), group["critical_ankle_stiffness"][()]
        ratio = np.median(ankle / ankle[:, :1], axis=0) - 1
    assert 100 * ratio[names.index(said.group(1))] == pytest.approx(int(said.group(2)), abs=0.6)
    assert ratio[names.index("single 8 ft")] > 0.11, "what was advised before"


def test_stance_from_the_wear(tmp_path):
    ground = "ground_as={family: zoned, radii: [9 ft, 11 ft, 9 ft]}"
    facts, _ = sheet([f"trace={TRACES / 'worn_pair.csv'}", ground, "stands=wear"], tmp_path)
    stands = dict(facts["subject"])["Stands"]
    assert "read from the wear" in stands and "also comes from stops" in stands
    place = float(re.search(r"worn most near ([+-]\d+) mm", stands).group(1))
    assert abs(place + 15) < 10  # the trace was worn by a bump centred at -15 mm


BAD = {
    "no trace": ([], "trace: name the file"),
    "no such file": (["trace=nowhere.csv"], "nowhere.csv"),
    "unit unknown": ([f"trace={TRACES}/single_9ft.csv", "trace_unit=furlong"], "trace_unit"),
    "wear without a recipe": ([f"trace={TRACES}/single_9ft.csv", "stands=wear"], "ground_as"),
    "unknown complaint": ([f"trace={TRACES}/single_9ft.csv", "says=[falls_on_heels]"], "falls_back_on_heels"),
    "complaints not a list": ([f"trace={TRACES}/single_9ft.csv", "says=wobbly"], "says"),
    "stance nowhere": ([f"trace={TRACES}/single_9ft.csv", "stands=aft"], "stands"),
    "height of a giant": ([f"trace={TRACES}/single_9ft.csv", "skater.height=3 m"], "skater.height"),
    "runner too low": ([f"trace={TRACES}/single_9ft.csv", "runner_height=0.1 mm"], "runner_height"),
    "runner shorter than its trace": ([f"trace={TRACES}/single_9ft.csv", "runner_length=200 mm"], "200 mm"),
    "shop is nowhere": ([f"trace={TRACES}/single_9ft.csv", "shop=nowhere"], "nowhere"),
    "stated sign against the bend": ([f"trace={TRACES}/single_9ft.csv", "heights=down"], "concave"),
    "two blades and a second file": ([f"trace={TRACES}/worn_pair.csv", f"second_trace={TRACES}/single_9ft.csv"],
                                     "second_trace"),
    "too few draws": ([f"trace={TRACES}/single_9ft.csv", "draws=2"], "draws"),
    "two skaters": ([f"trace={TRACES}/single_9ft.csv", "+skaters.a={name: a}"], "skaters"),
    "edges worlds apart": ([f"trace={TRACES}/single_9ft.csv", "blade.inside_edge_proud=1 mm"], "inside_edge_proud"),
}  # fmt: skip


@pytest.mark.parametrize("case", BAD)
def test_bad_requests_are_refused_in_one_sentence_before_any_work(case, tmp_path, capsys):
    arguments, words = BAD[case]
    assert run_command(["experiment=recommend", *arguments, f"results_dir={tmp_path}"]) == 2
    said = capsys.readouterr().err
    assert words in said and said.count("\n") == 1 and "Traceback" not in said
    assert not list(tmp_path.iterdir())


def test_a_shop_folder_with_a_name_the_sheet_uses(tmp_path, capsys):
    (tmp_path / "shop").mkdir()
    (tmp_path / "shop" / "a.yaml").write_text("- {name: the same curve again, family: single_radius, radii: [9 ft]}\n")
    arguments = [f"trace={TRACES}/single_9ft.csv", f"shop={tmp_path / 'shop'}", f"results_dir={tmp_path / 'r'}"]
    assert run_command(["experiment=recommend", *arguments]) == 2
    assert "the same curve again" in capsys.readouterr().err
    (tmp_path / "empty").mkdir()
    assert run_command(["experiment=recommend", arguments[0], f"shop={tmp_path / 'empty'}", arguments[2]]) == 2
    assert "0 .yaml files" in capsys.readouterr().err


def test_a_shop_recipe_that_the_grinder_cannot_make_is_named_and_not_advised(tmp_path):
    shop = tmp_path / "shop.yaml"
    shop.write_text(
        "- {name: too tight, family: single_radius, radii: [5 ft]}\n- {family: single_radius, radii: [9 ft]}\n"
    )
    path = trace_of(Recipe("13 ft", "single_radius", (13 * FOOT_M,)), tmp_path / "thirteen.csv")
    facts, _ = sheet([f"trace={path}", f"shop={shop}", "says=[pivots_hard]", "use=goal"], tmp_path / "r")
    note = next(o["note"] for o in facts["others"] if o["name"] == "too tight")
    assert note.startswith("cannot be ground: least radius") and facts["choices"][0]["name"] != "too tight"


def test_both_blades_of_a_pair_count(tmp_path):
    """Left 9, right 13 ft. Steel is said of each, and what leaves too little on one is refused for both."""
    for side, feet in (("left", 9), ("right", 13)):
        trace_of(Recipe(side, "single_radius", (feet * FOOT_M,)), tmp_path / f"{side}.csv")
    left, right = tmp_path / "left.csv", tmp_path / "right.csv"
    heights = ["runner_height=20.5 mm", "least_height=20 mm"]
    shop = tmp_path / "shop.yaml"
    shop.write_text("- {name: eight, family: single_radius, radii: [8 ft]}\n"
                    "- {name: ten, family: single_radius, radii: [10 ft]}\n")  # fmt: skip
    notes = []
    for k, pair in enumerate(((left, right), (right, left))):
        facts, _ = sheet([f"trace={pair[0]}", f"second_trace={pair[1]}", f"shop={shop}", *heights], tmp_path / f"r{k}")
        notes.append(next(o["note"] for o in facts["others"] if o["name"] == "eight"))
        for choice in facts["choices"]:
            assert [s["side"] for s in choice["steels"]] == (["left", "right"] if k == 0 else ["right", "left"])
    assert all(note.startswith("cannot be ground: 19.") for note in notes), notes
