"""Visits as files: what was kept is read back, what a hand spoiled is one sentence with its place, all else is left."""

import math
import os

import pytest
from hypothesis import given
from hypothesis import strategies as st

from experiments.request.fields import Fields
from experiments.request.visits import (
    alike,
    checked_initials,
    is_visit,
    kept_in,
    kept_of,
    read_book,
    read_visit,
    visit_name,
)
from sim.errors import BladeError

TEXT = """# by hand
form: 1
date: '2026-11-03'
initials: A.B.
skater:
  mass: 82 kg
  stands: at the usual place (stated)
  use: 'forward: 30 % glide, 70 % tight turns'
  says: falls back on the heels
traces:
- {file: left.csv, sha256: 00ff}
blades:
- side: left
  noise_um: 2.5
  height_mm: 24.0
  steel_to_remove_mm: 0.31
  single_radius: {ft: 10.0, m: 3.048, low_m: 3.04, high_m: 3.06}
  zones:
  - {from_mm: -100.0, to_mm: 5.5, ft: 9.0, m: 2.7432, low_m: 2.7, high_m: 2.8}
  - {from_mm: 5.5, to_mm: 101.0, ft: 11.0, m: 3.3528, low_m: 3.3, high_m: 3.4}
advised:
  verdict: regrind
  headline: Regrind to single 9 ft
  recipe: single 9 ft
  recipe_words: single radius 9 ft
  new_curve: true
run: 20261103-101500-ab12cd
version: arcstride 0.1.0

as_left:
found:
words:
"""
NAME = "A.B.-2026-11-03.yaml"


def put(folder, text=TEXT, name=NAME):
    (folder / name).write_bytes(text.encode() if isinstance(text, str) else text)
    return folder / name


def test_a_visit_is_read_back(tmp_path):
    visit = read_visit(put(tmp_path))
    assert (visit.name, visit.initials, visit.day, visit.number) == (NAME, "A.B.", "2026-11-03", 1)
    assert visit.skater["mass"] == "82 kg" and visit.skater["says"] == "falls back on the heels"
    (blade,) = visit.blades
    assert (blade.side, blade.single_m, blade.noise_m) == ("left", 3.048, pytest.approx(2.5e-6))
    assert (blade.height_m, blade.steel_m) == (pytest.approx(0.024), pytest.approx(0.31e-3))
    assert [(z.from_m, z.to_m, z.radius_m) for z in blade.zones] == [
        (pytest.approx(-0.1), pytest.approx(0.0055), 2.7432), (pytest.approx(0.0055), pytest.approx(0.101), 3.3528)
    ]  # fmt: skip
    assert (visit.verdict, visit.recipe, visit.recipe_words) == ("regrind", "single 9 ft", "single radius 9 ft")
    assert visit.new_curve and visit.run == "20261103-101500-ab12cd"
    assert (visit.as_left, visit.found, visit.words) == ("", "", "")


def filled(old: str, new: str) -> str:
    assert TEXT.count(old) == 1
    return TEXT.replace(old, new)


@pytest.mark.parametrize("text", [
    TEXT.replace("\n", "\r\n").encode(), b"\xef\xbb\xbf" + TEXT.encode(), TEXT.replace("'2026-11-03'", '"2026-11-03"'),
    TEXT + "\n\n# more of mine\n",
])  # fmt: skip
def test_any_editor_will_do(text, tmp_path):
    assert read_visit(put(tmp_path, text)).recipe == "single 9 ft"


def test_what_the_shop_fills_in(tmp_path):
    text = (
        filled("as_left:", "as_left: 9").replace("found:", "found: Better").replace("words:\n", "words: 'so: glad'\n")
    )
    visit = read_visit(put(tmp_path, text))
    assert (visit.as_left, visit.found) == ("9", "better") and visit.words == "so: glad"
    unknown = read_visit(put(tmp_path, filled("height_mm: 24.0", "height_mm:").replace("_mm: 0.31", "_mm:")))
    assert math.isnan(unknown.blades[0].height_m) and math.isnan(unknown.blades[0].steel_m)


SPOILED = {
    "no such word": (filled("found:", "found: bettr"), "found", "did you mean 'better'"),
    "yes for an answer": (filled("found:", "found: yes"), "visit.found", "words on one line"),
    "a colon": (filled("words:\n", "words: glad: very\n"), "line 32", "is not YAML"),
    "several lines": (filled("words:\n", "words: |\n  one\n  two\n"), "words", "one line"),
    "a key twice": (filled("found:", "found: better\nfound:"), "line 32", "'found' stands twice"),
    "a key of its own": (filled("words:\n", "words:\nphone: 1\n"), "visit.phone", "unknown key"),
    "a bare date": (filled("'2026-11-03'", "2026-11-03"), "visits.date", "put it in quotes"),
    "another date": (filled("'2026-11-03'", "'2026-11-04'"), "visit.date", "2026-11-03"),
    "no date": (filled("'2026-11-03'", "'last week'"), "visit.date", "is no date"),
    "other initials": (filled("initials: A.B.", "initials: C.D."), "visit.initials", "named for"),
    "a later form": (filled("form: 1", "form: 2"), "visit.form", "form 1 only"),
    "no blades": (filled("blades:\n", "blades: []\nblade:\n"), "visit.blades", "expected a list"),
    "feet changed alone": (filled("ft: 10.0", "ft: 11.0"), "visit.blades[0].single_radius.ft", "not the same radius"),
    "a hole between zones": (filled("from_mm: 5.5", "from_mm: 7.5"), "visit.blades[0].zones", "begin where"),
    "turned round": (filled("to_mm: 101.0", "to_mm: 1.0"), "visit.blades[0].zones[1].from_mm", "nearer to the toe"),
    "no number": (filled("noise_um: 2.5", "noise_um: little"), "visit.blades[0].noise_um", "plain number"),
    "no verdict": (filled("verdict: regrind", "verdict: regind"), "verdict", "regrind"),
    "a tag": (filled("words:\n", "words: !!python/object:os.system x\n"), "line 32", "tags"),
    "an object that is filled in": (filled("words:\n", "words: ${oc.env:HOME}\n"), "visits.words", "filled in"),
    "nothing": ("", "visit", "expected named values"),
    "binary": (b"\xff\xfe\x00", "cannot read", "plain text"),
    "huge": (TEXT + "#" * 50_000, "larger than 0.04 MB", "compare"),
}  # fmt: skip


@pytest.mark.parametrize("case", SPOILED)
def test_what_a_hand_spoiled_is_one_sentence_with_file_and_place(case, tmp_path):
    text, place, why = SPOILED[case]
    with pytest.raises(BladeError) as refusal:
        read_visit(put(tmp_path, text))
    said = str(refusal.value)
    assert place in said and why in said and NAME in said and said.startswith("visits: ") and "\n" not in said


@given(data=st.data())
def test_any_text_is_a_visit_or_one_sentence(data, tmp_path_factory):
    at = data.draw(st.integers(0, len(TEXT)))
    text = TEXT[:at] + data.draw(st.text(max_size=8)) + TEXT[at + data.draw(st.integers(0, 30)) :]
    path = tmp_path_factory.mktemp("v") / NAME
    path.write_bytes(text.encode("utf-8", "surrogatepass"))
    try:
        read_visit(path)
    except BladeError as refusal:
        assert NAME in str(refusal) and "\n" not in str(refusal)


# ---------------------------------------------------------------- which files are visits


def test_names_say_whose_and_when():
    for name, parts in {
        "AB-2026-11-03.yaml": ("AB", "2026-11-03", None), "AB-2026-11-03-2.yaml": ("AB", "2026-11-03", "2"),
        "A-2-2026-11-03.yaml": ("A-2", "2026-11-03", None), "12-2026-11-03-10.yaml": ("12", "2026-11-03", "10"),
        "A-2026-11-03-2026-11-04.yaml": ("A-2026-11-03", "2026-11-04", None),
    }.items():  # fmt: skip
        found = is_visit(name)
        assert (found["initials"], found["date"], found["number"]) == parts
        assert visit_name(parts[0], parts[1], int(parts[2] or 1)) == name
    for name in ("AB.yaml", "AB-2026-11-03.yml", "AB-2026-11-3.yaml", ".AB-2026-11-03.yaml.12.part", "notes.txt",
                 "AB-2026-11-03-0.yaml", "AB-2026-11-03.yaml~"):  # fmt: skip
        assert is_visit(name) is None


def test_other_files_and_other_skaters_are_not_looked_at(tmp_path):
    put(tmp_path, TEXT.replace("2026-11-03", "2026-10-01"), "A.B.-2026-10-01.yaml")
    put(tmp_path, TEXT, "a.b.-2026-11-03-2.yaml")
    put(tmp_path)
    put(tmp_path, "no: [yaml", "notes.yaml")
    put(tmp_path, "no: [yaml", "CD-2026-11-03.yaml")
    (tmp_path / "folder").mkdir()
    found = kept_of(tmp_path, "A.B.")
    assert [v.name for v in found] == ["A.B.-2026-10-01.yaml", NAME, "a.b.-2026-11-03-2.yaml"]
    with pytest.raises(BladeError, match=r"CD-2026-11-03\.yaml is not YAML from line 2 on"):
        kept_in(tmp_path)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="pipes with names are of Unix")
@pytest.mark.parametrize("made", ["link", "pipe", "folder"])
def test_links_pipes_and_folders_are_no_visits(made, tmp_path):
    place, outside = tmp_path / "visits", tmp_path / "outside.yaml"
    place.mkdir()
    outside.write_text(TEXT)
    {"link": lambda p: p.symlink_to(outside), "pipe": os.mkfifo, "folder": os.mkdir}[made](place / NAME)
    for ask in (lambda: kept_in(place), lambda: kept_of(place, "A.B.")):
        with pytest.raises(BladeError, match=rf"^visits: {NAME}: a link, a pipe, a folder"):
            ask()


# ---------------------------------------------------------------- initials, and the folder


@pytest.mark.parametrize("raw", ["AB", "A.B.", "7", 7, "É.Ü.", "張", "A-1_b", "A B", "CONNY", "NULL", "LPT"])
def test_initials_that_every_system_takes(raw):
    assert checked_initials(raw, "initials") == str(raw)


@pytest.mark.parametrize("raw", [
    "A/B", "A\\B", "A:B", "A*", "A?", 'A"', "<A", "A|B", ".AB", "-AB", "AB ", " AB", "CON", "con", "nul.x", "COM1",
    "Lpt9", "COM¹", "A" * 13, "", True, "A\nB", "=A", "A,B", "../A", "😀", ["A"],
])  # fmt: skip
def test_initials_that_some_system_does_not_take_are_refused(raw):
    with pytest.raises(BladeError) as refusal:
        checked_initials(raw, "initials")
    assert "initials" in str(refusal.value) and "\n" not in str(refusal.value)


def test_capitals_and_composed_letters_make_no_other_skater():
    assert alike("e\u0301B") == alike("ÉB") and alike("AB") != alike("AC")


def test_the_folder_is_asked_for_with_initials(tmp_path):
    assert read_book(Fields({"visits": None, "initials": "A/B"}, "")) is None
    with pytest.raises(BladeError, match=r"^visits: a visit is kept under initials or a number .* add initials=AB"):
        read_book(Fields({"visits": "v"}, ""))
    (tmp_path / "file").write_text("mine")
    with pytest.raises(BladeError, match=r"visits: .*file is no folder that can be written"):
        read_book(Fields({"visits": str(tmp_path / "file"), "initials": "AB"}, ""))
    book = read_book(Fields({"visits": str(tmp_path / "new"), "initials": "AB"}, ""))
    assert book.visits == () and not (tmp_path / "new").exists()
    with pytest.raises(BladeError, match="is no folder; name the one that visits are kept in"):
        kept_in(tmp_path / "new")


def test_the_last_visit_is_of_another_run(tmp_path):
    put(tmp_path)
    put(tmp_path, TEXT.replace("ab12cd", "ffffff"), "A.B.-2026-11-03-2.yaml")
    book = read_book(Fields({"visits": str(tmp_path), "initials": "a.b."}, ""))
    assert book.before("another").number == 2 and book.before("20261103-101500-ffffff").number == 1
    assert book.holds("20261103-101500-ab12cd") and not book.holds("another")
