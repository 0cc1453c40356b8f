"""What may be said of answers that came back, and what may not."""

from experiments.report.words import share_text
from experiments.studies.follow_up.study import Group, Plan, Share

TITLE = "How changes were found"
VERDICT_HEADS = {"all": "All changes advised", "regrind": "Under “regrind”", "probably": "Under “probably better”"}
NO_PROOF = (
    "Who comes back is not everybody: those who were content, or who were not, may have gone elsewhere.",
    "Skaters who expect a change tend to feel one. Nobody was blinded, and no blade was ground for show, so “better” "
    "holds what was expected, fresh edges and everything else that changed in between.",
    "Visits of one skater are no independent answers; the interval takes them as such, and is too narrow where few "
    "skaters answered often.",
    "This is no proof that the advice is right. It can show that it is wrong: by “worse”.",
)


def sentences(plan: Plan, groups: tuple[Group, ...]) -> list[str]:
    """Every group in a sentence or two."""
    first = f"{plan.folder.name or plan.folder} holds {len(plan.visits)} visits."
    return [first, *(group_words(group, plan.least) for group in groups)]


def group_words(group: Group, least: int) -> str:
    """What one group says, and nothing where too few answered."""
    head = (
        f"{VERDICT_HEADS[group.verdict]}: {group.advised}; done as advised {group.followed}, otherwise "
        f"{group.otherwise}, not noted {group.unnoted}."
    )
    counts = ", ".join(f"{share.count} {share.found}" for share in group.shares)
    answered = f"Of those done as advised, {group.answered} were answered for by {people(group.skaters)}"
    if not group.answered:
        return f"{head} No answer has come back."
    if group.answered < least:
        return f"{head} {answered}: {counts}; nothing is claimed under {least} (an opinion of ours)."
    return f"{head} {answered}: {'; '.join(share_words(share, group.answered) for share in group.shares)}."


def people(count: int) -> str:
    """Skaters, counted."""
    return f"{count} skater{'' if count == 1 else 's'}"


def share_words(share: Share, of: int) -> str:
    """A share with its interval."""
    ends = f"{share_text(share.low).removesuffix(' %')} to {share_text(share.high)}"
    return f"{share.count} {share.found}, {share_text(share.count / of)} ({ends})"
