"""A team in one run: the sheets of the single command, one table of all, a bad trace as a row with its reason."""

import csv
import json
import shutil
from pathlib import Path

import pytest

from experiments.main import run_command
from experiments.run.journal import Halted
from experiments.studies.team import study
from sim.errors import BladeError

TRACES = Path(__file__).parents[2] / "traces"
QUICK = ["draws=16", "workers=1"]
SINGLE = {
    "A1": [f"trace={TRACES / 'worn_pair.csv'}", "skater.mass=82 kg", "skater.height=1.80 m", "stands=back",
           "use=forward", "says=[falls_back_on_heels]", "runner_height=[24 mm, 23.5 mm]"],
    "C3": [f"trace={TRACES / 'rear_flat.csv'}", "skater.mass=71 kg", "skater.height=1.76 m", "stands=-10 mm",
           "says=[pivots_hard,turns_too_wide]"],
}  # fmt: skip


def team(room: Path, *more, roster=TRACES / "team.csv"):
    """(status, run folder) of a team's run."""
    status = run_command(["experiment=team", f"roster={roster}", *QUICK, *more, f"results_dir={room}"])
    folders = list(room.glob("team/*"))
    return status, folders[-1] if folders else None


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    """The run folder of the example, and the folder of its visits."""
    room = tmp_path_factory.mktemp("team")
    status, folder = team(room / "r", f"visits={room / 'visits'}")
    assert status == 0
    return folder, room / "visits"


def overview(folder: Path) -> dict[str, dict]:
    return {row["initials"]: row for row in csv.DictReader((folder / "overview.csv").open())}


@pytest.mark.parametrize("who", SINGLE)
def test_a_sheet_of_a_team_is_that_of_the_single_command(who, whole, tmp_path):
    assert (
        run_command(["experiment=recommend", f"initials={who}", *SINGLE[who], *QUICK, f"results_dir={tmp_path}"]) == 0
    )
    (alone,) = tmp_path.glob("*/*")
    one, of_team = (json.loads(p.read_text()) for p in (alone / "sheet.json", whole[0] / f"sheet-{who}.json"))
    run, team_run = one.pop("run"), of_team.pop("run")
    assert one == of_team and {k: v for k, v in run.items() if k not in ("id", "command")} == {
        k: v for k, v in team_run.items() if k not in ("id", "command")
    }
    pages = [p.read_text() for p in (alone / "sheet.html", whole[0] / f"sheet-{who}.html")]
    assert pages[0].split("How to get this sheet again")[0].replace(run["id"], "") == (
        pages[1].split("How to get this sheet again")[0].replace(team_run["id"], "")
    )


def test_the_overview_has_a_row_for_everybody(whole):
    rows = overview(whole[0])
    assert list(rows) == ["A1", "B2", "C3", "D4"]
    for who in ("A1", "B2", "C3"):
        facts = json.loads((whole[0] / f"sheet-{who}.json").read_text())
        assert rows[who]["sheet"] == f"sheet-{who}.html" and rows[who]["reason"] == facts["verdict"]["headline"]
        advised = facts["verdict"]["kind"] in ("regrind", "probably")
        assert bool(rows[who]["advised recipe"]) == advised
        if advised:
            assert rows[who]["advised recipe"].startswith(facts["choices"][0]["name"])
            assert rows[who]["best number"] == facts["gains"][0]
            for steel in facts["choices"][0]["steels"]:
                assert f"{steel['most_mm']:.2f}" in rows[who]["steel to remove at most, mm"]
    assert any(rows[who]["advised recipe"] for who in ("A1", "B2", "C3")), "else nothing above was looked at"
    assert rows["C3"]["present curve"] == "13.0/10.0/7.0 ft" and rows["A1"]["present curve"].startswith("left ")
    assert rows["D4"]["verdict"] == "no sheet" and "only headings" in rows["D4"]["reason"] and not rows["D4"]["sheet"]
    page = (whole[0] / "overview.html").read_text()
    assert 'href="sheet-A1.html"' in page and "only headings" in page and "sheet-D4" not in page


def test_each_skater_who_has_a_sheet_has_a_visit(whole):
    folder, visits = whole
    names = sorted(p.name.split("-")[0] for p in visits.glob("*.yaml"))
    assert names == ["A1", "B2", "C3"] and all(folder.name in p.read_text() for p in visits.glob("*.yaml"))


TABLES = ("overview.csv", "sheet-A1.html", "sheet-B2.html", "sheet-C3.html", "sheet-C3.json")


def test_a_team_that_stopped_goes_on_and_ends_in_the_same_bits(tmp_path, monkeypatch):
    found = {}
    real = study.recommend.run

    def halts_at_the_third(plan, *given):
        if plan.order.initials == "C3" and "halted" not in found:
            found["halted"] = True
            raise Halted("the machine gave out")
        return real(plan, *given)

    monkeypatch.setattr(study.recommend, "run", halts_at_the_third)
    status, folder = team(tmp_path / "r")
    assert status == 2 and not (folder / "overview.csv").exists()
    asked = []
    answers = study.Workers._answers
    monkeypatch.setattr(study.Workers, "_answers", lambda self, f, s, todo, lost: (
        asked.append(len(todo)), answers(self, f, s, todo, lost))[1])  # fmt: skip
    assert run_command([f"resume={folder}", "workers=1"]) == 0
    assert asked[0] == asked[1] == 0 and asked[2] > 0, "what was known was asked again"
    status, fresh = team(tmp_path / "fresh")
    for name in TABLES:
        one, other = ((p / name).read_text().replace(p.name, "") for p in (folder, fresh))
        assert one.replace(str(tmp_path / "r"), "") == other.replace(str(tmp_path / "fresh"), ""), name


def test_a_refusal_in_the_middle_is_a_row_and_the_rest_goes_on(tmp_path, monkeypatch):
    real = study.recommend.run

    def refuses(plan, *given):
        if plan.order.initials == "B2":
            raise BladeError("no draw could be evaluated.")
        return real(plan, *given)

    monkeypatch.setattr(study.recommend, "run", refuses)
    status, folder = team(tmp_path)
    rows = overview(folder)
    assert status == 0 and rows["B2"]["reason"] == "no draw could be evaluated." and rows["C3"]["sheet"]


@pytest.fixture
def roster(tmp_path):
    shutil.copy(TRACES / "single_9ft.csv", tmp_path / "one.csv")
    (tmp_path / "bad.csv").write_text("from heel [mm],height [mm]\n0,1\nmy 'own' secret,2\n")

    def made(text):
        (tmp_path / "team.csv").write_text(text)
        return tmp_path / "team.csv"

    return made


BAD = {
    "no roster": ("", "names no skater" , None),
    "a mass of nobody": ("initials,trace,mass\nA,one.csv,80\n", "row 2 (A): skater.mass: '80' has no unit", None),
    "an unknown complaint": ("initials,trace,says\nA,one.csv,falls\n", "row 2 (A): says: 'falls' is unknown", None),
    "a stance nowhere": ("initials,trace,stands\nA,bad.csv,aft\n", "row 2 (A): stands", None),
    "a height of no steel": ("initials,trace,runner_height\nA,one.csv,1 mm\n", "row 2 (A): runner_height", None),
    "a recipe that is none": ("initials,trace,ground_as\nA,one.csv,{family: oval}\n", "row 2 (A): ground_as", None),
    "an unknown unit": ("initials,trace,trace_unit\nA,one.csv,furlong\n", "row 2 (A): trace_unit", None),
    "a trace besides": ("initials,trace\nA,one.csv\n", "trace: of a team it stands in the roster", "trace=x.csv"),
    "initials besides": ("initials,trace\nA,one.csv\n", "initials: of a team", "initials=A"),
}  # fmt: skip


@pytest.mark.parametrize("case", BAD)
def test_what_a_roster_says_wrongly_is_refused_before_work(case, roster, tmp_path, capsys):
    text, words, more = BAD[case]
    status, folder = team(tmp_path / "r", *([more] if more else []), roster=roster(text))
    said = capsys.readouterr().err
    assert status == 2 and folder is None and said.count("\n") == 1
    assert words in said


def test_no_roster_at_all(tmp_path, capsys):
    assert run_command(["experiment=team", f"results_dir={tmp_path}"]) == 2
    assert "roster: name the file of the team" in capsys.readouterr().err


def test_a_spoiled_visit_is_refused_before_work(roster, tmp_path, capsys):
    (tmp_path / "visits").mkdir()
    (tmp_path / "visits" / "A-2026-01-01.yaml").write_text("found: [")
    status, folder = team(tmp_path / "r", f"visits={tmp_path / 'visits'}", roster=roster("initials,trace\nA,one.csv\n"))
    assert status == 2 and folder is None and "A-2026-01-01.yaml is not YAML" in capsys.readouterr().err


def test_bad_traces_alone_are_rows_and_no_answer(roster, tmp_path):
    """What a refusal quotes of a file stays out: the roster of a folder from elsewhere may name any file."""
    status, folder = team(tmp_path / "r", roster=roster("initials,trace\nA,bad.csv\n"))
    (row,) = overview(folder).values()
    assert status == 1 and row["verdict"] == "no sheet" and "bad.csv" in row["reason"]
    everything = "".join(p.read_text(errors="replace") for p in folder.rglob("*") if p.is_file())
    assert "secret" not in everything


def test_a_folder_from_elsewhere_learns_nothing_of_the_file_it_calls_a_roster(roster, tmp_path, monkeypatch, capsys):
    text = "initials,trace\nA,one.csv\n"
    with monkeypatch.context() as patched:
        patched.setattr(study.recommend, "run", lambda *given: (_ for _ in ()).throw(Halted("stop")))
        assert team(tmp_path / "r", roster=roster(text))[0] == 2
    (folder,) = (tmp_path / "r").glob("team/*")
    (tmp_path / "mine.txt").write_text("my secret\n")
    config = folder / "config.yaml"
    config.write_text(config.read_text().replace(str(tmp_path / "team.csv"), str(tmp_path / "mine.txt")))
    capsys.readouterr()
    assert run_command([f"resume={folder}", "workers=1"]) == 2
    said = capsys.readouterr().err
    assert "names files of this machine (roster" in said and "secret" not in said and said.count("\n") == 1
