"""The page of answers: findings.html, and findings.md with the same words."""

from pathlib import Path

from experiments.report.page import about, picture, skaters_text, write_text
from experiments.report.page import write_page as fill
from experiments.run.folder import RunFolder
from experiments.studies.findings.game_rules import RULES_TITLE, rules, rules_head
from experiments.studies.findings.sentences import Finding, answers
from experiments.studies.findings.study import Findings, Plan

PICTURES = {
    "certainty": "Score and frontier gain of each blade with 90 % intervals",
    "stance_map": "Frontier gain over where the skater stands",
    "does_it_hold": "Score of each blade under other physics",
    "rest_of_game": "A long against a short single radius in starts, stops, fast turns and from edge to edge",
}


def write_page(plan: Plan, result: Findings, folder: RunFolder) -> None:
    """Leave both."""
    found, head = answers(plan, result), _head(plan, result)
    write_text(folder.path / "findings.md", _markdown(found, f"{skaters_text(plan.request)} {head}", result))
    pictures = [picture(folder.path / "figures" / f"{name}.svg", words) for name, words in PICTURES.items()]
    fill(Path(__file__).with_name("page.html.j2"), folder.path / "findings.html", title="Findings",
         who=skaters_text(plan.request), run=about(folder), head=head, findings=found, pictures=pictures,
         rules=rules(result.game), rules_head=rules_head(result.game), rules_title=RULES_TITLE)  # fmt: skip


def _head(plan: Plan, result: Findings) -> str:
    draws = result.draws
    return (
        f"{len(draws.candidates)} blades; {len(draws.points)} draws of the uncertain inputs, {int(draws.failed.sum())} "
        "failed; intervals are 5 to 95 %. All recipes are invented for demonstration. The model: ice that yields at "
        "its hardness, under steel that bends in its holder. The level of friction is no prediction: on smooth ice it "
        "lies 30 to 42 % below what was measured; the roughness added for that is an assumption sized from that gap."
    )


def _markdown(found: list[Finding], head: str, result: Findings) -> str:
    lines = ["# Findings", "", head, ""]
    for finding in found:
        lines += [f"## {finding.question}", "", *(f"- {sentence}" for sentence in finding.sentences), ""]
    lines += [f"## {RULES_TITLE}", "", rules_head(result.game), ""]
    for row in rules(result.game):
        number = f"{row.number}. " if row.number else ""
        lines.append(f"- {row.rule}: **{row.verdict}**. {number}{row.why} Changed by: {row.changed_by}.")
    return "\n".join(lines) + "\n"
