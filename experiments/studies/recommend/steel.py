"""Steel: what a grind takes off a present blade, why a curve cannot be ground out of it, how long the steel lasts."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from experiments.analysis.grinding import Grinding, check
from experiments.analysis.shop import ShopSteps, in_steps
from experiments.request.comparison import Request
from experiments.request.fields import Fields
from sim.blade.recipe import Recipe, Sweep
from sim.blade.stock import Removal, removal
from sim.errors import BladeError
from sim.quantities import parse_quantity

LOWEST_M, HIGHEST_M = 5e-3, 60e-3  # height of steel of any runner


@dataclass(frozen=True)
class Stock:
    """The steel on the bench. heights_m: of each blade now, in the order of the traces; least_m: the least that may be
    left; nan where not stated. limits, steps: what the shop can grind, and in which steps it takes orders."""

    heights_m: tuple[float, ...]
    least_m: float
    limits: Grinding
    steps: ShopSteps

    @property
    def known(self) -> bool:
        """Whether every height was stated."""
        return all(map(math.isfinite, self.heights_m))

    def visits(self, height_m: float) -> int | None:
        """How many visits a height is good for, if each takes no more than the cleaning cut; None: cannot be said."""
        cut = self.limits.cleaning_cut_m
        if not (math.isfinite(height_m) and math.isfinite(self.least_m) and cut > 0):
            return None
        return max(0, math.floor((height_m - self.least_m) / cut + 1e-9))


def read_heights(fields: Fields, blades: int) -> tuple[float, ...]:
    """`runner_height`: one for all blades, or a list of one for each. Raises BladeError for what no runner has."""
    if not fields.has("runner_height"):
        return (math.nan,) * blades
    raw = fields.raw("runner_height")
    given = list(raw) if isinstance(raw, list | tuple) else [raw] * blades
    if len(given) != blades:
        traced = "1 blade was" if blades == 1 else f"{blades} blades were"
        raise BladeError(f"runner_height: {len(given)} heights, but {traced} traced; give one, or one for each.")
    heights = tuple(parse_quantity(value, "m", "runner_height") for value in given)
    for height in heights:
        if not LOWEST_M <= height <= HIGHEST_M:
            raise BladeError(
                f"runner_height: {height * 1e3:.1f} mm is no height of steel; use {LOWEST_M * 1e3:g} mm to "
                f"{HIGHEST_M * 1e3:g} mm."
            )
    return heights


def same_again(measured: Recipe, ground: Recipe | None, steps: ShopSteps, name: str) -> Recipe:
    """The curve that the blade has, as a shop would grind it again on the same runner: as it was last ground where that
    was stated, else as measured, in the shop's steps."""
    ends = {"length_m": measured.length_m, "heel_sweep": measured.heel_sweep, "toe_sweep": measured.toe_sweep}
    return replace(ground or in_steps(measured, steps), name=name, **ends)


def to_remove(
    request: Request, stock: Stock, tilt_free: bool, present: int, height_m: float, again: int
) -> tuple[list[Removal | None], list[str]]:
    """Steel to remove from a present blade for each case, and why one cannot be ground; None and empty for that blade.

    What a grind takes is the cleaning cut everywhere, and what the new curve differs by. Between the turned-up ends:
    those are left to the grinder's hand. present, again: places of the present blade, and of the same curve again,
    which the limits of the grinder do not forbid: it was ground before.
    """
    worn = request.cases[present].candidate
    recipe = worn.recipe
    low = -recipe.length_m / 2 + recipe.heel_sweep.length_m + recipe.blend_m / 2
    high = recipe.length_m / 2 - recipe.toe_sweep.length_m - recipe.blend_m / 2
    steel: list[Removal | None] = []
    refused = []
    for i, case in enumerate(request.cases):
        found, reasons = None, []
        if i != present and case.candidate.reading is None:
            try:
                shape = removal(case.candidate.curve, worn.curve, tilt_free, (low, high))
                found = replace(shape, depth_m=shape.depth_m + stock.limits.cleaning_cut_m)
                reasons = too_low(found, stock, height_m)
                reasons += [] if i == again else check(between_ends(case.candidate.recipe), stock.limits)
                reasons += too_deep(found, stock)
            except BladeError as refusal:
                reasons = [str(refusal)]
        steel.append(found)
        refused.append(f"cannot be ground: {reasons[0]}" if reasons else "")
    return steel, refused


def too_low(steel: Removal, stock: Stock, height_m: float) -> list[str]:
    """Whether too little steel would be left; never where a height is not stated."""
    left = height_m - steel.most_m
    if left < stock.least_m:
        return [f"{left * 1e3:.1f} mm of steel would be left, and {stock.least_m * 1e3:.1f} mm is the least stated"]
    return []


def too_deep(steel: Removal, stock: Stock) -> list[str]:
    """Whether more would have to be taken off than the shop takes."""
    deep, most = steel.most_m * 1e3, stock.limits.steel_available_m * 1e3
    return [f"{deep:.2f} mm would have to be removed, and the limit of the shop is {most:.2f} mm"] * (deep > most)


def between_ends(recipe: Recipe) -> Recipe:
    """The recipe between its turned-up ends: those stay as they came, and are no business of the limits."""
    bare = Sweep(0.0)
    level = float(np.clip(recipe.level_m, -0.4 * recipe.working_m, 0.4 * recipe.working_m))
    return replace(recipe, length_m=recipe.working_m, heel_sweep=bare, toe_sweep=bare, level_m=level)


# ---------------------------------------------------------------- words


def spent(stock: Stock, sides: Sequence[str]) -> str:
    """Why the steel must be replaced, of the lowest blade; empty where it need not, or a height is not stated."""
    cut, least = stock.limits.cleaning_cut_m, stock.least_m
    stated = [(height, side) for height, side in zip(stock.heights_m, sides) if math.isfinite(height)]
    height, side = min(stated, default=(math.nan, ""))
    which = f"the {side} blade" if len(sides) > 1 else "the blade"
    if height < least:
        return f"{which} is {height * 1e3:.1f} mm high, under the least stated, {least * 1e3:.1f} mm"
    if height - cut < least:
        return (
            f"a visit takes {cut * 1e3:.2f} mm, and {which} has {(height - least) * 1e3:.2f} mm to the least stated, "
            f"{least * 1e3:.1f} mm"
        )
    return ""


def again_words(stock: Stock, steels: Sequence[Removal | None], sides: Sequence[str]) -> str:
    """What the same curve again takes off each blade at most; empty where that cannot be said."""
    if any(found is None for found in steels):
        return ""
    each = [f"{side + ' ' if len(sides) > 1 else ''}{found.most_m * 1e3:.2f} mm" for found, side in zip(steels, sides)]
    return (
        f"The same curve again would take {', '.join(each)}; {stock.limits.cleaning_cut_m * 1e3:.2f} mm of it is what "
        "any visit takes off all along."
    )


def left_words(stock: Stock, height_m: float, steel: Removal) -> str:
    """What is left after a grind, in mm and in visits."""
    if not math.isfinite(height_m):
        return "not known: no runner height was given"
    left = height_m - steel.most_m
    visits = stock.visits(left)
    more = "" if visits is None else f", good for about {visits} visits of {stock.limits.cleaning_cut_m * 1e3:.2f} mm"
    return f"at least {left * 1e3:.1f} mm of {height_m * 1e3:.1f} mm{more}"
