"""A roster: what it may say, in either form; what it says wrongly is one sentence with its row."""

import shutil
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from experiments.request.roster import ROSTER_KEYS, SHORT_NAMES, read_roster
from sim.errors import BladeError

TRACES = Path(__file__).parents[2] / "traces"


@pytest.fixture
def put(tmp_path):
    for name in ("one.csv", "two.csv"):
        shutil.copy(TRACES / "single_9ft.csv", tmp_path / name)

    def made(text, name="team.csv"):
        (tmp_path / name).write_bytes(text.encode() if isinstance(text, str) else text)
        return str(tmp_path / name)

    return made


def test_the_examples_say_the_same_in_both_forms():
    table, listed = read_roster(str(TRACES / "team.csv")), read_roster(str(TRACES / "team.yaml"))
    assert [row.initials for row in table] == ["A1", "B2", "C3", "D4"]
    first = {"initials": "A1", "trace": str(TRACES / "worn_pair.csv"), "skater.mass": "82 kg",
             "skater.height": "1.80 m", "stands": "back", "use": "forward", "says": ["falls_back_on_heels"],
             "runner_height": ["24 mm", "23.5 mm"]}  # fmt: skip
    assert table[0].values == first == listed[0].values
    assert table[1].values == listed[1].values | {"stands": "mid"} and "says" not in table[1].values
    assert table[2].values["says"] == ["pivots_hard", "turns_too_wide"] and "runner_height" not in table[2].values


def test_a_row_takes_the_place_of_what_the_command_says():
    config = {"skater": {"mass": "80 kg", "name": "adult"}, "use": {}, "trace": None, "initials": None}
    row = read_roster(str(TRACES / "team.yaml"))[1]
    asked = row.asked(config)
    assert asked["skater"] == {"mass": "64 kg", "name": "adult", "height": "1.70 m"}
    assert asked["use"]["name"] == "defence" and asked["initials"] == "B2" and asked["runner_height"] == "22 mm"
    assert config == {"skater": {"mass": "80 kg", "name": "adult"}, "use": {}, "trace": None, "initials": None}


@pytest.mark.parametrize("text", [
    "initials,trace\nA,one.csv\n\nB,two.csv\n", "initials;trace;\nA;one.csv;\nB;two.csv;;\n;;\n",
    "initials\ttrace\r\nA\tone.csv\r\nB\ttwo.csv\r\n", "\ufeffinitials,trace\nA,one.csv\nB,two.csv",
    "# mine\ninitials, trace, mass\nA, one.csv,\n# C,none.csv\nB, \"two.csv\",\n",
])  # fmt: skip
def test_any_spreadsheet_will_do(text, put):
    rows = read_roster(put(text))
    assert [(row.initials, Path(row.values["trace"]).name, len(row.values)) for row in rows] == [
        ("A", "one.csv", 2), ("B", "two.csv", 2)
    ]  # fmt: skip


def test_cells_that_are_no_plain_text(put):
    (row,) = read_roster(put(
        "initials;trace;ground_as;gauge_level;runner_height\n"
        "A;one.csv;\"{family: zoned, radii: [9 ft, 10 ft]}\";TRUE;24 mm\n"
    ))  # fmt: skip
    assert row.values["ground_as"] == {"family": "zoned", "radii": ["9 ft", "10 ft"]}
    assert row.values["gauge_level"] is True and row.values["runner_height"] == "24 mm"


def test_every_column_is_a_key_of_the_command():
    from experiments.request.compose import composed

    config = composed(["experiment=recommend"])[0]
    for key in ROSTER_KEYS:
        at = config
        for part in key.split("."):
            assert part in at, key
            at = at[part]
    assert set(SHORT_NAMES.values()) < set(ROSTER_KEYS)


BAD = {
    "unknown column": ("initials,trace,weight\nA,one.csv,80 kg\n", "row 2", "'weight' is no column"),
    "empty": ("", "names no skater", "a row for each skater"),
    "a heading alone": ("initials,trace\n", "names no skater", "heading"),
    "the same initials": ("initials,trace\nA,one.csv\nB,one.csv\na,two.csv\n", "row 2 (A)", "stands twice"),
    "no initials": ("initials,trace\n,one.csv\n", "row 2", "'initials' is missing"),
    "no trace": ("initials,trace\nA,\n", "row 2", "'trace' is missing"),
    "a trace that is not there": ("initials,trace\nA,three.csv\n", "row 2 (A), trace", "no file 'three.csv' beside"),
    "a second trace that is not": ("initials,trace,second_trace\nA,one.csv,x\n", "row 2 (A), second_trace", "'x'"),
    "a folder": ("initials,trace\nA,.\n", "row 2 (A), trace", "no file"),
    "initials that are a path": ("initials,trace\n../A,one.csv\n", "row 2, initials", "not taken there"),
    "more cells than headings": ("initials,trace\nA,one.csv,mid,x\n", "row 2", "4 cells under 2"),
    "a heading twice": ("initials,trace,mass,mass\nA,one.csv,1 kg,2 kg\n", "row 2", "'mass' stands twice"),
    "two names of one key": ("initials,trace,mass,skater.mass\nA,one.csv,1 kg,2 kg\n", "row 2", "are the same"),
    "an open quote": ("initials,trace\nA,\"one.csv\n", "no table of cells", "quote"),
    "filled in from elsewhere": ("initials,trace\n${oc.env:HOME},one.csv\n", "line 2", "filled in"),
    "no text": (b"\xff\xfe\x00", "cannot read", "UTF-8"),
    "huge": ("initials,trace\n" + "A,one.csv\n" * 30_000, "larger than 0.2 MB", "split"),
    "too many": ("initials,trace\n" + "".join(f"A{k},one.csv\n" for k in range(201)), "201 skaters", "at most 200"),
    "a use that is none": ("initials,trace,use\nA,one.csv,forwrd\n", "row 2 (A): use", "did you mean 'forward'"),
}  # fmt: skip


@pytest.mark.parametrize("case", BAD)
def test_a_bad_roster_is_one_sentence(case, put):
    text, place, why = BAD[case]
    with pytest.raises(BladeError) as refusal:
        [row.asked({}) for row in read_roster(put(text))]
    said = str(refusal.value)
    assert place in said and why in said and said.startswith("roster: ") and "\n" not in said and "team.csv" in said


@pytest.mark.parametrize("text, why", [
    ("{initials: A}", "must be a list"), ("- initials: NO\n  trace: one.csv\n", "in quotes"), ("[]", "names no skater"),
    ("- A", "skater 1: expected named values"), ("- {initials: A, initials: B, trace: one.csv}", "stands twice"),
    ("- {initials: A, trace: [one.csv]}", "name one file"), ("- {initials: A\n", "is not YAML"),
])  # fmt: skip
def test_a_bad_list_is_one_sentence(text, why, put):
    with pytest.raises(BladeError, match=why) as refusal:
        read_roster(put(text, "team.yaml"))
    assert "\n" not in str(refusal.value) and "roster: " in str(refusal.value)


def test_a_file_that_is_none(tmp_path):
    for name in ("none.csv", "none.yaml", ""):
        with pytest.raises(BladeError, match="roster: "):
            read_roster(str(tmp_path / name))


@given(text=st.text(st.sampled_from("initialstracemass,;\t\n\"#=A1.csv '{}[]:-\u2028é"), max_size=80))
def test_any_text_is_a_roster_or_one_sentence(text, tmp_path_factory):
    place = tmp_path_factory.mktemp("r")
    for name in ("team.csv", "team.yaml"):
        (place / name).write_text("initials,trace\n" + text)
        try:
            read_roster(str(place / name))
        except BladeError as refusal:
            assert "\n" not in str(refusal)
