"""A run cites what it used and nothing else: each line by the part of the model that it stands for."""

from dataclasses import replace
from types import SimpleNamespace

import pytest

from experiments.analysis.variants import statics
from experiments.report import sources
from experiments.report.sources import cite, cite_statics
from experiments.studies.part import tables as part
from sim.blade.recipe import Sweep
from sim.measures import REGISTRY, STATIC
from tests.experiments.analysis.hand import LAW, TEN, blade, request, setting

# each source by words that only it has
MARKS = {
    "geometry": "Geometry of curve", "ice": "Ice: ", "contact": "load balance",
    "rebound": "solutions of the half-space problem",
    "rectangle": "returns 20 to 95 %", "bending": "Bending of the runner", "melting": "IAPWS", "rough": "Rough-ice",
    "rate": "rate of pressing", "reaction": "Stepan",
    "ploughing": "van Leeuwen 2017", "film": "Melt film", "measured friction": "de Koning", "rival": "Lever",
    "sideways": "rigid-plastic", "scuff": "Scuff coefficient", "rocking": "Rocking stability", "segments": "de Leva",
    "damping": "Hunt & Crossley", "histories": "histories", "ends": "Turned-up ends", "trace": "Reading of the trace",
    "stops": "Starts, stops, fast turns", "invented": "invented for demonstration",
}  # fmt: skip
STATICS = {"geometry", "ice", "contact", "rebound", "ploughing", "film", "measured friction", "rival", "sideways",
           "scuff", "rocking", "segments", "ends", "invented", "bending", "melting", "rough", "reaction",
           "stops"}  # fmt: skip
BARE = blade(10, heel_sweep=Sweep(0.0), toe_sweep=Sweep(0.0))


def asked(one=TEN, **law):
    return request([one], setting(law=LAW._replace(**law)), sources=("handbook values", "handbook values"))


def marks(lines) -> set[str]:
    """Which sources these lines are; every line is one of the known ones, and stands once."""
    found = [name for line in lines for name, words in MARKS.items() if words in line]
    assert len(found) == len(set(found)) == len(lines), lines
    return set(found)


def test_every_source_of_the_module_has_its_mark_here():
    texts = {v for k, v in vars(sources).items() if k.isupper() and not k.startswith("_") and isinstance(v, str)}
    assert texts
    unmarked = [t for t in texts if sum(words in t for words in MARKS.values()) != 1]
    assert not unmarked, f"a new source: give it a mark in MARKS, and a case below: {unmarked}"


def test_static_measures_alone_do_not_cite_what_only_rolls():
    assert marks(cite_statics(asked())) == STATICS
    assert marks(cite(asked(), STATIC)) == STATICS


def test_rolling_adds_damping_and_histories():
    assert marks(cite(asked(), tuple(REGISTRY), ("stride", "tight_turn"))) == STATICS | {"damping", "histories"}
    only_stride = marks(cite(asked(), ("stride_ice_loss",), ("stride",)))
    assert only_stride == STATICS - {"sideways", "scuff", "rocking", "reaction", "stops"} | {"damping", "histories"}
    assert "sideways" in marks(cite(asked(), ("turn_time",), ("tight_turn",)))


@pytest.mark.parametrize(
    ("law", "gone"),
    [
        ({"film": 0.0}, {"film", "rival", "melting"}),
        ({"rebound": 0.0}, {"rebound"}),
        ({"standing": 1.0}, {"rebound"}),
        ({"bending": 0.0}, {"bending"}),
        ({"melting": 0.0, "sink": 0.0}, {"melting"}),
        ({"rough": 0.0}, {"rough"}),
    ],
)
def test_what_is_switched_off_is_not_cited(law, gone):
    assert marks(cite_statics(asked(**law))) == STATICS - gone


@pytest.mark.parametrize(
    ("measures", "wanted"),
    [
        (("glide_loaded_arc",), set()),
        (("turn_drag",), {"ploughing", "film", "measured friction", "rival", "sideways", "melting", "rough"}),
        (("critical_reaction_delay",), {"rocking", "segments", "reaction"}),
        (("glide_rough_coefficient",), {"rough"}),
        (("glide_ploughing_coefficient",), {"ploughing", "measured friction"}),
        (("turn_scrape",), {"sideways"}),
        (("pivot_heel_toe_in",), {"sideways", "scuff"}),
        (("critical_ankle_stiffness",), {"rocking", "segments"}),
        (("glide_drag_coefficient",), {"ploughing", "film", "measured friction", "rival", "melting", "rough"}),
        (("push_hold_angle",), {"sideways"}),
        (("turn_tightest_clean_radius",), {"sideways"}),
        (("start_hold_angle",), {"sideways", "stops"}),
        (("start_loss_share",), {"ploughing", "film", "measured friction", "rival", "melting", "rough", "stops"}),
        (("stop_deceleration",), {"sideways", "scuff", "stops"}),
        (("fast_turn_reaction_delay",), {"rocking", "segments", "reaction", "stops"}),
        (("edge_change_time",), {"sideways", "stops"}),
        (("transfer_lean",), {"stops"}),
    ],
)
def test_a_measure_cites_its_own_part_of_the_model(measures, wanted):
    always = {"geometry", "ice", "contact", "rebound", "bending", "ends", "invented"}
    assert marks(cite(asked(), measures)) == always | wanted


def test_steel_alone_is_geometry():
    assert marks(cite(asked(BARE), ("steel_removed_depth",))) == {"geometry", "invented"}
    assert part.cite(None, []) == [sources.GEOMETRY, sources.INVENTED]


def test_ends_that_are_not_turned_up_are_no_assumption():
    assert marks(cite_statics(asked(BARE))) == STATICS - {"ends"}
    one_end = blade(10, heel_sweep=Sweep(0.0))
    assert "ends" in marks(cite_statics(asked(one_end))), "one end is enough"


def test_a_measured_blade_adds_how_its_trace_was_read():
    measured = blade(10, reading=SimpleNamespace(unknowns=1))
    assert marks(cite_statics(asked(measured))) == STATICS | {"trace"}


def test_each_ice_is_cited_once():
    two = replace(asked(), sources=("one", "two", "one"))
    assert [line for line in cite_statics(two) if line.startswith("Ice")] == ["Ice: one.", "Ice: two."]


def test_every_measure_rests_on_some_part_of_the_model():
    """A new measure that is neither geometry nor contact alone must be put under the words that name its part."""
    plain = {"glide_loaded_arc", "glide_immersed_arc", "glide_groove_depth", "glide_inside_share", "glide_pitch",
             "turn_lean", "turn_loaded_arc", "turn_immersed_arc", "push_groove_depth", "pitch_bias", "heel_over_toe",
             "steel_removed_depth", "steel_removed_area", "nudge_shift", "nudge_settling_time",
             "stride_balance_travel", "stride_pitch_travel"}  # fmt: skip
    base = marks(cite(asked(), ("glide_loaded_arc",)))
    silent = {name for name in REGISTRY if marks(cite(asked(), (name,))) - base == set()}
    assert silent == plain, f"say in sources.py which part of the model these rest on: {sorted(silent - plain)}"


@pytest.mark.parametrize(
    ("switch", "source", "exact"), [({"scuff": 0.05}, "scuff", True), ({"film": 0.0}, "film", False)]
)
def test_the_model_itself_says_whose_measures_rest_on_a_part(switch, source, exact):
    """What changes when the switch does must cite that source; the scuff coefficient is cited for nothing else."""
    here, there = (statics(blade(8, 12), setting(law=LAW._replace(**s)), STATIC) for s in ({}, switch))
    rests = {n for n, a, b in zip(STATIC, here, there) if a != b}
    cites = {n for n in STATIC if source in marks(cite(asked(), (n,)))}
    assert rests <= cites and (not exact or rests == cites), rests ^ cites
