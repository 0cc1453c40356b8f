"""Rules of the trade about starts, stops, speed and quickness, each beside what the model shows, in words."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from experiments.analysis.draws import intervals
from experiments.report.words import change_text
from experiments.request.opinions import Felt
from experiments.studies.findings.rest_of_game import (
    LONG_BLADE,
    MIDDLE_BLADE,
    SHORT_BLADE,
    TIGHT_BLADE,
    WIDE_BLADE,
    RestOfGame,
)
from sim.measures import REGISTRY
from sim.quantities import FOOT_M

SUPPORTED, LIMIT, NONE, REFUTED, UNSEEN, OPEN, NOT_HAD = (
    "supported", "supported as a limit", "no support", "refuted", "cannot be seen", "open", "could not be computed",
)  # fmt: skip
RULES_TITLE = "Starts, stops, speed, quickness: what the trade says, and what the model shows"


@dataclass(frozen=True)
class Ruled:
    """One row: what the trade says, what the model makes of it, the number with its interval, what would change it."""

    rule: str
    verdict: str
    number: str
    why: str
    changed_by: str


def verdict_of(advantage: np.ndarray, felt: Felt) -> str:
    """supported, refuted, no support or open, for draws of a ratio that the rule wants above 1.

    Supported where the whole 90 % interval lies above what can be felt, refuted where it lies as far below 1; no
    support where none of it lies above what can be felt; else open.
    """
    if not np.isfinite(advantage).all():
        return NOT_HAD
    low, _, high = intervals(advantage)
    if low > felt.ratio:
        return SUPPORTED
    if high < 1 / felt.ratio:
        return REFUTED
    return NONE if high < felt.ratio else OPEN


def rules(game: RestOfGame, felt: Felt) -> list[Ruled]:
    """All rows of the table."""
    asked = (_accelerates, _stops, _across, _steady, _edge_to_edge, _heel_to_toe)
    return [*(rule(game, felt) for rule in asked), *_UNSEEN]


def ends(game: RestOfGame) -> str:
    """The two radii, as in "8 over 13 ft"."""
    return f"{game.asked.short_m / FOOT_M:.3g} over {game.asked.long_m / FOOT_M:.3g} ft"


def rules_head(game: RestOfGame) -> str:
    """What the table compares."""
    return (
        f"Single radii, {ends(game)}, in {len(game.values)} draws; the same movement under both. Leans, speeds and "
        "loads of these states are assumptions of ours and drawn with the rest."
    )


def _number(ratio: np.ndarray, what: str) -> str:
    if not np.isfinite(ratio).all():
        return f"{what}: could not be computed"
    low, middle, high = map(change_text, intervals(ratio))
    return f"{what} {middle} ({low} to {high})"


def _below(felt: Felt) -> str:
    return f"an interval that reaches below {felt.percent}, the least that can be felt (an assumption)"


def _above(felt: Felt) -> str:
    return f"an interval wholly above {felt.percent}, the least that can be felt (an assumption), for the short blade"


def _accelerates(game: RestOfGame, felt: Felt) -> Ruled:
    kept = [1 - game.of("start_loss_share", blade) for blade in (SHORT_BLADE, LONG_BLADE)]
    ahead = game.push_m_s * (kept[1] - kept[0])
    verdict = verdict_of(kept[0] / kept[1], felt)
    why = "How hard the skater pushes is not modelled: only what ice and steel take."
    if np.isfinite(ahead).all():
        low, middle, high = intervals(ahead)
        why = (
            f"After one push the long blade is {middle:.3f} m/s ahead ({low:.3f} to {high:.3f}), since the short one "
            f"ploughs more. {why}"
        )
    hold = _number(
        game.ratio("start_hold_angle", LONG_BLADE, SHORT_BLADE),
        "The long blade's edge holds a push that tilts further,",
    )
    return Ruled(
        "A short blade accelerates better", verdict,
        _number(kept[0] / kept[1], f"share of a push that is kept, {ends(game)}:"), f"{why} {hold}.",
        _above(felt),
    )  # fmt: skip


def _stops(game: RestOfGame, felt: Felt) -> Ruled:
    ratio = game.ratio("stop_deceleration", SHORT_BLADE, LONG_BLADE)
    hollow = _number(game.ratio("stop_deceleration", TIGHT_BLADE, WIDE_BLADE), "half the hollow radius stops harder,")
    return Ruled(
        "A long blade cannot stop", verdict_of(ratio, felt), _number(ratio, f"deceleration, {ends(game)}:"),
        f"Hollow decides, not the curve; {hollow}. Loose snow and how hard the skater sits on the edge are not "
        "modelled.",
        _above(felt),
    )  # fmt: skip


def _across(game: RestOfGame, felt: Felt) -> Ruled:
    ratio = game.ratio("stop_across_moment", LONG_BLADE, SHORT_BLADE)
    return Ruled(
        "A long blade is harder to swing across into a stop", verdict_of(ratio, felt),
        _number(ratio, "moment on the long blade against the short:"),
        "With a tenth to half of the weight left on it; a skater who unweights the blade does not feel it.",
        _below(felt),
    )  # fmt: skip


def _steady(game: RestOfGame, felt: Felt) -> Ruled:
    delay = game.ratio("fast_turn_reaction_delay", LONG_BLADE, SHORT_BLADE)
    more = [
        _number(game.ratio(name, LONG_BLADE, SHORT_BLADE), words)
        for name, words in (("fast_turn_drag", "Drag"), ("fast_turn_hold_angle", "hold angle"))
    ]
    return Ruled(
        "A long blade is steadier in fast turns", verdict_of(delay, felt),
        _number(delay, "time to react on the long blade against the short:"),
        f"{'; '.join(more)}. It is the steadiness of the glide over again, not a second reason.", _below(felt),
    )  # fmt: skip


def _edge_to_edge(game: RestOfGame, felt: Felt) -> Ruled:
    ratio = game.ratio("edge_change_time", LONG_BLADE, SHORT_BLADE)
    plain = verdict_of(ratio, felt)
    stiff = game.stiff[:, MIDDLE_BLADE] / game.stiff[:, SHORT_BLADE]
    limits = [
        f"from {game.fast_m_s:.1f} m/s on the long blade, too, does it in {game.asked.quick_enough_s:g} s, quicker "
        "than any skater needs (an assumption)"
    ]
    if verdict_of(stiff, felt) != SUPPORTED:
        limits.append(
            "if the body rolls as one stiff piece, a gain of the short blade over the reference is not shown: "
            + _number(stiff, "time of the reference against the short")
        )
    return Ruled(
        "A short blade is quicker from edge to edge", LIMIT if plain == SUPPORTED else plain,
        _number(ratio, "time on the long blade against the short:"),
        f"A limit of steering without scrape, and only that: {'; '.join(limits)}. A hop needs no steering.",
        _below(felt),
    )  # fmt: skip


def _heel_to_toe(game: RestOfGame, felt: Felt) -> Ruled:
    ratio = game.ratio("transfer_lean", LONG_BLADE, SHORT_BLADE)
    foot = _number(game.ratio("transfer_pitch", SHORT_BLADE, LONG_BLADE), "the foot rocks further on the short blade,")
    return Ruled(
        "A short blade is quicker from heel to toe", verdict_of(ratio, felt),
        _number(ratio, "swing of the leg on the long blade against the short:"),
        f"Where the load must move from heel to forefoot the leg swings less on the long blade; {foot}.",
        _above(felt),
    )  # fmt: skip


UNANSWERED = "nothing that this model computes"
_UNSEEN = (
    Ruled("Explosive first steps, strength, skill", UNSEEN, "",
          "Muscle and skill are not modelled: the same movement is put under every blade.", UNANSWERED),
    Ruled("Snow thrown in a stop, chipped and soft ice", UNSEEN, "",
          "The ice yields at one hardness and leaves no chips.", UNANSWERED),
    Ruled("A boot that gives, a blade that feels quick", UNSEEN, "",
          "Boot, steel and feel of the edge are not modelled beyond one ankle spring.", UNANSWERED),
)  # fmt: skip


def sizes(game: RestOfGame) -> list[tuple[str, np.ndarray]]:
    """(label, 5, 50, 95 % of long over short) of the measures of the rest of the game, for a figure; those that are
    known in every draw."""
    names = [
        "start_loss_share", "start_hold_angle", "stop_deceleration", "stop_across_moment", "fast_turn_drag",
        "fast_turn_hold_angle", "fast_turn_reaction_delay", "fast_turn_clean_margin", "edge_change_time",
        "transfer_pitch", "transfer_lean",
    ]  # fmt: skip
    ratios = {name: game.ratio(name, LONG_BLADE, SHORT_BLADE) for name in names}
    return [(REGISTRY[name].label, intervals(x)) for name, x in ratios.items() if np.isfinite(x).all()]


def as_table(rows: Sequence[Ruled]) -> list[list[str]]:
    """Rows of the CSV table."""
    return [[row.rule, row.verdict, row.number, row.why, row.changed_by] for row in rows]
