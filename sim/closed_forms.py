"""Textbook answers, shipped beside the solvers: what these must reproduce where a case can be solved by hand.

SI and radians. Each function holds only in its stated range; the solvers hold outside it as well.
"""

import math

from sim.errors import BladeError
from sim.skater.body import GRAVITY


def hollow_depth(thickness_m: float, hollow_m: float) -> float:
    """Depth of hollow, m: R_h - sqrt(R_h^2 - w^2/4).

    w thickness, R_h radius of hollow, m. Exact for a circular hollow centred on the runner, R_h > w/2.
    Source: circle geometry. w 3.0 mm, R_h 12.7 mm: 88.9 um. Raises BladeError for R_h <= w/2.
    """
    if not hollow_m > thickness_m / 2:
        raise BladeError("hollow: its radius must be larger than half the thickness of the blade.")
    # (a - b) as (a^2 - b^2)/(a + b): the two differ by micrometres in millimetres
    return thickness_m**2 / 4 / (hollow_m + math.sqrt(hollow_m**2 - thickness_m**2 / 4))


def bite_angle(thickness_m: float, hollow_m: float) -> float:
    """Bite angle, rad, between the bottom at its edge and a flat bottom: asin(w / 2 R_h).

    w thickness, R_h radius of hollow, m; R_h > w/2. Source: circle geometry. w 3.0 mm, R_h 12.7 mm: 6.78 deg.
    Raises BladeError for R_h <= w/2.
    """
    if not hollow_m > thickness_m / 2:
        raise BladeError("hollow: its radius must be larger than half the thickness of the blade.")
    return math.asin(thickness_m / (2 * hollow_m))


def upright_length(load_n: float, hardness_pa: float, thickness_m: float) -> float:
    """Contact length of a flat-bottomed upright blade that glides, m: l = N / (H w).

    N load, H hardness, w thickness. Only the part ahead of the deepest point carries (no rebound); l well inside the
    runner. A standing blade carries on both sides: the same length in all, half of it ahead. Source: force balance,
    derived here (the form is van Leeuwen's, 2017). 706.3 N, 14.7 MPa, 1.1 mm: 43.7 mm.
    """
    return load_n / (hardness_pa * thickness_m)


def arc_depth(length_m: float, radius_m: float) -> float:
    """Depth that a circular curve reaches over the length l from its rim to its deepest point, m: d = l^2 / 2R.

    l << R (the error is l^2/4R^2 of d). Source: circle geometry. l 43.7 mm, R 22 m: 43.4 um.
    """
    return length_m**2 / (2 * radius_m)


def ploughing_force(load_n: float, hardness_pa: float, thickness_m: float, radius_m: float) -> float:
    """Ploughing of a flat-bottomed upright blade, N: F = H w d = N^2 / (2 R w H).

    Work per metre of pressing a groove w wide and d deep at pressure H, no rebound; l << R. Source: derived here (the
    form is van Leeuwen's, 2017). 706.3 N, 14.7 MPa, 1.1 mm, 22 m: 0.701 N.
    """
    return load_n**2 / (2 * radius_m * thickness_m * hardness_pa)


def ploughing_coefficient(load_n: float, hardness_pa: float, thickness_m: float, radius_m: float) -> float:
    """mu_p = N / (2 R w H), range and source as `ploughing_force`. 706.3 N, 14.7 MPa, 1.1 mm, 22 m: 0.000993."""
    return load_n / (2 * radius_m * thickness_m * hardness_pa)


def edge_length(load_n: float, hardness_pa: float, radius_m: float, lean_rad: float) -> float:
    """Contact length of one edge of a flat-bottomed blade on lean, m: l = (3 N R tan(lean) / H)^(1/3).

    From N = H l^3 / (3 R tan(lean)): width n / tan(lean) at penetration n = (l^2 - x^2)/2R, 0 <= x <= l, front only
    (no rebound); the outside edge stays clear: l^2/2R < w tan(lean), and l << R.
    Source: derived here. 784.5 N, 17.7 MPa, 3 m, 30 deg: 61.3 mm.
    """
    return (3 * load_n * radius_m * math.tan(lean_rad) / hardness_pa) ** (1 / 3)


def film_thickness(
    speed_m_s: float,
    width_m: float,
    hardness_pa: float,
    viscosity_pa_s: float,
    density_kg_m3: float,
    latent_j_kg: float,
) -> float:
    """Steady melt film, m: h = (eta^2 V^2 b^2 / (rho L H))^(1/4).

    Shear heat eta V^2/h melts as much as is squeezed out of a long strip b wide at pressure H, rho L h^3 H/(eta b^2)
    (Reynolds). Far behind the front (h^2 rho L / 2 eta V, some mm) and without conduction: ice at its melting point.
    Source: derived here. 10 m/s, 1.1 mm, 14.7 MPa, eta 1.737 mPa s, rho L 0.334 GJ/m^3: 0.522 um.
    """
    top = (viscosity_pa_s * speed_m_s * width_m) ** 2
    return (top / (density_kg_m3 * latent_j_kg * hardness_pa)) ** 0.25


def film_coefficient(
    speed_m_s: float,
    width_m: float,
    hardness_pa: float,
    viscosity_pa_s: float,
    density_kg_m3: float,
    latent_j_kg: float,
) -> float:
    """mu_v = eta V / (h H), h from `film_thickness`; same range and source. The case given there: 0.00226."""
    film = film_thickness(speed_m_s, width_m, hardness_pa, viscosity_pa_s, density_kg_m3, latent_j_kg)
    return viscosity_pa_s * speed_m_s / (film * hardness_pa)


def tightest_clean_radius(radius_m: float, lean_rad: float, bite_rad: float = 0.0) -> float:
    """Tightest turn that a single-radius edge runs without scrape, m: rho_c = R sin(lean + gamma) / cos(gamma).

    R radius of the curve, gamma bite angle (0: flat). A section further along slides out over the groove's bottom face
    and must rise at least as fast as that face does. Rigid edge, contact << R, outside edge clear of the ice (depth
    below w tan(lean)). Source: derived here; not the law of a carved ski, which bends. R 3 m, lean 30 deg, flat: 1.5 m.
    """
    return radius_m * math.sin(lean_rad + bite_rad) / math.cos(bite_rad)


def plan_radius(radius_m: float, lean_rad: float) -> float:
    """Radius of a leaned edge seen from above, at its deepest point, m: R / sin(lean), inf upright.

    A circle projects to an ellipse; this is its radius of curvature there. Source: derived here (effect described by
    Grzemba & Pohrt, 2024). R 3 m, 30 deg: 6.000 m.
    """
    return radius_m / math.sin(lean_rad) if lean_rad else math.inf


def vertical_radius(radius_m: float, lean_rad: float) -> float:
    """Radius of a leaned edge seen from the side, at its deepest point, m: R / cos(lean).

    As `plan_radius`; lean below 90 deg. Source: derived here. R 3 m, 30 deg: 3.464 m.
    """
    return radius_m / math.cos(lean_rad)


def steady_lean(speed_m_s: float, path_radius_m: float) -> float:
    """Lean of a steady turn, rad: tan(lean) = v^2 / (g rho).

    v speed, rho path radius of the centre of mass; resultant force along the leg. Source: any mechanics text.
    12 m/s, 8.50 m: 59.9 deg.
    """
    return math.atan2(speed_m_s**2, GRAVITY * path_radius_m)


def turn_load(lean_rad: float) -> float:
    """In-plane load of a steady turn in body weights: 1 / cos(lean). Source: any mechanics text. 59.9 deg: 2.00."""
    return 1 / math.cos(lean_rad)


def rocking_period_slipping(inertia: float, mass_kg: float, radius_m: float, height_m: float) -> float:
    """Period of small rocking on a circular rocker without grip, s: T = 2 pi sqrt(I / (m g (R - h))).

    I inertia about the centre of mass, kg m^2; h its height above the ice, R > h. The centre of mass moves only up and
    down. At amplitude beta the period is longer by about the share m (R - h)^2 beta^2 / 4I, which must be small.
    Source: any mechanics text. I 9.188, 80 kg, R 3.0 m, h 0.57 m: 0.436 s. Raises BladeError for R <= h.
    """
    return _swing(inertia, mass_kg, radius_m, height_m)


def rocking_period_rolling(inertia: float, mass_kg: float, radius_m: float, height_m: float) -> float:
    """Period of small rocking that rolls, s: T = 2 pi sqrt((I + m h^2) / (m g (R - h))).

    Symbols as `rocking_period_slipping`; full grip, beta << 1. Source: any mechanics text.
    I 9.188, 80 kg, R 3.0 m, h 0.57 m: 0.854 s. Raises BladeError for R <= h.
    """
    return _swing(inertia + mass_kg * height_m**2, mass_kg, radius_m, height_m)


def _swing(inertia: float, mass: float, radius: float, height: float) -> float:
    if not radius > height:
        raise BladeError("rocking: the centre of mass lies above the centre of the rocker's circle, so it falls over.")
    return 2 * math.pi * math.sqrt(inertia / (mass * GRAVITY * (radius - height)))


def sagitta(chord_m: float, radius_m: float) -> float:
    """Height of an arc over its chord, m: s = R - sqrt(R^2 - c^2/4).

    c chord, R radius, c <= 2R. Source: circle geometry. c 200 mm, R 3.048 m: 1.641 mm. Raises BladeError for c > 2R.
    """
    if chord_m > 2 * radius_m:
        raise BladeError("sagitta: a chord cannot be longer than the diameter of its circle.")
    return chord_m**2 / 4 / (radius_m + math.sqrt(radius_m**2 - chord_m**2 / 4))


def radius_of_sagitta(chord_m: float, sagitta_m: float) -> float:
    """Radius of the arc that stands s over its chord c, m: R = c^2 / 8s + s/2.

    What a radius gauge reads. Source: circle geometry. c 200 mm, s 1.641 mm: 3.048 m.
    """
    return chord_m**2 / (8 * sagitta_m) + sagitta_m / 2
