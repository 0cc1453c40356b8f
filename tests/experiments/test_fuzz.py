"""Whatever is asked, by config, recipe or command line: an answer or one sentence, soon, and no nan in a table."""

import contextlib
import copy
import csv
import io
import math
import os
import re
import shutil
import signal
import time
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rich.console import Console

from experiments.analysis.variants import static_pairs
from experiments.main import run_command
from experiments.request.comparison import read_request
from experiments.request.compose import composed
from experiments.request.plain import plain
from experiments.run.folder import RunFolder
from experiments.run.workers import HERE, silent
from experiments.studies.compare import study as comparison
from experiments.studies.compare.tables import write_csv
from experiments.studies.compare.terminal import show
from experiments.studies.kinds import kind_of
from sim.blade.recipe import FAMILIES
from sim.errors import BladeError
from sim.quantities import parse_quantity

TRACE = Path(__file__).parents[1] / "traces" / "single_9ft.csv"
LIMIT_S, HANG_S = 5.0, 60.0  # of processor time, that others on the machine do not use up; of the clock
STUDIES = ("certainty", "stance_map", "does_it_hold", "sensitivity", "search", "part", "size_range", "recommend")
LONGEST_SENTENCE = 1200
DRAWN = {"draws": 16, "robust_draws": 2, "trajectories": 2, "base_samples": 2, "evaluations": 16, "population": 8,
         "front_size": 1, "compare_random": False}  # fmt: skip
NASTY = st.sampled_from([
    None, True, False, 0, 1, -1, 2**31, 10**15, 10**40, 0.5, -0.0, 1e-300, 1e300, math.nan, math.inf, -math.inf, "",
    " ", "nan", "inf", "flat", "nan mm", "inf m", "1e999 m", "-1e999 kg", "1e-320 m", "0 m", "-5 mm", "9**9**9 ft",
    "9 m^9^9^9", "1/0 ft", "5 parsec", "3 fortnight", "12 mm/s", "1 1/2 in", "80 kg", "8 m/s", "-5 degC", "400 K",
    "10 degF", "2 MPa", "0.02 kg*m^2", "١٢ mm", "12 µm", "12 mm", "0.3 s", "45 deg", "1e5 deg",
    "x" * 500, "x" * 5000, "long\nname",
    "\x1b[31m", "$\\frac$", "[/bold]", "=1+1", "../../x", "/etc/passwd", "CON", "🜁 ⛸", "a\ud800b", "\u202egpj",
    "_target_", "${oc.env:HOME}", "${now:%Y}", [], [[]], [1, 2], ["9 ft"], ["9 ft", "7 ft"], {},
    {"_target_": "os.system"}, {1: 2}, {"a": {"b": {}}},
    datetime(2020, 1, 1), b"x", [[[[[[[[[[[[[[[]]]]]]]]]]]]]]], {"weight": 1, "better": "lower"},
])  # fmt: skip
FACTORS = st.sampled_from([0.0, 1e-9, 0.01, 0.5, 0.8, 0.95, 1.05, 1.3, 2.0, 10.0, 1e6, -1.0])
TAME = st.sampled_from([0.3, 0.5, 0.7, 0.8, 0.9, 0.95, 1.05, 1.1, 1.2, 1.5, 2.0, 3.0])
CHOICES = {
    "time_step": ["0.5 ms", "0.25 ms", "0.1 ms", "2 us"],
    "contact": ["sliding", "standing"], "rear_width": ["local", "full"], "pressure": ["uniform", "slip_line"],
    "mode": ["guided", "free"], "robust": ["nominal", "mean", "worst"], "better": ["lower", "higher"],
    "distribution": ["normal", "uniform"], "shape": ["free", "symmetric", "rear_flat", "mid_flat"],
    "stands": ["back", "mid", "forward", "wear", "-10 mm"], "family": FAMILIES, "heights": ["up", "down"],
    "hollow": ["flat", "1/2 in", "9 mm"], "trace_from": ["heel", "toe"], "subject": ["8 ft", "9 ft"],
}  # fmt: skip


class Hang(BaseException):
    """Nothing in the code may catch it."""


def timely(job) -> None:
    """Do a job within LIMIT_S of processor time and HANG_S of the clock.

    One that took longer is done once more: what a stall of the machine or a first compilation cost is not slow twice.
    """
    if _seconds(job) >= LIMIT_S:
        again = _seconds(job)
        assert again < LIMIT_S, f"{again:.1f} s of processor time, twice over {LIMIT_S} s"


def _seconds(job) -> float:
    def ring(*_):
        raise Hang(f"no end after {HANG_S} s")

    before = signal.signal(signal.SIGALRM, ring)
    signal.setitimer(signal.ITIMER_REAL, HANG_S)
    started = time.process_time()
    try:
        job()
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGALRM, before)
    return time.process_time() - started


def short(config: dict) -> dict:
    """The config with little to do."""
    config["candidates"] = config.get("candidates", [])[:2]
    config["radius_line"]["count"], config["states"]["pitch_bias"]["count"] = 3, 3
    config["workers"], config["figures"] = 1, False
    config["visits"] = None  # no folder is made where a fuzz says
    for key, value in DRAWN.items():
        if key in config:
            config[key] = value
    for key in ("glide_lines", "turn_lines"):
        if key in config:
            config[key]["count"] = 2
    if "sizes" in config:
        config["sizes"], config["candidates"] = config["sizes"][:2], config["candidates"][:1]
    if config["kind"] in ("part", "search"):  # each blade gets a drawing
        config["candidates"] = config["candidates"][:1]
    if "subject" in config:
        config["subject"] = "8 ft"
    if config["kind"] == "recommend":
        config["trace"] = str(TRACE)
    return config


BASES = {name: short(composed([f"experiment={name}"])[0]) for name in ("first_look", "compare_families", *STUDIES)}


def at(node, path):
    for key in path:
        node = node[key]
    return node


def places(node, path=()):
    """Every path of a config, to values and to what holds them."""
    if path:
        yield path
    for key in node if isinstance(node, dict) else range(len(node)) if isinstance(node, list) else ():
        yield from places(node[key], (*path, key))


LEAVES = {name: sorted((p for p in places(base) if not isinstance(at(base, p), dict | list)), key=str)
          for name, base in BASES.items()}  # fmt: skip
PLACES = {name: sorted(places(base), key=str) for name, base in BASES.items()}


@st.composite
def changed(draw, names):
    """A shipped config with one to three changes anywhere in it."""
    name = draw(st.sampled_from(names))
    config = copy.deepcopy(BASES[name])
    for _ in range(draw(st.integers(1, 3))):
        path = draw(st.sampled_from(PLACES[name]))
        change(draw, config, path)
    return config


@st.composite
def tamed(draw, names):
    """A shipped config with one to six values somewhat larger or smaller: often still a possible one."""
    name = draw(st.sampled_from(names))
    config = copy.deepcopy(BASES[name])
    for path in draw(st.lists(st.sampled_from(LEAVES[name]), min_size=1, max_size=6, unique=True)):
        tame(draw, config, path)
    return config


def tame(draw, config, path):
    if "at" in path:
        return  # hardly another is a history
    last = path[-1]
    try:
        node = at(config, path[:-1])
        node[last]
    except (KeyError, IndexError, TypeError):
        return  # an earlier change took it away
    factors = TAME if draw(st.integers(0, 5)) else FACTORS
    node[last] = (
        draw(st.sampled_from(CHOICES[last]))
        if last in CHOICES
        else scaled(draw, node[last], factors, st.just(node[last]))
    )


def at(node, path):
    for key in path:
        node = node[key]
    return node


def places(node, path=()):
    """Every path of a config, to values and to what holds them."""
    if path:
        yield path
    for key in node if isinstance(node, dict) else range(len(node)) if isinstance(node, list) else ():
        yield from places(node[key], (*path, key))


LEAVES = {name: sorted((p for p in places(base) if not isinstance(at(base, p), dict | list)), key=str)
          for name, base in BASES.items()}  # fmt: skip
PLACES = {name: sorted(places(base), key=str) for name, base in BASES.items()}


def change(draw, config, path):
    *way, last = path
    node = config
    try:
        for key in way:
            node = node[key]
        value = node[last]
    except (KeyError, IndexError, TypeError):
        return  # an earlier change took it away
    if not isinstance(node, dict | list):
        return  # or put a text in its place
    what = draw(st.sampled_from(["scale", "scale", "scale", "scale", "nasty", "nasty", "delete", "rename", "double"]))
    if what == "scale":
        node[last] = scaled(draw, value)
    elif what == "nasty":
        node[last] = draw(NASTY)
    elif what == "delete":
        del node[last]
    elif what == "double" and isinstance(node, list):
        node.insert(last, copy.deepcopy(value))
    elif isinstance(node, dict):
        node[draw(st.sampled_from(["x", f"{last}s", "_target_", "name", "length"]))] = node.pop(last)


def scaled(draw, value, factors=FACTORS, otherwise=NASTY):
    """A value of the same kind, larger or smaller."""
    if isinstance(value, bool):
        return not value
    if isinstance(value, int | float):
        made = value * draw(factors)
        return round(made) if (isinstance(value, int) or draw(st.booleans())) and abs(made) < 1e12 else made
    number, _, unit = str(value).partition(" ")
    try:
        return f"{float(number) * draw(factors):.9g} {unit}"
    except ValueError:
        if isinstance(value, list) and value:
            return value[: draw(st.integers(0, len(value)))] or value[::-1]
        return draw(otherwise)


RADII = st.sampled_from(
    ["7 ft", "8 ft", "9 ft", "10 ft", "11 ft", "13 ft", "flat", "2 m", "0.3 m", "40 m", "1e6 m", "1 mm"]
)
FIELDS = {
    "shares": st.lists(st.sampled_from([1, 2, 0.5, 0.01, 1e-9, 1e6, 0, -1]), min_size=1, max_size=5),
    "level": st.sampled_from(["0 mm", "-10 mm", "20 mm", "90 mm", "139.9 mm", "-200 mm"]),
    "blend": st.sampled_from(["0 mm", "1e-9 mm", "10 mm", "20 mm", "40 mm", "80 mm"]),
    "pitch": st.sampled_from(["0 deg", "1 deg", "-2 deg", "20 deg", "89 deg", "400 deg"]),
    "length": st.sampled_from(["100 mm", "200 mm", "280 mm", "430 mm", "600 mm", "99 mm"]),
    "hollow": st.sampled_from(["flat", "12.7 mm", "1/2 in", "1.46 mm", "1e6 m", "3 mm"]),
    "thickness": st.sampled_from(["0.5 mm", "2.9 mm", "10 mm", "1 mm", "-1 mm"]),
    "inside_edge_proud": st.sampled_from(["0 um", "25 um", "-300 um", "300 um", "1 mm"]),
    "heel_sweep": st.fixed_dictionaries({"length": st.sampled_from(["0 mm", "20 mm", "1e-9 mm", "60 mm"]),
                                         "radius": st.sampled_from(["120 mm", "flat", "20 mm", "1 mm", "9 ft"])}),
    "toe_sweep": st.fixed_dictionaries({"length": st.sampled_from(["0 mm", "20 mm", "69 mm"]),
                                        "radius": st.sampled_from(["120 mm", "flat", "30 mm", "9 ft"])}),
    "name": st.one_of(st.text(max_size=70), st.sampled_from(["$\\frac$", "[/red]", "../x", "<script>", "5", "NUL"])),
    "each": st.sampled_from([{"level": ["0 mm", "5 mm"]}, {"radii": [["9 ft"], ["8 ft"]]}, {"blend": []}, {},
                             [], {"x": [1]}]),
}  # fmt: skip


def fitting(family: str, radii: list) -> list:
    """The radii in a number and an order that the family takes, where they can be."""
    few = {"single_radius": radii[:1], "graded": (radii * 2)[:2], "spline": (radii * 3)[:5]}
    if family in few:
        return few[family]
    size = {"flat": math.inf}
    ranked = sorted(set(radii) | {"9 ft", "11 ft", "10 ft"}, key=lambda r: size.get(r) or parse_quantity(r, "m", ""))
    if family == "mid_flat":
        return [ranked[0], ranked[-1], ranked[1]]
    falling = ranked[::-1]
    return [ranked[0], *falling[:-1]] if family == "rear_flat_eased" else falling if family == "rear_flat" else radii


@st.composite
def recipes(draw):
    """An entry of a recipe file, plausible or not."""
    entry = {"family": draw(st.sampled_from([*FAMILIES, *FAMILIES, "zonned"]))}
    entry["radii"] = draw(st.lists(RADII, min_size=1, max_size=5))
    if draw(st.integers(0, 3)):
        entry["radii"] = fitting(entry["family"], entry["radii"])
    for key in draw(st.lists(st.sampled_from(sorted(FIELDS)), max_size=3, unique=True)):
        entry[key] = draw(FIELDS[key])
    if "shares" in entry and draw(st.booleans()):
        entry["shares"] = (entry["shares"] * 5)[: len(entry["radii"])]
    if draw(st.integers(0, 9)) == 0:
        entry[draw(st.sampled_from(sorted(entry)))] = draw(NASTY)
    return entry


# ---------------------------------------------------------------- the checked path, and what is accepted runs


def told(refusal: BladeError) -> None:
    """A refusal is one sentence that can be shown."""
    text = str(refusal)
    assert text and "\n" not in text and len(text) < LONGEST_SENTENCE and "Traceback" not in text
    text.encode()


def look_through(folder: Path, shown: str, config: dict) -> None:
    """No table of a run folder, and nothing on screen, shows a nan; and what measures.csv lacks has a reason."""
    assert "nan" in str(config) or not re.search(r"\b(nan|inf)\b", shown), shown
    for path in folder.rglob("*.csv"):
        with open(path, newline="", encoding="utf-8") as handle:
            head, *rows = csv.reader(handle)
        for row in rows:
            for name, cell in zip(head, row):
                assert cell not in ("nan", "inf", "-inf") or name in ("candidate", "radius [mm]"), (
                    path.name,
                    name,
                    row,
                )
            if path.name == "measures.csv":
                assert all(row[4:-1]) or row[-1], row


def compare(config: dict, folder: Path, rolled: bool) -> bool:
    """Check a comparison and run a little of it; whether it was accepted."""
    try:
        plain(config)
        asked = read_request(config)
    except BladeError as refusal:
        told(refusal)
        return False
    setting = asked.settings[0]
    scenarios = setting.scenarios if rolled else {}
    setting = replace(setting, scenarios=scenarios, bias_lines_m=setting.bias_lines_m[:3])
    cases = tuple(replace(case, setting=setting) for case in asked.cases[:2] if case.setting is asked.settings[0])
    pairs = asked.pairs[:2] if rolled else static_pairs(asked.pairs[:2]) or (("turn_drag", "glide_drag_coefficient"),)
    asked = replace(asked, cases=cases, settings=(setting,), pairs=pairs, line_m=asked.line_m[:2])
    try:
        results = comparison.compared(asked)
        write_csv(folder / "measures.csv", results)
        shown = io.StringIO()
        show(comparison.Plan(asked), results, Console(file=shown, markup=False, width=130))
    except BladeError as refusal:
        told(refusal)
        return True
    look_through(folder, shown.getvalue(), config)
    return True


def study(config: dict, folder: Path) -> bool:
    """Check a study, then run it with little to do; whether it was accepted."""
    try:
        plain(config)
        _read(config)
    except BladeError as refusal:
        told(refusal)
        return False
    try:
        config = short(config)
        kind, plan = kind_of(config), _read(config)
        where = dict(config, results_dir=str(folder))
        place = RunFolder.new(where, "fuzz", kind.module, datetime.now(), "arcstride experiment=fuzz")
        try:
            result = kind.run(plan, HERE, silent)
            kind.write(plan, result, place)
            kind.write_page(plan, result, place)
        finally:
            place.close()
        shown = io.StringIO()
        kind.show(plan, result, Console(file=shown, markup=False, width=130))
    except BladeError as refusal:
        told(refusal)
        return True
    look_through(folder, shown.getvalue(), config)
    return True


def _read(config):
    kind = config.get("kind")
    if kind not in STUDIES:
        raise BladeError("kind: the command sends this elsewhere.")
    return kind_of(config).read(config)


@pytest.fixture(scope="module", autouse=True)
def warm(tmp_path_factory):
    """Everything compiled: that takes longer than an answer may."""
    folder = tmp_path_factory.mktemp("warm")
    assert compare(copy.deepcopy(BASES["first_look"]), folder, rolled=True)
    for name in STUDIES:
        assert study(copy.deepcopy(BASES[name]), folder), name


@pytest.fixture(scope="module")
def room(tmp_path_factory):
    return tmp_path_factory.mktemp("fuzz")


def fresh(room: Path) -> Path:
    shutil.rmtree(room, ignore_errors=True)
    room.mkdir()
    return room


def many(count: int):
    """A quarter of these examples in the quick suite; all, or more, with FUZZ=1 or more in the environment."""
    share = float(os.environ.get("FUZZ", "0.25"))
    return settings(max_examples=max(round(share * count), 10), derandomize=True, deadline=None)


COMPARED = ("first_look", "compare_families")


@many(500)
@given(config=changed(COMPARED))
def test_changed_configs(config, room):
    timely(lambda: compare(config, fresh(room), rolled=False))


@many(650)
@given(config=tamed(COMPARED))
def test_tame_configs(config, room):
    timely(lambda: compare(config, fresh(room), rolled=False))


@many(600)
@given(entries=st.lists(recipes(), min_size=1, max_size=2))
def test_recipes(entries, room):
    timely(lambda: compare({**copy.deepcopy(BASES["first_look"]), "candidates": entries}, fresh(room), rolled=False))


@many(120)
@given(data=st.data())
def test_changed_movements(data, room):
    config = copy.deepcopy(BASES["first_look"])
    name = data.draw(st.sampled_from(sorted(config["scenarios"])))
    config["candidates"] = [data.draw(recipes())] if data.draw(st.integers(0, 3)) == 0 else config["candidates"][:1]
    config["scenarios"] = {name: config["scenarios"][name]}
    paths = [p for p in LEAVES["first_look"] if p[0] in ("skater", "ice", "law") or p[:2] == ("scenarios", name)]
    moved = [p for p in paths if p[0] == "scenarios"]
    for path in data.draw(st.lists(st.sampled_from(paths + 2 * moved), min_size=1, max_size=5, unique=True)):
        (change if data.draw(st.integers(0, 9)) == 0 else tame)(data.draw, config, path)
    timely(lambda: compare(config, fresh(room), rolled=True))


KEYS = st.sampled_from([
    "skater.mass", "candidates", "experiment", "skater", "ice", "blade.hollow", "+x", "~law",
    "hydra.run.dir",                         "scenarios.glide.at", "candidates_from", "trace",
    "+skater@skaters.big", "workers", "", "a b", "results_dir",
])  # fmt: skip
VALUES = st.one_of(st.text(max_size=30), NASTY.map(str), st.text(alphabet="[]{}(),:'\"\\$ =a1", max_size=40))


@many(100)
@given(
    arguments=st.lists(st.one_of(st.builds("{}={}".format, KEYS, VALUES), st.text(max_size=40)), min_size=1, max_size=3)
)
def test_command_lines(arguments, room):
    fresh(room)
    out, err, status = io.StringIO(), io.StringIO(), []
    words = [*arguments, f"results_dir={room}", "radius_line.count=1"]  # never accepted: nothing is run
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        timely(lambda: status.append(run_command(words)))
    if status[-1] == 2:
        text = err.getvalue().splitlines()[-1]
        assert text.startswith("arcstride: ") and len(text) < LONGEST_SENTENCE
        assert err.getvalue().count("\n") == len(status)
    else:
        assert status[-1] == 0 and out.getvalue().startswith("arcstride compares")
