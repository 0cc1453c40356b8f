"""Blades, setting and comparisons that the tests of starts, stops, fast turns and edge changes share."""

import math
from dataclasses import replace
from functools import cache

import pytest

from experiments.request.comparison import read_request
from experiments.request.compose import composed
from sim.blade.recipe import Recipe
from sim.blade.section import Section
from sim.measures import evaluate
from sim.trial import Candidate, Setting, Trial
from tests import reference_rest as rest
from tests.cases import FT

DEG = math.radians(1.0)
SHARE = 1e-3  # agreement of two implementations: what the reference model's cells leave
EDGE_LEAN, EDGE_SPEED = 15 * DEG, 4.0


def hockey(radii=(10 * FT,), hollow=12.7e-3, family="single_radius", **kw):
    return Candidate("hockey", Recipe("h", family, radii), Section(2.9e-3, hollow, height_m=0.025, span_m=0.075, **kw))


BLADES = {
    "8 ft": hockey((8 * FT,)),
    "10 ft": hockey(),
    "13 ft": hockey((13 * FT,)),
    "long track": Candidate("l", Recipe("l", "single_radius", (22.0,), length_m=0.40), Section(1.1e-3, math.inf)),
    "figure": Candidate("f", Recipe("f", "single_radius", (2.1,)), Section(4e-3, 11e-3, height_m=0.025, span_m=0.075)),
    "10 ft, hollow 9.5 mm": hockey(hollow=9.5e-3),
    "10 ft, hollow 19 mm": hockey(hollow=19e-3),
    "13/10/7 ft": hockey((13 * FT, 10 * FT, 7 * FT), family="rear_flat"),
}
FEET = ("8 ft", "10 ft", "13 ft")
TOLD = [*FEET, "long track", "figure", "13/10/7 ft"]


@cache
def shipped(skater="adult") -> Setting:
    return read_request(composed([f"skater={skater}"])[0]).cases[0].setting


def same(skater):
    """The same body as the reference model has it."""
    b = skater
    return rest.skater(
        b.mass_kg, b.skate_mass_kg, b.body_height_m, b.ankle_height_m, b.skate_height_m, b.skate_inertia,
        b.body_inertia, b.ankle_stiffness, b.passive_share,
    )  # fmt: skip


@cache
def other(name):
    """The same blade as the reference model has it."""
    c = BLADES[name]
    zones, s = [(z.length_m, z.radius_m) for z in c.recipe.zones], c.section
    return rest.blade(zones, s.thickness_m, s.hollow_m, s.span_m, 0.025)


@cache
def trial(name) -> Trial:
    return Trial(BLADES[name], shipped())


def measured(of, *names, **states):
    """Values by name of a blade, or of a trial of it; `states` are put in the place of the shipped ones."""
    t = trial(of) if isinstance(of, str) else of
    if states:
        t = Trial(t.candidate, replace(t.setting, states={**t.setting.states, **states}))
    values, _ = evaluate(t, list(names))
    return [values[n] for n in names] if len(names) > 1 else values[names[0]]


def compare(what, ours, theirs, share=SHARE):
    print(f"{what}: {ours:.6g}, reference {theirs:.6g}, {ours / theirs - 1:+.1e}")
    assert ours == pytest.approx(theirs, rel=share, abs=1e-12), what
