"""The shipped opinions as literal numbers: tests of judgements read no config; that it says the same is one test."""

import math

from experiments.request.opinions import Measurement, Opinions

OPINIONS = Opinions(
    price_of_a_visit=1.005, price_per_mm=1.02, regrind_from=0.9, probably_from=0.7, leave_up_to=0.3,
    no_difference_within=0.01, no_difference_from=0.9, complaint_worse_by=0.02, complaint_harm_up_to=0.1,
    complaint_helped_from=0.5, complaint_main_from=0.5, weight_doubt=30.0, cap=0.05, veto_cap=0.02, cap_harm_up_to=0.1,
    worth_saying_from=0.01, wish_yes_from=0.9, wish_no_up_to=0.1, felt_ratio=1.05,
    felt_height=1e-3, beaten_from=0.9, taste_below=0.05, line_within=0.005,
    line_sure=0.95, line_mostly=0.9, settles_from=0.5,
    measurements=(
        Measurement("ask_the_skater", ("weights",), math.nan, 0.5, ""),
        Measurement("stance", ("glide_line_shift", "turn_line_shift", "push_line_shift", "pivot_line_shift"), 3e-3,
                    math.nan, ""),
        Measurement("hardness", ("hardness_factor",), 0.06, math.nan, ""),
        Measurement("glide_downs", ("glide_drag_coefficient",), 0.02, math.nan, ""),
        Measurement("ice_temperature", ("temperature_shift",), 0.3, math.nan, ""),
    ),
)  # fmt: skip
