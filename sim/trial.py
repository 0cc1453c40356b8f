"""One candidate under one setting: its contact at each static state and its rolls, each solved once."""

import math
from dataclasses import dataclass, field
from functools import cached_property, lru_cache

import numpy as np

from sim.blade.curve import BladeCurve
from sim.blade.reading import BladeReading
from sim.blade.recipe import Recipe
from sim.blade.section import Section
from sim.blade.steel import Steel
from sim.errors import BladeError
from sim.ice.contact import GAUSS, Law, Patch
from sim.ice.drag import film_shear, ploughing, rough_drag
from sim.ice.ice import Ice, IceNumbers, hardened
from sim.ice.scrape import turn_scrape
from sim.ice.sideways import brake, pivot_held, pivots
from sim.ice.standing import NEARLY, settle_bent, stand, stand_along
from sim.rolling.scenarios import ADVICE, Roll, roll
from sim.skater.body import GRAVITY, Skater
from sim.skater.movement import Program, Scenario, program

FINE = GAUSS[16]  # quadrature of the static states; a test shows these three grids converged
FILM_STEPS = 128  # along the loaded arc
RATE_ROUNDS = 8  # by which hardness and contact of a rate-dependent law agree to 1e-6
SCRAPE_GRID = (48, 96)  # stations along the arc, columns across it


@dataclass(frozen=True)
class State:
    """A static state: lean_rad, load_bw body weights in the blade plane, load line line_m (blade x), speed.

    path_radius_m > 0: a steady turn; lean and load then follow: tan(lean) = v^2/(g rho), N = m g/cos(lean).
    stopping: blades across the travel, sliding outward; the load follows (`sim.ice.sideways.brake`). turned_out_rad:
    how far the blade points away from the travel in a push.
    Raises BladeError for a lean or load that no skater holds, or a turn that leans 75 deg or more.
    """

    line_m: float
    lean_rad: float = 0.0
    load_bw: float = 1.0
    speed_m_s: float = 0.0
    path_radius_m: float = 0.0
    stopping: bool = False
    turned_out_rad: float = 0.0

    def __post_init__(self) -> None:
        if not 0 <= self.lean_rad < math.radians(75) or not 0 < self.load_bw <= 6:
            raise BladeError("state: lean must lie within 0 and 75 deg and load above 0 and at most 6 body weights.")
        if self.path_radius_m and not (0.3 <= self.path_radius_m and 0 < self.speed_m_s**2 < 37 * self.path_radius_m):
            raise BladeError("state: a turn needs a radius of at least 0.3 m and a speed that leans less than 75 deg.")
        if not 0 <= self.turned_out_rad < math.pi / 2:
            raise BladeError("state: a blade is turned out of the travel by 0 deg or more, and less than 90 deg.")

    @property
    def tan_lean(self) -> float:
        """tan(lean)."""
        if self.path_radius_m:
            return self.speed_m_s**2 / (GRAVITY * self.path_radius_m)
        return math.tan(self.lean_rad)

    def load_n(self, skater: Skater) -> float:
        """Load in the blade plane, N. Raises BladeError for a stop: its load follows from the blade (`Trial.load`)."""
        if self.stopping:
            raise BladeError("state: the load of a stop follows from the blade and its ice.")
        if self.path_radius_m:
            return skater.weight_n * math.sqrt(1 + self.tan_lean**2)
        return skater.weight_n * self.load_bw


@lru_cache(maxsize=256)
def _curve_of(recipe: Recipe) -> BladeCurve:
    return recipe.curve()


@dataclass(frozen=True)
class Candidate:
    """A blade to be judged: its recipe and its section; and the reading of its trace where it was measured."""

    name: str
    recipe: Recipe
    section: Section
    reading: BladeReading | None = field(default=None, compare=False)

    @property
    def curve(self) -> BladeCurve:
        """The blade curve (shared between candidates of one recipe: many draws differ in the ice only)."""
        return _curve_of(self.recipe)

    @cached_property
    def steel(self) -> Steel:
        """Curve and section as the compiled functions read them."""
        s = self.section
        return Steel(*self.curve.table, s.thickness_m, s.hollow_m, s.tilt, s.rigidity, s.span_m)


@dataclass(frozen=True)
class Setting:
    """What all candidates of a comparison share: ice, law, skater, states, scenarios and the reference blade.

    states: by name, those that the measures ask for. bias_lines_m: load lines over which pitch bias is averaged.
    """

    ice: Ice
    law: Law
    skater: Skater
    states: dict[str, State]
    scenarios: dict[str, Scenario]
    reference: Candidate
    bias_lines_m: tuple[float, ...]
    contact_damping: float = 15.0

    @cached_property
    def reference_pitches(self) -> tuple[float, ...]:
        """Pitch of the reference at each bias line, rad."""
        return Trial(self.reference, self).bias_pitches

    def program(self, name: str) -> Program:
        """The movement program of a scenario on the reference blade, solved once.

        Raises BladeError when the reference cannot carry it, or for a scenario that the setting does not have.
        """
        if name not in self.scenarios:
            raise BladeError(f"scenario {name!r} was not asked for; add it to the experiment's scenarios.")
        if name not in self._programs:
            steel, scenario = self.reference.steel, self.scenarios[name]
            for line in scenario.line_m:
                if fault := self.reference.recipe.turned_up(line):
                    raise BladeError(f"scenario {name!r}: load line {fault}")
            self._programs[name] = program(scenario, self.skater, steel, self.ice.numbers, self.law)
        return self._programs[name]

    @cached_property
    def _programs(self) -> dict[str, Program]:
        return {}


class Trial:
    """A candidate under a setting. Every contact and every roll is solved when first asked for, then kept."""

    def __init__(self, candidate: Candidate, setting: Setting) -> None:
        self.candidate, self.setting = candidate, setting
        self.steel, self.ice = candidate.steel, setting.ice.numbers
        self._patches, self._rolls, self._drags, self._ploughed, self._pivots = {}, {}, {}, {}, {}
        self._scrapes, self._radii, self._braked = {}, {}, {}

    def state(self, name: str) -> State:
        """A static state of the setting. Raises BladeError, naming those there are, for an unknown one."""
        if name not in self.setting.states:
            raise BladeError(f"state {name!r} is not defined; there are {', '.join(self.setting.states)}.")
        return self.setting.states[name]

    def load(self, name: str) -> float:
        """Load of a static state, N. Raises BladeError for an unknown state, or a stop that the blade cannot carry."""
        state = self.state(name)
        return self.patch(name).load if state.stopping else state.load_n(self.setting.skater)

    def law_at(self, name: str) -> Law:
        """The law of contact at a static state: a blade that slides sideways ploughs fresh ice on both sides of its
        deepest point, as one that stands. Raises BladeError for an unknown state."""
        return self.setting.law._replace(standing=1.0) if self.state(name).stopping else self.setting.law

    def patch(self, name: str) -> Patch:
        """Contact at a static state. Raises BladeError when the blade cannot carry it."""
        return self._contact(name)[0]

    def ice_at(self, name: str) -> IceNumbers:
        """The ice at a static state: harder than at rest where the law has it so. Raises BladeError as `patch`."""
        return self._contact(name)[1]

    def _contact(self, name: str) -> tuple[Patch, IceNumbers]:
        if name not in self._patches:
            state, ice = self.state(name), self.ice
            if state.stopping:
                return self._brake(name)[0], ice
            patch = self._stand(ice, state.tan_lean, self.load(name), state.line_m, name)
            for _ in range(RATE_ROUNDS if self.setting.law.rate > 0 and state.speed_m_s > 0 else 0):
                ice = hardened(
                    self.ice, self.setting.law.rate, state.speed_m_s, patch.depth,
                    patch.front - patch.deepest,
                )  # fmt: skip
                patch = self._stand(ice, state.tan_lean, self.load(name), state.line_m, name)
            self._patches[name] = patch, ice
        return self._patches[name]

    def _check_line(self, line: float, what: str) -> None:
        """Refuse a load line that lies off the steel, or on a turned-up end."""
        x_heel, x_toe = self.steel.x_first, self.steel.x_first + self.steel.dx * (len(self.steel.z) - 1)
        if not x_heel < line < x_toe:
            raise BladeError(
                f"{what}: load line {line * 1e3:.0f} mm is off the steel, which runs from {x_heel * 1e3:.0f} to "
                f"{x_toe * 1e3:.0f} mm; move it toward mid-runner."
            )
        if fault := self.candidate.recipe.turned_up(line):
            raise BladeError(f"{what}: load line {fault}")

    def _stand(self, ice: IceNumbers, tan_lean: float, load: float, line: float, what: str) -> Patch:
        self._check_line(line, what)
        patch = stand(self.steel, ice, self.setting.law, tan_lean, load, line, *FINE)
        if math.isnan(patch.load):
            raise BladeError(
                f"{what}: this blade cannot carry {load:.0f} N with its centre at {line * 1e3:.0f} mm; lower the load, "
                "move the load line toward mid-runner, or use a longer or thicker runner."
            )
        return patch

    def _brake(self, name: str) -> tuple[Patch, float]:
        """(contact, bite in rad) of a stop."""
        if name not in self._braked:
            state, weight = self.state(name), self.setting.skater.weight_n
            self._check_line(state.line_m, name)
            patch, side = brake(
                self.steel, self.ice, self.law_at(name), state.tan_lean, weight, state.line_m, *FINE
            )  # fmt: skip
            if math.isnan(patch.load):
                raise BladeError(
                    f"{name}: this blade cannot brake {weight:.0f} N at a lean of {math.degrees(state.lean_rad):.0f} "
                    "deg; lower the lean, or move the load line toward mid-runner."
                )
            self._braked[name] = patch, math.atan(side / patch.load)
        return self._braked[name]

    @property
    def bite(self) -> float:
        """How far the force of the ice tilts inward of the leg axis in a stop, rad.

        Raises BladeError when the blade cannot carry it.
        """
        return self._brake("stop")[1]

    def drag(self, name: str, speed_m_s: float | None = None) -> tuple[float, float, float]:
        """(ploughing, film shear, drag of rough ice) at a static state, N, at its own speed or another.

        Raises BladeError when the blade cannot carry it.
        """
        speed = self.state(name).speed_m_s if speed_m_s is None else speed_m_s
        if (name, speed) not in self._drags:
            (patch, ice), law = self._contact(name), self.law_at(name)
            if name not in self._ploughed:
                self._ploughed[name] = ploughing(self.steel, ice, law, patch, *FINE), rough_drag(law, patch)
            plough, rough = self._ploughed[name]
            film = film_shear(self.steel, ice, law, patch, speed, FILM_STEPS)
            self._drags[name, speed] = plough, film, rough
        return self._drags[name, speed]

    def pivots(self, name: str) -> tuple[float, float, float, float]:
        """Pivot resistance at a static state, N m: free toe in, free toe out, held toe in, held toe out.

        Raises BladeError when the blade cannot carry it.
        """
        if name not in self._pivots:
            self._pivots[name] = pivots(self.steel, self.ice_at(name), self.law_at(name), self.patch(name), *FINE)
        return self._pivots[name]

    def across(self, name: str) -> float:
        """Moment about the foot that turns the toe inward at a static state, N m, where no other pivot is asked for.

        Raises BladeError when the blade cannot carry it.
        """
        return pivot_held(self.steel, self.ice_at(name), self.law_at(name), self.patch(name), True, *FINE)

    def scrape(self, name: str) -> float:
        """Turn scrape at a turn, N. Raises BladeError when the blade cannot carry it."""
        if name not in self._scrapes:
            path = self.state(name).path_radius_m
            args = self.steel, self.ice_at(name), self.patch(name), path
            self._scrapes[name] = turn_scrape(*args, *SCRAPE_GRID, *FINE)
        return self._scrapes[name]

    @cached_property
    def bias_pitches(self) -> tuple[float, ...]:
        """Pitch at each load line of the pitch bias, at the glide state's lean and load, rad, toe-down positive.

        Raises BladeError for a line that the blade cannot stand at.
        """
        state, load, lines = self.state("glide"), self.load("glide"), self.setting.bias_lines_m
        for line in (min(lines), max(lines)):
            self._check_line(line, "pitch bias")
        ice = self.ice_at("glide")
        pitches = stand_along(self.steel, ice, self._rigid, state.tan_lean, load, np.array(lines), *FINE)
        for line in np.array(lines)[np.isnan(pitches)]:
            self._stand(self.ice_at("glide"), state.tan_lean, load, line, "pitch bias")  # refuses, with the reason
        return tuple(pitches.tolist())

    @property
    def _rigid(self) -> Law:
        """The law with rigid steel, for how the foot rocks: a runner that bends does not turn where it is pressed."""
        return self.setting.law._replace(bending=0.0)

    def effective_radius(self, name: str) -> float:
        """R_eff = dx_c/dbeta of the loaded contact at a state's lean and load, m (central difference over 2 mrad).

        Raises BladeError when the blade cannot carry it.
        """
        if name not in self._radii:
            patch, half = self.patch(name), 1e-3
            args = (self.steel, self.ice_at(name), self._rigid, patch.t)
            fore = settle_bent(*args, patch.beta + half, patch.load, patch.depth, NEARLY, *FINE)
            aft = settle_bent(*args, patch.beta - half, patch.load, fore.depth, NEARLY, *FINE)
            self._radii[name] = (fore.centre - aft.centre) / (2 * half)
        return self._radii[name]

    def roll(self, name: str) -> Roll:
        """A scenario, rolled. The outcome may be a failure; `finished` refuses those.

        Raises BladeError for a scenario that the setting does not have.
        """
        if name not in self._rolls:
            s = self.setting
            steps, scenario = s.program(name), s.scenarios[name]
            self._rolls[name] = roll(self.steel, self.ice, s.law, s.skater, scenario, steps, s.contact_damping)
        return self._rolls[name]

    def finished(self, name: str) -> Roll:
        """A scenario that ran to its end. Raises BladeError with the outcome and advice otherwise."""
        result = self.roll(name)
        if result.outcome != "finished":
            raise BladeError(f"{name}: {result.outcome} after {result.seconds:.2f} s: {ADVICE[result.outcome]}.")
        return result
