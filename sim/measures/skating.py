"""What a blade does straight ahead, twisted, in a tight turn and in a push."""

import math

from sim.ice import scrape, sideways
from sim.measures.registry import IN_DEG, IN_MM, IN_UM, measure
from sim.trial import FINE, Trial

GLIDE_SLOW_M_S, GLIDE_MEDIUM_M_S = 2.0, 5.0  # beside the speed of the glide state: whether a ranking holds slower


@measure("1", "glide drag coefficient", "glide", "lower", "glides further", short="glide drag")
def glide_drag_coefficient(t: Trial) -> float:
    """(F_p + F_v + mu_r N)/N of a straight glide. The level rests on an assumed roughness; compare ratios."""
    return sum(t.drag("glide")) / t.load("glide")


@measure("1", "glide drag coefficient at 2 m/s", "glide", "lower", "glides further")
def glide_slow_drag_coefficient(t: Trial) -> float:
    """As the glide drag coefficient, at 2 m/s."""
    return sum(t.drag("glide", GLIDE_SLOW_M_S)) / t.load("glide")


@measure("1", "glide drag coefficient at 5 m/s", "glide", "lower", "glides further")
def glide_medium_drag_coefficient(t: Trial) -> float:
    """As the glide drag coefficient, at 5 m/s."""
    return sum(t.drag("glide", GLIDE_MEDIUM_M_S)) / t.load("glide")


@measure("1", "glide ploughing coefficient", "glide", "lower", "glides further")
def glide_ploughing_coefficient(t: Trial) -> float:
    """F_p/N of a straight glide."""
    return t.drag("glide")[0] / t.load("glide")


@measure("1", "glide film coefficient", "glide", "lower", "glides further")
def glide_film_coefficient(t: Trial) -> float:
    """F_v/N of a straight glide."""
    return t.drag("glide")[1] / t.load("glide")


@measure(
    "1", "glide rough-ice coefficient", "glide", "neither", "the same for every blade: ice, not steel", signed=True
)
def glide_rough_coefficient(t: Trial) -> float:
    """mu_r: drag of ice that is not smooth, over the load; an assumption of ours, no source."""
    return t.drag("glide")[2] / t.load("glide")


@measure("m", "glide loaded arc", "glide", "neither", "longer is steadier, shorter turns", IN_MM)
def glide_loaded_arc(t: Trial) -> float:
    """Length over which the ice presses on the steel."""
    return t.patch("glide").front - t.patch("glide").rear


@measure("m", "glide immersed arc", "glide", "neither", "longer is steadier, shorter turns", IN_MM)
def glide_immersed_arc(t: Trial) -> float:
    """Length of steel below the ice surface."""
    return t.patch("glide").front - t.patch("glide").tail


@measure("m", "glide groove depth", "glide", "lower", "cuts less ice", IN_UM)
def glide_groove_depth(t: Trial) -> float:
    """Depth of the groove along the leg axis."""
    return t.patch("glide").depth


@measure("1", "glide load on the inside edge", "glide", "neither", "half when the edges are level", ("%", 100.0))
def glide_inside_share(t: Trial) -> float:
    """Share of the glide load on the inside half of the thickness; 1/2 for level edges."""
    return sideways.inside_share(t.steel, t.ice_at("glide"), t.law_at("glide"), t.patch("glide"), *FINE)


@measure("rad", "glide pitch", "glide", "neither", "toe-down is positive", IN_DEG, signed=True)
def glide_pitch(t: Trial) -> float:
    """Pitch at which the glide load line is reached."""
    return t.patch("glide").beta


def _pivot(foot: str, way: str, held: bool) -> None:
    """Register one pivot resistance: `foot` forefoot or heel, toe turned `way` in or out, about the foot or freely."""
    place = 2 * held + (way == "out")

    def resistance(t: Trial) -> float:
        return t.pivots(f"pivot_{foot}")[place]

    resistance.__name__ = f"pivot_{foot}_toe_{way}{'_held' * held}"
    about = "about the centre of pressure, as in a sudden twist" if held else "about the centre that resists least"
    resistance.__doc__ = f"Moment about the leg axis to turn the toe {way}ward, standing on the {foot}, {about}."
    label = f"pivot on {foot}{' about the foot' * held}, toe {way}"
    short = {"forefoot": "pivot toe", "heel": "pivot heel"}[foot] if way == "in" and not held else ""
    measure("N m", label, f"pivot_{foot}", "lower", "pivots easily", short=short)(resistance)


for _held in (False, True):
    for _foot in ("forefoot", "heel"):
        for _way in ("in", "out"):
            _pivot(_foot, _way, _held)


@measure("rad", "turn lean", "turn", "neither", "set by speed and path", IN_DEG)
def turn_lean(t: Trial) -> float:
    """Lean of the steady turn, atan(v^2/(g rho))."""
    return math.atan(t.patch("turn").t)


@measure("m", "turn loaded arc", "turn", "neither", "longer holds, shorter turns", IN_MM)
def turn_loaded_arc(t: Trial) -> float:
    """Length over which the ice presses on the steel in the turn."""
    return t.patch("turn").front - t.patch("turn").rear


@measure("m", "turn immersed arc", "turn", "neither", "longer holds, shorter turns", IN_MM)
def turn_immersed_arc(t: Trial) -> float:
    """Length of steel below the ice surface in the turn."""
    return t.patch("turn").front - t.patch("turn").tail


@measure("N", "turn ploughing", "turn", "lower", "keeps speed in the turn")
def turn_ploughing(t: Trial) -> float:
    """Ploughing along the blade in the turn."""
    return t.drag("turn")[0]


@measure("N", "turn scrape", "turn", "lower", "follows a tight path cleanly")
def turn_scrape(t: Trial) -> float:
    """Force to sweep the ice that the blade's own track does not clear."""
    return t.scrape("turn")


@measure("N", "turn drag", "turn", "lower", "keeps speed in the turn", short="turn drag")
def turn_drag(t: Trial) -> float:
    """Ploughing, film, rough ice and scrape of the turn together."""
    return sum(t.drag("turn")) + t.scrape("turn")


@measure("m", "tightest clean radius", "turn", "lower", "turns tightly without scrape", short="clean radius")
def turn_tightest_clean_radius(t: Trial) -> float:
    """Smallest path radius at the turn's lean that the immersed arc follows without scrape."""
    return scrape.tightest_clean_radius(t.steel, t.patch("turn"))


@measure("m/s", "exit speed of the tight turn", "tight_turn", "higher", "keeps speed in the turn")
def turn_exit_speed(t: Trial) -> float:
    """Speed at the end of the stated path."""
    return t.finished("tight_turn").at_path_end()[1]


@measure("s", "time of the tight turn", "tight_turn", "lower", "keeps speed in the turn")
def turn_time(t: Trial) -> float:
    """Time over the stated path."""
    return t.finished("tight_turn").at_path_end()[0]


@measure("rad", "hold angle at push", "push", "higher", "pushes hard without slipping", IN_DEG, short="push hold")
def push_hold_angle(t: Trial) -> float:
    """How far the push may tilt outward of the leg axis before the edge lets go."""
    return sideways.hold_angle(t.steel, t.ice_at("push"), t.law_at("push"), t.patch("push"), *FINE)


@measure("m", "groove depth at push", "push", "neither", "deeper holds, shallower costs less", IN_UM)
def push_groove_depth(t: Trial) -> float:
    """Depth of the groove along the leg axis at the push."""
    return t.patch("push").depth
