"""The skater as two rigid bodies joined at the ankle, and the statics that hold them up."""

import math
from dataclasses import dataclass
from types import ModuleType

import numpy as np

from sim.errors import BladeError

GRAVITY = 9.80665  # standard gravity, m/s^2 (ISO 80000-3)


@dataclass(frozen=True)
class Skater:
    """Masses (kg), lengths (m), inertias (kg m^2), ankle stiffness (N m/rad) and damping (N m s/rad).

    mass_kg is all that stands on the blade. skate_*: skate and foot, centre at (skate_x, skate_height) and ankle at
    (ankle_x, ankle_height) in the blade frame. The rest of the body has its centre body_height above the ankle.
    passive_share: what ankle and boot hold by themselves of the stiffness that balance would need on a floor.
    stiff_body: the body rolls from edge to edge as one stiff piece, not as a mass on a leg (a model form).
    Raises BladeError for a value that no skater has.
    """

    name: str
    mass_kg: float = 80.0
    skate_mass_kg: float = 2.4
    skate_inertia: float = 0.02
    skate_x_m: float = 0.0
    skate_height_m: float = 0.08
    ankle_x_m: float = -0.020
    ankle_height_m: float = 0.15
    body_height_m: float = 0.85
    body_inertia: float = 8.0
    ankle_stiffness: float = 1500.0
    ankle_damping: float = 100.0
    foot_length_m: float = 0.26
    passive_share: float = 0.9
    stiff_body: bool = False

    def __post_init__(self) -> None:
        for key, least, most, unit in _BOUNDS:
            value = getattr(self, key)
            if not least <= value <= most:
                raise BladeError(f"skater {self.name!r}: {key} is {value:g} {unit}; use {least:g} to {most:g} {unit}.")
        if self.skate_mass_kg >= self.mass_kg / 4:
            raise BladeError(f"skater {self.name!r}: the skate weighs over a quarter of the skater; check both.")

    @property
    def body_mass_kg(self) -> float:
        """Mass of everything above the ankle."""
        return self.mass_kg - self.skate_mass_kg

    @property
    def weight_n(self) -> float:
        """m g, N."""
        return self.mass_kg * GRAVITY

    @property
    def ankle_from_skate(self) -> tuple[float, float]:
        """Ankle relative to the skate's centre, blade frame, m."""
        return self.ankle_x_m - self.skate_x_m, self.ankle_height_m - self.skate_height_m


_BOUNDS = (
    ("mass_kg", 15, 200, "kg"),
    ("skate_mass_kg", 0.3, 6, "kg"),
    ("skate_inertia", 1e-4, 0.3, "kg m^2"),
    ("skate_x_m", -0.1, 0.1, "m"),
    ("skate_height_m", 0.02, 0.2, "m"),
    ("ankle_x_m", -0.12, 0.12, "m"),
    ("ankle_height_m", 0.05, 0.3, "m"),
    ("body_height_m", 0.3, 1.3, "m"),
    ("body_inertia", 0.3, 40, "kg m^2"),
    ("ankle_stiffness", 10, 1e5, "N m/rad"),
    ("ankle_damping", 0, 1000, "N m s/rad"),
    ("foot_length_m", 0.12, 0.4, "m"),
    ("passive_share", 0, 2, ""),
)


Many = float | np.ndarray  # one instant, or an array of instants


def _maths(x: Many) -> ModuleType:
    return np if isinstance(x, np.ndarray) else math


def ankle_torque(skater: Skater, load_n: Many, centre_m: Many, beta: Many, drag_n: Many) -> Many:
    """Torque of the leg on the skate, toe-down positive, N m, that holds the skate at pitch beta; or arrays of each.

    Moments about the ankle in a frame that decelerates with the skater at a = drag/m, in-plane gravity g' = load/m:
    tau = N (x_c - x_a) - m_s g' (x_s - x_a) - F z_a + m_s a (z_a - z_s), positions in the world frame.
    """
    cos_b, sin_b = _maths(beta).cos(beta), _maths(beta).sin(beta)

    def world(x: float, z: float) -> tuple[Many, Many]:
        return x * cos_b + z * sin_b, z * cos_b - x * sin_b

    (ax, az), (sx, sz) = world(skater.ankle_x_m, skater.ankle_height_m), world(skater.skate_x_m, skater.skate_height_m)
    push, slow = load_n / skater.mass_kg, drag_n / skater.mass_kg
    return (
        load_n * (centre_m * cos_b - ax) - skater.skate_mass_kg * push * (sx - ax) - drag_n * az
        + skater.skate_mass_kg * slow * (az - sz)
    )  # fmt: skip


def leg_angle(skater: Skater, load_n: Many, drag_n: Many, torque: Many) -> Many:
    """Leg angle psi, rad, toe-ward positive, at which the body balances the ankle torque; or arrays of each.

    M b_h (g' sin psi + a cos psi) = tau. Raises BladeError when no angle does.
    """
    push, slow = load_n / skater.mass_kg, drag_n / skater.mass_kg
    maths = _maths(torque)
    size = skater.body_mass_kg * skater.body_height_m * maths.hypot(push, slow)
    beyond = abs(torque) >= size
    if beyond if maths is math else beyond.any():
        raise BladeError("balance: no leg angle carries this ankle torque; move the load line nearer to the ankle.")
    return maths.asin(torque / size) - maths.atan2(slow, push)


def _toppling(skater: Skater, load_n: float, effective_radius_m: float) -> tuple[float, float]:
    """(A, B), N m/rad: A = M g' (R_eff - a_h) + m_s g' (R_eff - c_s) that the rocker gives, B = M g' b_h that topples.

    g' = N/m: gravity in the blade plane (small angles; derived here).
    """
    push = load_n / skater.mass_kg
    a = skater.body_mass_kg * push * (effective_radius_m - skater.ankle_height_m)
    a += skater.skate_mass_kg * push * (effective_radius_m - skater.skate_height_m)
    return a, skater.body_mass_kg * push * skater.body_height_m


def critical_ankle_stiffness(skater: Skater, load_n: float, effective_radius_m: float) -> float:
    """Least ankle stiffness that keeps the body up, N m/rad; inf when none does.

    K > A B/(A - B), A and B of `_toppling` (linear stability of an inverted pendulum on an elastic ankle on a rocker;
    derived here). Worked number: R_eff 3.048 m, 80 kg: 904.
    """
    a, b = _toppling(skater, load_n, effective_radius_m)
    return a * b / (a - b) if a > b else math.inf


def critical_reaction_delay(skater: Skater, load_n: float, effective_radius_m: float) -> float:
    """Longest delay of the muscles, s, with which any proportional-derivative control can hold the skater up.

    sqrt(2 J/k), inf where nothing topples (k <= 0): an unstable mode J x'' = k x is held by delayed PD control only
    for delays under sqrt(2 J/k) (Stepan 2009, Phil. Trans. R. Soc. A 367, 1195; value from memory). With the passive
    stiffness K = q B in series with the rocker A: rho = K/(A + K), k = B - K A/(A + K), and for the mode in which the
    skate rocks by rho a radian of the leg, mu = m_s M/(m_s + M), j = a_h - c_s:
    J = I_b + mu b_h^2 + 2 mu j b_h rho + (I_s + mu j^2) rho^2 (ice without grip along the blade; derived here).
    q: Loram and Lakie 2002, about 0.9 standing (abstract read). Worked number: R_eff 3.048 m, 80 kg: 0.326.
    """
    a, b = _toppling(skater, load_n, effective_radius_m)
    stiffness = skater.passive_share * b
    rho = stiffness / (a + stiffness) if a + stiffness > 0 else math.inf
    k = b - a * rho
    if not k > 0 or not math.isfinite(rho):
        return math.inf if k <= 0 else math.nan
    mu = skater.skate_mass_kg * skater.body_mass_kg / skater.mass_kg
    up, arm = skater.body_height_m, skater.ankle_height_m - skater.skate_height_m
    inertia = skater.body_inertia + mu * up**2 + 2 * mu * arm * up * rho + (skater.skate_inertia + mu * arm**2) * rho**2
    return math.sqrt(2 * inertia / k)


def edge_change_time(
    skater: Skater, lean_rad: float, speed_m_s: float, clean_radius_m: float, hold_rad: float = math.nan
) -> float:
    """Least time, s, from a lean to the same lean on the other edge by steering a clean track under the body.

    Roll of a mass at h = a_h + b_h above the ice whose blade follows a track of curvature k at speed v: h th'' =
    g sin(th) - v^2 k (1 - h k sin(th)) cos(th), an inverted pendulum on a turning base; the mass runs h sin(th) nearer
    to the centre than the blade (derived here; without that the times are 12 to 18 % shorter). With th = lean cos(pi
    t/T) the greatest k is asked for at the start, where h lean (pi/T)^2 = v^2 k (1 - h k sin(lean)) cos(lean) -
    g sin(lean), and without scrape k <= 1/rho_c; inf where no such k has the pull. Near upright both edges touch the
    ice, for about a fifth of the time: this is a limit. Worked number: h 1 m, 15 deg, 4 m/s, rho_c 1.164 m: 0.576.
    With a stiff body h is h + I/(m h), and its turning asks for a force beside the leg of atan(I th''/(h N)), N =
    m (g cos(lean) + pull sin(lean)), which must lie within hold_rad, the hold angle: the later of both times.
    """
    h, sin_l, cos_l = skater.ankle_height_m + skater.body_height_m, math.sin(lean_rad), math.cos(lean_rad)
    own = skater.body_inertia if skater.stiff_body else 0.0
    arm = h + own / (skater.mass_kg * h)
    spare = steered_pull(h, lean_rad, speed_m_s, clean_radius_m) * cos_l - GRAVITY * sin_l
    if not spare > 0:
        return math.inf
    pace = spare / (arm * lean_rad)  # greatest (pi/T)^2
    if own:
        # tan(hold) h m (g/cos + arm lean y tan(lean)) >= I lean y, with y = (pi/T)^2
        grip = math.tan(hold_rad) * h * skater.mass_kg
        rest = own * lean_rad - grip * arm * lean_rad * math.tan(lean_rad)
        if rest > 0:
            pace = min(pace, grip * GRAVITY / cos_l / rest)
    return math.pi / math.sqrt(pace) if pace > 0 else math.inf


def steered_pull(height_m: float, lean_rad: float, speed_m_s: float, clean_radius_m: float) -> float:
    """Greatest acceleration toward the centre, m/s^2, of a mass so high on a blade so leaned that steers cleanly.

    v^2 k (1 - h k sin(lean)) at k = 1/rho_c, or where it is greatest if that is less: k = 1/(2 h sin(lean)).
    """
    inward = height_m * math.sin(lean_rad)
    k = min(1.0 / clean_radius_m, 0.5 / inward if inward > 0 else math.inf)
    return speed_m_s**2 * k * (1.0 - inward * k)
