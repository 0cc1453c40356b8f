"""What a question of the page is made of."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Finding:
    """A question, the sentences that answer it, the name of its figure (empty: none) with words for who cannot see it,
    and a table: its heading row and the others."""

    question: str
    sentences: tuple[str, ...]
    figure: str = ""
    alt: str = ""
    table: tuple[tuple[str, ...], ...] = ()
