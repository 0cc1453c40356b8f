"""What a recommendation says: a sentence only where its interval holds, in words that a parent understands."""

import math
from collections.abc import Mapping, Sequence

import numpy as np

from experiments.analysis.draws import Draws, intervals
from experiments.analysis.judging.decide import Answer, Decision
from experiments.analysis.judging.intervals import clear, excludes, large_change, side, worth_saying
from experiments.analysis.judging.ratios import ratios
from experiments.report.words import (
    SIDE,
    interval_text,
    number_text,
    ratio_interval_text,
    ratio_text,
    size_text,
)
from experiments.request.objectives import Weighting
from experiments.request.opinions import Opinions
from experiments.studies.recommend.rehearsal import Counts, in_100
from sim.measures import REGISTRY, STATIC

# measure: what the skater feels when it falls, when it rises, and its plain name
FEEL = {
    "pivot_forefoot_toe_in": ("Pivots easier on the toes", "Pivots with more effort on the toes", "pivot on the toes"),
    "pivot_heel_toe_in": ("Pivots easier on the heel", "Pivots with more effort on the heel", "pivot on the heel"),
    "turn_tightest_clean_radius": ("Follows a tighter turn before it scrapes", "Scrapes earlier in a tight turn",
                                   "tightest turn"),
    "turn_drag": ("Drags less in a tight turn", "Drags more in a tight turn", "drag in a turn"),
    "glide_drag_coefficient": ("Glides further", "Glides less far", "glide"),
    "push_hold_angle": ("Lets go earlier in the push", "Holds better in the push", "hold in the push"),
    "critical_ankle_stiffness": ("Steadier fore and aft", "Less steady fore and aft", "steadiness"),
    "start_loss_share": ("Loses less in the first steps", "Loses more in the first steps", "start loss"),
    "pivot_forefoot_toe_out": ("Turns the toes out easier", "Turns the toes out with more effort",
                               "turning the toes out"),
    "start_hold_angle": ("Lets go earlier in the first steps", "Holds better in the first steps",
                         "start hold"),
    "stop_across_moment": ("Swings across easier to stop", "Swings across with more effort to stop",
                           "swinging across to stop"),
    "stop_deceleration": ("Stops less hard", "Stops harder", "stopping"),
    "fast_turn_drag": ("Drags less in a fast turn", "Drags more in a fast turn", "drag in a fast turn"),
    "fast_turn_hold_angle": ("Lets go earlier in a fast turn", "Holds better in a fast turn", "hold in a fast turn"),
    "edge_change_time": ("Quicker from edge to edge", "Slower from edge to edge", "edge to edge"),
    "transfer_lean": ("Quicker from heel to toe", "Slower from heel to toe", "heel to toe"),
}  # fmt: skip
HEADLINES = {
    "makes_no_difference": "nothing on the list makes a difference for the better that one feels",
    "below_the_price": "what a new curve might gain is not worth the steel and the visit",
    "better_as_it_is": "nothing on the list is better for this skater",
    "nothing_helps_without_harm": "nothing on the list helps without making a complaint worse",
    "nothing_can_be_ground": "nothing on the list can be ground out of this blade here",
}  # reasons of a verdict to leave it
Ratios = Mapping[str, np.ndarray | None]  # measure: 5, 50, 95 % of its ratio to the present blade


def number(draws: Draws, scheme: Weighting, name: str, index: int) -> dict:
    """A measure of a blade beside the blade as measured, as page 2 shows it."""
    measure, ratio = REGISTRY[name], ratios(draws, name, index)
    now, then = (measure.to_shown(intervals(draws.values[:, i, STATIC.index(name)])) for i in (0, index))
    if ratio is None:  # some blade has no such number: said, not hidden
        ratio = np.full(3, np.nan)
    way = scheme.better.get(name, measure.better)
    better = {"lower": "less is better", "higher": "more is better"}[way]
    return {
        "measure": name, "label": measure.label, "unit": measure.shown_unit,
        "now": number_text(now[1]), "then": number_text(then[1]), "then_interval": interval_text(then),
        "ratio": ratio_text(ratio[1]), "ratio_interval": ratio_interval_text(ratio),
        "better": f"{better}: {measure.whom}", "clear": clear(ratio), "way": SIDE[side(ratio, way)],
    }  # fmt: skip


def feel(found: Ratios, opinions: Opinions) -> tuple[list[str], list[str], list[str]]:
    """(gains, drawbacks, the rest) of a blade against the present one, the largest first.

    A gain or a drawback is clear, its interval on one side of no change, and of 1 % or more; the rest says which are
    hardly changed, and which are too close to call because their interval includes no change.
    """
    sided: dict[str, list[tuple[float, str]]] = {"better": [], "worse": []}
    small, close = [], []
    for name, words in FEEL.items():
        ratio = found.get(name)
        if ratio is None:
            continue
        if worth_saying(ratio, opinions):
            text = f"{words[int(ratio[1] > 1)]}: {size_text(ratio)}"
            sided[side(ratio, REGISTRY[name].better)].append((abs(math.log(ratio[1])), text))
        else:
            (small if clear(ratio) else close).append(words[2])
    rest = (
        [f"Hardly changed (less than {100 * opinions.worth_saying_from:.0f} %): {', '.join(small)}."] if small else []
    )
    rest += [f"Too close to call: {', '.join(close)}."] if close else []
    gains, drawbacks = ([text for _, text in sorted(sided[way], reverse=True)] for way in ("better", "worse"))
    return gains, drawbacks, rest


def adapting(advised: bool, found: Ratios) -> str:
    """How long to get used to it: by the greatest change that is clear."""
    if not advised:
        return "Nothing to get used to: the curve stays."
    words = "several sessions" if large_change([found.get(name) for name in FEEL]) else "a session or two"
    return f"Expect {words} before it feels familiar (common practice, no published source)."


# ---------------------------------------------------------------- the verdict


def headline(decision: Decision, names: Sequence[str], how: str, refreshed: int = 0) -> str:
    """One line of a verdict. names: of the blades of the decision; how: to make the measurement to name, or empty."""
    found = decision.verdict
    if found.kind == "regrind":
        return "Grind the same curve again" if found.best == refreshed else f"Regrind to {names[found.best]}"
    if found.kind == "probably":
        name = capital(names[found.best])
        return f"{name} is probably better, {tenths(found.better)}: worth a try for those who want one"
    if found.kind == "leave":
        return f"Leave it: {HEADLINES[found.reason]}"
    if how:
        return f"Cannot tell yet: first {how}"
    return "Cannot tell, and no single measurement would settle it: leave it"


def plain(decision: Decision, names: Sequence[str], ends: str, both: bool) -> list[str]:
    """Sentences under the headline. ends: what is to be said where the list ends; both: of a pair with one curve."""
    found, out = decision.verdict, []
    if found.best >= 0 and (decision.advised or found.kind == "cannot_tell"):
        better, paid = round(100 * found.better), round(100 * found.pays)
        out.append(
            f"Of 100 trial calculations, each with other ice, stance and wishes within what a shop cannot know, "
            f"{names[found.best]} comes out better for the stated use in {better}, and earns its steel and the visit "
            f"in {paid}."
        )
    if found.removed >= 0:
        passed = capital(names[found.removed])
        out.append(f"{passed} would suit the rest of the use best, but makes a complaint worse: not advised.")
    if decision.advised and len(decision.order) > 1:
        out.append(_runner_up(decision, names))
    if ends and found.kind != "leave":
        out.append(ends)
    if both:
        out.append("Both blades get one curve: every number is the mean of the two.")
    return out


def _runner_up(decision: Decision, names: Sequence[str]) -> str:
    best, second = decision.order[:2]
    apart = intervals(decision.scores[:, best] - decision.scores[:, second])
    if np.isfinite(apart).all() and excludes(apart):
        worth = "is not as good" if apart[1] > 0 else "is better, but not by what its steel costs"
        return f"The runner-up, {names[second]}, {worth}."
    return f"Against the runner-up, {names[second]}, it is too close to call."


def capital(text: str) -> str:
    """With a capital at its start."""
    return text[:1].upper() + text[1:]


def tenths(share: float) -> str:
    """A share as people say a chance: about 8 in 10."""
    return f"about {round(10 * share)} in 10"


def list_ends(radii_m: Sequence[float], every: Sequence[Sequence[float]]) -> str:
    """What is to be said of a blade that stands where the list ends. radii_m: its own, every: those of all the list."""
    shortest, longest = (end(r for radii in every for r in radii) for end in (min, max))
    if math.isclose(min(radii_m), shortest, rel_tol=1e-6) and not math.isclose(shortest, longest, rel_tol=1e-6):
        return "Your list ends there: it has no shorter radius, which might do still better."
    if math.isclose(max(radii_m), longest, rel_tol=1e-6) and not math.isclose(shortest, longest, rel_tol=1e-6):
        return "Your list ends there: it has no longer radius, which might do still better."
    return ""


def rule(opinions: Opinions, c: Counts, complains: bool) -> str:
    """The decision rule and its risk, in one sentence (ISO/IEC 17025:2017, 7.8.6, asks for both; value from memory)."""
    passed, kind = in_100(c.leave_without_complaint_passed_over, c.leave_without_complaint), "pays"
    if complains:
        passed, kind = in_100(c.leave_with_complaint_passed_over, c.leave_with_complaint), "pays and harms no complaint"
    return (
        f"Rule: “regrind” where a curve comes out better in {100 * opinions.regrind_from:.0f}, “probably” in "
        f"{100 * opinions.probably_from:.0f} of 100 trial calculations within what a shop cannot know, if on average "
        f"it earns its steel and harms no complaint; rehearsed on {c.cases:,} made-up cases, “regrind” was wrong in "
        f"{in_100(c.regrind_wrong, c.regrind)} of 100 and “probably” in {in_100(c.probably_wrong, c.probably)}, and in "
        f"{passed} of 100 “leave it” passed over a curve that {kind} (inside our model only)."
    )


def measurement(decision: Decision, how: str) -> str:
    """The one measurement that would settle an open case, and how to make it; empty for a case that is decided."""
    if decision.verdict.kind != "cannot_tell":
        return ""
    if decision.measure is None:
        return "No single measurement would settle it every second time or more."
    return f"To settle it: {how}. That decides it {tenths(decision.measure.settles)} times."


# ---------------------------------------------------------------- complaints


def complaint(
    words: str, best: str, answer: Answer, now: str, names: Sequence[str], higher: bool, opinions: Opinions
) -> str:  # fmt: skip
    """The answer to one complaint. words, best: of configs/wishes; now: the present blade in words; higher: whether
    its main measures are all better when higher (sizes are then of what is held, else of what it costs)."""
    head = capital(words)

    def makes(place: int, gain: Sequence[float]) -> str:
        return f"{names[place]} would make it {change(gain, higher)}"

    if answer.best < 0:
        return f"{head}: nothing on your list can be ground here."
    if answer.kind == "advised":
        sure = "" if answer.advised[0] > 0 else "too close to call; "
        text = f"{sure}the advised blade makes it {change(answer.advised, higher)}"
        if answer.advised[1] < answer.gain[1] - 0.015:  # about 1 %
            text += f"; the most on your list is {names[answer.best]}, {change(answer.gain, higher)}"
        return f"{head}: {text}."
    if answer.kind == "none_better":
        surely = "already" if answer.gain[2] < math.log2(1 + opinions.worth_saying_from) else "as good as"
        text = f"{now} is {surely} {best} of your list"
        place, gain = (answer.other, answer.other_gain) if answer.other >= 0 else (answer.best, answer.gain)
        return f"{head}: {text}; {makes(place, gain)}."
    if answer.kind == "helped":
        return f"{head}: {makes(answer.best, answer.gain)}, but see above why it is not advised."
    return f"{head}: too close to call; {makes(answer.best, answer.gain)}."


def change(gain: Sequence[float], higher: bool) -> str:
    """A log2 gain (5, 50, 95 %) in words: 14 % worse (12 to 16 %); without a side where it includes no change."""
    ratio = 2 ** np.array(gain) if higher else 2 ** -np.array(gain)[::-1]
    way = "higher" if higher else "lower"
    if side(ratio, way) == "undecided":
        worse, better = (ratio[2], ratio[0]) if not higher else (ratio[0], ratio[2])
        return f"anything from {abs(worse - 1):.1%} worse to {abs(better - 1):.1%} better".replace("%", " %")
    return size_text(ratio).replace(" (", f" {side(ratio, way)} (", 1)


def brief(gain: Sequence[float], higher: bool) -> str:
    """A log2 gain (5, 50, 95 %) for a column: 5 % (4 to 6 %) where it is surely better, else -0.8 to +0.9 %."""
    ratio = 2 ** np.array(gain) if higher else 2 ** -np.array(gain)[::-1]
    if side(ratio, "higher" if higher else "lower") == "better":
        return size_text(ratio)
    low, high = sorted(100 * (ratio[[0, 2]] - 1) * (1 if higher else -1))
    return f"{low:+.1f} to {high:+.1f} %"
