"""Part 1: what others measured, beside the shipped model; each magnitude with and without the added roughness."""

import math
from collections.abc import Callable

from experiments.studies.validation.checks import (
    BARE,
    DEG,
    INPUT,
    LAW,
    MEMORY,
    ROUGH_ICE,
    SMOOTH_ICE,
    Check,
    at_mid,
    blade,
    compare,
    direction,
    drag,
    gap_of,
    long_track,
    single,
)
from sim import closed_forms
from sim.blade.steel import Steel
from sim.ice.contact import Law
from sim.skater.body import GRAVITY, Skater

OUTSIDE = "measured"
DE_KONING = ("de Koning J.J., de Groot G., van Ingen Schenau G.J. (1992). Ice friction during speed skating. "
             f"Journal of Biomechanics 25(6), 565-571; {MEMORY}")  # fmt: skip
FEDEROLF = ("Federolf P.A., Mills R., Nigg B. (2008). Ice friction of flared ice hockey skate blades. "
            f"Journal of Sports Sciences 26(11), 1201-1208; {MEMORY}")  # fmt: skip
REDMOND = ("Federolf P., Redmond A. (2010). Does skate sharpening affect individual skating performance in an agility "
           "course in ice hockey? Sports Engineering 13, 39-46. doi:10.1007/s12283-010-0050-3; abstract read: "
           "direction and hollow radii, no coefficient")  # fmt: skip
HOUDIJK = ("Houdijk H., Wijker A.J., de Koning J.J., Bobbert M.F., de Groot G. (2001). Ice friction in speed skating: "
           "can klapskates reduce ice frictional loss? Medicine & Science in Sports & Exercise 33(3), 499-504; "
           "abstract read")  # fmt: skip
BOBSLEIGH = ("Poirier L., Lozowski E.P., Maw S., Stefanyshyn D.J., Thompson R.I. (2011). Experimental analysis of ice "
             "friction in the sport of bobsleigh. Sports Engineering 14, 67-72; abstract read; authors and volume from "
             "memory")  # fmt: skip
FOOT = ("de Leva P. (1996). Adjustments to Zatsiorsky-Seluyanov's segment inertia parameters. Journal of Biomechanics "
        "29(9), 1223-1230 (male, 0.0137); Winter D.A. (2009). Biomechanics and Motor Control of Human Movement, 4th "
        "ed., Wiley (0.0145); both read in tables that quote them")  # fmt: skip
ANKLE = ("Loram I.D., Lakie M. (2002). Direct measurement of human ankle stiffness during quiet standing. Journal of "
         "Physiology 545.3, 1041-1053 (0.91 +- 0.23); Loram I.D., Maganaris C.N., Lakie M. (2007). The passive, human "
         "calf muscles in relation to standing. Journal of Physiology 584(2), 661-675 (0.67 +- 0.08 for swings below "
         "0.2 deg, 1.01 to 0.19 for 0.03 to 7 deg); abstracts read")  # fmt: skip

# A tenth stands for a scatter that was not read; the sled's own is 0.0005 of 0.0071.
UNREAD, SLED = 0.10, 0.0005 / 0.0071
CURVE_M, BOB_MEAN, BOB_SCATTER = 27.0, 4.2e-3, 0.9e-3
TREND_SPEEDS = (1.0, 2.0, 5.0, 8.0, 10.0)


def coefficient(steel: Steel, load: float, speed: float, lean: float = 0.0, law: Law = LAW) -> float:
    """Friction coefficient of a straight run, centre of pressure at mid-runner, -5 deg C."""
    return sum(drag(steel, at_mid(steel, load, lean, law=law), speed, law=law)) / load


def speed_skate(mass: float, speed: float, path_radius: float = math.inf, law: Law = LAW) -> tuple[float, float, float]:
    """(friction coefficient, power in W, lean in rad) on the long-track blade at -5 deg C."""
    lean = closed_forms.steady_lean(speed, path_radius) if math.isfinite(path_radius) else 0.0
    load = mass * GRAVITY / math.cos(lean)
    mu = coefficient(long_track(), load, speed, lean, law)
    return mu, mu * load * speed, lean


def _twice(
    number: str, title: str, published: float, unit: str, ours: Callable[[Law], float], tolerance: float, source: str,
    note: str
) -> list[Check]:  # fmt: skip
    """A magnitude without and with added roughness: two rows; the second is no check of the level, and says so."""
    bare, shipped = ours(BARE), ours(LAW)
    circular = (f"With mu_r {LAW.rough:g}, an assumption sized from the gaps of these rows: no check of the level. "
                f"Without it {100 * gap_of(published, bare):+.0f} %.")  # fmt: skip
    return [
        compare(number, OUTSIDE, f"{title}, smooth ice", published, unit, bare, tolerance, source,
                note, variant=SMOOTH_ICE),
        compare(f"{number}r", OUTSIDE, f"{title}, as shipped", published, unit, shipped, tolerance, source, circular,
                variant=ROUGH_ICE),
    ]  # fmt: skip


def measured_friction() -> list[Check]:
    """Friction coefficients beside measured ones."""
    load, steel, lean = 53 * GRAVITY, single(10), closed_forms.steady_lean(8.0, CURVE_M)
    straight, curve = speed_skate(72, 8.0)[0], speed_skate(72, 8.0, CURVE_M)[0]
    bare = speed_skate(72, 8.0, CURVE_M, BARE)[0] / speed_skate(72, 8.0, law=BARE)[0]
    return [
        *_twice("7a", "Friction coefficient, speed skate, straight", 0.0046, "1",
                lambda law: speed_skate(72, 8.0, law=law)[0], UNREAD, DE_KONING, "72 kg, 8 m/s, -5 deg C: assumed."),
        *_twice("7b", "Friction coefficient, speed skate, curve", 0.0059, "1",
                lambda law: speed_skate(72, 8.0, CURVE_M, law)[0], UNREAD, DE_KONING,
                f"The same on a path of {CURVE_M:g} m, lean {lean / DEG:.0f} deg: assumed."),
        *_twice("7c", "Friction coefficient, hockey blade, 53 kg sled, 1.8 m/s", 0.0071, "1",
                lambda law: coefficient(steel, load, 1.8, law=law), SLED, FEDEROLF,
                "Measured +- 0.0005. All on one blade of 10 ft, hollow 12.7 mm, -5 deg C: assumed."),
        direction("7d", OUTSIDE, "Curve rubs more than straight", curve > straight, "ratio", curve / straight,
                  "a ratio of 1 or less", DE_KONING,
                  f"Measured ratio {0.0059 / 0.0046:.2f}; ours {bare:.2f} without added roughness. From the numbers of "
                  "7a and 7b, so no further magnitude."),
    ]  # fmt: skip


def friction_power() -> list[Check]:
    """Friction power of speed skaters beside the measured."""

    def mean(law: Law, mass: float = 75, speed: float = 10.5) -> float:
        return 0.5 * (speed_skate(mass, speed, law=law)[1] + speed_skate(mass, speed, CURVE_M, law)[1])

    ends = [(mean(law, 70, 9.0), mean(law, 80, 12.0)) for law in (BARE, LAW)]
    return _twice("8a", "Friction power, mean of straight and curve", 54.0, "W", mean, UNREAD, HOUDIJK,
                  "75 kg, 10.5 m/s, -5 deg C, path of 27 m in the curve: assumed, the abstract gives neither speed nor "
                  f"mass. From 70 kg at 9 m/s to 80 kg at 12 m/s it runs from {ends[0][0]:.0f} to {ends[0][1]:.0f} W, "
                  f"with added roughness from {ends[1][0]:.0f} to {ends[1][1]:.0f} W: the unread inputs matter as much "
                  "as the gap.")  # fmt: skip


def hollow_and_drag() -> list[Check]:
    """Drag over the radius of the hollow."""
    load = 53 * GRAVITY
    rows = [coefficient(blade("single_radius", 3.0, hollow=r), load, 1.8) for r in (22.23e-3, 9.53e-3, 3.18e-3)]
    found = ", ".join(f"{m:.4f}" for m in rows)
    return [
        direction("3", OUTSIDE, "Smaller hollow radius, more friction (22.23, 9.53, 3.18 mm)",
                  rows[0] < rows[1] < rows[2], "ratio, last to first", rows[2] / rows[0],
                  "a coefficient that does not rise from one hollow to the next", REDMOND,
                  f"Coefficients {found} at 53 kg, R 3 m, 1.8 m/s, all three assumed."),
    ]  # fmt: skip


def speed_trend() -> list[Check]:
    """Glide drag over speed beside a bobsleigh, whose friction showed no trend."""
    load, steel = 80 * GRAVITY, single(10)
    laws = LAW, BARE, LAW._replace(melting=0.0), BARE._replace(melting=0.0)
    over_speed = [[coefficient(steel, load, v, law=law) for v in TREND_SPEEDS] for law in laws]
    spreads = [(max(mu) / min(mu) - 1) / 2 for mu in over_speed]
    spread, least = spreads[0], BOB_SCATTER / BOB_MEAN
    found = ", ".join(f"{1e3 * mu:.2f}" for mu in over_speed[0])
    speeds = ", ".join(f"{v:g}" for v in TREND_SPEEDS)
    return [
        direction("7e", OUTSIDE, "No trend of friction with speed, 1 to 10 m/s", spread <= least, "% either way",
                  100 * spread,
                  f"drag that differs by more than the scatter of that measurement, +-{100 * least:.0f} %, over these "
                  "speeds", BOBSLEIGH,
                  f"1000 x coefficient {found} at {speeds} m/s; 10 ft, 80 kg, -5 deg C. Without added roughness it "
                  f"differs by +-{100 * spreads[1]:.0f} %, without melting under pressure by "
                  f"+-{100 * spreads[2]:.0f} %, without both by +-{100 * spreads[3]:.0f} %. Measured (4.2 +- 0.9)e-3 "
                  "under two-man bobsleigh runners: another runner and load, so only the trend is compared, and that "
                  "measurement sees no small one."),
    ]  # fmt: skip


def body_inputs() -> list[Check]:
    """Two numbers of the skater that go in, beside their measurement: mass of the foot, stiffness of the ankle."""
    skater = Skater("adult")
    share, band = skater.skate_mass_kg / skater.mass_kg, (0.0137, 0.0145)
    least, most = sorted(skater.skate_mass_kg - f * skater.mass_kg for f in band)
    ankle = skater.ankle_stiffness / (skater.body_mass_kg * GRAVITY * skater.body_height_m)
    standing = 0.91 - 0.23, 0.91 + 0.23
    return [
        Check("11", OUTSIDE, "Mass of the foot over body mass", band, "1", share, gap_of(band, share), INPUT,
              f"a measured boot, holder and steel outside {least:.2f} to {most:.2f} kg together", FOOT,
              f"Foot and skate are one body of {skater.skate_mass_kg} kg of {skater.mass_kg:g} kg. That leaves "
              f"{least:.2f} to {most:.2f} kg for boot, holder and steel, for which we have no source."),
        Check("13", OUTSIDE, "Ankle stiffness over m g h", standing, "1", ankle, gap_of(standing, ankle), INPUT,
              "a measurement of ankle and laced boot together outside the range that the intervals draw", ANKLE,
              "Measured 0.91 +- 0.23 standing on a floor for small sway; passive calf muscles alone fall from 1.01 to "
              f"0.19 as the swing grows from 0.03 to 7 deg. The shipped skater has {ankle:.2f}: the difference is put "
              "down to the laced boot and to muscles at work, an assumption of ours that no measurement was found "
              f"for. The reaction delay rests on {skater.passive_share:g} instead, near the measured."),
    ]  # fmt: skip
