"""Rules of the trade beside what the model gives: is the direction supported, and is the size one that can be felt."""

import math
from collections.abc import Sequence
from functools import cache
from itertools import product

import numpy as np

from experiments.request.opinions import Felt
from experiments.studies.validation.checks import (
    CHECK_GAUSS,
    DEG,
    FOREFOOT_LEAN,
    FOREFOOT_M,
    FT,
    LAW,
    PARTLY,
    PARTS,
    RINK,
    TOO_SMALL,
    TRADE,
    Check,
    at_mid,
    blade,
    long_track,
    single,
)
from sim.blade.section import Section
from sim.blade.steel import Steel
from sim.ice.contact import Law, Patch
from sim.ice.drag import film_shear, ploughing, rough_drag
from sim.ice.scrape import tightest_clean_radius
from sim.ice.sideways import pivot, pivot_held
from sim.ice.standing import settle, stand
from sim.rolling.scenarios import roll
from sim.skater.body import GRAVITY, Skater, critical_ankle_stiffness, critical_reaction_delay
from sim.skater.movement import Scenario, program

FEET = (7, 8, 9, 10, 11, 12, 13)
SPAN = "ratio, 8 to 12 ft"
# where "longer glides better" is asked: kg, hollow m, m/s, rebound factor from end to end of its range and its middle
GLIDE_MASSES, GLIDE_HOLLOWS = (60, 70, 80, 90, 100), (9.5e-3, 12.7e-3, 15.9e-3, 19.05e-3)
GLIDE_SPEEDS, GLIDE_FACTORS = (2.0, 5.0, 8.0), (0.55, 0.85, 1.15)
LEFT_OUT = (
    "'8 ft is quicker than 10 ft': quickness is pivot resistance here, and 'pivots easier' has said it.",
    "'Flatter touches more steel': 'contacts less' has said it.",
    "'Mid-flat stands about neutral': a recipe that is alike at both ends is neutral in the mean over stances that are "
    "alike both ways, whatever the ice does.",
    "'The arc of a hockey blade is tens of mm', 'friction power 25 to 75 W', 'a film of fractions of a um': bands that "
    "no sensible model could miss.",
)  # rows that an earlier version had, and that prove nothing


def said(
    number: str, title: str, share: float, felt: bool, unit: str, ours: float, refuted_by: str, note: str
) -> Check:
    """A rule of the trade. share: of the cases in which its direction holds; felt: whether its size can be felt.

    Supported where it holds in every case at a size that can be felt; partly where it holds in most.
    """
    words = PARTS["trade"]
    verdict = words.good if share == 1 else PARTLY if share > 0.5 else words.bad
    verdict = TOO_SMALL if share > 0.5 and not felt else verdict
    return Check(number, "trade", title, None, unit, float(ours), None, verdict, refuted_by, TRADE, note)


def _rising(values: Sequence[float]) -> float:
    """1 where every value exceeds the last, else 0: the share of a rule that has one case."""
    return float(np.all(np.diff(values) > 0))


def is_felt(ratio: float, felt: Felt) -> bool:
    """Whether a skater can feel a ratio, either way."""
    return max(ratio, 1 / ratio) >= felt.ratio


def _row(values: Sequence[float], digits: int, unit: str) -> str:
    return ", ".join(f"{v:.{digits}f}" for v in values) + f" {unit} at {FEET[0]}-{FEET[-1]} ft"


# ---------------------------------------------------------------- twisting


def forefoot(steel: Steel) -> Patch:
    """80 kg on the forefoot, leaned 15 deg: the state in which pivots are judged."""
    return stand(steel, RINK, LAW, math.tan(FOREFOOT_LEAN), 80 * GRAVITY, FOREFOOT_M, *CHECK_GAUSS)


def twists(steel: Steel) -> dict[str, float]:
    """Pivot resistance on the forefoot, N m: of a slow twist (free centre) and a sudden one (held), toe in and out."""
    patch = forefoot(steel)
    return {
        f"{name} {way}": kind(steel, RINK, LAW, patch, way == "in", *CHECK_GAUSS)
        for name, kind in (("slow", pivot), ("sudden", pivot_held)) for way in ("in", "out")
    }  # fmt: skip


def _pivots(felt: Felt) -> list[Check]:
    """Which of the two pivots 'pivots easily' may mean: both on hockey radii, then on a long-track runner."""
    found = {feet: twists(single(feet)) for feet in FEET}
    track, ten = twists(long_track()), found[10]
    ratios = {name: found[8][name] / found[12][name] for name in ten}
    share = float(np.mean([_rising([found[feet][name] for feet in FEET]) for name in ten]))
    least, harder = max(ratios.values()), {name: track[name] / ten[name] for name in ten}
    clean = [tightest_clean_radius(steel, forefoot(steel)) for steel in (long_track(), single(10))]

    def row(name: str) -> str:
        return ", ".join(f"{found[feet][name]:.2f}" for feet in (8, 10, 13)) + f" ({track[name]:.2f})"

    numbers = "; ".join(f"{name} {row(name)}" for name in ten)
    return [
        said("12a", "Shorter radius pivots easier, both slowly and suddenly", share, is_felt(least, felt), SPAN, least,
             f"either pivot not rising with the radius, or by less than {felt.ratio:g} from 8 to 12 ft",
             "Slow twist: the blade turns about the place that costs least. Sudden twist: about the foot. The words of "
             f"the trade may mean either. N m at 8, 10, 13 ft (22 m long track): {numbers}; forefoot, lean 15 deg, 80 "
             "kg. The weakest of the four ratios is shown."),
        said("12b", "A long-track runner is harder to twist than a 10 ft hockey blade",
             float(min(harder["sudden in"], harder["sudden out"]) > 1), is_felt(harder["sudden in"], felt),
             "ratio, long track to 10 ft", harder["sudden in"], f"a ratio below {felt.ratio:g} in the sudden twist",
             f"In a sudden twist about the foot, toe in; toe out {harder['sudden out']:.2f}. In a slow one it is "
             f"{harder['slow in']:.2f} and {harder['slow out']:.2f}: the free centre moves to where the narrow flat "
             "bottom meets little but an assumed scuff. So the saying can mean the sudden twist only, or the tightest "
             f"clean path, {clean[0]:.1f} m against {clean[1]:.1f} m at this lean."),
    ]  # fmt: skip


# ---------------------------------------------------------------- gliding


def _drag(steel: Steel, patch: Patch, law: Law, speed: float, plough: float) -> float:
    return plough + film_shear(steel, RINK, law, patch, speed, 256) + rough_drag(law, patch)


def glide_ratios() -> dict[tuple[int, float, float, float], tuple[float, bool]]:
    """Drag of 8 ft over 12 ft, and whether only 8 ft covers the crown of its hollow; over the grid above.

    Keys: mass, hollow, rebound factor, speed. Upright, centre of pressure at mid-runner, -5 deg C.
    """
    out = {}
    for hollow in GLIDE_HOLLOWS:
        steels, crown = [single(feet, hollow) for feet in (8, 12)], Section(2.9e-3, hollow).depth_m
        for mass, factor in product(GLIDE_MASSES, GLIDE_FACTORS):
            law = LAW._replace(rebound_factor=factor)
            patches = [at_mid(s, mass * GRAVITY, law=law) for s in steels]
            ploughs = [ploughing(s, RINK, law, p, *CHECK_GAUSS) for s, p in zip(steels, patches)]
            on_step = patches[0].depth > crown > patches[1].depth
            for speed in GLIDE_SPEEDS:
                short, long = (_drag(s, p, law, speed, f) for s, p, f in zip(steels, patches, ploughs))
                out[mass, hollow, factor, speed] = short / long, on_step
    return out


def _glide(felt: Felt) -> Check:
    """Does a longer radius glide better?"""
    found = glide_ratios()
    ratios = np.array([r for r, _ in found.values()])
    wrong = {key: value for key, value in found.items() if value[0] <= 1}
    step, steps = (sum(on for _, on in some.values()) for some in (wrong, found))
    fast = sum(key[3] == max(GLIDE_SPEEDS) for key in wrong)
    default = [100 * (found[80, 12.7e-3, f, 8.0][0] - 1) for f in GLIDE_FACTORS]
    low, middle, high = (100 * (q - 1) for q in np.quantile(ratios, (0.05, 0.5, 0.95)))
    note = (
        f"Drag of 8 ft over that of 12 ft is above 1 in {(ratios > 1).sum()} of {len(ratios)} combinations of mass "
        f"({GLIDE_MASSES[0]}-{GLIDE_MASSES[-1]} kg), hollow (9.5-19 mm), speed (2, 5, 8 m/s) and rebound factor "
        f"(0.55-1.15), and {felt.ratio:g} or more in {(ratios >= felt.ratio).sum()}; {low:+.1f} to {high:+.1f} % in "
        f"nine of ten, {middle:+.1f} % in the middle. Of the {len(wrong)} exceptions, by "
        f"{100 * (1 - ratios.min()):.1f} % at most, "
        f"{fast} are at 8 m/s and {step} on the crown step ({steps} of all are): 8 ft has the crown of the hollow in "
        "the ice, 12 ft has not, and its film, which is two films then, drags more. There it is too close to call: 80 "
        f"kg on 12.7 mm at 8 m/s {default[0]:+.1f}, {default[1]:+.1f}, {default[2]:+.1f} % at rebound 0.55, 0.85, 1.15."
    )
    return said("12d", "Longer radius glides better", float((ratios > 1).mean()),
                is_felt(float(np.median(ratios)), felt), f"{SPAN}, median", np.median(ratios),
                f"a ratio below 1 in half of the combinations, or a median below {felt.ratio:g}", note)  # fmt: skip


# ---------------------------------------------------------------- balance


def _steadiness(steels: Sequence[Steel]) -> tuple[list[float], list[float]]:
    """Critical ankle stiffness, N m/rad, and critical reaction delay, s, over radius."""
    skater, radii = Skater("adult"), []
    for steel in steels:
        heel, toe = (
            settle(steel, RINK, LAW, 0.0, b, skater.weight_n, 8e-5, *CHECK_GAUSS).centre for b in (-1e-3, 1e-3)
        )
        radii.append((toe - heel) / 2e-3)
    return tuple(
        [function(skater, skater.weight_n, r) for r in radii]
        for function in (critical_ankle_stiffness, critical_reaction_delay)
    )


def _shifts(feet: Sequence[float]) -> list[float]:
    """Greatest shift of the balance after a shove, m; nan where the skater does not stay up."""
    skater, out = Skater("adult"), []
    shove = Scenario("nudge", (0.0, 1.0), (0.0, 0.0), (1.0, 1.0), (0.0, 0.0), duration_s=1.2, speed_m_s=5.0,
                     mode="free", impulse_ns=3.0)  # fmt: skip
    plan = program(shove, skater, single(10), RINK, LAW)
    for radius in feet:
        run = roll(single(radius), RINK, LAW, skater, shove, plan)
        place = run["balance_position"]
        out.append(float(np.max(np.abs(place - place[0]))) if run.outcome == "finished" else math.nan)
    return out


def _steady(steels: Sequence[Steel], felt: Felt) -> list[Check]:
    stiffness, delay = _steadiness(steels)
    shift = _shifts((8, 10, 12))
    ratio, apart, shifts = stiffness[1] / stiffness[5], shift[0] - shift[2], ", ".join(f"{1e3 * s:.1f}" for s in shift)
    return [
        said("12f", "Shorter radius steadies less: ankle stiffness needed", _rising([-k for k in stiffness]),
             is_felt(ratio, felt), SPAN, ratio,
             f"a stiffness that does not fall with the radius, or a ratio below {felt.ratio:g}",
             f"At least {_row(stiffness, 0, 'N m/rad')}. Time to react {_row(delay, 3, 's')}: from the same effective "
             "radius, so no second witness."),
        said("12g", "12 ft is steadier than 10 and 8 ft: shove of 3 N s", _rising([-s for s in shift]),
             apart >= felt.height_m, "mm, 8 less 12 ft", 1e3 * apart,
             "a shift of the balance that does not fall with the radius, or less than "
             f"{1e3 * felt.height_m:g} mm between 8 and 12 ft",
             f"The balance shifts by at most {shifts} mm at 8, 10, 12 ft."),
    ]  # fmt: skip


def pitch_bias(steel: Steel, reference: Steel) -> np.ndarray:
    """Pitch over the reference's at load lines of +-50 mm, rad: (13,), toe-down positive; 80 kg, upright."""
    lines = np.linspace(-0.05, 0.05, 13)
    load = 80 * GRAVITY
    ours, theirs = (
        np.array([stand(s, RINK, LAW, 0.0, load, line, *CHECK_GAUSS).beta for line in lines])
        for s in (steel, reference)
    )
    return ours - theirs


def _rear_flat(felt: Felt) -> Check:
    rear = pitch_bias(blade("rear_flat", 13 * FT, 10 * FT, 7 * FT), single(10))
    level = rear.mean() * Skater("adult").foot_length_m
    return said("12h", "Rear-flat stands toe-down (13/10/7 ft against 10 ft)", float(level > 0), level >= felt.height_m,
                "mm, heel over toe", 1e3 * level, "a heel that is not higher",
                f"Mean over load lines of +-50 mm, {rear.mean() / DEG:.3f} deg, from "
                f"{round(rear.min() / DEG, 3) + 0.0:+.3f} to {rear.max() / DEG:+.3f} deg, and about nil over the 10 ft "
                "zone itself. If skaters feel it, then something else than this.")  # fmt: skip


def _arc(steels: Sequence[Steel], felt: Felt) -> Check:
    flat = [at_mid(s, 80 * GRAVITY) for s in steels]
    loaded, immersed = (np.array([p.front - end for p, end in zip(flat, ends)]) * 1e3
                        for ends in ([p.rear for p in flat], [p.tail for p in flat]))  # fmt: skip
    return said("12c", "Shorter radius contacts less", _rising(loaded), is_felt(loaded[1] / loaded[5], felt), SPAN,
                loaded[1] / loaded[5], f"a loaded arc that does not rise with the radius, or a ratio above "
                f"{1 / felt.ratio:.2f}",
                f"Loaded arc {_row(loaded, 1, 'mm')}, upright, 80 kg; in the ice {_row(immersed, 1, 'mm')}."
                )  # fmt: skip


@cache
def trade_rules(felt: Felt) -> tuple[Check, ...]:
    """Every rule, in order, beside the least that can be felt; computed once per process (some seconds)."""
    steels = [single(feet) for feet in FEET]
    return *_pivots(felt), _arc(steels, felt), _glide(felt), *_steady(steels, felt), _rear_flat(felt)
