"""Uncertain inputs: what may vary, how widely, and how many draws of it are taken."""

import math
from dataclasses import dataclass
from typing import Protocol

import numpy as np
import scipy

from experiments.request.fields import Fields, number
from sim.errors import BladeError
from sim.quantities import parse_quantity

# name: (unit of its numbers, what it does). "1": a factor or a plain number.
INPUTS = {
    "hardness_factor": ("1", "times the hardness of the ice"),
    "rebound_factor": ("1", "of the law: times the height that ice rises behind the deepest point"),
    "temperature_shift": ("K", "added to the ice temperature; a draw above 0 deg C is taken as 0 deg C"),
    "steel_sink": ("W/m^2", "of the law: heat that the steel takes from the film"),
    "roughness": ("1", "of the law: friction coefficient of ice that is not smooth"),
    "scuff": ("1", "of the law: sideways scuff coefficient"),
    "mass_factor": ("1", "times the mass of the skater"),
    "passive_share": ("1", "of the skater: what ankle and boot hold alone of the stiffness that balance needs"),
    "ankle_stiffness_factor": ("1", "times the ankle stiffness"),
    "start_speed_factor": ("1", "times the speed of a start push"),
    "start_angle_shift": ("rad", "added to how far the blade is turned out in a start push"),
    "stop_lean_shift": ("rad", "added to the lean of a stop"),
    "across_lean_shift": ("rad", "added to the lean while the blade is turned across to stop"),
    "across_load_factor": ("1", "times the load while the blade is turned across to stop"),
    "edge_lean_shift": ("rad", "added to the lean from which edges are changed"),
    "edge_speed_factor": ("1", "times the speed at which edges are changed"),
    "guide_rate": ("rad/s", "of guided movements: natural rate of the guide that holds the leg (scenarios only)"),
    "glide_line_shift": ("m", "added to the load lines of glide and stop, toe positive"),
    "turn_line_shift": ("m", "added to the load lines of turns and edge changes, toe positive"),
    "push_line_shift": ("m", "added to the load lines of push and start, toe positive"),
    "pivot_line_shift": ("m", "added to both pivot load lines, toe positive"),
    "hollow_factor": ("1", "times the hollow radius"),
    "thickness_shift": ("m", "added to the thickness"),
    "height_shift": ("m", "added to the height of the runner"),
    "span_factor": ("1", "times the span over which the runner bends"),
    "edge_shift": ("m", "added to how far the inside edge stands proud"),
    "radius_factor": ("1", "times every radius of the recipe"),
    "boundary_shift": ("m", "moves every inner zone boundary toward the toe"),
    "level_shift": ("m", "added to the level point"),
}

TRACE = "trace_"  # with a number: a standard normal draw of what the trace leaves open about a measured blade

GRINDING = ("radius_factor", "boundary_shift", "level_shift")  # of one blade; the rest all blades of a draw share


class Prior(Protocol):
    """A distribution of one number. A frozen distribution of scipy.stats is one too; that library takes half a second
    to load, which a refusal has not."""

    def mean(self) -> float:
        """Its mean."""

    def std(self) -> float:
        """Its standard deviation."""

    def support(self) -> tuple[float, float]:
        """Least and greatest value."""

    def ppf(self, share: np.ndarray) -> np.ndarray:
        """The values below which these shares, 0 to 1, of it lie; any shape."""


@dataclass(frozen=True)
class Normal:
    """A normal distribution."""

    middle: float
    sd: float

    def mean(self) -> float:
        """See Prior."""
        return self.middle

    def std(self) -> float:
        """See Prior."""
        return self.sd

    def support(self) -> tuple[float, float]:
        """See Prior."""
        return -math.inf, math.inf

    def ppf(self, share: np.ndarray) -> np.ndarray:
        """See Prior."""
        return scipy.special.ndtri(share) * self.sd + self.middle


@dataclass(frozen=True)
class Uniform:
    """An even distribution between two bounds."""

    low: float
    high: float

    def mean(self) -> float:
        """See Prior."""
        return (self.low + self.high) / 2

    def std(self) -> float:
        """See Prior."""
        return (self.high - self.low) / math.sqrt(12)

    def support(self) -> tuple[float, float]:
        """See Prior."""
        return self.low, self.high

    def ppf(self, share: np.ndarray) -> np.ndarray:
        """See Prior."""
        return np.asarray(share, float) * (self.high - self.low) + self.low


@dataclass(frozen=True)
class Input:
    """An uncertain input: its distribution, and why it is that wide."""

    name: str
    law: Prior
    why: str


def read_inputs(fields: Fields) -> tuple[Input, ...]:
    """The uncertain inputs of a config. Raises BladeError for an unknown input or a distribution that is none."""
    fields.text("name", 40)
    inner = fields.inner("inputs")
    out = []
    for name in inner.mapping:
        Fields({"input": name}, inner.where).choice("input", tuple(INPUTS))
        entry, unit = inner.inner(name), INPUTS[name][0]
        kind, why = entry.choice("distribution", ("normal", "uniform")), entry.text("why")
        low, high = ("mean", "sd") if kind == "normal" else ("low", "high")
        a, b = _value(entry, low, unit), _value(entry, high, unit)
        entry.done()
        if not (b > 0 if kind == "normal" else b > a):
            raise BladeError(f"{entry.where}: {high} must be above {'0' if kind == 'normal' else low}.")
        out.append(Input(name, Normal(a, b) if kind == "normal" else Uniform(a, b), why))
    if not out:
        raise BladeError(f"{inner.where}: no uncertain input is named; see configs/uncertainty/shop.yaml.")
    fields.done()
    return tuple(out)


def _value(entry: Fields, key: str, unit: str) -> float:
    if unit in ("1", "K"):
        return number(entry.raw(key), -1e6, 1e6, entry.path(key))
    return parse_quantity(entry.raw(key), unit, entry.path(key))


@dataclass(frozen=True)
class Sampling:
    """Which inputs are drawn, how often, and from which seed."""

    inputs: tuple[Input, ...]
    draws: int
    seed: int


def read_sampling(fields: Fields, least: int, most: int = 100_000) -> Sampling:
    """`uncertainty`, `draws` and `seed` of a config. Raises BladeError as read_inputs."""
    return Sampling(read_inputs(fields.inner("uncertainty")), fields.count("draws", least, most), read_seed(fields))


def read_seed(fields: Fields) -> int:
    """`seed` of a config."""
    return fields.count("seed", 0, 2**31 - 1)
