"""Part 2: closed forms, printed numbers and a standard, which the solvers must meet: is the arithmetic right?"""

import math

import scipy

from experiments.studies.validation.checks import (
    AT_ZERO,
    CHECK_GAUSS,
    DEG,
    LAW,
    MEMORY,
    OURS,
    PLAIN,
    RINK,
    VAN_LEEUWEN,
    Check,
    at_mid,
    compare,
    ice_at,
    long_track,
    single,
)
from sim.blade.section import Section
from sim.ice.drag import ploughing
from sim.ice.ice import melting_point
from sim.skater.body import Skater
from sim.skater.movement import Scenario, program

TEXTBOOK = "textbook"
IAPWS = ("IAPWS R14-08(2011). Revised release on the pressure along the melting and sublimation curves of ordinary "
         f"water substance; coefficients {MEMORY}")  # fmt: skip
WARMEST_C, COLDEST_C = -0.2, -3.0  # between which the hardness meets the melting pressure


def hollow_section() -> list[Check]:
    """Depth of a hollow and its bite angle."""
    section = Section(3.0e-3, 12.7e-3)
    what = f"circle geometry, {OURS}"
    return [
        compare(
            "1a", TEXTBOOK, "Depth of hollow, w 3.0 mm, R_h 12.7 mm", 88.9, "um", section.depth_m * 1e6, 6e-4, what
        ),
        compare("1b", TEXTBOOK, "Bite angle of the same", 6.78, "deg", section.bite_rad / DEG, 8e-4, what),
    ]


def flat_upright_runner() -> list[Check]:
    """A flat upright runner of a speed skate: contact length, depth, ploughing."""
    load = 72 * 9.81  # the gravity with which the published digits come out; standard gravity gives 43.33 um
    slide, real = (at_mid(long_track(), load, law=law, ice=AT_ZERO) for law in (PLAIN, LAW))
    force = ploughing(long_track(), AT_ZERO, PLAIN, slide, *CHECK_GAUSS)
    with_rebound = ploughing(long_track(), AT_ZERO, LAW, real, *CHECK_GAUSS)
    source = f"inputs recalled from {VAN_LEEUWEN}; {MEMORY}; formula {OURS}"
    case = "72 kg at g 9.81, R 22 m, w 1.1 mm, 0 deg C, rebound off."
    length = slide.front - slide.rear
    return [
        compare("2a", TEXTBOOK, "Upright speed skate: contact length", 43.7, "mm", length * 1e3, 1.2e-3, source, case),
        compare("2b", TEXTBOOK, "Upright speed skate: depth", 43.4, "um", slide.depth * 1e6, 1.2e-3, source, case),
        compare("2c", TEXTBOOK, "Upright speed skate: ploughing force", 0.701, "N", force, 7e-4, source,
                f"{case} As shipped, with rebound, it is {with_rebound:.3f} N: {100 * (with_rebound / force - 1):.0f} "
                "%."),
    ]  # fmt: skip


def steady_lean() -> list[Check]:
    """Lean and load of a steady turn."""
    turn = Scenario("turn", (0.0, 1.0), (0.0, 0.0), speed_m_s=12.0, path_radius_m=8.5, heading_rad=1.5, ramp_m=3.0)
    skater = Skater("adult")
    plan = program(turn, skater, single(10), RINK, LAW)
    lean, load = math.atan(plan.tan_lean.max()), plan.load.max() / skater.weight_n
    source = f"exact: tan(lean) = v^2/(g rho), {OURS}"
    return [
        compare("9a", TEXTBOOK, "Lean at 12 m/s on 8.50 m", 59.9, "deg", lean / DEG, 9e-4, source),
        compare("9b", TEXTBOOK, "In-plane load there", 2.00, "body weights", load, 2.5e-3, source,
                "Follows from the lean: 1/cos of it."),
    ]  # fmt: skip


def melting_pressure(temperature_c: float) -> float:
    """Pressure, Pa, at which ice Ih melts at a temperature, 251.165 to 273.16 K.

    p/611.657 Pa = 1 + sum a_i (1 - theta^b_i), theta = T/273.16 K (IAPWS R14-08(2011)).
    """
    theta = (temperature_c + 273.15) / 273.16
    terms = ((0.119539337e7, 3.0), (0.808183159e5, 25.75), (0.333826860e4, 103.75))
    return 611.657 * (1 + sum(a * (1 - theta**b) for a, b in terms))


def _warm_edge(factor: float = 1.0) -> float:
    """Temperature, deg C, at which the hardness times a factor is the melting pressure of the standard."""
    return scipy.optimize.brentq(
        lambda t: melting_pressure(t) - factor * (14.7 - 0.6 * t) * 1e6, COLDEST_C, WARMEST_C, xtol=1e-9
    )


def _warned_from() -> float:
    """Coldest ice, deg C, of which the model itself says that it melts under its hardness: by halving."""
    cold, warm = COLDEST_C, WARMEST_C
    while warm - cold > 1e-6:
        middle = 0.5 * (cold + warm)
        cold, warm = (cold, middle) if ice_at(middle).melts_under_hardness else (middle, warm)
    return warm


def pressure_melting() -> list[Check]:
    """Melting under pressure, and the warm edge of the model."""
    at_hardness = scipy.optimize.brentq(lambda t: melting_pressure(t) - RINK.hardness, -3.0, -0.2, xtol=1e-9)
    soft, hard = _warm_edge(0.84), _warm_edge(1.16)
    return [
        compare("14a", TEXTBOOK, "Melting point under 17.7 MPa, the hardness at -5 deg C", at_hardness, "deg C",
                melting_point(RINK.hardness), 2e-4, IAPWS, "The standard solved for T, beside the fit that the film "
                "uses."),
        compare("14b", TEXTBOOK, "Warm edge: hardness 14.7 - 0.6 T is the melting pressure", _warm_edge(), "deg C",
                _warned_from(), 2e-4, f"{IAPWS}; hardness: Poirier, Lozowski & Thompson (2011), {MEMORY}",
                "Warmer than this the ice would melt before it yields: the hardness as a bearing pressure, and with it "
                f"every number here, is in doubt. Hardness a sixth lower: {soft:.2f}, higher: {hard:.2f} deg C."),
    ]  # fmt: skip
