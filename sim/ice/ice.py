"""Ice: hardness and thermal constants as a named set with its source, at a temperature."""

from collections import namedtuple
from dataclasses import dataclass

from sim.compiled import kernel
from sim.errors import BladeError

IceNumbers = namedtuple("IceNumbers", "hardness modulus viscosity density latent conductivity diffusivity cold")
IceNumbers.__doc__ = """Ice as the compiled functions read it. hardness, modulus (plane strain): Pa; viscosity, Pa s,
density, kg/m^3, latent heat, J/kg: of meltwater; conductivity, W/(m K), diffusivity, m^2/s; cold: K below 0 deg C."""


@dataclass(frozen=True)
class Ice:
    """Ice at temperature_c (deg C), by a named parameter set.

    Hardness H(T) = hardness_at_zero_pa + hardness_slope_pa_per_k * (-T); modulus_pa and poisson: elastic rebound;
    viscosity_pa_s, density_kg_m3, latent_j_kg: meltwater; conductivity_w_mk, diffusivity_m2_s: ice.
    hardness_factor scales H (for intervals). Raises BladeError above 0 deg C or below -30 deg C.
    """

    name: str
    source: str
    temperature_c: float
    hardness_at_zero_pa: float
    hardness_slope_pa_per_k: float
    modulus_pa: float
    poisson: float
    viscosity_pa_s: float
    density_kg_m3: float
    latent_j_kg: float
    conductivity_w_mk: float
    diffusivity_m2_s: float
    hardness_factor: float = 1.0

    def __post_init__(self) -> None:
        if self.temperature_c > 0:
            raise BladeError(f"ice temperature: {self.temperature_c:g} degC is water, not ice; use 0 degC or colder.")
        if not self.temperature_c >= -30:
            raise BladeError(
                f"ice temperature: {self.temperature_c:g} degC is colder than the data; use -30 to 0 degC."
            )

    @property
    def hardness_pa(self) -> float:
        """Hardness at this temperature, Pa. Default set at -5 deg C: 17.7 MPa."""
        plain = self.hardness_at_zero_pa - self.hardness_slope_pa_per_k * self.temperature_c
        return plain * self.hardness_factor

    @property
    def plane_modulus_pa(self) -> float:
        """E* = E / (1 - nu^2), Pa (plane strain modulus against a rigid blade)."""
        return self.modulus_pa / (1 - self.poisson**2)

    @property
    def numbers(self) -> IceNumbers:
        """The floats that the compiled functions read; `cold` is the undercooling in K."""
        return IceNumbers(
            self.hardness_pa, self.plane_modulus_pa, self.viscosity_pa_s, self.density_kg_m3, self.latent_j_kg,
            self.conductivity_w_mk, self.diffusivity_m2_s, 0.0 - self.temperature_c,
        )  # fmt: skip

    @property
    def melts_under_hardness(self) -> bool:
        """Whether its hardness exceeds the pressure at which it would melt; a bearing pressure is then in doubt."""
        return melting_point(self.hardness_pa) < self.temperature_c


RATE_M_S = 6.2e-3  # indentation rate at which the hardness of a parameter set holds (assumption of ours)


def hardened(ice: IceNumbers, m: float, speed_m_s: float, depth_m: float, ahead_m: float) -> IceNumbers:
    """Ice that is harder the faster it is pressed: H (V d/(l_f v_0))^m, d the depth, l_f the length ahead of the
    deepest point, over which a gliding blade presses it (a power law of rate, m 0 to 0.15; a model form of ours)."""
    return ice._replace(hardness=ice.hardness * (speed_m_s * depth_m / (ahead_m * RATE_M_S)) ** m)


@kernel
def melting_point(pressure_pa: float) -> float:
    """Melting temperature of ice Ih under a pressure, deg C: min(0, 0.0101 - 0.0743 p - 1.552e-4 p^2), p in MPa.

    Fit to the inverse of IAPWS R14-08(2011), within 1.1e-4 K over 0.14 to 30 MPa. 17.7 MPa: -1.354.
    """
    p = pressure_pa * 1e-6
    return min(0.0, 0.0101 - (0.0743 + 1.552e-4 * p) * p)
