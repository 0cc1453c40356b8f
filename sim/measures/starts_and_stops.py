"""The rest of the game: starts, stops, fast turns, from edge to edge and from heel to forefoot."""

import math

from sim.ice import scrape, sideways
from sim.measures.registry import IN_DEG, IN_MM, measure, travel
from sim.skater import body
from sim.trial import FINE, Trial


@measure("1", "share of a start push lost to the ice", "start_push", "lower", "gets away well", ("%", 100.0))
def start_loss_share(t: Trial) -> float:
    """D cot(delta)/(N sin(lean)): drag along the blade over what the push drives forward (derived here).

    The blade points delta away from the travel; the push N sin(lean) acts across it and drives N sin(lean) sin(delta)
    forward, while the drag D along it takes D cos(delta).
    """
    state = t.state("start_push")
    driven = t.load("start_push") * math.sin(state.lean_rad) * math.tan(state.turned_out_rad)
    return sum(t.drag("start_push")) / driven


@measure("rad", "hold angle at a start push", "start_push", "higher", "starts hard without slipping", IN_DEG)
def start_hold_angle(t: Trial) -> float:
    """How far the push of a start may tilt outward of the leg axis before the edge lets go."""
    return sideways.hold_angle(t.steel, t.ice_at("start_push"), t.law_at("start_push"), t.patch("start_push"), *FINE)


@measure("J", "ice loss per start step", "start", "lower", "gets away well")
def start_ice_loss(t: Trial) -> float:
    """Work lost to ploughing, film and rough ice through one step of a start."""
    return float(t.finished("start")["ice_loss"][-1])


@measure("m", "travel of the centre of pressure in a start step", "start", "neither", "how far the load moves", IN_MM)
def start_balance_travel(t: Trial) -> float:
    """Range of the centre of pressure through a step of a start, while loaded."""
    return travel(t, "start", "balance_position")


@measure("rad", "pitch travel in a start step", "start", "neither", "how far the foot rocks", IN_DEG)
def start_pitch_travel(t: Trial) -> float:
    """Range of pitch through a step of a start, while loaded."""
    return travel(t, "start", "pitch")


@measure("m/s^2", "deceleration of a stop", "stop", "higher", "stops sooner", short="stop")
def stop_deceleration(t: Trial) -> float:
    """g tan(lean + bite): both blades across the travel, sliding outward over fresh ice (`sideways.brake`)."""
    return body.GRAVITY * math.tan(t.state("stop").lean_rad + t.bite)


@measure("N m", "moment to turn the blade across", "stop_across", "lower", "gets into the stop easily")
def stop_across_moment(t: Trial) -> float:
    """Moment about the foot that turns a lightly loaded blade across the travel, toe inward."""
    return t.across("stop_across")


@measure("N", "drag in a fast turn", "fast_turn", "lower", "keeps speed in a fast turn")
def fast_turn_drag(t: Trial) -> float:
    """Ploughing, film, rough ice and scrape of a fast turn together."""
    return sum(t.drag("fast_turn")) + t.scrape("fast_turn")


@measure("rad", "hold angle in a fast turn", "fast_turn", "higher", "holds a fast turn", IN_DEG)
def fast_turn_hold_angle(t: Trial) -> float:
    """How far the load may tilt outward of the leg axis in a fast turn before the edge lets go."""
    return sideways.hold_angle(t.steel, t.ice_at("fast_turn"), t.law_at("fast_turn"), t.patch("fast_turn"), *FINE)


@measure("s", "time to react in a fast turn", "fast_turn", "higher", "is steady in a fast turn")
def fast_turn_reaction_delay(t: Trial) -> float:
    """As the time to react in the glide, under the load and on the edge of a fast turn.

    For equal effective radius it is the glide's times sqrt(cos(lean)): not a second vote for the same thing.
    """
    return body.critical_reaction_delay(t.setting.skater, t.load("fast_turn"), t.effective_radius("fast_turn"))


@measure("1", "fast turn over the tightest clean radius", "fast_turn", "higher", "has room to turn tighter at speed")
def fast_turn_clean_margin(t: Trial) -> float:
    """Path radius over the tightest clean radius; 0 where there is no clean radius."""
    return t.state("fast_turn").path_radius_m / scrape.tightest_clean_radius(t.steel, t.patch("fast_turn"))


@measure("m/s", "exit speed of the fast turn", "turn_at_speed", "higher", "keeps speed in a fast turn")
def fast_turn_exit_speed(t: Trial) -> float:
    """Speed at the end of the stated path of the rolled fast turn."""
    return t.finished("turn_at_speed").at_path_end()[1]


@measure("s", "time from edge to edge", "edge_change", "lower", "changes edges quickly", short="edge to edge")
def edge_change_time(t: Trial) -> float:
    """Least time from one edge to the other by steering without scrape (`body.edge_change_time`)."""
    state, patch = t.state("edge_change"), t.patch("edge_change")
    hold = math.nan
    if t.setting.skater.stiff_body:
        hold = sideways.hold_angle(t.steel, t.ice_at("edge_change"), t.law_at("edge_change"), patch, *FINE)
    return body.edge_change_time(
        t.setting.skater, state.lean_rad, state.speed_m_s, scrape.tightest_clean_radius(t.steel, patch), hold
    )


@measure("rad", "pitch from heel to forefoot", "pivot_forefoot", "neither", "how far the foot must rock", IN_DEG)
def transfer_pitch(t: Trial) -> float:
    """Pitch standing on the forefoot less pitch standing on the heel, at the two pivot states."""
    return t.patch("pivot_forefoot").beta - t.patch("pivot_heel").beta


@measure("rad", "leg swing from heel to forefoot", "pivot_forefoot", "lower", "moves onto the toes quickly", IN_DEG)
def transfer_lean(t: Trial) -> float:
    """How far the leg must swing to bring the load from the heel to the forefoot: pitch + N dx/K (derived here).

    dx: between the two pivot states' load lines; N: mean of their loads; K: ankle stiffness.
    """
    fore, heel = t.state("pivot_forefoot"), t.state("pivot_heel")
    load = 0.5 * (t.load("pivot_forefoot") + t.load("pivot_heel"))
    return transfer_pitch(t) + load * (fore.line_m - heel.line_m) / t.setting.skater.ankle_stiffness
