"""Every mutant of a source file: one operator, comparison, condition or number changed (operators of Cosmic Ray)."""

import ast
import random
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache, cached_property
from pathlib import Path

import parso
from cosmic_ray.ast import ast_nodes, get_ast
from cosmic_ray.mutating import mutate_code
from cosmic_ray.operators.number_replacer import NumberReplacer
from cosmic_ray.operators.operator import Operator
from cosmic_ray.plugins import get_operator

# one or two neighbours each: all ten replacements of a + would only count the same test ten times
OPERATORS = (
    "ReplaceBinaryOperator_Add_Sub", "ReplaceBinaryOperator_Sub_Add", "ReplaceBinaryOperator_Mul_Div",
    "ReplaceBinaryOperator_Div_Mul", "ReplaceBinaryOperator_Pow_Mul", "ReplaceBinaryOperator_FloorDiv_Mul",
    "ReplaceBinaryOperator_Mod_Mul", "ReplaceBinaryOperator_BitAnd_BitOr", "ReplaceBinaryOperator_BitOr_BitAnd",
    "ReplaceComparisonOperator_Lt_LtE", "ReplaceComparisonOperator_LtE_Lt", "ReplaceComparisonOperator_Gt_GtE",
    "ReplaceComparisonOperator_GtE_Gt", "ReplaceComparisonOperator_Lt_Gt", "ReplaceComparisonOperator_Gt_Lt",
    "ReplaceComparisonOperator_Eq_NotEq", "ReplaceComparisonOperator_NotEq_Eq", "ReplaceComparisonOperator_Is_IsNot",
    "ReplaceComparisonOperator_IsNot_Is", "ReplaceUnaryOperator_USub_UAdd", "ReplaceUnaryOperator_Delete_Not",
    "AddNot", "ReplaceTrueWithFalse", "ReplaceFalseWithTrue", "ReplaceAndWithOr", "ReplaceOrWithAnd",
    "ReplaceBreakWithContinue", "ReplaceContinueWithBreak", "ZeroIterationForLoop", "Number",
)  # fmt: skip
FIFTH = 1.2  # numbers with a point: a fifth more, a fifth less (0.0: 0.2 either way); whole numbers: one more, one less
WORDS = ("fstring", "tfpdef", "decorator")  # where a change only alters how something reads


class Number(NumberReplacer):
    """Cosmic Ray's, but in proportion for numbers with a point, and the space before the number stays as it is (`return
    0.5` would become `return0.6`, and a number that begins a line would move up)."""

    def mutate(self, node, index):
        value = ast.literal_eval(node.value)
        if isinstance(value, float):
            new = (value * FIFTH, value / FIFTH)[index] if value else (FIFTH - 1.0, 1.0 - FIFTH)[index]
            text = f"{new:.12g}"
        else:
            text = super().mutate(node, index).value.strip()
        return parso.python.tree.Number(text, node.start_pos, node.prefix)


@cache
def _operator(name: str) -> Operator:
    return Number() if name == "Number" else get_operator(f"core/{name}")()


@dataclass(frozen=True)
class Mutant:
    """One change: the file, the line, the operator and which of its places in the file."""

    root: Path
    path: str
    line: int
    operator: str
    occurrence: int

    @cached_property
    def before(self) -> str:
        """The whole file as it is."""
        return (self.root / self.path).read_text(encoding="utf-8")

    @cached_property
    def after(self) -> str:
        """The whole file with the change."""
        return mutate_code(self.before, _operator(self.operator), self.occurrence)

    def lines(self) -> tuple[str, str]:
        """The line before and after."""
        return tuple(text.splitlines()[self.line - 1].strip() for text in (self.before, self.after))

    def changes(self) -> bool:
        """Whether the change is still Python, and says something else than before."""
        try:
            return ast.dump(ast.parse(self.after)) != ast.dump(ast.parse(self.before))
        except SyntaxError:
            return False


def mutants_of(root: Path, path: str) -> list[Mutant]:
    """Every mutant of a file, in order of lines; none inside the words of a message or an annotation."""
    nodes, out = list(ast_nodes(get_ast((root / path).read_text(encoding="utf-8")))), []
    for name in OPERATORS:
        places = [(node, place) for node in nodes for place in _operator(name).mutation_positions(node)]
        out += [
            Mutant(root, path, line, name, occurrence)
            for occurrence, (node, ((line, _), _)) in enumerate(places)
            if not _only_words(node)
        ]
    return sorted(out, key=lambda m: (m.line, m.operator, m.occurrence))


def drawn(every: list[Mutant], size: int, seed: int) -> list[Mutant]:
    """A sample in which each mutant is equally likely."""
    shuffled: Iterator[Mutant] = iter(random.Random(seed).sample(every, len(every)))
    chosen: list[Mutant] = []
    while len(chosen) < size and (mutant := next(shuffled, None)):
        chosen += [mutant] if mutant.changes() else []
    return sorted(chosen, key=lambda m: (m.path, m.line, m.operator, m.occurrence))


def _only_words(node: parso.tree.NodeOrLeaf) -> bool:
    while (above := node.parent) is not None:
        if node.type in WORDS or _annotation(above) is node:
            return True
        node = above
    return False


def _annotation(node: parso.tree.NodeOrLeaf) -> parso.tree.NodeOrLeaf | None:
    if node.type == "annassign":
        return node.children[1]
    return node.annotation if node.type == "funcdef" else None
