"""A team at a glance: one row a skater, in words."""

from experiments.analysis.judging.decide import ADVISED
from experiments.studies.recommend.content import screen_content
from experiments.studies.team.study import Advice
from sim.quantities import FOOT_M

OVERVIEW = ("initials", "trace", "present curve", "verdict", "advised recipe", "steel to remove at most, mm",
            "best number", "sheet", "reason")  # fmt: skip
VERDICT_WORDS = {
    "regrind": "regrind", "probably": "probably better", "leave": "leave it", "cannot_tell": "cannot tell",
    "replace": "replace the steel",
}  # fmt: skip
NO_SHEET, NO_CLEAR_GAIN = "no sheet", "nothing that is clear and of 1 % or more"


def sheet_name(advice: Advice) -> str:
    """Name of a skater's sheet, without its ending."""
    return f"sheet-{advice.skater.initials}"


def row(advice: Advice) -> dict[str, str]:
    """What the overview says of one skater; where there is no sheet, why."""
    skater = advice.skater
    known = {"initials": skater.initials, "trace": skater.trace.rsplit("/", 1)[-1]}
    if advice.found is None:
        return dict.fromkeys(OVERVIEW, "") | known | {"verdict": NO_SHEET, "reason": advice.reason}
    content = screen_content(skater.plan, advice.found)
    verdict = content["verdict"]
    advised = content["choices"][0] if verdict["kind"] in ADVISED else None
    steels = advised["steels"] if advised else []
    return known | {
        "present curve": "; ".join(_curve(blade) for blade in skater.plan.order.bench.blades),
        "verdict": VERDICT_WORDS[verdict["kind"]],
        "advised recipe": f"{advised['name']} ({advised['recipe']})" if advised else "",
        "steel to remove at most, mm": "; ".join(_steel(steel, len(steels) > 1) for steel in steels),
        "best number": (content["gains"] or [NO_CLEAR_GAIN])[0] if advised else "",
        "sheet": f"{sheet_name(advice)}.html",
        "reason": verdict["headline"],
    }


def _curve(blade) -> str:
    side = "" if blade.side == "measured" else f"{blade.side} "
    return f"{side}{'/'.join(f'{radius.value / FOOT_M:.1f}' for radius in blade.reading.radii_m)} ft"


def _steel(steel: dict, pair: bool) -> str:
    side = f"{steel['side']} " if pair else ""
    return f"{side}{steel['most_mm']:.2f}" if "most_mm" in steel else f"{side}not known"
