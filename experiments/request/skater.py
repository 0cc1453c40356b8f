"""The skater as stated in a config, before lengths and stiffness are scaled to a height, a mass and a blade."""

import math
from dataclasses import dataclass, replace

from experiments.request.fields import Fields
from sim.errors import BladeError
from sim.skater.body import GRAVITY, Skater

NOT_STATED = math.nan
SHORTEST_SKATER_M, TALLEST_SKATER_M = 0.8, 2.3  # standing height
LEAST_SCALE, MOST_SCALE = 0.3, 3.0  # of the shared blade's length: beyond these it is no skate


@dataclass(frozen=True)
class StatedSkater:
    """A skater in SI as stated, nan where a value is not: `usual` has the masses, and the lengths of a body of
    usual_height_m; ankle stiffness and damping as numbers or as multiples; where: its place in the config."""

    where: str
    usual: Skater
    usual_height_m: float
    height_m: float
    stiffness_over_mgh: float
    stiffness: float
    damping_time_s: float
    damping: float
    blade_length_m: float

    def scaled(self) -> Skater:
        """The skater at the stated height: lengths with the height, the body's inertia with its square.

        Raises BladeError for a height that no skater has, or an ankle that is not stated.
        """
        tall = self._tallness()
        body_height = self.usual.body_height_m * tall
        stiffness, damping = self._ankle(body_height)
        return replace(
            self.usual, body_height_m=body_height, body_inertia=self.usual.body_inertia * tall**2,
            ankle_stiffness=stiffness, ankle_damping=damping, foot_length_m=self.usual.foot_length_m * tall,
        )  # fmt: skip

    def scale_of(self, length_m: float) -> float:
        """Own blade length over the shared one's, which scales all load lines. Raises BladeError for no skate."""
        scale = 1.0 if math.isnan(self.blade_length_m) else self.blade_length_m / length_m
        if not LEAST_SCALE < scale < MOST_SCALE:
            raise BladeError(
                f"{self.where}.blade_length: {self.blade_length_m * 1e3:g} mm is no length for a skate; use 100 mm to "
                "600 mm."
            )
        return scale

    def _tallness(self) -> float:
        """Height over the height that the body's lengths were stated for; 1 when no height is given."""
        if math.isnan(self.height_m):
            return 1.0
        if not SHORTEST_SKATER_M <= self.height_m <= TALLEST_SKATER_M:
            raise BladeError(
                f"{self.where}.height: {self.height_m:g} m is no skater's height; use {SHORTEST_SKATER_M} m to "
                f"{TALLEST_SKATER_M} m."
            )
        if not self.usual_height_m > 0.5:
            raise BladeError(
                f"{self.where}.standing_height: state for which height the body's lengths are, such as 1.78 m."
            )
        return self.height_m / self.usual_height_m

    def _ankle(self, body_height_m: float) -> tuple[float, float]:
        """Ankle stiffness and damping: as stated, else as multiples that follow the skater's mass and height."""
        stiffness, damping = self.stiffness, self.damping
        if math.isnan(stiffness):
            above = self.usual.mass_kg - self.usual.skate_mass_kg
            stiffness = self.stiffness_over_mgh * above * GRAVITY * body_height_m
        if math.isnan(damping):
            damping = self.damping_time_s * stiffness
        if math.isnan(stiffness) or math.isnan(damping):
            raise BladeError(
                f"{self.where}: state ankle_stiffness or ankle_stiffness_over_mgh, and ankle_damping or its time."
            )
        return stiffness, damping


def read_skater(fields: Fields) -> StatedSkater:
    """A skater of a config. Raises BladeError for a missing value, or one that no skater has."""

    def stated(key: str, unit: str) -> float:
        return fields.quantity(key, unit) if fields.has(key) else NOT_STATED

    usual = Skater(
        fields.text("name", 40), fields.quantity("mass", "kg"), fields.quantity("skate_mass", "kg"),
        fields.quantity("skate_inertia", "kg*m^2"), fields.quantity("skate_x", "m"),
        fields.quantity("skate_height", "m"), fields.quantity("ankle_x", "m"), fields.quantity("ankle_height", "m"),
        fields.quantity("body_height", "m"), fields.quantity("body_inertia", "kg*m^2"),
        foot_length_m=fields.quantity("foot_length", "m"), passive_share=fields.number("passive_share", 0, 2),
        stiff_body=fields.has("stiff_body") and fields.flag("stiff_body"),
    )  # fmt: skip
    ratio = "ankle_stiffness_over_mgh"
    result = StatedSkater(
        fields.where, usual, stated("standing_height", "m"), stated("height", "m"),
        fields.number(ratio, 0.01, 100) if fields.has(ratio) else NOT_STATED, stated("ankle_stiffness", "N*m/rad"),
        stated("ankle_damping_time", "s"), stated("ankle_damping", "N*m*s/rad"), stated("blade_length", "m"),
    )  # fmt: skip
    fields.done()
    return result
