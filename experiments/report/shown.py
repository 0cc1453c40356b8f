"""Where each measure is shown: terminal, figures, pages, sheet. The one list; what is forgotten here fails a test."""

from sim.measures import REGISTRY

# what a person at the counter asks first, as ratios to the reference; then values of which a ratio means nothing
TERMINAL = (
    "glide_drag_coefficient", "stride_ice_loss", "pivot_forefoot_toe_in", "pivot_heel_toe_in", "turn_drag",
    "turn_tightest_clean_radius", "push_hold_angle", "critical_ankle_stiffness", "nudge_settling_time",
)  # fmt: skip
TERMINAL_VALUES = ("heel_over_toe", "steel_removed_depth")
# bars of the comparison's figure of measures
FIGURE = (
    "glide_drag_coefficient", "glide_slow_drag_coefficient", "glide_loaded_arc", "pivot_forefoot_toe_in",
    "pivot_forefoot_toe_in_held", "pivot_heel_toe_in", "turn_drag", "turn_scrape", "turn_tightest_clean_radius",
    "push_hold_angle", "critical_ankle_stiffness", "critical_reaction_delay",
    "nudge_settling_time", "stride_ice_loss", "start_loss_share", "stop_deceleration", "stop_across_moment",
    "fast_turn_drag", "edge_change_time", "transfer_lean",
)  # fmt: skip
# what one blade gives against another, in findings and over a range of sizes
COMPARED = (
    "glide_drag_coefficient", "glide_medium_drag_coefficient", "glide_slow_drag_coefficient", "pivot_forefoot_toe_in",
    "pivot_forefoot_toe_in_held", "pivot_heel_toe_in", "turn_drag", "turn_tightest_clean_radius",
    "critical_ankle_stiffness", "critical_reaction_delay", "push_hold_angle", "start_loss_share", "start_hold_angle",
    "stop_deceleration", "stop_across_moment", "fast_turn_drag", "fast_turn_hold_angle", "edge_change_time",
    "transfer_lean",
)  # fmt: skip
SIZES = (
    "glide_drag_coefficient", "pivot_forefoot_toe_in", "pivot_heel_toe_in", "turn_drag", "turn_tightest_clean_radius",
    "push_hold_angle", "critical_ankle_stiffness",
)  # fmt: skip
# page 2 of the sheet: static measures with intervals, measures of rolled movements, what uneven edges change
SHEET = (
    "glide_drag_coefficient", "glide_medium_drag_coefficient", "glide_slow_drag_coefficient", "glide_loaded_arc",
    "glide_groove_depth", "pivot_forefoot_toe_in", "pivot_forefoot_toe_out", "pivot_heel_toe_in", "pivot_heel_toe_out",
    "pivot_forefoot_toe_in_held", "pivot_heel_toe_in_held", "turn_loaded_arc", "turn_scrape", "turn_drag",
    "turn_tightest_clean_radius", "push_hold_angle", "critical_ankle_stiffness", "critical_reaction_delay",
    "start_loss_share", "start_hold_angle", "stop_deceleration", "stop_across_moment", "fast_turn_drag",
    "fast_turn_hold_angle", "edge_change_time", "transfer_lean",
)  # fmt: skip
SHEET_ROLLED = (
    "turn_exit_speed", "turn_time", "stride_ice_loss", "stride_balance_travel", "stride_pitch_travel", "nudge_shift",
    "nudge_settling_time", "start_ice_loss", "fast_turn_exit_speed",
)  # fmt: skip
SHEET_EDGES = (
    "push_hold_angle", "pivot_forefoot_toe_in", "turn_drag", "turn_tightest_clean_radius", "glide_inside_share",
)  # fmt: skip
# kept in the tables of a run folder only, and why
TABLES_ONLY = {
    "glide_ploughing_coefficient": "part of the glide drag", "glide_film_coefficient": "part of the glide drag",
    "glide_rough_coefficient": "the same for every blade", "pivot_forefoot_toe_out_held": "beside toe in",
    "pivot_heel_toe_out_held": "beside toe in",
    "glide_immersed_arc": "beside the loaded arc", "glide_pitch": "shown as heel over toe",
    "pitch_bias": "shown as heel over toe", "turn_lean": "set by speed and path", "turn_ploughing": "part of turn drag",
    "turn_immersed_arc": "beside the loaded arc", "push_groove_depth": "beside the hold angle",
    "start_balance_travel": "beside the stride's", "start_pitch_travel": "beside the stride's",
    "fast_turn_reaction_delay": "the glide's over again", "transfer_pitch": "part of the leg swing",
    "fast_turn_clean_margin": "beside the tightest clean radius",
    "steel_removed_area": "beside the depth",
}  # fmt: skip
PLACES = {
    "terminal": (*TERMINAL, *TERMINAL_VALUES), "figure": FIGURE, "findings": COMPARED, "sizes": SIZES,
    "sheet": (*SHEET, *SHEET_ROLLED, *SHEET_EDGES), "tables only": tuple(TABLES_ONLY),
}  # fmt: skip
# how a static state and a movement read in figures
STATE_LABELS = {
    "glide": "straight glide", "pivot_forefoot": "pivot on the forefoot", "pivot_heel": "pivot on the heel",
    "turn": "tight turn", "push": "push", "start_push": "start", "stop": "stop",
    "stop_across": "turning across to stop", "fast_turn": "fast turn", "edge_change": "change of edges",
}  # fmt: skip


def heading(name: str) -> str:
    """The short label of a measure as a column heading of two lines."""
    return REGISTRY[name].short.replace(" ", "\n", 1)
