"""One row of the validation, the words of its verdict, and the laws, ice and blades that the rows share.

Nothing here is tuned. Inputs that a source leaves open are assumptions of ours and named in the note.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

from sim.blade.recipe import Recipe
from sim.blade.section import Section
from sim.blade.steel import Steel
from sim.ice import rebound
from sim.ice.contact import GAUSS, Law, Patch
from sim.ice.drag import film_shear, ploughing, rough_drag
from sim.ice.ice import Ice, IceNumbers
from sim.ice.standing import stand
from sim.quantities import FOOT_M

MEMORY, TRADE, OURS = "value from memory", "common practice, no published source", "derived here"
VAN_LEEUWEN = ("van Leeuwen J.M.J. (2017). Skating on slippery ice. SciPost Physics 3, 042. "
               "doi:10.21468/SciPostPhys.3.6.042")  # fmt: skip


@dataclass(frozen=True)
class Part:
    """A part of the validation: heading, what it is, its other side, words for a row that comes out or does not."""

    heading: str
    what: str
    other: str
    good: str
    bad: str


PARTS = {
    "measured": Part("1a  Measured outside", "Numbers that somebody measured; friction on smooth ice and as shipped, "
                     "with an added roughness.", "measured", "reproduced", "not reproduced"),
    "trade": Part("1b  Said outside, not measured",
                  "Rules of the trade: no published source, no size; what is felt is an assumption of ours.",
                  "said", "supported", "not supported"),
    "textbook": Part("2  Textbook", "Closed forms and standards that others published: is the arithmetic right?",
                     "printed", "agrees", "disagrees"),
    "ours": Part("3  Ours against ours", "Our own derivations, and other solvers on the same assumptions: no evidence "
                 "about ice.", "other way", "consistent", "inconsistent"),
}  # fmt: skip
TOO_SMALL, PARTLY = "too small to feel", "partly supported"  # two more words for rules of the trade
INPUT, NOT_RUN = "an input", "not run"  # a number that goes in, beside its measurement; a row that could not be had
ROUGH_ICE, SMOOTH_ICE = "shipped", "smooth"  # variants of a measured magnitude: as shipped, and without added roughness


@dataclass(frozen=True)
class Check:
    """One row: a value from outside beside ours, both in `unit`.

    part: a key of PARTS. published: a value, a band (lo, hi), or None for a direction. gap: ours/published - 1; for a
    band the distance to its nearer end as a share of that end (0 inside); None for a direction. refuted_by: what would
    have turned the verdict round. tolerance: largest |gap| that still passes. variant: of a measured magnitude.
    """

    number: str
    part: str
    title: str
    published: float | tuple[float, float] | None
    unit: str
    ours: float | None
    gap: float | None
    verdict: str
    refuted_by: str
    source: str
    note: str
    tolerance: float | None = None
    variant: str = ""


def gap_of(published: float | tuple[float, float], ours: float) -> float:
    """ours/published - 1, of a band its nearer end; 0 inside a band."""
    near = min(max(ours, published[0]), published[1]) if isinstance(published, tuple) else published
    return ours / near - 1


def compare(
    number: str,
    part: str,
    title: str,
    published: float | tuple[float, float],
    unit: str,
    ours: float,
    tolerance: float,
    source: str,
    note: str = "",
    refuted_by: str = "",
    variant: str = "",
) -> Check:
    """A row whose verdict follows from the gap; a miss says so, with its size, at the head of its note."""
    ours = float(ours)
    gap, words = gap_of(published, ours), PARTS[part]
    good = abs(gap) <= tolerance
    if not good:
        note = f"{words.bad.capitalize()}: ours is {abs(100 * gap):.0f} % {'low' if gap < 0 else 'high'}. {note}"
    refuted_by = refuted_by or f"a gap of more than {100 * tolerance:.2g} % either way"
    verdict = words.good if good else words.bad
    return Check(number, part, title, published, unit, ours, gap, verdict, refuted_by, source, note.strip(), tolerance,
                 variant)  # fmt: skip


def direction(
    number: str, part: str, title: str, holds: bool, unit: str, ours: float, refuted_by: str, source: str, note: str
) -> Check:
    """A row without a published size: does it come out as said?"""
    words = PARTS[part]
    note = note if holds else f"{words.bad.capitalize()}. {note}"
    verdict = words.good if holds else words.bad
    return Check(number, part, title, None, unit, float(ours), None, verdict, refuted_by, source, note)


def magnitudes(checks: Sequence[Check], variant: str) -> tuple[int, int]:
    """(reproduced, all): measured magnitudes of one variant."""
    mine = [c for c in checks if c.part == "measured" and c.variant == variant]
    return sum(c.verdict == PARTS["measured"].good for c in mine), len(mine)


def headline(checks: Sequence[Check]) -> str:
    """The first line of a validation: how many measured magnitudes are reproduced, with and without added roughness."""
    (rough, count), (smooth, _) = magnitudes(checks, ROUGH_ICE), magnitudes(checks, SMOOTH_ICE)
    return (
        f"Measured magnitudes reproduced: {smooth} of {count} without added roughness, {rough} of {count} with it; the "
        "roughness was sized from these very gaps, so that with it the level of friction is no check."
    )


# ---------------------------------------------------------------- laws, ice, blades

FT, DEG = FOOT_M, math.pi / 180
LAW = Law()  # as shipped
BARE = LAW._replace(rough=0.0)  # without added roughness
# what closed forms assume: rigid steel, nothing springs back, ice melts at 0 deg C and warms no steel
PLAIN = LAW._replace(rebound=rebound.NO_RISE, melting=0.0, sink=0.0, rough=0.0, bending=0.0)
STANDING = PLAIN._replace(standing=1.0, film=0.0)
CHECK_GAUSS, CHECK_FILM_STEPS = GAUSS[24], 1024  # 64 film steps are up to 1 % short where two films merge
HOCKEY_SPAN_M, HEIGHT_M = 0.075, 0.025  # of configs/blade/hockey.yaml
FOREFOOT_M, FOREFOOT_LEAN = 0.045, 15 * DEG  # load line and lean of the shipped pivot on the forefoot


def ice_at(
    temperature_c: float, viscosity: float = 1.79e-3, conductivity: float = 2.2, diffusivity: float = 1.15e-6
) -> Ice:
    """Ice of handbook constants; the last three are what van Leeuwen's set has otherwise."""
    return Ice("validation", "handbook values", temperature_c, 14.7e6, 0.6e6, 9.3e9, 0.33, viscosity, 1000.0, 3.34e5,
               conductivity, diffusivity)  # fmt: skip


RINK, AT_ZERO = ice_at(-5.0).numbers, ice_at(0.0).numbers
LEEUWEN = ice_at(0.0, 1.737e-3, 1.6, 0.843e-6).numbers


def blade(
    family: str,
    *radii_m: float,
    thickness: float = 2.9e-3,
    hollow: float = 12.7e-3,
    length: float = 0.280,
    span: float = HOCKEY_SPAN_M,
) -> Steel:
    """A hockey blade in its holder unless told otherwise; radii heel to toe."""
    section = Section(thickness, hollow, height_m=HEIGHT_M, span_m=span)
    table = Recipe("validation", family, radii_m, length_m=length).curve().table
    return Steel(*table, thickness, hollow, section.tilt, section.rigidity, span)


def single(feet: float, hollow: float = 12.7e-3) -> Steel:
    """The hockey blade of one radius."""
    return blade("single_radius", feet * FT, hollow=hollow)


@cache
def long_track() -> Steel:
    """A blade of long-track racing, flat across; made when asked for, since a refusal need not load compiled code."""
    return blade("single_radius", 22.0, thickness=1.1e-3, hollow=math.inf, length=0.420, span=0.0)


def at_mid(steel: Steel, load: float, lean: float = 0.0, law: Law = LAW, ice: IceNumbers = RINK) -> Patch:
    """The contact under `load` with its centre of pressure at mid-runner."""
    return stand(steel, ice, law, math.tan(lean), float(load), 0.0, *CHECK_GAUSS)


def drag(
    steel: Steel, patch: Patch, speed: float, law: Law = LAW, ice: IceNumbers = RINK
) -> tuple[float, float, float]:
    """(ploughing, film, rough ice), N."""
    plough = ploughing(steel, ice, law, patch, *CHECK_GAUSS)
    return plough, film_shear(steel, ice, law, patch, float(speed), CHECK_FILM_STEPS), rough_drag(law, patch)
