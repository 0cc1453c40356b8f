"""The page of answers: findings.html, and findings.md with the same words."""

from collections.abc import Sequence
from pathlib import Path

from experiments.report.page import about, picture, skaters_text, write_text
from experiments.report.page import write_page as fill
from experiments.run.folder import RunFolder
from experiments.studies.findings.answer import answer
from experiments.studies.findings.finding import Finding
from experiments.studies.findings.game_rules import RULES_TITLE, Ruled, rules, rules_head
from experiments.studies.findings.sentences import RULES_QUESTION, answers
from experiments.studies.findings.study import Findings, Plan


def write_page(plan: Plan, result: Findings, folder: RunFolder) -> None:
    """Leave both."""
    found, head, short = answers(plan, result), _head(plan, result), answer(plan, result)
    ruled = rules(result.game, plan.request.opinions.felt)
    game = [rules_head(result.game), "", *_game(ruled)]
    write_text(folder.path / "findings.md", _markdown(short, found, f"{skaters_text(plan.request)} {head}", game))
    shown = {f.question: picture(folder.path / "figures" / f"{f.figure}.svg", f.alt) for f in found if f.figure}
    fill(Path(__file__).with_name("page.html.j2"), folder.path / "findings.html", title="Findings",
         who=skaters_text(plan.request), run=about(folder), head=head, answer=short, findings=found, pictures=shown,
         rules=ruled, rules_head=rules_head(result.game), rules_title=RULES_TITLE,
         rules_after=RULES_QUESTION)  # fmt: skip


def _head(plan: Plan, result: Findings) -> str:
    draws = result.draws
    return (
        f"{len(draws.candidates)} blades; {len(draws.points)} draws of the uncertain inputs, {int(draws.failed.sum())} "
        "failed; intervals are 5 to 95 %. All recipes are invented for demonstration. The model: ice that yields at "
        "its hardness, under steel that bends in its holder. The level of friction is no prediction: on smooth ice it "
        "lies 30 to 42 % below what was measured; the roughness added for that is an assumption sized from that gap."
    )


def _markdown(short: list[str], found: list[Finding], head: str, game: list[str]) -> str:
    lines = ["# Findings", "", "## The answer", "", *(f"{k}. {sentence}" for k, sentence in enumerate(short, 1)), ""]
    lines += [head, ""]
    for finding in found:
        lines += [f"## {finding.question}", "", *(f"- {sentence}" for sentence in finding.sentences), ""]
        if finding.table:
            first, *rest = finding.table
            lines += [_row(first), _row(["---"] * len(first)), *map(_row, rest), ""]
        if finding.question == RULES_QUESTION:
            lines += [f"### {RULES_TITLE}", "", *game, ""]
    return "\n".join(lines).rstrip("\n") + "\n"


def _row(cells: Sequence[str]) -> str:
    return f"| {' | '.join(cells)} |"


def _game(ruled: Sequence[Ruled]) -> list[str]:
    """The table of the rest of the game, a line a rule."""
    out = []
    for row in ruled:
        number = f"{row.number}. " if row.number else ""
        out.append(f"- {row.rule}: **{row.verdict}**. {number}{row.why} Changed by: {row.changed_by}.")
    return out
