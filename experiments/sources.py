"""What a run rests on: the sources of the parts of the model that it used."""

from experiments.cases import Request

_ALWAYS = (
    "Geometry of curve, hollow and section: exact (plane curves, circle).",
    "Contact: rigid blade on ice that yields at its hardness; load balance and centre of pressure derived here.",
    "Ploughing N/(2 R w H) of a flat upright runner, the special case checked: van Leeuwen 2017, SciPost Phys. 3, 042 "
    "(constants read in a secondary table, formulas derived here).",
    "Pivot resistance, turn scrape, hold angle, tightest clean radius: rigid-plastic ice, derived here; the steering "
    "effect of a leaned rocker is named by Grzemba & Pohrt 2024, Lubricants 12, 203.",
    "Rocking stability on an elastic ankle: linear stability, derived here; passive ankle stiffness of standing people "
    "for comparison: Loram & Lakie 2002, J. Physiol. 545, 1041-1053.",
    "Body segments: foot 1.4 % of body mass: de Leva 1996, J. Biomech. 29, 1223-1230 (secondary tables).",
    "Contact damping N (1 + c d'): form of Hunt & Crossley 1975, J. Appl. Mech. 42, 440-445 (value from memory; c is "
    "an assumption of ours).",
    "Stride, start, turn and nudge histories, end sweeps, scuff coefficient: assumptions of ours, no published source.",
    "Recipes: invented for demonstration unless the request brought its own.",
    "Measured friction for comparison, never for tuning: de Koning, de Groot & van Ingen Schenau 1992, J. Biomech. 25, "
    "565-571; Federolf, Mills & Nigg 2008, J. Sports Sci. 26, 1201-1208 (values from memory). Smooth-ice theory lies "
    "30 to 45 % below measured coefficients: compare ratios, not absolute friction.",
    "Rival view of skate friction: Lever et al. 2021 and Lever & Lines 2022, J. Glaciology (ice-rich slurry instead of "
    "a water film).",
)
_REBOUND = (
    "Elastic rebound behind the deepest point: mean settlement of a uniformly loaded rectangle (Love 1929; derived "
    "here); it overstates the settlement of the real, tapering footprint by 20 to 40 %."
)
_FILM = "Melt film: shear heating, transient conduction and squeeze-out (Reynolds lubrication), derived here."
_TRACE = (
    "Reading of the trace: regression spline smoothed by restricted likelihood with its Bayesian band (Wahba 1983; "
    "Nychka 1988; cited from memory), zones by an information criterion and importance sampling; measured coverage of "
    "the 90 % intervals 84 to 98 % where zones can be told apart (tests/blade/test_reading.py)."
)


def sources(request: Request) -> list[str]:
    """One line for each source that this run used."""
    law = request.settings[0].law
    lines = [f"Ice: {source}." for source in dict.fromkeys(request.sources)]
    lines += list(_ALWAYS)
    if law.rebound and not law.standing:
        lines.append(_REBOUND)
    if law.film:
        lines.append(_FILM)
    if any(case.candidate.reading is not None for case in request.cases):
        lines.append(_TRACE)
    return lines
