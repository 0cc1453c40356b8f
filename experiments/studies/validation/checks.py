"""External checks: what the solvers give beside what others published, measured or say at the grinder's bench.

Nothing here is tuned. Inputs that a source leaves open are assumptions of ours and named in the note.
"""

import math
from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize_scalar

from sim import closed_forms
from sim.blade.recipe import Recipe
from sim.blade.section import Section
from sim.blade.steel import Steel
from sim.ice.contact import GAUSS, Law, Patch, press, stand
from sim.ice.drag import film_shear, groove_area, ploughing
from sim.ice.ice import Ice, IceNumbers
from sim.ice.scrape import swept_area, tightest_clean_radius
from sim.quantities import FOOT_M
from sim.skater.body import GRAVITY, Skater
from sim.skater.movement import Scenario, program

AGREES, DISAGREES, DIRECTION, CANNOT = "agrees", "disagrees", "direction agrees", "cannot see"
MEMORY, TRADE, OURS = "value from memory", "common practice, no published source", "derived here"
VAN_LEEUWEN = ("van Leeuwen J.M.J. (2017). Skating on slippery ice. SciPost Physics 3, 042. "
               "doi:10.21468/SciPostPhys.3.6.042")  # fmt: skip
DE_KONING = ("de Koning J.J., de Groot G., van Ingen Schenau G.J. (1992). Ice friction during speed skating. "
             f"Journal of Biomechanics 25(6), 565-571; {MEMORY}")  # fmt: skip
FEDEROLF = ("Federolf P.A., Mills R., Nigg B. (2008). Ice friction of flared ice hockey skate blades. "
            f"Journal of Sports Sciences 26(11), 1201-1208; {MEMORY}")  # fmt: skip
HOLLOWS = ("Federolf P., Redmond A. (2010). Does skate sharpening affect individual skating performance in an agility "
           "course in ice hockey? Sports Engineering 13, 39-46. doi:10.1007/s12283-010-0050-3; abstract read: "
           "direction and hollow radii, no coefficient")  # fmt: skip
HOUDIJK = ("Houdijk H., Wijker A.J., de Koning J.J., Bobbert M.F., de Groot G. (2001). Ice friction in speed skating: "
           "can klapskates reduce ice frictional loss? Medicine & Science in Sports & Exercise 33(3), 499-504; "
           "abstract read")  # fmt: skip
GRZEMBA = (f"formula {OURS}; effect described in Grzemba B., Pohrt R. (2024). Ice-versus-Steel Friction: An Advanced "
           "Numerical Approach for Competitive Winter Sports Applications. Lubricants 12(6), 203. "
           "doi:10.3390/lubricants12060203")  # fmt: skip
FOOT = ("de Leva P. (1996). Adjustments to Zatsiorsky-Seluyanov's segment inertia parameters. Journal of Biomechanics "
        "29(9), 1223-1230 (male, 0.0137); Winter D.A. (2009). Biomechanics and Motor Control of Human Movement, 4th "
        "ed., Wiley (0.0145); both read in tables that quote them")  # fmt: skip

FT, DEG = FOOT_M, math.pi / 180
SLIDING = Law(rebound=1.0, rebound_factor=1.0, melting=0.0, sink=0.0, rough=0.0, bending=0.0)
NO_REBOUND, STANDING = SLIDING._replace(rebound=0.0), SLIDING._replace(standing=1.0, film=0.0)
CHECK_GAUSS, CHECK_FILM_STEPS = GAUSS[24], 1024  # 64 film steps are up to 1 % short where two films merge


@dataclass(frozen=True)
class Check:
    """One row: a value from outside beside ours, both in `unit`.

    published: a value, a band (lo, hi), or None for a direction. gap: ours/published - 1; for a band the distance to
    its nearer end as a share of that end (0 inside); None for a direction. tolerance: largest |gap| that still agrees.
    """

    number: str
    title: str
    published: float | tuple[float, float] | None
    unit: str
    ours: float | None
    gap: float | None
    verdict: str
    source: str
    note: str
    tolerance: float | None = None


def compare(
    number: str,
    title: str,
    published: float | tuple[float, float],
    unit: str,
    ours: float,
    tolerance: float,
    source: str,
    note: str = "",
) -> Check:
    """A row whose verdict follows from the gap; a miss says so, with its size, at the head of its note."""
    ours = float(ours)
    near = min(max(ours, published[0]), published[1]) if isinstance(published, tuple) else published
    gap = ours / near - 1
    verdict = AGREES if abs(gap) <= tolerance else DISAGREES
    if verdict == DISAGREES:
        note = f"Not reproduced: ours is {abs(100 * gap):.0f} % {'low' if gap < 0 else 'high'}. {note}"
    return Check(number, title, published, unit, ours, gap, verdict, source, note, tolerance)


def direction(number: str, title: str, holds: bool, unit: str, ours: float, source: str, note: str) -> Check:
    """A row without a published size: is the direction reproduced?"""
    note = note if holds else f"Not reproduced. {note}"
    return Check(number, title, None, unit, float(ours), None, DIRECTION if holds else DISAGREES, source, note)


def ice_at(
    temperature_c: float, viscosity: float = 1.79e-3, conductivity: float = 2.2, diffusivity: float = 1.15e-6
) -> IceNumbers:
    """Ice of handbook constants; the last three are what van Leeuwen's set has otherwise."""
    return Ice("validation", "handbook values", temperature_c, 14.7e6, 0.6e6, 9.3e9, 0.33, viscosity, 1000.0, 3.34e5,
               conductivity, diffusivity).numbers  # fmt: skip


RINK, MELTING, LEEUWEN = ice_at(-5.0), ice_at(0.0), ice_at(0.0, 1.737e-3, 1.6, 0.843e-6)


def blade(
    family: str, *radii_m: float, thickness: float = 2.9e-3, hollow: float = 12.7e-3, length: float = 0.280
) -> Steel:
    """A hockey blade unless told otherwise; radii heel to toe."""
    return Steel(*Recipe("validation", family, radii_m, length_m=length).curve().table, thickness, hollow)


def single(feet: float) -> Steel:
    """The hockey blade of one radius."""
    return blade("single_radius", feet * FT)


LONG_TRACK = blade("single_radius", 22.0, thickness=1.1e-3, hollow=math.inf, length=0.420)


def at_mid(steel: Steel, load: float, lean: float = 0.0, law: Law = SLIDING, ice: IceNumbers = RINK) -> Patch:
    """The contact under `load` with its centre of pressure at mid-runner."""
    return stand(steel, ice, law, math.tan(lean), float(load), 0.0, *CHECK_GAUSS)


def drag(steel: Steel, patch: Patch, speed: float, law: Law = SLIDING, ice: IceNumbers = RINK) -> tuple[float, float]:
    """(ploughing, film), N."""
    plough = ploughing(steel, ice, law, patch, *CHECK_GAUSS)
    return plough, film_shear(steel, ice, law, patch, float(speed), CHECK_FILM_STEPS)


def hollow_section() -> list[Check]:
    """Depth of a hollow and its bite angle."""
    section = Section(3.0e-3, 12.7e-3)
    what = f"circle geometry, {OURS}"
    return [
        compare("1a", "Depth of hollow, w 3.0 mm, R_h 12.7 mm", 88.9, "um", section.depth_m * 1e6, 6e-4, what),
        compare("1b", "Bite angle of the same", 6.78, "deg", section.bite_rad / DEG, 8e-4, what),
    ]


def flat_upright_runner() -> list[Check]:
    """A flat upright runner of a speed skate: contact length, depth, ploughing, standing depth."""
    load = 72 * 9.81  # the gravity with which the published digits come out; standard gravity gives 43.33 um
    slide, still = (at_mid(LONG_TRACK, load, law=law, ice=MELTING) for law in (NO_REBOUND, STANDING))
    real = at_mid(LONG_TRACK, load, ice=MELTING)
    force = ploughing(LONG_TRACK, MELTING, NO_REBOUND, slide, *CHECK_GAUSS)
    with_rebound = ploughing(LONG_TRACK, MELTING, SLIDING, real, *CHECK_GAUSS)
    source = f"inputs recalled from {VAN_LEEUWEN}; {MEMORY}; formula {OURS}"
    case = "72 kg at g 9.81, R 22 m, w 1.1 mm, 0 deg C, rebound off."
    change, length = 100 * (with_rebound / force - 1), slide.front - slide.rear
    return [
        compare("2a", "Upright speed skate: contact length", 43.7, "mm", length * 1e3, 1.2e-3, source, case),
        compare("2b", "Upright speed skate: depth", 43.4, "um", slide.depth * 1e6, 1.2e-3, source, case),
        compare("2c", "Upright speed skate: ploughing force", 0.701, "N", force, 7e-4, source,
                f"{case} The default, with rebound, gives {with_rebound:.3f} N: {change:.0f} %."),
        compare("2d", "Standing depth over gliding depth", 0.25, "1", still.depth / slide.depth, 1e-5, OURS, case),
    ]  # fmt: skip


def hollow_and_drag() -> list[Check]:
    """Drag over the radius of the hollow."""
    load, rows = 53 * GRAVITY, []
    for hollow in (22.23e-3, 9.53e-3, 3.18e-3):
        steel = blade("single_radius", 3.0, hollow=hollow)
        rows.append(sum(drag(steel, at_mid(steel, load), 1.8)) / load)
    holds = rows[0] < rows[1] < rows[2]
    found = ", ".join(f"{m:.4f}" for m in rows)
    return [
        direction("3", "Smaller hollow radius, more friction (22.23, 9.53, 3.18 mm)", holds, "ratio, last to first",
                  rows[2] / rows[0], HOLLOWS, f"Coefficients {found} at 53 kg, R 3 m, 1.8 m/s, all three assumed."),
    ]  # fmt: skip


def _projected(scale):
    """Radius at the deepest point of the 3 m curve with heights scaled, from heights 5 mm either way."""
    curve = Recipe("3 m", "single_radius", (3.0,)).curve()
    x, z, _, _ = curve.at(curve.length_m / 2 + np.array([-5e-3, 5e-3]))
    return closed_forms.radius_of_sagitta(x[1] - x[0], scale * z.mean())


def swept_over_straight(steel: Steel, patch: Patch, path_radius: float) -> float:
    """Least area swept along a path, over the groove of a straight run."""
    half = 0.5 * (patch.front - patch.tail) / path_radius

    def swept(yaw):
        return swept_area(steel, patch, path_radius, yaw, 200, 1000)

    grid = np.linspace(-half, half, 17)
    best = int(np.argmin([swept(yaw) for yaw in grid]))
    around = grid[max(best - 1, 0)], grid[min(best + 1, 16)]
    found = minimize_scalar(swept, bounds=around, method="bounded", options={"xatol": 1e-7})
    return float(min(found.fun, swept(0.0)) / groove_area(steel, patch, *CHECK_GAUSS))


def swept_groove() -> list[Check]:
    """Leaned edges: their projections, the groove they sweep, the tightest clean radius."""
    lean = 30 * DEG
    steel = blade("single_radius", 3.0, hollow=math.inf)
    patch = at_mid(steel, 80 * GRAVITY, lean)
    clean = [swept_over_straight(steel, patch, rho) for rho in (20.0, 6.0, 3.0, 1.58)]
    above, beside = _projected(math.sin(lean)), _projected(math.cos(lean))
    return [
        compare("4a", "R 3 m at 30 deg: radius seen from above", 6.0, "m", above, 1e-5, GRZEMBA),
        compare("4b", "R 3 m at 30 deg: radius seen from the side", 3.464, "m", beside, 2e-4, GRZEMBA),
        compare("4c", "Flat edge at 30 deg: swept over straight area, paths of 20, 6, 3, 1.58 m", 1.0, "1",
                max(clean, key=lambda r: abs(r - 1)), 2e-4, OURS, "The path farthest from 1 is shown."),
        compare("4d", "The same on a path of 1.05 m", 1.42, "1", swept_over_straight(steel, patch, 1.05), 1e-2, OURS,
                "The reference figure is 'about 1.42'; converged it is 1.4285."),
        compare("4e", "Tightest clean radius of that edge", 1.5, "m", tightest_clean_radius(steel, patch), 1e-6, OURS),
    ]  # fmt: skip


def _far_film():
    """Film far behind the front, m: from the shear that a longer contact adds, where h no longer changes."""
    arcs = [press(LONG_TRACK, LEEUWEN, STANDING, 0.0, 0.0, d, *CHECK_GAUSS) for d in (20e-6, 80e-6)]
    long = [p.front - p.rear for p in arcs]
    shear = [film_shear(LONG_TRACK, LEEUWEN, STANDING._replace(film=1.0), p, 10.0, 4096) for p in arcs]
    return LEEUWEN.viscosity * 10.0 * LONG_TRACK.thickness * (long[1] - long[0]) / (shear[1] - shear[0])


def film_thickness() -> list[Check]:
    """Thickness of the melt film."""
    patch = at_mid(LONG_TRACK, 72 * GRAVITY)
    film = drag(LONG_TRACK, patch, 8.0)[1]
    mean = RINK.viscosity * 8.0 * LONG_TRACK.thickness * (patch.front - patch.rear) / film
    return [
        compare("5a", "Steady melt film, 10 m/s, b 1.1 mm, 14.7 MPa", 0.522, "um", _far_film() * 1e6, 2e-3,
                f"{OURS} with the constants of {VAN_LEEUWEN} (table read in a summary)"),
        compare("5b", "Mean melt film of an upright speed skate", (0.1, 1.0), "um", mean * 1e6, 0.0,
                f"{VAN_LEEUWEN}; 'fractions of a um', read in the author's note; the band is ours",
                "72 kg, 8 m/s, -5 deg C. A melt film on ice that yields at H is one school: Lever & Lines (2022, "
                "J. Glaciology) argue for an ice-rich slurry."),
    ]  # fmt: skip


def hockey_arc() -> list[Check]:
    """Loaded arc of a hockey blade."""
    patch = at_mid(single(10), 80 * GRAVITY)
    loaded = (patch.front - patch.rear) * 1e3
    return [compare("6", "Hockey blade: loaded arc", (10.0, 99.0), "mm", loaded, 0.0,
                    f"'tens of mm', 'as little as 1 in' (25.4 mm); {MEMORY}, weak; the band is ours",
                    f"80 kg on one upright blade of 10 ft, hollow 12.7 mm, -5 deg C: {100 * (loaded / 25.4 - 1):.0f} % "
                    f"over 1 in; immersed arc {(patch.front - patch.tail) * 1e3:.1f} mm.")]  # fmt: skip


def speed_skate(mass: float, speed: float, path_radius: float = math.inf) -> tuple:
    """(friction coefficient, power in W, lean in rad) on the long-track blade at -5 deg C."""
    lean = closed_forms.steady_lean(speed, path_radius) if math.isfinite(path_radius) else 0.0
    load = mass * GRAVITY / math.cos(lean)
    force = sum(drag(LONG_TRACK, at_mid(LONG_TRACK, load, lean), speed))
    return force / load, force * speed, lean


SMOOTH = "Smooth theory: ice that yields and a melt film, no roughness, no sideways push."
# A tenth stands for a scatter that was not read; the sled's own is 0.0005 of 0.0071.
UNREAD, SLED = 0.10, 0.0005 / 0.0071


def measured_friction() -> list[Check]:
    """Friction coefficients beside measured ones."""
    (straight, _, _), (curve, _, lean) = speed_skate(72, 8.0), speed_skate(72, 8.0, 27.0)
    load, steel = 53 * GRAVITY, single(10)
    sled = sum(drag(steel, at_mid(steel, load), 1.8)) / load
    return [
        compare("7a", "Friction coefficient, speed skate, straight", 0.0046, "1", straight, UNREAD, DE_KONING,
                f"{SMOOTH} 72 kg, 8 m/s, -5 deg C: assumed."),
        compare("7b", "Friction coefficient, speed skate, curve", 0.0059, "1", curve, UNREAD, DE_KONING,
                f"{SMOOTH} The same on a path of 27 m, lean {lean / DEG:.0f} deg: assumed."),
        compare("7c", "Friction coefficient, hockey blade, 53 kg sled, 1.8 m/s", 0.0071, "1", sled, SLED, FEDEROLF,
                f"{SMOOTH} Measured +- 0.0005. All on one blade of 10 ft, hollow 12.7 mm, -5 deg C: assumed."),
        direction("7d", "Curve rubs more than straight", curve > straight, "ratio", curve / straight, DE_KONING,
                  f"Measured ratio {0.0059 / 0.0046:.2f}."),
    ]  # fmt: skip


def friction_power() -> list[Check]:
    """Friction power of speed skaters beside the measured."""
    straight, curve = speed_skate(75, 10.5)[1], speed_skate(75, 10.5, 27.0)[1]
    mean = 0.5 * (straight + curve)
    least, most = (0.5 * (speed_skate(m, v)[1] + speed_skate(m, v, 27.0)[1]) for m, v in ((70, 9.0), (80, 12.0)))
    by_itself = f"by itself {'inside' if 25 <= straight <= 75 else 'outside'} the band"
    inputs = "75 kg, 10.5 m/s, -5 deg C, path of 27 m in the curve: assumed, the abstract gives neither speed nor mass."
    return [
        compare("8a", "Friction power, mean of straight and curve", 54.0, "W", mean, UNREAD, HOUDIJK,
                f"{SMOOTH} {inputs}"),
        compare("8b", "Friction power, the same, against the wide band", (25.0, 75.0), "W", mean, 0.0,
                f"{HOUDIJK}; band for 9-12 m/s and 70-80 kg {OURS}",
                f"Straight {straight:.1f} W ({by_itself}), curve {curve:.1f} W; the mean runs from {least:.1f} W at 70 "
                f"kg, 9 m/s to {most:.1f} W at 80 kg, 12 m/s."),
    ]  # fmt: skip


def steady_lean() -> list[Check]:
    """Lean and load of a steady turn."""
    turn = Scenario("turn", (0.0, 1.0), (0.0, 0.0), speed_m_s=12.0, path_radius_m=8.5, heading_rad=1.5, ramp_m=3.0)
    skater = Skater("adult")
    plan = program(turn, skater, single(10), RINK, SLIDING)
    lean, load = math.atan(plan.tan_lean.max()), plan.load.max() / skater.weight_n
    source = f"exact: tan(lean) = v^2/(g rho), {OURS}"
    return [
        compare("9a", "Lean at 12 m/s on 8.50 m", 59.9, "deg", lean / DEG, 9e-4, source),
        compare("9b", "In-plane load there", 2.00, "body weights", load, 2.5e-3, source),
    ]


def foot_mass() -> list[Check]:
    """Mass of the foot beside segment tables."""
    skater = Skater("adult")
    share = skater.skate_mass_kg / skater.mass_kg
    band = (0.0137, 0.0145)
    least, most = sorted(skater.skate_mass_kg - f * skater.mass_kg for f in band)
    note = (f"The model joins foot and skate: {skater.skate_mass_kg} kg of {skater.mass_kg:g} kg. That leaves "
            f"{least:.2f}-{most:.2f} kg for boot, holder and steel, for which we have no source.")  # fmt: skip
    gap = share / band[1] - 1
    return [Check("11", "Mass of the foot over body mass", band, "1", share, gap, CANNOT, FOOT, note)]
