"""A visit from the sheet to its file, and from there to the next sheet; nothing of it changes a number."""

import json
import math
import re
import shutil
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
import yaml

from experiments.analysis.judging.verdict import KINDS
from experiments.main import run_command
from experiments.request.visits import VERDICTS, KeptBlade, KeptZone, Visit, read_visit
from experiments.studies.recommend.last_visit import apart_from, last_visit, line
from experiments.studies.recommend.visit import visit_text
from sim.blade.reading import Interval, read_blade
from sim.blade.recipe import Recipe
from sim.errors import BladeError
from sim.quantities import FOOT_M
from tests.make_traces import SINGLE, WHOLE_M, ZONED, grid, heights, noise

TRACES = Path(__file__).parents[2] / "traces"
NAN = math.nan
RUN = ["experiment=recommend", f"trace={TRACES / 'single_9ft.csv'}", "draws=16", "workers=1", "initials=A.B."]
BLADE = KeptBlade("left", 3.0, (KeptZone(-0.1, 0.1, 3.0),), 3e-6, 0.024, 0.31e-3)
FACTS = {"mass": "82 kg", "stands": "s", "use": "u", "says": ""}
VISIT = Visit("A.B.-2026-11-03.yaml", "A.B.", "2026-11-03", 1, FACTS, (BLADE,), "regrind", "Regrind to nine", "nine",
              "single radius 9 ft", True, "run", "", "", "")  # fmt: skip


def test_a_visit_knows_every_verdict():
    assert (*KINDS, "replace") == VERDICTS


def sheets(folder: Path) -> list[tuple[Path, dict]]:
    """(run folder, content) of every run, oldest first."""
    found = sorted(folder.glob("recommend/*"), key=lambda p: (p / "config.yaml").stat().st_mtime_ns)
    return [(p, json.loads((p / "sheet.json").read_text())) for p in found]


@pytest.fixture(scope="module")
def kept(tmp_path_factory):
    """(folder of visits, run folders and contents): no visits kept, a first visit, filled in by hand, a second."""
    room = tmp_path_factory.mktemp("shop")
    where = [f"results_dir={room / 'results'}"]
    assert run_command([*RUN, *where, "runner_height=24 mm"]) == 0
    assert run_command([*RUN, *where, "runner_height=24 mm", f"visits={room / 'visits'}"]) == 0
    (first,) = (room / "visits").glob("*.yaml")
    text = first.read_text()
    (room / "first.yaml").write_text(text)
    first.write_text(text.replace("as_left:\n", "as_left: as advised\n").replace("found:\n", "found: worse\n"))
    (room / "visits" / "CD-2026-01-01.yaml").write_text("of somebody else: [")
    again = ["runner_height=23.4 mm", "says=[pivots_hard]", f"visits={room / 'visits'}"]
    assert run_command([*RUN, *where, *again]) == 0
    return room, sheets(room / "results")


def test_the_file_holds_what_was_read_and_advised(kept):
    room, (_, (folder, content), _) = kept
    record = yaml.safe_load((room / "first.yaml").read_text())
    (blade,), advised = record["blades"], record["advised"]
    assert record["initials"] == "A.B." and record["run"] == folder.name and record["form"] == 1
    assert record["date"] == content["run"]["date"] and record["skater"]["mass"] == "80 kg"
    assert record["traces"][0]["file"] == "single_9ft.csv" and len(record["traces"][0]["sha256"]) == 64
    assert f"{blade['single_radius']['ft']:.2f} ft" == content["blades"][0]["single"]["value"]
    assert blade["single_radius"]["ft"] * FOOT_M == pytest.approx(blade["single_radius"]["m"], abs=2e-3)
    assert blade["height_mm"] == 24.0 and len(blade["zones"]) == len(content["blades"][0]["zones"])
    assert (advised["verdict"], advised["headline"]) == tuple(content["verdict"][k] for k in ("kind", "headline"))
    if content["verdict"]["kind"] in ("regrind", "probably"):
        assert advised["recipe"] == content["choices"][0]["name"]
        assert blade["steel_to_remove_mm"] == content["choices"][0]["steels"][0]["most_mm"]
    else:
        assert advised["recipe"] is None and blade["steel_to_remove_mm"] is None and not advised["new_curve"]
    assert all(record[key] is None for key in ("as_left", "found", "words"))
    assert content["run"]["version"] in record["version"] and content["run"]["physics"] in record["version"]


def test_the_next_sheet_shows_it(kept):
    _, ((_, bare), (_, first), (folder, second)) = kept
    assert "last_visit" not in bare and "last_visit" not in first
    last, day = second["last_visit"], first["run"]["date"]
    assert last["line"].startswith(f"Last visit {day}: ") and last["line"].endswith("; left as advised; found worse")
    rows = {row[0]: row[1:] for row in last["rows"]}
    assert rows["Says"] == ["no complaint", dict(map(tuple, second["subject"]))["Says"]]
    assert rows["Height of steel"] == ["24.00 mm", "23.40 mm"] and rows["Found"] == ["worse", ""]
    assert rows["Best single radius"][0] == rows["Best single radius"][1] == first["blades"][0]["single"]["value"]
    assert rows["Verdict"] == [first["verdict"]["headline"], second["verdict"]["headline"]]
    assert "0.60 mm of steel went between the visits." in last["between"]
    assert re.search(
        r"The curve is up to 0 um from that of then, near .* mm, no more than two readings", last["between"][0]
    )
    page = (folder / "sheet.html").read_text()
    first_page, rest = page.split('<section class="more">')
    assert last["line"] in first_page and "The last visit beside today" in rest and "23.40 mm" in rest


def test_nothing_else_is_written_and_no_number_changes(kept):
    room, ((bare, _), (first, content), _) = kept
    names = {p.name for p in (room / "visits").iterdir()}
    day = content["run"]["date"]
    assert names == {".visits.lock", f"A.B.-{day}.yaml", f"A.B.-{day}-2.yaml", "CD-2026-01-01.yaml"}
    assert {p.name for p in bare.iterdir()} == {p.name for p in first.iterdir()}
    assert (bare / "intervals.csv").read_bytes() == (first / "intervals.csv").read_bytes()
    assert {p.name for p in room.iterdir()} == {"visits", "results", "first.yaml"}


def test_a_spoiled_visit_is_refused_before_work(kept, tmp_path, capsys):
    room, _ = kept
    folder = shutil.copytree(room / "visits", tmp_path / "visits")
    (name,) = [p for p in folder.iterdir() if p.name.endswith("-2.yaml")]
    name.write_text(name.read_text().replace("found:", "found: glad"))
    assert run_command([*RUN, f"visits={folder}", f"results_dir={tmp_path / 'r'}"]) == 2
    said = capsys.readouterr().err
    assert name.name in said and "found: 'glad' is unknown" in said and said.count("\n") == 1
    assert not (tmp_path / "r").exists()


@pytest.mark.parametrize("more, words", [
    (["visits=v"], "add initials=AB"), (["visits=v", "initials='A/B'"], "is not taken there"),
    (["visits=README.md", "initials=A"], "no folder"),
])  # fmt: skip
def test_requests_that_cannot_be_kept_are_refused(more, words, tmp_path, capsys):
    asked = [a for a in RUN if not a.startswith("initials")]
    assert run_command([*asked, *more, f"results_dir={tmp_path}"]) == 2
    said = capsys.readouterr().err
    assert words in said and said.count("\n") == 1 and not list(tmp_path.iterdir())


def test_studies_that_keep_no_visits_say_so(tmp_path, capsys):
    assert run_command([f"visits={tmp_path}", f"results_dir={tmp_path}"]) == 2
    assert "visits: a sheet keeps them" in capsys.readouterr().err


# ---------------------------------------------------------------- runs that stopped


def full(*given):
    raise OSError(28, "No space left on device", "sheet.html")


@pytest.fixture
def stopped(tmp_path, monkeypatch, capsys):
    """(run folder, folder of visits) of a run whose disk was full as its page was written."""
    with monkeypatch.context() as patched:
        patched.setattr("experiments.studies.recommend.page.write_sheet", full)
        assert run_command([*RUN, f"visits={tmp_path / 'visits'}", f"results_dir={tmp_path / 'r'}"]) == 2
    (folder,) = (tmp_path / "r").glob("*/*")
    said = capsys.readouterr().err
    assert f"arcstride resume={folder} visits={tmp_path / 'visits'}" in said and not (tmp_path / "visits").exists()
    return folder, tmp_path / "visits"


def test_a_run_gone_on_with_keeps_its_visit_once(stopped, monkeypatch):
    folder, visits = stopped
    with monkeypatch.context() as patched:
        patched.setattr("experiments.run.folder.RunFolder.finish", full)
        assert run_command([f"resume={folder}", f"visits={visits}", "workers=1"]) == 2
    (kept,) = visits.glob("*.yaml")
    before = kept.read_bytes()
    assert run_command([f"resume={folder}", f"visits={visits}", "workers=1"]) == 0
    assert [p.read_bytes() for p in visits.glob("*.yaml")] == [before]
    assert "last_visit" not in json.loads((folder / "sheet.json").read_text())


def test_a_folder_from_elsewhere_does_not_say_where_visits_are_kept(stopped):
    folder, visits = stopped
    assert str(visits) in (folder / "config.yaml").read_text()
    assert run_command([f"resume={folder}", "workers=1"]) == 0
    assert (folder / "sheet.html").is_file() and not visits.exists()


# ---------------------------------------------------------------- words


@pytest.mark.parametrize("change, words", [
    ({}, "advised nine; found not noted"), ({"found": "better"}, "advised nine; found better"),
    ({"verdict": "probably", "as_left": "10 ft"}, "nine was probably better; left as 10 ft; found not noted"),
    ({"verdict": "leave", "recipe": ""}, "advised to leave it; found not noted"),
    ({"verdict": "cannot_tell"}, "no verdict; found not noted"),
    ({"verdict": "replace", "found": "same"}, "advised new steel; found same"),
])  # fmt: skip
def test_a_visit_in_a_line(change, words):
    assert line(replace(VISIT, **change)) == f"Last visit 2026-11-03: {words}"


def reading(recipe=SINGLE, seed=1, wear=0.0, sd=3e-6):
    x = grid(WHOLE_M, 1e-3)
    return read_blade(x, heights(recipe, x, wear) + noise(seed, len(x), sd))


def as_kept(r) -> KeptBlade:
    ends = [r.working_m[0], *(b.value for b in r.boundaries_m), r.working_m[1]]
    zones = tuple(KeptZone(low, high, radius.value) for low, high, radius in zip(ends, ends[1:], r.radii_m))
    return KeptBlade("left", r.single.radius_m.value, zones, r.sigma_m, NAN, NAN)


def today(found, side="left", height=NAN):
    """A plan of one blade, and the content of its sheet."""
    blade = SimpleNamespace(side=side, reading=found)
    order = SimpleNamespace(bench=SimpleNamespace(blades=[blade]), stock=SimpleNamespace(heights_m=(height,)))
    book = SimpleNamespace(before=lambda run: VISIT)
    request = SimpleNamespace(settings=[SimpleNamespace(skater=SimpleNamespace(mass_kg=80.0))])
    subject = [["Stands", "s"], ["Use", "u"], ["Says", "no complaint"]]
    content = {"run": {"id": "today"}, "subject": subject, "verdict": {"headline": "Leave it"}}
    return SimpleNamespace(order=order, book=book, request=request), content


def between(kept, found, height=NAN, side="left"):
    plan, content = today(found, side, height)
    plan.book = SimpleNamespace(
        before=lambda run: replace(VISIT, blades=(kept,) if isinstance(kept, KeptBlade) else kept)
    )
    return last_visit(plan, content)["last_visit"]


@pytest.mark.parametrize("recipe, wear", [(SINGLE, 0.0), (ZONED, 0.0), (ZONED, 30e-6)])
def test_two_readings_of_one_blade_are_no_change_and_wear_is(recipe, wear):
    many = [reading(recipe, seed, wear) for seed in range(100, 108)]
    for then, now in zip(many, [*many[1:], many[0]]):
        x, apart, noisy = apart_from(as_kept(then), now)
        assert np.abs(apart).max() < noisy and len(x) == len(apart)
    x, apart, noisy = apart_from(as_kept(many[0]), reading(recipe, 200, wear + (10e-6 if wear else 25e-6)))
    assert np.abs(apart).max() > noisy
    if wear == 0.0:  # what went stands off the line through both curves: about 25 um less a best line
        assert abs(x[np.argmax(apart)] + 0.015) < 0.02 and 8e-6 < apart.max() < 25e-6


def test_one_reading_is_nothing_apart_from_itself():
    """Though its zones leave micrometres of the worn trace."""
    worn = reading(ZONED, 3, 30e-6)
    assert np.abs(apart_from(as_kept(worn), worn)[1]).max() < 1e-8


def test_a_reground_radius_is_seen_at_its_size():
    """From 9 to 10 ft: half the difference of the sagittas over the working part stays under the best line."""
    ten = Recipe("10 ft", "single_radius", (10 * FOOT_M,), heel_sweep=SINGLE.heel_sweep, toe_sweep=SINGLE.toe_sweep)
    x, apart, noisy = apart_from(as_kept(reading()), reading(ten))
    sagitta = x[-1] ** 2 / 2 * (1 / (9 * FOOT_M) - 1 / (10 * FOOT_M))
    assert np.ptp(apart) == pytest.approx(sagitta, rel=0.05) and np.abs(apart).max() > 5 * noisy


def test_steel_between_visits():
    now = reading()
    assert "0.60 mm of steel of the left blade went between the visits." in between(BLADE, now, 0.0234)["between"]
    assert any("0.50 mm higher than at that visit" in s for s in between(BLADE, now, 0.0245)["between"])
    assert not any("steel" in s for s in between(BLADE, now)["between"])
    assert not any("steel" in s for s in between(replace(BLADE, height_m=NAN), now, 0.0234)["between"])


def test_blades_are_held_against_their_own():
    now = reading()
    pair = (BLADE, replace(BLADE, side="right", single_m=2.0))
    rows = between(pair, now, side="right")["rows"]
    assert ["Right blade, best single radius", "6.56 ft", "9.00 ft"] in rows and not any("Left" in r[0] for r in rows)
    assert between(replace(BLADE, side="right"), now)["rows"][4][1] == "9.84 ft"  # one blade each: they are the pair
    alone = between(pair, now, side="first")
    assert alone["between"] == ["No blade of that visit goes by a name of today's: their curves are not compared."]


def test_zones_that_do_not_lie_on_the_runner_are_said():
    zones = (KeptZone(-0.1, 0.19, 3.0), KeptZone(0.19, 0.2, 3.0))
    with pytest.raises(BladeError, match="do not lie on the runner"):
        apart_from(replace(BLADE, zones=zones), reading())
    assert "cannot be compared with that of then" in between(replace(BLADE, zones=zones), reading())["between"][0]


def kept_again(content, r, folder):
    """The visit of a blade and the content of its sheet, written and read back."""
    bench = SimpleNamespace(blades=[SimpleNamespace(side="left", reading=r)], files=[str(TRACES / "single_9ft.csv")])
    order = SimpleNamespace(bench=bench, stock=SimpleNamespace(heights_m=(NAN,)))
    skater = SimpleNamespace(skater=SimpleNamespace(mass_kg=80.0))
    request = SimpleNamespace(settings=[skater])
    plan = SimpleNamespace(order=order, book=SimpleNamespace(initials="A.B."), request=request)
    path = folder / f"A.B.-{content['run']['date']}.yaml"
    path.write_text(visit_text(plan, content))
    return read_visit(path)


def test_the_longest_words_and_a_flat_zone_are_read_back(kept, tmp_path):
    _, (_, (_, content), _) = kept
    long = content | {"subject": [["Stands", "x" * 5000], ["Use", "a: b"], ["Says", "null"]]}
    back = kept_again(long, replace(reading(), radii_m=(Interval(1e8, 40.0, 1e9),), boundaries_m=()), tmp_path)
    assert back.skater["use"] == "a: b" and back.skater["says"] == "null" and len(back.skater["stands"]) == 800
    assert back.blades[0].zones[0].radius_m == 1e6


@pytest.mark.parametrize("kind, name, new", [
    ("regrind", "nine", True), ("probably", "nine", True), ("regrind", "the same curve again", False),
    ("leave", "nine", False), ("cannot_tell", "nine", False),
])  # fmt: skip
def test_what_was_advised_is_a_new_curve_or_none(kind, name, new, kept, tmp_path):
    _, (_, (_, content), _) = kept
    choice = {"name": name, "recipe": "r", "steels": [{"side": "left", "most_mm": 0.25}, {"side": "x"}]}
    said = content | {"verdict": content["verdict"] | {"kind": kind}, "choices": [choice]}
    back = kept_again(said, reading(), tmp_path)
    advised = kind in ("regrind", "probably")
    assert back.new_curve == new and back.recipe == (name if advised else "") and back.verdict == kind
    assert back.blades[0].steel_m == (pytest.approx(0.25e-3) if advised else pytest.approx(NAN, nan_ok=True))
