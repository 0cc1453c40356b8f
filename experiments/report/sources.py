"""What a run rests on: the sources of just those parts of the model that it used."""

from collections.abc import Iterable

from experiments.request.comparison import Request
from sim.ice.rebound import HALF_SPACE, RECTANGLE
from sim.measures import REGISTRY, STATIC

GEOMETRY = "Geometry of curve, hollow and section: exact (plane curves, circle)."
INVENTED = "Recipes: invented for demonstration unless the request brought its own."
CONTACT = "Contact: blade on ice that yields at its hardness; load balance and centre of pressure derived here."
RECTANGLE_REBOUND = (
    "Elastic rebound behind the deepest point: mean settlement of a uniformly loaded rectangle (Love 1929; derived "
    "here); against solutions of the half-space it returns 20 to 95 % too much work."
)
REBOUND = (
    "Elastic rebound behind the deepest point: elastic half-space, form derived here, two numbers fitted to solutions "
    "of the half-space problem (kernel of Love 1929) and held to them within 5 % of the work returned and of the rear "
    "load (tests/ice); the share that the ice gives back is an assumption of ours."
)
BENDING = (
    "Bending of the runner between the supports of its holder: beam theory (any text), steel 200 GPa; effective span "
    "and height are assumptions of ours unless they are stated."
)
UNDER_PRESSURE = (
    "Melting temperature under pressure: IAPWS R14-08(2011), ice Ih, by a fit within 1.1e-4 K; heat into the steel is "
    "an assumption of ours."
)
ROUGH = (
    "Rough-ice friction, the same for every blade: an assumption of ours without a source, of the size of the gap "
    "between smooth-ice theory and measurements. It dilutes every ratio of drag."
)
RATE = "Hardness that grows with the rate of pressing: a power law, a model form of ours."
PLOUGHING = (
    "Ploughing N/(2 R w H) of a flat upright runner, the special case checked: van Leeuwen 2017, SciPost Phys. 3, 042 "
    "(constants read in a secondary table, formulas derived here)."
)
FILM = "Melt film: shear heating, transient conduction and squeeze-out (Reynolds lubrication), derived here."
MEASURED_FRICTION = (
    "Measured friction for comparison: de Koning, de Groot & van Ingen Schenau 1992, J. Biomech. 25, 565-571; "
    "Federolf, Mills & Nigg 2008, J. Sports Sci. 26, 1201-1208 (values from memory). Theory of smooth ice lies well "
    "below them (experiment=validation): compare ratios, not absolute friction."
)
RIVAL_FRICTION = (
    "Rival view of skate friction: Lever et al. 2021 and Lever & Lines 2022, J. Glaciology (ice-rich slurry instead of "
    "a water film)."
)
SIDEWAYS = (
    "Pivot resistance, turn scrape, hold angle, tightest clean radius: rigid-plastic ice, derived here; the steering "
    "effect of a leaned rocker is named by Grzemba & Pohrt 2024, Lubricants 12, 203."
)
STOPS = (
    "Starts, stops, fast turns: the same ice with its own balance of forces; roll from edge to edge: an inverted "
    "pendulum on a steered base (any text); derived here. Leans, speeds and loads of these states are assumptions of "
    "ours, no published source."
)
SCUFF = "Scuff coefficient of a blade that twists or scrapes: an assumption of ours, no published source."
ROCKING = (
    "Rocking stability on an elastic ankle: linear stability, derived here; passive ankle stiffness of standing "
    "people: 0.91 +- 0.23 of what balance needs (Loram & Lakie 2002, J. Physiol. 545, 1041-1053; abstract read), "
    "less for larger sway (Loram, Maganaris & Lakie 2007, J. Physiol. 584, 661-675; abstract read)."
)
REACTION = (
    "Longest delay that a delayed proportional-derivative control can have: Stepan 2009, Phil. Trans. R. Soc. A 367, "
    "1195-1212 (value from memory), applied to skater and rocker here."
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
    "the 90 % intervals 83 to 98 % where zones can be told apart (tests/blade/test_reading.py)."
)
# words in a measure's name that say which part of the model it comes from
_OF_SIDEWAYS = (
    "pivot",
    "turn_scrape",
    "turn_drag",
    "clean_radius",
    "hold_angle",
    "turn_exit_speed",
    "turn_time",
    "stop_",
    "edge_change",
)
_OF_SCUFF = ("pivot", "stop_")
_OF_STOPS = ("start_", "stop_", "fast_turn", "edge_change", "transfer")
_OF_FILM = ("drag", "film", "loss", "turn_exit_speed", "turn_time")
_OF_DRAG = (*_OF_FILM, "ploughing")
_OF_ROCKING = ("critical_ankle_stiffness", "reaction_delay")
_OF_REACTION = ("reaction_delay",)
_OF_ROUGH = (*_OF_DRAG[:2], "rough", *_OF_FILM[2:])
_OF_RATE = (
    "glide",
    "turn",
    "critical",
    "pitch_bias",
    "heel_over_toe",
    "start_",
    "edge_change",
)  # measures of states that have a speed


def cite(request: Request, measures: Iterable[str], scenarios: Iterable[str] = ()) -> list[str]:
    """One line for each source that a run used which took these measures and rolled these movements."""
    names, rolled, law = tuple(measures), tuple(scenarios), request.settings[0].law
    on_ice = bool(rolled) or any(REGISTRY[name].state != "blade" for name in names)
    drags, shears = (bool(rolled) or _any(names, words) for words in (_OF_DRAG, _OF_FILM))
    used = {
        GEOMETRY: True,
        CONTACT: on_ice,
        REBOUND: on_ice and law.rebound == HALF_SPACE and not law.standing,
        RECTANGLE_REBOUND: on_ice and law.rebound == RECTANGLE and not law.standing,
        BENDING: on_ice and bool(law.bending) and any(c.section.span_m > 0 for c in request.candidates),
        RATE: law.rate > 0 and _any(names, _OF_RATE),
        PLOUGHING: drags,
        FILM: shears and bool(law.film),
        UNDER_PRESSURE: shears and bool(law.film) and bool(law.melting or law.sink),
        ROUGH: law.rough > 0 and (bool(rolled) or _any(names, _OF_ROUGH)),
        MEASURED_FRICTION: drags,
        RIVAL_FRICTION: shears and bool(law.film),
        SIDEWAYS: _any(names, _OF_SIDEWAYS) or bool({"tight_turn", "turn_at_speed"} & set(rolled)),
        STOPS: _any(names, _OF_STOPS),
        SCUFF: _any(names, _OF_SCUFF),
        ROCKING: _any(names, _OF_ROCKING),
        REACTION: _any(names, _OF_REACTION),
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
