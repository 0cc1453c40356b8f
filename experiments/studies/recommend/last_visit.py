"""The last visit beside today's: curve then and now, steel between, what was advised, how the skater found it."""

import math
from dataclasses import replace

import numpy as np

from experiments.request.visits import KeptBlade, Visit
from experiments.studies.recommend.study import Plan
from experiments.studies.recommend.traces import Blade
from sim.blade.reading import BladeReading
from sim.blade.recipe import Recipe
from sim.blade.wear import deviation
from sim.errors import BladeError
from sim.quantities import FOOT_M

UNNOTED = "not noted"
ADVICE_WORDS = {
    "regrind": "advised {}", "probably": "{} was probably better", "leave": "advised to leave it",
    "cannot_tell": "no verdict", "replace": "advised new steel",
}  # fmt: skip
BETWEEN = (
    "Wear, sharpening and grinding in between all change a curve; two traces cannot tell them apart. What left the "
    "shop stands under as left, if it was filled in."
)


def last_visit(plan: Plan, content: dict) -> dict:
    """What the sheet says of the last visit: {"last_visit": its words}, or nothing where there was none.

    content: of today's sheet, with its run, subject and verdict.
    """
    then = plan.book.before(content["run"]["id"]) if plan.book else None
    if then is None:
        return {}
    asked = dict(map(tuple, content["subject"]))
    pairs = _pairs(then.blades, plan.order.bench.blades, plan.order.stock.heights_m)
    rows = [["Mass", then.skater["mass"], f"{plan.request.settings[0].skater.mass_kg:g} kg"]]
    rows += [[name, then.skater[name.lower()], asked[name]] for name in ("Stands", "Use", "Says")]
    for kept, blade, height in pairs:
        rows += _blade_rows(kept, blade, height)
    rows += [["Verdict", then.headline, content["verdict"]["headline"]], ["As left", then.as_left or UNNOTED, ""],
             ["Found", then.found or UNNOTED, ""], ["Words", then.words or UNNOTED, ""]]  # fmt: skip
    between = [
        words for kept, blade, height in pairs for words in (_changed(kept, blade), _gone(kept, height)) if words
    ]
    unmatched = [] if pairs else ["No blade of that visit goes by a name of today's: their curves are not compared."]
    return {"last_visit": {"line": line(then), "head": ["", then.day, "today"], "rows": rows,
                           "between": [*unmatched, *between, *([BETWEEN] if pairs else [])]}}  # fmt: skip


def line(visit: Visit) -> str:
    """A visit in one line."""
    advice = ADVICE_WORDS[visit.verdict].format(visit.recipe or "a recipe that is not named")
    left = f"; left {'' if visit.as_left.startswith('as ') else 'as '}{visit.as_left}" if visit.as_left else ""
    return f"Last visit {visit.day}: {advice}{left}; found {visit.found or UNNOTED}"


def _pairs(
    kept: tuple[KeptBlade, ...], now: tuple[Blade, ...], heights: tuple[float, ...]
) -> list[tuple[KeptBlade, Blade, float]]:
    """The blades of both visits by name, each with its height now; of one blade each, these whatever their names."""
    if len(kept) == len(now) == 1:
        return [(kept[0], now[0], heights[0])]
    by_side = {blade.side: blade for blade in kept}
    return [(by_side[blade.side], blade, high) for blade, high in zip(now, heights) if blade.side in by_side]


def _blade_rows(kept: KeptBlade, blade: Blade, height_m: float) -> list[list[str]]:
    name, r = "" if blade.side == "measured" else f"{blade.side.capitalize()} blade, ", blade.reading
    bounds = [zone.to_m for zone in kept.zones[:-1]]
    rows = [
        ["best single radius", _feet([kept.single_m], 2), _feet([r.single.radius_m.value], 2)],
        ["zones, heel to toe", _zones([z.radius_m for z in kept.zones], bounds),
         _zones([x.value for x in r.radii_m], [x.value for x in r.boundaries_m])],
        ["height of steel", _height(kept.height_m), _height(height_m)],
    ]  # fmt: skip
    if math.isfinite(kept.steel_m):
        rows.append(["steel to remove, as advised", f"at most {1e3 * kept.steel_m:.2f} mm", ""])
    return [[(name + row[0])[:1].upper() + (name + row[0])[1:], *row[1:]] for row in rows]


def _feet(radii: list[float], digits: int = 1) -> str:
    return f"{'/'.join(f'{r / FOOT_M:.{digits}f}' for r in radii)} ft"


def _zones(radii: list[float], bounds: list[float]) -> str:
    where = f", from one to the next at {', '.join(f'{1e3 * x:+.0f}' for x in bounds)} mm" if bounds else ""
    return _feet(radii) + where


def _height(height_m: float) -> str:
    return f"{1e3 * height_m:.2f} mm" if math.isfinite(height_m) else "not stated"


def _gone(kept: KeptBlade, height_m: float) -> str:
    """How much steel went between the visits; nothing where a height is not known."""
    gone = kept.height_m - height_m
    side = "" if kept.side == "measured" else f" of the {kept.side} blade"
    if math.isnan(gone):
        return ""
    if gone < 0:
        return f"The steel{side} is {-1e3 * gone:.2f} mm higher than at that visit: other steel, or a slip in a height."
    return f"{1e3 * gone:.2f} mm of steel{side} went between the visits."


def _changed(kept: KeptBlade, blade: Blade) -> str:
    """How far the zones of today make a curve from those of then, and whether noise may have done that."""
    side = "The curve" if blade.side == "measured" else f"The curve of the {blade.side} blade"
    try:
        x, apart, by_noise = apart_from(kept, blade.reading)
    except BladeError as refusal:
        return f"{side} cannot be compared with that of then: {refusal}"
    worst = int(np.argmax(np.abs(apart)))
    sure = "more" if abs(apart[worst]) > by_noise else "no more"
    return (
        f"{side} is up to {1e6 * abs(apart[worst]):.0f} um from that of then, near {1e3 * x[worst]:+.0f} mm, {sure} "
        f"than two readings of one blade may be ({1e6 * by_noise:.0f} um)."
    )


def apart_from(kept: KeptBlade, now: BladeReading) -> tuple[np.ndarray, np.ndarray, float]:
    """(x, height of the zones of today over those of then without offset and tilt, what two readings of one blade may
    be apart), m: the noise of both, and twice what today's zones leave of today's trace.

    Raises BladeError where the zones of then do not lie on today's runner.
    """
    x, then, *_ = deviation(now, as_it_was(kept, now))
    at, today, low, high = deviation(now, now.recipe("today"))
    noise = np.max(high - low) / 2 * math.hypot(1, kept.noise_m / max(now.sigma_m, 1e-9))
    return x, then - np.interp(x, at, today), float(noise + 2 * np.abs(today).max())


def as_it_was(kept: KeptBlade, now: BladeReading) -> Recipe:
    """The curve that was kept, between the ends that the runner has today. Raises BladeError where it cannot be one."""
    today = now.recipe("as it was")
    low, high = -today.length_m / 2 + today.heel_sweep.length_m, today.length_m / 2 - today.toe_sweep.length_m
    bounds = [low, *(zone.to_m for zone in kept.zones[:-1]), high]
    shares = tuple(float(share) for share in np.diff(bounds))
    if min(shares) <= 0:
        raise BladeError("its zones do not lie on the runner that was traced today.")
    blend = min([today.blend_m if len(today.radii_m) > 1 else 0.01, *shares])
    family = "zoned" if len(kept.zones) > 1 else "single_radius"
    radii = tuple(zone.radius_m for zone in kept.zones)
    return replace(today, family=family, radii_m=radii, shares=shares, blend_m=blend * (1 - 1e-9))
