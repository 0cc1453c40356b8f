"""Figures: all written and repeating to the byte, nothing overlapping, and what is missing is said on the figure."""

import math
from dataclasses import replace

import matplotlib
import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg

from experiments.analysis.frontier import Gain
from experiments.main import run_command
from experiments.report import style as fs
from experiments.report.line import beyond, dense
from experiments.report.shown import FIGURE
from experiments.studies.compare.blade_figures import curves
from experiments.studies.compare.field import field_of, looks, pick
from experiments.studies.compare.figures import FIGURES, draw_all
from experiments.studies.compare.rows import Results, Row
from experiments.studies.compare.trade_figures import FOLDS, _folds, _ratio, _spread, _verdict, measures, trade_off
from experiments.studies.compare.trade_figures import _drawn as _drawn_ratio
from sim.measures import REGISTRY
from sim.rolling.loop import COLUMNS
from tests.experiments.analysis.hand import draws_of

FT = 0.3048
TRADED = (("glide_drag_coefficient", "pivot_forefoot_toe_in"), ("turn_drag", "critical_ankle_stiffness"))
RADII = np.geomspace(6 * FT, 16 * FT, 25)
STATES = ("glide", "pivot_forefoot", "pivot_heel", "turn", "push")
SCENARIOS = ("glide", "stride", "start", "tight_turn", "turn_at_speed", "nudge")


def _values(radius, shift=0.0):
    """Made-up measures that fall or rise with radius, so that a single-radius line is monotone."""
    values = {name: 1.0 + 0.05 * radius for name in REGISTRY}
    values |= {"glide_drag_coefficient": 0.006 - 5e-4 * radius, "critical_ankle_stiffness": 1500 - 150 * radius}
    values |= {
        "nudge_settling_time": 1.0,
        "steel_removed_depth": abs(radius - 3.048) * 1e-3,
        "pitch_bias": radius - 3.048,
    }
    values["pivot_forefoot_toe_in"] -= shift
    return values


def _curve(radius):
    x = np.linspace(-0.14, 0.14, 281)
    curvature = np.where(np.abs(x) < 0.11, 1 / radius, 8.3)
    return {
        "arc_length": x + 0.14,
        "x": x,
        "z": x**2 / (2 * radius),
        "tangent_angle": x / radius,
        "curvature": curvature,
    }


def _contact(radius):
    x = np.linspace(-0.06, 0.02, 241)
    n = np.sin(np.linspace(0, math.pi, 241)) * 1e-4
    return {"x": x, "penetration": n, "pressure": np.where(x > -0.03, 1.77e7, 0.0), "loaded_width": 30 * n * radius / 3}


def _series():
    time = np.linspace(0, 1, 401)
    series = {name: np.sin(5 * time) + 2 for name in COLUMNS}
    shift = np.where(time > 0.2, 0.02 * np.exp(-9 * (time - 0.2)) * np.sin(12 * (time - 0.2)), 0.0)
    return series | {"time": time, "path_position": 4 * time, "balance_position": shift}


def _row(name, radius, index=0, family="single_radius", skater="adult", shift=0.0):
    return Row(
        index, name, family, skater, _values(radius, shift), {}, {s: "finished" for s in SCENARIOS}, _curve(radius),
        {s: _contact(radius) for s in STATES}, {s: _series() for s in SCENARIOS}, radius,
        gains={pair: Gain(1.0, 1.0, radius, False) for pair in TRADED},
    )  # fmt: skip


def _failed(name, family="spline"):
    row = _row(name, 3.0, family=family)
    row.values = {key: math.nan for key in row.values}
    row.contacts, row.series = {}, {}
    row.outcomes = {s: "refused: too short" for s in SCENARIOS}
    return row


def _results(rows, reference=True):
    names = [name for name in REGISTRY if not name.startswith(("nudge", "stride"))]
    line = {name: np.array([_values(r)[name] for r in RADII]) for name in names}
    skaters = {row.skater for row in rows}
    references = {s: _row("10 ft reference", 10 * FT, -1, skater=s) for s in skaters} if reference else {}
    return Results(rows, RADII, {skater: line for skater in skaters}, references)


def _field(rows, reference=True):
    results = _results(rows, reference)
    return field_of(results, rows[0].skater, "10 ft reference", looks(rows), False)


def _singles(*feet):
    return [_row(f"{f} ft", f * FT, index=i) for i, f in enumerate(feet)]


def _many():
    out = []
    for k, family in enumerate(("single_radius", "rear_flat", "rear_flat_eased", "mid_flat", "graded", "spline")):
        out += [_row(f"{family} {i}", (7 + 0.3 * i + 0.1 * k) * FT, i, family, shift=0.03 * k) for i in range(4)]
    return out


def _written(fig):
    """All that is written on a figure."""
    return "\n".join(t.get_text() for t in fig.texts)


def test_all_figures_are_written_and_repeat_to_the_byte(tmp_path):
    rows = [*_singles(9, 10, 11), _row("rear-flat 13/10/7 ft", 3.1, 3, "rear_flat", shift=0.1)]
    first = draw_all(_results(rows), "10 ft reference", tmp_path / "a")
    second = draw_all(_results(rows), "10 ft reference", tmp_path / "b")
    assert [p.name for p in first] == [f"{n}.{kind}" for n in FIGURES for kind in ("png", "svg")]
    for a, b in zip(first, second):
        assert a.stat().st_size > 5000
        assert a.read_bytes() == b.read_bytes(), f"{a.name} differs between two runs"
    assert sorted(p.name for p in (tmp_path / "a").iterdir()) == sorted(p.name for p in first), "leftovers"


@pytest.fixture
def unsaved(monkeypatch):
    """Figures are drawn on a canvas and not written."""

    def save(fig, folder, name):
        FigureCanvasAgg(fig).draw()
        return [folder / name]

    monkeypatch.setattr(fs, "save", save)


def test_each_skater_gets_figures(tmp_path, unsaved):
    rows = [_row("10 ft", 3.048, skater=s) for s in ("child", "very heavy")]
    paths = draw_all(_results(rows), "10 ft reference", tmp_path)
    assert {p.name for p in paths} == {f"{n}_{s}" for n in FIGURES for s in ("child", "very_heavy")}


def test_a_single_candidate_without_a_line_draws(tmp_path, unsaved):
    results = _results(_singles(10))
    results.line = {}
    assert len(draw_all(results, "10 ft reference", tmp_path)) == len(FIGURES)


def test_failed_rows_are_left_out_and_named():
    field = _field([*_singles(9, 10, 11), _failed("too short")])
    for name in ("02_contact", "03_stride", "06_nudge_glide", "07_trade_off", "08_measures"):
        with matplotlib.rc_context(fs.RC):
            text = _written(FIGURES[name](field))
        assert "3 of 4 drawn, no result for too short" in text, name


def test_figures_without_any_result_are_left_out(tmp_path):
    paths = draw_all(_results([_failed("too short")]), "10 ft reference", tmp_path)
    assert {p.stem for p in paths} == {"01_curves"}


def test_a_movement_that_ended_early_is_named():
    rows = _singles(9, 10)
    rows[0].outcomes["stride"] = "left_ice"
    assert "cross: 9 ft left_ice" in _written(FIGURES["03_stride"](_field(rows)))


def test_a_blade_that_hops_is_told():
    rows = _singles(9, 10)
    rows[0].series["tight_turn"]["load"][50] = 0.0
    assert "1 of 2 lost contact briefly" in _written(FIGURES["04_tight_turn"](_field(rows)))


def test_many_candidates_are_thinned_evenly_and_it_says_so():
    rows = _many()
    keep = rows[-2]
    shown = pick(rows, keep)
    assert len(shown) == fs.MANY
    assert {r.family for r in shown} == {r.family for r in rows}
    assert any(r is keep for r in shown)
    assert "12 of 24 shown" in _written(FIGURES["03_stride"](_field(rows)))


def test_looks_tell_candidates_apart():
    drawn = looks(_many())
    assert len({(look.colour, look.dash) for look in drawn.values()}) == 24
    assert len({looks(_singles(8, 9, 10))[f"{f} ft"].dash for f in (8, 9, 10)}) == 3, "grey print"


def test_the_candidate_that_equals_the_reference_is_marked():
    field = _field(_singles(9, 10, 11))
    assert [field.name(row) for row in field.rows] == ["9 ft", "10 ft (reference)", "11 ft"]
    assert _field(_singles(9, 11)).row is None


def test_ratios_are_to_the_reference_blade_whether_or_not_it_is_a_candidate():
    field = _field(_singles(9, 11))
    ours = _ratio(field.rows[0], field, "turn_drag")
    assert ours == pytest.approx((1 + 0.05 * 9 * FT) / (1 + 0.05 * 10 * FT), rel=1e-12)


def test_without_a_reference_ratios_are_left_out():
    field = _field(_singles(9, 11), reference=False)
    assert field.values == {} and measures(field) is None
    assert curves(field) is not None


def test_a_fold_of_the_line_is_found_where_it_is():
    assert [round(float(f)) for f in _folds(np.abs(RADII - 8.0 * FT), RADII)] == [8]
    assert _folds(-RADII, RADII) == []


def test_shading_is_where_no_single_radius_has_less_of_both():
    fig = fs.page(6, 4, "t")
    ax = fig.add_subplot()
    line = np.column_stack([[1.0, 1.5, 1.2, 2.0], [4.0, 3.0, 2.0, 1.0]])  # folds back
    ax.set_xlim(0, 3)
    ax.set_ylim(0, 5)
    beyond(ax, line)
    shade = ax.collections[0].get_paths()[0]
    rng = np.random.default_rng(3)
    close = dense(line)
    for x, y in rng.uniform([0.05, 0.05], [2.95, 4.95], (300, 2)):
        beaten = ((close[:, 0] <= x) & (close[:, 1] <= y)).any()
        near = np.hypot(*(close - [x, y]).T).min() < 0.06  # the line is drawn in steps
        assert near or shade.contains_point((x, y)) != beaten, (x, y)


def test_heights_are_exaggerated_by_the_printed_factor():
    with matplotlib.rc_context(fs.RC):
        fig = curves(_field(_singles(9, 10, 11)))
    ax = fig.axes[0]
    wide, high = fs.size_in(ax)
    drawn = (high / np.ptp(ax.get_ylim())) / (wide / np.ptp(ax.get_xlim()))
    assert f"heights x {drawn:.0f}" == ax.get_title() and drawn == pytest.approx(round(drawn), rel=1e-9)


def test_labels_of_the_trade_off_do_not_overlap():
    with matplotlib.rc_context(fs.RC):
        fig = trade_off(_field([*_singles(8, 10, 12), *_many()[4:16]]))
        canvas = FigureCanvasAgg(fig)
        canvas.draw()
        for ax in fig.axes:
            boxes = [(t.get_text(), t.get_window_extent(canvas.get_renderer())) for t in ax.texts if t.get_text()]
            for i, (text, box) in enumerate(boxes):
                assert not [other for other, b in boxes[:i] if box.overlaps(b)], text


def test_legend_stays_on_the_page():
    rows = [_row("rear-flat-eased 10/13/11/9 ft, level -10 mm", 3.0, family="rear_flat_eased"), *_singles(9, 10)]
    with matplotlib.rc_context(fs.RC):
        for name in ("01_curves", "03_stride", "06_nudge_glide"):
            fig = FIGURES[name](_field(rows))
            canvas = FigureCanvasAgg(fig)
            canvas.draw()
            box = fig.legends[0].get_window_extent(canvas.get_renderer())
            right = max(ax.get_position().x1 for ax in fig.axes) * fig.bbox.width
            assert box.x1 <= fig.bbox.width and box.x0 >= right, name


def test_headline_measures_exist():
    assert set(FIGURE) <= set(REGISTRY)
    assert set(FOLDS) <= set(REGISTRY)


@pytest.mark.parametrize("detail", ["measures", "static"])
def test_nine_blades_without_their_curves_are_drawn(detail, tmp_path):
    """As a person runs it, figures on: what needs no curves is drawn, the rest left out, and the tables are there."""
    words = [f"detail={detail}", f"results_dir={tmp_path}", "workers=1", "weighting=turns_first"]
    pairs = "pairs=[[turn_drag, critical_ankle_stiffness]]"
    assert run_command([*words, pairs]) == 0
    (folder,) = tmp_path.glob("*/*")
    drawn = {path.name for path in (folder / "figures").glob("*.png")}
    assert {"07_trade_off.png", "08_measures.png"} <= drawn
    assert len((folder / "measures.csv").read_text().splitlines()) == 10


def _drawn(rows, **ratios):
    """Draws in which named measures have these ratios (draw, row) to the reference, and all others 1."""
    names = tuple(row.candidate for row in rows)
    return draws_of(dict(ratios), names=names)


def test_bars_hold_nine_of_ten_draws_and_a_claim_needs_the_whole_bar():
    """101 ratios of turn drag: from 0.90 to 1.00 (5 to 95 %: 0.905 to 0.995, surely better), and from 0.95 to 1.05."""
    rows = _singles(9, 11)
    even = np.linspace(0.0, 0.1, 101)
    field = replace(_field(rows), draws=_drawn(rows, turn_drag=np.stack([0.9 + even, 0.95 + even], axis=1)))
    first, second = (_drawn_ratio(row, field, "turn_drag") for row in rows)
    assert first == pytest.approx([0.905, 0.95, 0.995]) and second == pytest.approx([0.955, 1.0, 1.045])
    assert _verdict(REGISTRY["turn_drag"], first) == "good" and _verdict(REGISTRY["turn_drag"], second) == "level"
    assert _verdict(REGISTRY["push_hold_angle"], first) == "bad"
    assert _verdict(REGISTRY["glide_loaded_arc"], first) == "level", "no better side"
    assert _verdict(REGISTRY["turn_drag"], [0.9, 0.95, 0.9996]) == "level", "printed as 1.000"
    assert _drawn_ratio(rows[0], field, "stride_ice_loss") == [_ratio(rows[0], field, "stride_ice_loss")] * 3
    base = field.values["turn_drag"]
    assert _spread(field, rows[0], REGISTRY["turn_drag"]) == pytest.approx([0.905 * base, 0.995 * base])
    assert _spread(field, rows[0], REGISTRY["stride_ice_loss"]) is None


def test_the_trade_off_draws_the_declared_pairs_with_their_doubt():
    rows = _singles(9, 11)
    drawn = _drawn(rows, turn_drag=np.stack([np.linspace(0.9, 1.0, 101)] * 2, axis=1))
    with matplotlib.rc_context(fs.RC):
        fig = trade_off(replace(_field(rows), draws=drawn))
        plain = trade_off(_field(rows))
    labels = [(ax.get_xlabel().split(",")[0], ax.get_ylabel().split(",")[0]) for ax in fig.axes]
    assert labels == [("glide drag coefficient", "pivot on forefoot"), ("turn drag", "critical ankle stiffness")]
    assert "90 % of the draws" in _written(fig) and "90 % of the draws" not in _written(plain)
    assert len(fig.axes[1].lines) > len(plain.axes[1].lines)
    one = _singles(9, 11)
    for row in one:
        row.gains = {}
    assert trade_off(_field(one)) is None, "no pair is declared"


def test_a_blade_on_another_runner_is_open_and_said_so():
    rows = _singles(9, 11)
    rows[1].on_its_own = True
    with matplotlib.rc_context(fs.RC):
        fig = trade_off(_field(rows))
    assert "another runner or hollow" in _written(fig)
    faces = [line.get_markerfacecolor() for line in fig.axes[0].lines if line.get_marker() in "osD^vPX" and
             line.get_markersize() == 7]  # fmt: skip
    assert [face == "white" for face in faces] == [False, True]
