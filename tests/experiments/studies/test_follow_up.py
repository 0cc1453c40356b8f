"""Follow-ups: counts by hand, exact intervals by the tails of the binomial law, and no claim from few answers."""

import csv
import math
from dataclasses import replace
from math import comb

import pytest

from experiments.main import run_command
from experiments.studies.follow_up.sentences import NO_PROOF, group_words, sentences
from experiments.studies.follow_up.study import Plan, followed, group, share
from tests.experiments.request.test_visit_files import TEXT
from tests.experiments.studies.test_visit_sheet import VISIT


def visits(*of):
    """Visits of (verdict, as_left, found, initials)."""
    return [replace(VISIT, verdict=v, as_left=left, found=found, initials=who) for v, left, found, who in of]


SOME = visits(
    ("regrind", "as advised", "better", "A"), ("regrind", "nine", "better", "a"), ("regrind", "Advised.", "worse", "B"),
    ("regrind", "10 ft", "better", "C"), ("regrind", "", "better", "D"), ("regrind", "nine", "", "E"),
    ("probably", "single  radius 9 FT", "same", "F"), ("leave", "as advised", "better", "G"),
    ("cannot_tell", "nine", "worse", "H"),
)  # fmt: skip
SOME.append(replace(SOME[0], new_curve=False))  # the same curve again: no change of curve


def test_groups_are_counted():
    every, regrind, probably = (group(SOME, name, 1) for name in ("all", "regrind", "probably"))
    assert (regrind.advised, regrind.followed, regrind.otherwise, regrind.unnoted) == (6, 4, 1, 1)
    assert (regrind.answered, regrind.skaters, [s.count for s in regrind.shares]) == (3, 2, [2, 0, 1])
    assert (probably.advised, probably.followed, [s.count for s in probably.shares]) == (1, 1, [0, 1, 0])
    assert (every.advised, every.answered, every.skaters, [s.count for s in every.shares]) == (7, 4, 3, [2, 1, 1])
    assert [s.found for s in every.shares] == ["better", "same", "worse"]


@pytest.mark.parametrize("left, did", [
    ("as advised", True), ("Advised", True), ("nine", True), ("NINE.", True), ("single radius 9 ft", True),
    ("9 ft", False), ("not as advised", False), ("", False),
])  # fmt: skip
def test_what_counts_as_followed(left, did):
    assert followed(replace(VISIT, as_left=left)) == did


def test_a_recipe_that_is_not_named_is_followed_by_nothing():
    assert not followed(replace(VISIT, recipe="", recipe_words="", as_left=""))


def at_least(k, n, p):
    """Chance of k or more of n."""
    return sum(comb(n, i) * p**i * (1 - p) ** (n - i) for i in range(k, n + 1))


@pytest.mark.parametrize("k, n", [(0, 20), (1, 20), (13, 20), (20, 20), (40, 61), (5, 5)])
def test_intervals_are_exact(k, n):
    """Clopper and Pearson: the ends at which k or more, and k or fewer, are seen in 5 of 100."""
    found = share("better", k, n, 1)
    if k:
        assert at_least(k, n, found.low) == pytest.approx(0.05, abs=1e-6)
    else:
        assert found.low == 0 and found.high == pytest.approx(1 - 0.05 ** (1 / n))
    if k < n:
        assert 1 - at_least(k + 1, n, found.high) == pytest.approx(0.05, abs=1e-6)
    else:
        assert found.high == 1 and found.low == pytest.approx(0.05 ** (1 / n))


def test_nothing_is_claimed_of_few():
    found = share("better", 19, 19, 20)
    assert found.count == 19 and math.isnan(found.low) and math.isnan(found.high)
    assert math.isfinite(share("better", 19, 20, 20).low)
    few = group(SOME, "regrind", 4)
    said = group_words(few, 4)
    assert "%" not in said and "2 better, 0 same, 1 worse; nothing is claimed under 4 (an opinion of ours)" in said
    enough = group_words(group(SOME, "regrind", 3), 3)
    # 2 of 3: ends 13.5 and 98.3 %, by hand from the tails
    assert "3 were answered for by 2 skaters: 2 better, 67 % (14 to 98 %)" in enough
    none = group_words(group([], "all", 1), 1)
    assert none == "All changes advised: 0; done as advised 0, otherwise 0, not noted 0. No answer has come back."


def test_what_it_does_not_show_is_said():
    said = " ".join(NO_PROOF)
    for words in ("not everybody", "expect a change tend to feel one", "Nobody was blinded", "no proof"):
        assert words in said


@pytest.fixture
def folder(tmp_path):
    """Twenty-one visits that were answered, in files."""
    place = tmp_path / "visits"
    place.mkdir()
    for k in range(21):
        text = TEXT.replace("A.B.", f"S{k}").replace("as_left:", "as_left: single 9 ft")
        text = text.replace("found:", f"found: {'better' if k < 14 else 'worse'}")
        (place / f"S{k}-2026-11-03.yaml").write_text(text)
    (place / "notes.txt").write_text("mine")
    return place


def test_the_command_leaves_counts_words_and_a_page(folder, tmp_path, capsys):
    before = {p: (p.read_bytes(), p.stat().st_mtime_ns) for p in folder.iterdir()}
    assert run_command(["experiment=follow_up", f"visits={folder}", f"results_dir={tmp_path / 'r'}"]) == 0
    shown = " ".join(capsys.readouterr().out.split())
    (run,) = (tmp_path / "r").glob("*/*")
    rows = list(csv.DictReader((run / "follow_up.csv").open()))
    assert len(rows) == 9 and rows[0]["verdict"] == "all" and rows[0]["found"] == "better"
    assert [rows[0][key] for key in ("advised", "as_advised", "answered", "skaters", "count")] == ["21"] * 4 + ["14"]
    assert at_least(14, 21, float(rows[0]["q05"])) == pytest.approx(0.05, abs=1e-6)
    assert rows[8]["share"] == rows[8]["q05"] == "" and rows[8]["verdict"] == "probably"
    page = (run / "follow_up.html").read_text()
    for words in ("14 better, 67 % (46 to 83 %)", *NO_PROOF):
        assert words in shown and words in page
    assert before == {p: (p.read_bytes(), p.stat().st_mtime_ns) for p in folder.iterdir()}


def test_the_least_is_a_choice(folder):
    plan = Plan(folder, tuple(SOME), 5)
    assert "nothing is claimed under 5" in " ".join(sentences(plan, (group(SOME, "all", 5),)))


@pytest.mark.parametrize("more, words", [
    ([], "visits: name the folder"), (["visits=nowhere"], "nowhere is no folder"),
    (["visits=tests", "least_visits=0"], "least_visits"), (["visits=tests", "skater.mass=90 kg"], "skater.mass"),
])  # fmt: skip
def test_what_cannot_be_counted_is_refused(more, words, tmp_path, capsys):
    assert run_command(["experiment=follow_up", *more, f"results_dir={tmp_path / 'r'}"]) == 2
    said = capsys.readouterr().err
    assert words in said and said.count("\n") == 1 and not (tmp_path / "r").exists()


def test_one_spoiled_visit_is_named(folder, tmp_path, capsys):
    (folder / "S3-2026-11-03.yaml").write_text(TEXT.replace("A.B.", "S3").replace("found:", "found: perhaps"))
    assert run_command(["experiment=follow_up", f"visits={folder}", f"results_dir={tmp_path / 'r'}"]) == 2
    assert "S3-2026-11-03.yaml: visit.found: 'perhaps' is unknown" in capsys.readouterr().err
