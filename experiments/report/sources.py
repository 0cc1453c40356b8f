"""What a run rests on: the sources of just those parts of the model that it used."""

from collections.abc import Iterable

from experiments.request.comparison import Request
from sim.measures import REGISTRY, STATIC

GEOMETRY = "Geometry of curve, hollow and section: exact (plane curves, circle)."
INVENTED = "Recipes: invented for demonstration unless the request brought its own."
CONTACT = "Contact: rigid blade on ice that yields at its hardness; load balance and centre of pressure derived here."
REBOUND = (
    "Elastic rebound behind the deepest point: mean settlement of a uniformly loaded rectangle (Love 1929; derived "
    "here); it overstates the settlement of the real, tapering footprint by 20 to 40 %."
)
PLOUGHING = (
    "Ploughing N/(2 R w H) of a flat upright runner, the special case checked: van Leeuwen 2017, SciPost Phys. 3, 042 "
    "(constants read in a secondary table, formulas derived here)."
)
FILM = "Melt film: shear heating, transient conduction and squeeze-out (Reynolds lubrication), derived here."
MEASURED_FRICTION = (
    "Measured friction for comparison, never for tuning: de Koning, de Groot & van Ingen Schenau 1992, J. Biomech. 25, "
    "565-571; Federolf, Mills & Nigg 2008, J. Sports Sci. 26, 1201-1208 (values from memory). Smooth-ice theory lies "
    "30 to 45 % below measured coefficients: compare ratios, not absolute friction."
)
RIVAL_FRICTION = (
    "Rival view of skate friction: Lever et al. 2021 and Lever & Lines 2022, J. Glaciology (ice-rich slurry instead of "
    "a water film)."
)
SIDEWAYS = (
    "Pivot resistance, turn scrape, hold angle, tightest clean radius: rigid-plastic ice, derived here; the steering "
    "effect of a leaned rocker is named by Grzemba & Pohrt 2024, Lubricants 12, 203."
)
SCUFF = "Scuff coefficient of a blade that twists or scrapes: an assumption of ours, no published source."
ROCKING = (
    "Rocking stability on an elastic ankle: linear stability, derived here; passive ankle stiffness of standing people "
    "for comparison: Loram & Lakie 2002, J. Physiol. 545, 1041-1053."
)
SEGMENTS = "Body segments: foot 1.4 % of body mass: de Leva 1996, J. Biomech. 29, 1223-1230 (secondary tables)."
DAMPING = (
    "Contact damping N (1 + c d'): form of Hunt & Crossley 1975, J. Appl. Mech. 42, 440-445 (value from memory; c is "
    "an assumption of ours)."
)
HISTORIES = "Stride, start, turn and nudge histories: assumptions of ours, no published source."
ENDS = "Turned-up ends of the runner: assumptions of ours, no published source."
TRACE_READING = (
    "Reading of the trace: regression spline smoothed by restricted likelihood with its Bayesian band (Wahba 1983; "
    "Nychka 1988; cited from memory), zones by an information criterion and importance sampling; measured coverage of "
    "the 90 % intervals 84 to 98 % where zones can be told apart (tests/blade/test_reading.py)."
)
# words in a measure's name that say which part of the model it comes from
_OF_SIDEWAYS = ("pivot", "turn_scrape", "turn_drag", "clean_radius", "hold_angle", "turn_exit_speed", "turn_time")
_OF_SCUFF = ("pivot",)
_OF_FILM = ("drag", "film", "loss", "turn_exit_speed", "turn_time")
_OF_DRAG = (*_OF_FILM, "ploughing")
_OF_ROCKING = ("critical_ankle_stiffness",)


def cite(request: Request, measures: Iterable[str], scenarios: Iterable[str] = ()) -> list[str]:
    """One line for each source that a run used which took these measures and rolled these movements."""
    names, rolled, law = tuple(measures), tuple(scenarios), request.settings[0].law
    on_ice = bool(rolled) or any(REGISTRY[name].state != "blade" for name in names)
    drags, shears = (bool(rolled) or _any(names, words) for words in (_OF_DRAG, _OF_FILM))
    used = {
        GEOMETRY: True,
        CONTACT: on_ice,
        REBOUND: on_ice and bool(law.rebound) and not law.standing,
        PLOUGHING: drags,
        FILM: shears and bool(law.film),
        MEASURED_FRICTION: drags,
        RIVAL_FRICTION: shears and bool(law.film),
        SIDEWAYS: _any(names, _OF_SIDEWAYS) or "tight_turn" in rolled,
        SCUFF: _any(names, _OF_SCUFF),
        ROCKING: _any(names, _OF_ROCKING),
        SEGMENTS: bool(rolled) or _any(names, _OF_ROCKING),
        DAMPING: bool(rolled),
        HISTORIES: bool(rolled),
        ENDS: any(c.recipe.heel_sweep.length_m or c.recipe.toe_sweep.length_m for c in request.candidates),
        TRACE_READING: any(case.candidate.reading is not None for case in request.cases),
        INVENTED: True,
    }
    ice = [f"Ice: {source}." for source in dict.fromkeys(request.sources)] if on_ice else []
    return ice + [line for line, is_used in used.items() if is_used]


def cite_statics(request: Request) -> list[str]:
    """The sources of a run that took all static measures and rolled nothing."""
    return cite(request, STATIC)


def _any(names: tuple[str, ...], words: tuple[str, ...]) -> bool:
    return any(word in name for name in names for word in words)
