"""The validation's pages: words of a verdict, the count in the first line, three parts; from rows written by hand."""

import csv
import io
import re

import pytest
from rich.console import Console

from experiments.studies.findings import sentences
from experiments.studies.validation import trade
from experiments.studies.validation.checks import PARTS, Check, compare, headline
from experiments.studies.validation.study import Plan
from experiments.studies.validation.tables import show, write_csv, write_markdown
from experiments.studies.validation.trade import said
from tests.experiments.analysis.judging.opinions_by_hand import OPINIONS

FELT = OPINIONS.felt


def row(number, part, verdict, variant="", published=1.0):
    return Check(number, part, f"title {number}", published, "1", 1.0, 0.0, verdict, "another number", "a source",
                 "a note", 0.1, variant)  # fmt: skip


# ---------------------------------------------------------------- words


@pytest.mark.parametrize(
    ("part", "ours", "word"),
    [
        ("measured", 1.099, "reproduced"),
        ("measured", 1.101, "not reproduced"),
        ("measured", 0.899, "not reproduced"),
        ("textbook", 0.901, "agrees"),
        ("textbook", 1.101, "disagrees"),
        ("ours", 1.099, "consistent"),
        ("ours", 0.899, "inconsistent"),
    ],
)
def test_each_part_has_its_own_words(part, ours, word):
    """Within a tenth of 1, or not."""
    check = compare("1", part, "x", 1.0, "N", ours, 0.1, "s", "A note.")
    assert check.verdict == word
    off = {"not reproduced": "Not reproduced", "disagrees": "Disagrees", "inconsistent": "Inconsistent"}
    size = f"{abs(100 * (ours - 1)):.0f} % {'low' if ours < 1 else 'high'}"
    assert check.note == (f"{off[word]}: ours is {size}. A note." if word in off else "A note.")
    assert check.refuted_by == "a gap of more than 10 % either way"


def test_no_two_parts_share_a_word():
    words = [word for part in PARTS.values() for word in (part.good, part.bad)]
    assert len(set(words)) == len(words) == 8


@pytest.mark.parametrize(("ours", "gap"), [(3.0, 0.0), (1.8, -0.1), (5.5, 0.1), (2.0, 0.0), (5.0, 0.0)])
def test_a_gap_to_a_band_is_the_distance_to_its_nearer_end(ours, gap):
    """Band 2 to 5: 1.8 is a tenth below 2, 5.5 a tenth above 5."""
    check = compare("1", "textbook", "x", (2.0, 5.0), "N", ours, 0.0, "s")
    assert check.gap == pytest.approx(gap)
    assert check.verdict == ("agrees" if gap == 0 else "disagrees")


@pytest.mark.parametrize(
    ("share", "felt", "word"),
    [
        (1.0, True, "supported"),
        (0.99, True, "partly supported"),
        (0.51, True, "partly supported"),
        (0.5, True, "not supported"),
        (0.0, True, "not supported"),
        (1.0, False, "too small to feel"),
        (0.51, False, "too small to feel"),
        (0.5, False, "not supported"),
    ],
)
def test_a_rule_of_the_trade_needs_a_direction_and_a_size(share, felt, word):
    assert said("12x", "x", share, felt, "1", 1.0, "r", "n").verdict == word


@pytest.mark.parametrize(
    ("ratio", "felt"), [(1.051, True), (1.049, False), (0.951, True), (0.9525, False), (1.0, False)]
)
def test_what_is_felt_is_a_twentieth_either_way(ratio, felt):
    """1/1.05 = 0.9524."""
    assert trade.is_felt(ratio, FELT) == felt


def test_a_rule_of_many_radii_holds_only_where_every_step_does():
    assert trade._rising([1, 2, 3]) == 1
    assert trade._rising([1, 3, 2]) == trade._rising([1, 1, 2]) == trade._rising([3, 2, 1]) == 0


# ---------------------------------------------------------------- the first line


ROWS = [
    row("1", "textbook", "agrees"),
    row("7a", "measured", "not reproduced", "smooth"),
    row("7ar", "measured", "reproduced", "shipped"),
    row("7b", "measured", "reproduced", "smooth"),
    row("7br", "measured", "reproduced", "shipped"),
    row("7c", "measured", "not reproduced", "smooth"),
    row("7cr", "measured", "not reproduced", "shipped"),
    row("7d", "measured", "reproduced", published=None),  # a direction is no magnitude
    row("11", "measured", "an input", published=(1.0, 2.0)),
    row("4", "ours", "consistent"),
    row("12", "trade", "supported", published=None),
]


def test_the_first_line_counts_measured_magnitudes_only():
    line = headline(ROWS)
    assert line.startswith("Measured magnitudes reproduced: 1 of 3 without added roughness, 2 of 3 with it")
    assert "no check" in line


def shown(width=120):
    console = Console(width=width, record=True, file=io.StringIO(), markup=False)  # as the command has it
    show(Plan(FELT), ROWS, console)
    return console.export_text()


def test_the_terminal_starts_with_the_count_and_has_three_parts():
    text = shown()
    assert text.startswith("Measured magnitudes reproduced: 1 of 3 without")
    heads = "1a  Measured outside", "1b  Said outside, not measured", "2  Textbook", "3  Ours against ours"
    places = [text.index(f"\n{head}. ") for head in heads]
    assert places == sorted(places)
    belongs = {"1": "2", "4": "3", "12": "Said", "7a": "Measured"}
    parts = dict(zip(("Measured", "Said", "2", "3"), (text[a:b] for a, b in zip(places, [*places[1:], None]))))
    for number, part in belongs.items():
        found = [name for name, content in parts.items() if re.search(f"│ {number} +│", content)]
        assert found == [part], number


def test_the_terminal_is_readable_at_120_columns():
    lines = shown().splitlines()
    assert max(len(line) for line in lines) <= 120
    text = " ".join(shown().split())
    assert "…" not in text, "a cell is cut"
    assert "[" not in text, "a mark of the table's own is printed"
    assert text.count("Refuted by: another number.") == len(ROWS)


def test_csv_carries_every_row_and_gives_the_same_count(tmp_path):
    """Counted anew from the file, by its columns alone."""
    write_csv(ROWS, tmp_path / "checks.csv")
    with (tmp_path / "checks.csv").open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert sorted(r["number"] for r in rows) == sorted(c.number for c in ROWS)
    assert [r["part"] for r in rows] == ["measured"] * 8 + ["trade", "textbook", "ours"]
    for variant, count in (("smooth", 1), ("shipped", 2)):
        mine = [r for r in rows if r["variant"] == variant]
        assert len(mine) == 3 and sum(r["verdict"] == "reproduced" for r in mine) == count
    assert all(r["refuted_by"] == "another number" for r in rows)
    (band,) = [r for r in rows if r["number"] == "11"]
    assert (float(band["published_low"]), float(band["published_high"])) == (1.0, 2.0)


def test_markdown_starts_with_the_count_and_has_three_parts(tmp_path):
    write_markdown(ROWS, tmp_path / "checks.md")
    text = (tmp_path / "checks.md").read_text(encoding="utf-8")
    assert text.splitlines()[0] == f"**{headline(ROWS)}**"
    heads = re.findall(r"^## (.*)$", text, re.M)
    assert heads == ["1a  Measured outside", "1b  Said outside, not measured", "2  Textbook", "3  Ours against ours",
                     "Left out, because they prove nothing", "Sources"]  # fmt: skip
    assert {line.count("|") for line in text.splitlines() if line.startswith("|")} == {10}
    for check in ROWS:
        assert f"| {check.number} | {check.title} |" in text


# ---------------------------------------------------------------- on the page of findings


def test_findings_print_the_verdict_and_what_would_refute_it():
    rules = [said("12x", "Steel is heavy", 1.0, False, "kg", 2.0, "a light steel", "It weighs 2 kg.")]
    found = sentences.trade_rules(rules, FELT).sentences
    assert found[0] == "Steel is heavy: too small to feel. It weighs 2 kg. Refuted by: a light steel."
    assert sum("proves nothing" in sentence for sentence in found) == len(trade.LEFT_OUT)
