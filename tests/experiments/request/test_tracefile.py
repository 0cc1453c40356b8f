"""Trace files: what shops write comes back as it went in; what cannot be a trace gets one sentence with its line."""

import os
import subprocess
import sys
import time

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from experiments.request.gauge.tracefile import RawTrace, read_trace
from sim.errors import BladeError
from tests import make_traces as made

X_MM = np.arange(0.0, 281.0, 4.0)  # 71 places
Z_MM = np.round((X_MM - 140.0) ** 2 / 2 / 3000.0, 4)  # a parabola of 3 m radius: 3.2667 mm at the ends
N = len(X_MM)


def rows(*columns, sep=",", form="{:.4f}", comma=False):
    """The columns as lines of text."""
    cells = [sep.join(form.format(v) for v in row) for row in zip(*columns, strict=True)]
    return [c.replace(".", ",") for c in cells] if comma else cells


def text(*lines, end="\n"):
    return end.join(lines) + end


GOOD_ROWS = rows(X_MM, Z_MM)
GOOD = text("x [mm],z [mm]", *GOOD_ROWS)
HEAD = "x [mm],z [mm]"
BOTH = (X_MM, Z_MM)
SEMI = rows(*BOTH, sep=";", comma=True)
TENTH = (X_MM / 10, Z_MM / 10)
INCH = (X_MM / 25.4, Z_MM / 25.4)


# name -> (content, line number of the first row); each is one blade, one pass, X_MM against Z_MM
ONE_PASS = {
    "comma, heading": (GOOD, 2),
    "no heading": (text(*GOOD_ROWS), 1),
    "no newline at the end": (GOOD.rstrip("\n"), 2),
    "semicolon, decimal comma": (text("Position;Height", *SEMI), 2),
    "tab, decimal comma": (text("pos\th", *rows(*BOTH, sep="\t", comma=True)), 2),
    "blanks, decimal comma": (text("x z", *rows(*BOTH, sep="  ", comma=True)), 2),
    "padded blanks": (text("   x    z", *rows(*BOTH, sep="   ", form="{:12.4f}")), 2),
    "blanks, no heading": (text(*rows(*BOTH, sep=" ")), 1),
    "tabs, no heading": (text(*rows(*BOTH, sep="\t")), 1),
    "comma and blank": (text("x, z", *rows(*BOTH, sep=", ")), 2),
    "semicolon, decimal point": (text("x;z", *rows(*BOTH, sep=";")), 2),
    "quoted decimal commas": (text("x,z", *[f'"{a}","{b}"' for a, b in (s.split(";") for s in SEMI)]), 2),
    "everything quoted": (text('"x [mm]","z [mm]"', *[f'"{s}"'.replace(",", '","') for s in GOOD_ROWS]), 2),
    "trailing separators": (text("x;z;;", *[s + ";;" for s in SEMI]), 2),
    "sep= line of a spreadsheet": (text("sep=;", "x;z", *SEMI), 3),
    "exponents": (text("x,z", *rows(*BOTH, form="{:.6E}")), 2),
    "plus signs": (text("x,z", *rows(*BOTH, form="{:+.4f}")), 2),
    "typographic minus": (text("x,z", *rows(X_MM - 140, Z_MM)).replace("-", "−"), 2),
    "CRLF": (text(HEAD, *GOOD_ROWS, end="\r\n"), 2),
    "CR": (text(HEAD, *GOOD_ROWS, end="\r"), 2),
    "UTF-8 with mark": (("\ufeff" + GOOD).encode(), 2),
    "UTF-16 little": (b"\xff\xfe" + GOOD.encode("utf-16-le"), 2),
    "UTF-16 big": (b"\xfe\xff" + GOOD.encode("utf-16-be"), 2),
    "Latin-1 heading": (text("x [mm];z [µm]", *rows(X_MM, Z_MM * 1e3, sep=";")).encode("latin-1"), 2),
    "UTF-8 micro": (text("x [mm];z [µm]", *rows(X_MM, Z_MM * 1e3, sep=";")), 2),
    "Greek mu": (text("x [mm];z μm", *rows(X_MM, Z_MM * 1e3, sep=";")), 2),
    "old end-of-file mark": (GOOD.encode() + b"\x1a", 2),
    "remarks and blank lines": (
        text("# made up", "", HEAD, "", *GOOD_ROWS[:9], "# pause", "", *GOOD_ROWS[9:], "", ""),
        5,
    ),
    "title lines": (text("Gauge report", "Blade 17; 2 mm", "Serial,12345", "2024-05-01", HEAD, *GOOD_ROWS), 6),
    "units row": (text("Position,Height", "mm,um", *rows(X_MM, Z_MM * 1e3)), 3),
    "units row in brackets": (text("Position;Height", "[mm];(µm)", *rows(X_MM, Z_MM * 1e3, sep=";")), 3),
    "units row alone": (text("mm,um", *rows(X_MM, Z_MM * 1e3)), 2),
    "units as suffix": (text("pos_in,height_thou", *rows(X_MM / 25.4, Z_MM / 25.4e-3, form="{:.9f}")), 2),
    "units run on": (text("xmm,zum", *rows(X_MM, Z_MM * 1e3)), 2),
    "units in words": (text("distance in inches,reading (microns)", *rows(X_MM / 25.4, Z_MM * 1e3, form="{:.9f}")), 2),
    "inch marks": (text('x ["];z (")', *rows(*INCH, sep=";", form="{:.9f}")), 2),
    "cm": (text("x (cm),z (cm)", *rows(*TENTH, form="{:.6f}")), 2),
    "blank separated units": (text("x [mm]  height (um)", *rows(X_MM, Z_MM * 1e3, sep=" ")), 2),
    "heading as a remark": (text("# x [mm] z [um]", *rows(X_MM, Z_MM * 1e3, sep=" ")), 2),
    "units in a remark": (text("# heights in um, positions in mm", "x,z", *rows(X_MM, Z_MM * 1e3)), 3),
    "inferred inches": (text("x,z", *rows(*INCH, form="{:.9f}")), 2),
    "inferred cm": (text("x,z", *rows(*TENTH, form="{:.6f}")), 2),
    "inferred m": (text("x,z", *rows(X_MM / 1e3, Z_MM / 1e3, form="{:.8f}")), 2),
    "inferred um": (text("x,z", *rows(X_MM, Z_MM * 1e3)), 2),
    "inferred thou": (text("x,z", *rows(X_MM / 25.4, Z_MM / 25.4e-3, form="{:.9f}")), 2),
    "heights first": (text("height,position", *rows(Z_MM, X_MM)), 2),
    "thousandths": (text("x (in),z (0.001 in)", *rows(X_MM / 25.4, Z_MM / 25.4e-3, form="{:.9f}")), 2),
    "title wider than the columns": (text("left,right,left", "x,z", *GOOD_ROWS), 3),
    "title above blanks": (text("Left blade", "x z", *rows(*BOTH, sep=" ")), 3),
    "words of another language": (text("Weg [mm];Höhe [µm]", *rows(X_MM, Z_MM * 1e3, sep=";")), 2),
    "gauge position": (text("gauge position,gauge reading", *GOOD_ROWS), 2),
    "stage log": (text("X position,Z position", *GOOD_ROWS), 2),
    "y beside z": (text("x,y,z", *rows(X_MM, 0 * X_MM, Z_MM)), 2),
    "extra columns": (text("no;time;x;z;temperature", *[f"{i};12:30:01;{s};20,5" for i, s in enumerate(SEMI)]), 2),
    "z error is no height": (text("x,z,z_error", *rows(X_MM, Z_MM, 0 * X_MM + 0.003)), 2),
    "one pass named": (text("pass,x,z", *["A," + s for s in GOOD_ROWS]), 2),
    "a blade with a name": (text("blade,x,z", *["B17," + s for s in GOOD_ROWS]), 2),
    "only the left": (text("side,x,z", *["L," + s for s in GOOD_ROWS]), 2),
}


def write(tmp_path, content, name="shop.csv"):
    path = tmp_path / name
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return path


@pytest.mark.parametrize("name", ONE_PASS)
def test_one_pass_comes_back_as_it_went_in(name, tmp_path):
    content, line = ONE_PASS[name]
    traces = read_trace(write(tmp_path, content))
    assert list(traces) == ["blade"]
    trace = traces["blade"]
    shift = 0.140 if "minus" in name else 0.0
    np.testing.assert_allclose(trace.position_m + shift, X_MM * 1e-3, atol=2e-9)
    np.testing.assert_allclose(trace.height_m, Z_MM * 1e-3, atol=2e-9)
    assert trace.pass_id.dtype.kind == "i" and not trace.pass_id.any()
    assert trace.row[0] == line and len(trace.row) == N
    if "blank lines" not in name:
        np.testing.assert_array_equal(trace.row, np.arange(line, line + N))
    else:
        np.testing.assert_array_equal(trace.row, [*range(5, 14), *range(16, 16 + N - 9)])
    assert all(note.endswith(".") and "\n" not in note for note in trace.notes), trace.notes


@pytest.mark.parametrize("unit, factor", [("mm", 1.0), ("in", 1 / 25.4), ("cm", 0.1), ("m", 1e-3)])
@pytest.mark.parametrize("high, fine", [("mm", 1.0), ("um", 1e3), ("in", 1 / 25.4), ("thou", 1 / 25.4e-3), ("cm", 0.1)])
def test_units_by_argument_win_over_the_heading(unit, factor, high, fine, tmp_path):
    path = write(tmp_path, text("x [m],z [cm]", *rows(X_MM * factor, Z_MM * fine, form="{:.12f}")))
    trace = read_trace(path, unit, high)["blade"]
    np.testing.assert_allclose(trace.position_m, X_MM * 1e-3, atol=1e-12)
    np.testing.assert_allclose(trace.height_m, Z_MM * 1e-3, atol=1e-12)


@pytest.mark.parametrize(
    "content, note",
    [
        (text("x,z", *rows(X_MM, Z_MM)), "Positions are in mm, inferred from their span of 280."),
        (text("x,z", *rows(X_MM, Z_MM * 1e3)), "Heights are in um, because in mm no blade would have such a curve."),
        (text("x,z", *rows(*BOTH, form="{:.4f}")), "Heights are in mm, the unit of the positions."),
        (text("x [mm],z [um]", *rows(X_MM, Z_MM * 1e3)), "Heights are in um, as the file says."),
        (text("x;z", *SEMI), "The decimal mark is a comma."),
        (text("x;z", *SEMI), "Columns are separated by semicolons."),
        (text("x,depth", *GOOD_ROWS), "The heights are called depth, so their sign may be the other way round."),
        (text("x,z,temp", *rows(X_MM, Z_MM, Z_MM)), "Ignored column: 'temp'."),
        (
            text("x,z", *rows(X_MM, Z_MM / 20)),
            "These heights make a mean radius of 61.4 m, which is unusual; check the unit.",
        ),
        (text("side,x,z", *["l," + s for s in GOOD_ROWS]), "Only the left blade is in the file."),
        (text(HEAD, *GOOD_ROWS).encode("utf-8-sig"), "The text is UTF-8 with a byte mark."),
    ],
)
def test_notes_say_what_was_taken_for_granted(content, note, tmp_path):
    assert note in read_trace(write(tmp_path, content))["blade"].notes


FALLING = rows(X_MM[::-1], Z_MM)


@pytest.mark.parametrize(
    "content, end",
    [
        (GOOD, ""),
        (text("from_heel,z", *GOOD_ROWS), "heel"),
        (text("from toe [mm],z [mm]", *GOOD_ROWS), "toe"),
        (text("distance from toe [mm],z", *GOOD_ROWS), "toe"),
        (text("from_toe,z", *FALLING), "toe"),
        (text("# toe first", HEAD, *GOOD_ROWS), "toe"),
        (text("Toe first, by hand", HEAD, *GOOD_ROWS), "toe"),
        (text("# toe first", HEAD, *FALLING), "heel"),
        (text("# first end: toe", HEAD, *GOOD_ROWS), "toe"),
        (text("# heel to toe", HEAD, *GOOD_ROWS), "heel"),
        (text("# from toe to heel", HEAD, *GOOD_ROWS), "toe"),
        (text("# measured from the toe", HEAD, *FALLING), "toe"),
        (text("# heel first", "from_heel,z", *GOOD_ROWS), "heel"),
        (text("# toe first", "from_heel,z", *FALLING), "heel"),
    ],
)
def test_first_end_is_the_end_at_the_smallest_position(content, end, tmp_path):
    assert read_trace(write(tmp_path, content))["blade"].first_end == end


def test_either_direction_keeps_file_order(tmp_path):
    trace = read_trace(write(tmp_path, text(HEAD, *FALLING)))["blade"]
    np.testing.assert_allclose(trace.position_m, X_MM[::-1] * 1e-3, atol=1e-12)


# --- passes and blades --------------------------------------------------------------------------------------------


def passes_of(trace):
    """Positions and heights by pass, in mm."""
    picked = [trace.pass_id == k for k in range(trace.pass_id.max() + 1)]
    return [(trace.position_m[p] * 1e3, trace.height_m[p] * 1e3) for p in picked]


OUT_BACK = np.concatenate([X_MM, X_MM[::-1]])
TIP_ONCE = np.concatenate([X_MM, X_MM[-2::-1]])
SAW = np.concatenate([X_MM, X_MM, X_MM[20:]])


@pytest.mark.parametrize(
    "x, lengths",
    [(OUT_BACK, [N, N]), (TIP_ONCE, [N, N - 1]), (SAW, [N, N, N - 20]), (np.concatenate([OUT_BACK, X_MM]), [N, N, N])],
)
def test_turning_back_or_starting_again_begins_a_pass(x, lengths, tmp_path):
    z = np.interp(x, X_MM, Z_MM) + 0.001 * np.arange(len(x)) / len(x)
    trace = read_trace(write(tmp_path, text(HEAD, *rows(x, z))))["blade"]
    assert np.bincount(trace.pass_id).tolist() == lengths
    assert np.all(np.diff(trace.pass_id) >= 0)
    np.testing.assert_allclose(trace.position_m * 1e3, x, atol=1e-9)
    np.testing.assert_array_equal(trace.row, np.arange(2, len(x) + 2))


def test_a_repeated_place_and_a_small_slip_stay_in_the_pass(tmp_path):
    x = X_MM.copy()
    x[30], x[40] = x[29], x[39] - 1.5
    trace = read_trace(write(tmp_path, text(HEAD, *rows(x, Z_MM))))["blade"]
    assert not trace.pass_id.any() and len(trace.row) == N


def test_pass_column_and_height_columns_are_passes(tmp_path):
    second = Z_MM + 0.01
    mixed = [s for a, b in zip(rows(*BOTH), rows(X_MM, second), strict=True) for s in ("A," + a, "B," + b)]
    by_row = read_trace(write(tmp_path, text("run,x,z", *mixed)))["blade"]
    np.testing.assert_array_equal(by_row.pass_id, np.tile([0, 1], N))  # interleaved rows stay in file order
    heads = ("x,z1,z2", "x,pass 1,pass 2", "position;1;2", "pos,height_out,height_back")
    by_column = [text(h.replace(";", ","), *rows(X_MM, Z_MM, second)) for h in heads]
    no_heading = text(*rows(X_MM, Z_MM, second))
    average = text("x,z1,z2,z mean", *rows(X_MM, Z_MM, second, Z_MM + 0.005))
    for content in (*by_column, no_heading, average):
        trace = read_trace(write(tmp_path, content))["blade"]
        (xa, za), (xb, zb) = passes_of(trace)
        np.testing.assert_allclose([xa, xb], [X_MM, X_MM], atol=1e-9)
        np.testing.assert_allclose([za, zb], [Z_MM, second], atol=1e-9)
        np.testing.assert_array_equal(trace.row[:N], trace.row[N:])


LEFT, RIGHT = Z_MM, Z_MM[::-1] * 1.25 + 0.5
PAIRS = {
    "headings": text("x,left,right", *rows(X_MM, LEFT, RIGHT)),
    "letters": text("x,L,R", *rows(X_MM, LEFT, RIGHT)),
    "words": text("Station (mm),Right blade height (mm),Left blade height (mm)", *rows(X_MM, RIGHT, LEFT)),
    "suffix": text("x,z_left,z_right", *rows(X_MM, LEFT, RIGHT)),
    "two units": text("x [mm],left [mm],right [um]", *rows(X_MM, LEFT, RIGHT * 1e3)),
    "group row": text(",left,right", "x [mm],z [mm],z [mm]", *rows(X_MM, LEFT, RIGHT)),
    "own positions": text("left x,left z,right x,right z", *rows(X_MM, LEFT, X_MM, RIGHT)),
    "side column": text("side,x,z", *["Left," + s for s in rows(X_MM, LEFT)], *["r," + s for s in rows(X_MM, RIGHT)]),
    "interleaved": text(
        "x;z;Foot",
        *[s for a, b in zip(SEMI, rows(X_MM, RIGHT, sep=";", comma=True)) for s in (a + ";left foot", b + ";RIGHT")],
    ),
}


@pytest.mark.parametrize("name", PAIRS)
def test_both_blades(name, tmp_path):
    traces = read_trace(write(tmp_path, PAIRS[name]))
    assert sorted(traces) == ["left", "right"]
    for side, z in (("left", LEFT), ("right", RIGHT)):
        np.testing.assert_allclose(traces[side].position_m, X_MM * 1e-3, atol=1e-9)
        np.testing.assert_allclose(traces[side].height_m, z * 1e-3, atol=1e-7)
        assert not traces[side].pass_id.any()


def test_missing_heights_are_skipped_counted_and_named(tmp_path):
    lines = GOOD_ROWS.copy()
    for i, token in zip((3, 8, 20, 50), ("", "NaN", "-", "---"), strict=True):
        lines[i] = lines[i].split(",")[0] + "," + token
    trace = read_trace(write(tmp_path, text(HEAD, *lines)))["blade"]
    kept = np.delete(np.arange(N), [3, 8, 20, 50])
    np.testing.assert_array_equal(trace.row, kept + 2)
    np.testing.assert_allclose(trace.height_m, Z_MM[kept] * 1e-3, atol=1e-12)
    said = "4 rows were skipped because the height is missing in 'z [mm]': line 5, 10, 22 and others."
    assert said in trace.notes


def test_a_wild_reading_does_not_choose_the_unit(tmp_path):
    z = Z_MM.copy()
    z[33] = 325.0  # the decimal point forgotten
    assert read_trace(write(tmp_path, text("x,z", *rows(X_MM, z))))["blade"].height_m[33] == pytest.approx(0.325)


def test_the_largest_file_is_read_in_seconds(tmp_path):
    x = np.linspace(0, 280, 100_000)
    path = write(tmp_path, text("x,z", *rows(x, np.interp(x, X_MM, Z_MM))))
    begun = time.process_time()
    assert len(read_trace(path)["blade"].row) == 100_000
    assert time.process_time() - begun < 5.0


# --- the committed examples ---------------------------------------------------------------------------------------


def test_examples_are_those_that_the_script_writes():
    assert {p.name for p in made.FOLDER.iterdir()} == {*made.FILES, "README.md"}
    for name, make in made.FILES.items():
        content = (made.FOLDER / name).read_bytes()
        assert content.decode() == make(), name
        assert len(content) < 12_000


WHOLE, MIDDLE = made.grid(0.280, 1e-3), made.grid(0.230, 1e-3)
# file -> {blade: (position less place from mid-runner, recipe, wear, passes, points, end, noise bound in m)}
EXAMPLES = {
    "worn_pair.csv": {
        "left": (0.140, made.ZONED, 40e-6, 1, 279, "heel"),
        "right": (0.140, made.ZONED, 30e-6, 1, 279, "heel"),
    },
    "no_header_5mm.csv": {"blade": (0.140, made.ZONED, 0.0, 1, 55, "")},
    "single_9ft.csv": {"blade": (0.0, made.SINGLE, 0.0, 1, 279, "")},
    "rear_flat.csv": {"blade": (0.140, made.REAR_FLAT, 0.0, 1, 279, "heel")},
    "out_and_back_blanks.txt": {"blade": (0.0, made.REAR_FLAT, 0.0, 2, 186, "")},
    "repeats_thou.csv": {"blade": (0.0, made.SINGLE, 0.0, 3, 273, "")},
    "pair_by_row.csv": {
        "left": (0.0, made.ZONED, 20e-6, 1, 114, ""),
        "right": (0.0, made.ZONED, 20e-6, 1, 114, ""),
    },
}


@pytest.mark.parametrize("name", EXAMPLES)
def test_examples_give_back_the_blade(name):
    traces = read_trace(made.FOLDER / name)
    assert sorted(traces) == sorted(EXAMPLES[name])
    for side, (shift, recipe, wear, passes, points, end) in EXAMPLES[name].items():
        trace = traces[side]
        rest = trace.height_m - made.heights(recipe, trace.position_m - shift, wear)
        assert 1e-6 < rest.std() < 7e-6 and abs(rest.mean()) < 2e-6, rest.std()
        assert (trace.pass_id.max() + 1, len(trace.row), trace.first_end) == (passes, points, end)


def test_example_toe_first():
    trace = read_trace(made.FOLDER / "worn_inches_toe_first.csv")["blade"]
    x = 90 * 0.05 * 0.0254 - trace.position_m
    assert np.abs(trace.height_m - made.heights(made.ZONED, x, 40e-6)).max() < 15e-6
    assert trace.first_end == "toe" and trace.position_m[-1] == pytest.approx(0.2286)


def test_example_upside_down_keeps_the_sign_of_the_file():
    trace = read_trace(made.FOLDER / "gauge_upside_down_semicolon.csv")["blade"]
    x = trace.position_m - 0.115
    np.testing.assert_allclose(7.5e-3 + 0.004 * x - trace.height_m, made.heights(made.ZONED, x), atol=15e-6)
    assert any("depth" in note for note in trace.notes)


def test_example_of_three_passes_with_burr_and_slip():
    trace = read_trace(made.FOLDER / "passes_tab.txt")["blade"]
    rest = trace.height_m - made.heights(made.REAR_FLAT, trace.position_m)
    first, second, third = (rest[trace.pass_id == k] for k in range(3))
    assert np.abs(first).max() < 15e-6 and second.max() > 15e-6
    assert np.median(third[trace.position_m[trace.pass_id == 2] > 0.032]) == pytest.approx(60e-6, abs=2e-6)
    assert trace.row[np.searchsorted(trace.pass_id, 1)] == 156


# --- what is refused ----------------------------------------------------------------------------------------------


def put(line, content, lines=GOOD_ROWS, head=HEAD):
    """The good file with one line (counted from 1, heading included) replaced."""
    changed = [head, *lines]
    changed[line - 1] = content
    return text(*changed)


def swapped(i, value):
    """The good file with the position of row i (0-based) replaced."""
    x = X_MM.copy()
    x[i] = value
    return text(HEAD, *rows(x, Z_MM))


ZEROS = 0 * X_MM
MANY = [s.split(",")[0] + "," if 10 <= i < 26 else s for i, s in enumerate(GOOD_ROWS)]
NO_HEAD = [*GOOD_ROWS]

# name -> (content, line named or None, words in the sentence)
BAD = {
    "empty": (b"", None, "empty"),
    "only blanks": ("  \n\t\n\n", None, "empty"),
    "only a byte mark": (b"\xef\xbb\xbf", None, "empty"),
    "only remarks": ("# one\n# two\n", None, "only remarks"),
    "only separators": (",,\n,,\n", None, "rows of position and height"),
    "heading only": ("x [mm],z [mm]\n", None, "only headings"),
    "prose": ("The blade is dull.\nPlease grind it.\n", None, "only headings"),
    "NUL byte": (put(5, "16.0,\0 2.5"), 5, "NUL"),
    "NULs throughout": (GOOD.encode("utf-16-le"), 1, "NUL"),
    "UTF-32": (GOOD.encode("utf-32"), 1, "NUL"),
    "UTF-16 that breaks off": (b"\xff\xfe" + GOOD.encode("utf-16-le")[:-1], None, "breaks off"),
    "control character": (put(7, "20.0,\x07 2.5"), 7, "control"),
    "picture": (b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 4, None, "binary"),
    "bytes of no encoding": (bytes(range(160, 256)) * 20, None, "binary"),
    "spreadsheet": (b"PK\x03\x04" + bytes(200), None, "spreadsheet"),
    "packed": (b"\x1f\x8b\x08" + bytes(200), None, "packed"),
    "PDF": (b"%PDF-1.7\n", None, "PDF"),
    "pickle": (b"\x80\x04\x95\x10" + bytes(30), 1, "binary"),
    "one very long line": (GOOD + "1" * 30_000 + "\n", N + 2, "30,000 characters"),
    "letter in a height": (put(6, "16.0000,2.5O"), 6, "'2.5O'"),
    "letter in a position": (put(6, "l6.0000,2.5"), 6, "'l6.0000'"),
    "letter in the first row": (put(2, "0.O,3.2667"), 2, "'0.O,3.2667'"),
    "letter in the first row, no heading": (text("0.O,3.2667", *GOOD_ROWS[1:]), 1, "plain numbers"),
    "word in the first row, no heading": (text("zero,3.2667", *GOOD_ROWS[1:]), 1, "plain numbers"),
    "unit behind a number": (put(9, "28.0000,2.1 mm"), 9, "'2.1 mm'"),
    "units behind every number": (text(*[f"{a} mm,{b} mm" for a, b in zip(X_MM, Z_MM)]), 1, "plain numbers"),
    "hexadecimal": (put(9, "28.0000,0x1F"), 9, "'0x1F'"),
    "underscore": (put(9, "2_8.0,2.1"), 9, "'2_8.0'"),
    "digits of another script": (put(9, "28.0,\u0662.1"), 9, "plain number"),
    "expression": (put(9, "28.0,__import__('os')"), 9, "plain number"),
    "formula": (put(9, "28.0,=A1+1"), 9, "plain number"),
    "footer": (GOOD + "End of report\n", N + 2, "1 column"),
    "footer with a number": (GOOD + "mean,1.09\n", N + 2, "'mean'"),
    "heading again": (text(HEAD, *GOOD_ROWS, HEAD, *GOOD_ROWS), N + 2, "plain number"),
    "inf height": (put(12, "40.0000,inf"), 12, "finite"),
    "minus infinity": (put(12, "40.0000,-Infinity"), 12, "finite"),
    "1e400": (put(12, "40.0000,1e400"), 12, "too large"),
    "-1e400 position": (put(12, "-1e400,1.6"), 12, "too large"),
    "1e300": (put(12, "40.0000,1e300"), 12, "too large"),
    "inf position": (put(12, "inf,1.6"), 12, "finite"),
    "nan position": (put(12, "nan,1.6"), 12, "position is missing"),
    "empty position": (put(12, ",1.6"), 12, "position is missing"),
    "thousands comma, quoted": (put(12, '40.0,"1,600.5"'), 12, "thousands"),
    "thousands apostrophe": (put(12, "40.0,1'600.5"), 12, "thousands"),
    "thousands blank": (put(12, "40,0;1 600,5", SEMI, "x;z"), 12, "thousands"),
    "thousands no-break blank": (put(12, "40,0;1\u00a0600,5", SEMI, "x;z"), 12, "thousands"),
    "thousands point": (put(12, "40,0;1.600,5", SEMI, "x;z"), 12, "thousands"),
    "many thousands": (put(12, '40.0,"1,600,000"'), 12, "thousands"),
    "thousands beside hundreds": (
        text("x [mm];z [um]", *[f"{a:.0f};{b * 1e3:,.0f}" for a, b in zip(X_MM, Z_MM)]), 2, "'3,267'",
    ),
    "two decimal marks": (put(12, '40.0,"1,6"'), 12, "decimal mark"),
    "decimal commas between commas": (text("x,z", *rows(*BOTH, comma=True)), 1, "give each column one name"),
    "decimal commas between commas, no heading": (text(*rows(X_MM * 0.95, Z_MM, comma=True)), 1, None),
    "decimal comma between commas": (put(12, "40.0,1,6"), 12, "3 columns where the other rows have 2"),
    "row too short": (put(15, "52.0"), 15, "1 column where the other rows have 2"),
    "row too long": (put(15, "52.0,1.2,7"), 15, "3 columns"),
    "quote left open": (put(15, '52.0,"1.2'), 15, "not closed"),
    "blanks with a gap": (put(15, "52.0", rows(*BOTH, sep=" "), "x z"), 15, "1 column"),
    "65 columns": (text(*[",".join([s] + ["1"] * 63) for s in GOOD_ROWS]), 1, "65 columns"),
    "one column": (text("z", *rows(Z_MM)), 2, "position and a height"),
    "too few rows": (text(HEAD, *GOOD_ROWS[:11]), None, "11 rows"),
    "one row": (text(HEAD, GOOD_ROWS[0]), None, "1 row of data"),
    "a fifth missing and more": (text(HEAD, *MANY), 12, "16 of 71 heights"),
    "all heights missing": (text(HEAD, *[f"{a},-" for a in X_MM]), 2, "71 of 71"),
    "positions equal": (text(HEAD, *rows(ZEROS + 5, Z_MM)), None, "positions are equal"),
    "span too short": (text(HEAD, *rows(X_MM / 5, Z_MM / 25)), None, "too short"),
    "span too short, unit unsaid": (text("x,z", *rows(X_MM / 200, Z_MM)), None, "no runner"),
    "span too long": (text(HEAD, *rows(X_MM * 3, Z_MM * 9)), None, "too long"),
    "inches called mm": (text(HEAD, *rows(*INCH)), None, "perhaps in or cm is meant"),
    "in or cm": (text("x,z", *rows(X_MM / 14, Z_MM / 14)), None, "may be in or cm"),
    "heights constant": (text(HEAD, *rows(X_MM, ZEROS + 2)), 2, "constant"),
    "right heights constant": (text("x,left,right", *rows(X_MM, Z_MM, ZEROS)), 2, "right blade: the heights"),
    "heights on a line": (text(HEAD, *rows(X_MM, X_MM / 50)), 2, "bow by"),
    "um called mm": (text(HEAD, *rows(X_MM, Z_MM * 1e3)), 2, "perhaps um"),
    "mm called um": (text("x [mm],z [um]", *rows(X_MM, Z_MM)), 2, "perhaps mm"),
    "thou unsaid beside mm": (text("x,z", *rows(X_MM, Z_MM / 25.4e-3)), 2, "perhaps thou"),
    "mm unsaid beside inches": (text("x,z", *rows(X_MM / 25.4, Z_MM)), 2, "perhaps mm"),
    "heights of mountains": (text("x,z", *rows(X_MM, Z_MM * 1e7)), 2, "column holds heights"),
    "position stands out high": (swapped(30, 351.0), 32, "out of order"),
    "position stands out low": (swapped(50, 2.0), 52, "out of order"),
    "position goes back a little": (swapped(30, 110.0), 32, "runs back by 6 mm"),
    "short second pass": (text(HEAD, *GOOD_ROWS, *GOOD_ROWS[:9]), N + 2, "9 points"),
    "short return": (text(HEAD, *GOOD_ROWS, *GOOD_ROWS[-2:-16:-1]), N + 2, "covers 52 mm"),
    "pass of few points": (text("pass,x,z", *["1," + s for s in GOOD_ROWS], "2,5,1", "2,9,1"), N + 2, "2 points"),
    "pass of little length": (
        text("pass,x,z", *["1," + s for s in GOOD_ROWS], *[f"2,{i},{i}" for i in range(20)]), N + 2, "covers 19 mm",
    ),
    "pass missing": (
        text("pass,x,z", *["1," + s for s in GOOD_ROWS[:20]], *["," + s for s in GOOD_ROWS[20:]]),
        22, "pass is missing",
    ),
    "blade in the middle": (text("side,x,z", *["left," + s for s in GOOD_ROWS], "middle,5,1"), N + 2, "'middle'"),
    "both feet": (text("side,x,z", *["left," + s for s in GOOD_ROWS], "left right,5,1"), N + 2, "'left right'"),
    "left of few points": (text("side,x,z", *["R," + s for s in GOOD_ROWS], "L,5,1"), None, "left blade: 1 row of"),
    "title for heading": (text("Height gauge, workshop", *GOOD_ROWS), 1, "no column is named as the position"),
    "columns swapped": (text(*rows(Z_MM * 1.5, X_MM)), 1, "as positions do"),
    "columns swapped, small": (text(*rows(*BOTH[::-1])), None, "no runner"),
    "no position named": (text("a,b,z", *rows(X_MM, X_MM, Z_MM)), 1, "no column is named as the position"),
    "no height named": (text("x,b,c", *rows(X_MM, X_MM, Z_MM)), 1, "no column is named as the height"),
    "nothing named": (text("a,b,c", *rows(X_MM, X_MM, Z_MM)), 1, "names no position"),
    "two heights of two kinds": (text("x,height,reading", *rows(X_MM, Z_MM, Z_MM)), 1, "'height' and 'reading'"),
    "two positions": (text("x,station,z", *rows(X_MM, X_MM, Z_MM)), 1, "2 columns are named as positions"),
    "two pass columns": (text("pass,run,x,z", *["1,1," + s for s in GOOD_ROWS]), 1, "several columns"),
    "left and right twice": (text("side,x,left,right", *["left," + s + ",1" for s in GOOD_ROWS]), 1, "keep one way"),
    "left and nothing": (text("x,left z,z", *rows(X_MM, Z_MM, Z_MM)), 1, "name all or none"),
    "position in feet": (text("x [ft],z [mm]", *GOOD_ROWS), 1, "unit not taken"),
    "height in volts": (text("x [mm],z (V)", *GOOD_ROWS), 1, "unit not taken"),
    "two units for one": (text("x [mm],z [mm]", "mm,um", *GOOD_ROWS), 2, "two units"),
    "words below the heading": (text(HEAD, "start,here", *GOOD_ROWS), 2, "neither units nor plain numbers"),
    "unlike columns without heading": (text(*rows(X_MM, Z_MM, Z_MM * -2)), 1, "do not look like passes"),
    "index without heading": (text(*rows(np.arange(N) * 2.0, X_MM, Z_MM)), 1, "bow by"),
    "toe and heel first": (text("# toe first", "# heel first", HEAD, *GOOD_ROWS), None, "both the heel and the toe"),
    "heel first but from toe": (text("# heel first", "from_toe,z", *GOOD_ROWS), None, "correct one of the two"),
    "strange sep= line": (text("sep=|", *GOOD_ROWS), 1, "no separator"),
    "bars between": (text("x|z", *rows(*BOTH, sep="|")), 2, "position and a height"),
    "JSON": ('{"x": [0, 1, 2], "z": [3, 2, 3]}\n', None, None),
    "XML": ("<trace><x>1</x></trace>\n", 1, "plain numbers"),
    "YAML bomb": ("a: &a [1, 1]\nb: &b [*a, *a]\n" * 50, None, None),
}  # fmt: skip


def refused(path, line, words, *arguments):
    """The refusal of a file: one sentence with its name, the line and the words; quick (own time, not the clock's)."""
    begun = time.process_time()
    with pytest.raises(BladeError) as caught:
        read_trace(path, *arguments)
    took, said = time.process_time() - begun, str(caught.value)
    assert took < 2.0, took
    assert "\n" not in said and said.isprintable() and said.endswith(".") and ". " not in said, said
    assert said.startswith(f"trace {path.name}") and len(said) < 400, said
    if words is not None:
        assert words in said, said
        assert (f", line {line}: " in said) if line else (", line " not in said), said
    return said


@pytest.mark.parametrize("name", BAD)
def test_bad_file_is_refused_in_one_sentence(name, tmp_path):
    content, line, words = BAD[name]
    refused(write(tmp_path, content), line, words)


def test_there_are_many_bad_files():
    assert len(BAD) >= 60


@pytest.mark.parametrize(
    "content, line, words",
    [
        ("0.001,2.5\n" * 1_000_000, None, "1,000,000 lines; a trace has at most 100,000 rows"),
        ("0.001,2.5\n" * 100_001, None, "100,001 rows of data; a trace has at most 100,000"),
        ("\n" * 19_000_000, None, "empty"),
        ("\n" * 19_000_000 + "1,2\n", None, "19,000,001 lines"),
        ("\r" * 9_000_000 + "1,2\r", None, "9,000,001 lines"),
        ("1" * 19_000_000, 1, "19,000,000 characters"),
        ("1,2," * 4_000_000, 1, "16,000,000 characters"),
        ("0.001,2.5\n" * 2_100_000, None, "21 MB; a trace is at most 20 MB"),
        ("x,z\n" + "a,b\n" * 99_000, None, "only headings"),
        ("# " + "toe first " * 1_900_000 + "\n", None, "only remarks"),
    ],
    ids=[
        "1e6 rows",
        "100,001 rows",
        "newlines",
        "newlines and a row",
        "CRs",
        "digits",
        "cells",
        "21 MB",
        "words",
        "remark",
    ],
)
def test_huge_files_are_refused_quickly(content, line, words, tmp_path):
    refused(write(tmp_path, content), line, words)


def test_places_that_are_no_file(tmp_path):
    (tmp_path / "folder.csv").mkdir()
    refused(tmp_path / "folder.csv", None, "folder")
    refused(tmp_path / "nowhere.csv", None, "no such file")
    os.mkfifo(tmp_path / "pipe.csv")
    refused(tmp_path / "pipe.csv", None, "no ordinary file")
    (tmp_path / "loop.csv").symlink_to(tmp_path / "loop.csv")
    refused(tmp_path / "loop.csv", None, "cannot be read")
    for path in ("", "a\0b", "x" * 5000, "new\nline.csv", None, 7.5):
        with pytest.raises(BladeError) as caught:
            read_trace(path)
        assert str(caught.value).isprintable() and str(caught.value).endswith(".") and len(str(caught.value)) < 250


def test_unknown_units_as_arguments(tmp_path):
    path = write(tmp_path, GOOD)
    refused(path, None, "unit 'ft' is unknown; choose one of auto, mm, in, cm, m.", "ft")
    refused(path, None, "height_unit 'nm' is unknown", "mm", "nm")
    refused(path, None, "too long", "m", "mm")
    refused(path, 2, "perhaps mm is meant", "mm", "um")


def test_sixteen_of_seventy_one_is_refused_but_fourteen_is_not(tmp_path):
    lines = [s.split(",")[0] + "," if 10 <= i < 24 else s for i, s in enumerate(GOOD_ROWS)]
    assert len(read_trace(write(tmp_path, text(HEAD, *lines)))["blade"].row) == N - 14
    assert "14 rows were skipped" in " ".join(read_trace(write(tmp_path, text(HEAD, *lines)))["blade"].notes)


# --- fuzz ---------------------------------------------------------------------------------------------------------


def survive(path, content):
    """Either finite traces of one length throughout, or one sentence."""
    path.write_bytes(content)
    try:
        traces = read_trace(path)
    except BladeError as err:
        said = str(err)
        assert said.startswith("trace fuzz.csv") and said.endswith(".") and "\n" not in said and said.isprintable(), (
            said
        )
        return
    for trace in traces.values():
        assert isinstance(trace, RawTrace)
        sizes = {len(v) for v in (trace.position_m, trace.height_m, trace.pass_id, trace.row)}
        assert len(sizes) == 1 and min(sizes) >= 12
        assert np.all(np.isfinite(trace.position_m)) and np.all(np.isfinite(trace.height_m))
        assert all(note.endswith(".") and note.isprintable() for note in trace.notes), trace.notes


@pytest.fixture(scope="module")
def fuzz_path(tmp_path_factory):
    return tmp_path_factory.mktemp("fuzz") / "fuzz.csv"


BASES = [GOOD.encode(), text("x;z", *SEMI).encode(), PAIRS["interleaved"].encode(), text(*GOOD_ROWS).encode("utf-16")]
PIECES = st.sampled_from(
    [b",", b";", b"\t", b" ", b"\n", b"\r", b'"', b"#", b"-", b".", b"e9", b"nan", b"inf", b"\0", b"\xff", b"[",
     b"left", b"x", b"(mm)", b"1e308", b"\xc2\xb5", b"0", b"9"]
)  # fmt: skip


@given(content=st.binary(max_size=400))
def test_random_bytes_never_end_in_a_traceback(fuzz_path, content):
    survive(fuzz_path, content)


@given(content=st.text(alphabet='0123456789.,;\t \n\r"#-+eExzmn[]()', max_size=600))
def test_random_digits_and_marks_never_end_in_a_traceback(fuzz_path, content):
    survive(fuzz_path, content.encode())


@given(
    base=st.sampled_from(BASES),
    changes=st.lists(st.tuples(st.floats(0, 1), st.integers(0, 12), PIECES), min_size=1, max_size=4),
)
def test_mutated_files_never_end_in_a_traceback(fuzz_path, base, changes):
    for place, gone, piece in changes:
        i = int(place * len(base))
        base = base[:i] + piece + base[i + gone :]
    survive(fuzz_path, base)


def test_the_script_runs_as_a_module():
    done = subprocess.run([sys.executable, "-m", "tests.make_traces"], capture_output=True, cwd=made.FOLDER.parents[1])
    assert done.returncode == 0, done.stderr
