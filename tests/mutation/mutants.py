"""Every mutant of a source file: one operator, comparison, condition or number changed (operators of Cosmic Ray)."""

from dataclasses import dataclass
from pathlib import Path

import parso
from cosmic_ray.ast import get_ast
from cosmic_ray.mutating import mutate_code
from cosmic_ray.operators.operator import Operator
from cosmic_ray.plugins import get_operator

# one or two neighbours each: all ten replacements of a + would only count the same test ten times
OPERATORS = (
    "ReplaceBinaryOperator_Add_Sub", "ReplaceBinaryOperator_Sub_Add", "ReplaceBinaryOperator_Mul_Div",
    "ReplaceBinaryOperator_Div_Mul", "ReplaceBinaryOperator_Pow_Mul", "ReplaceBinaryOperator_FloorDiv_Mul",
    "ReplaceBinaryOperator_Mod_Mul", "ReplaceComparisonOperator_Lt_LtE", "ReplaceComparisonOperator_LtE_Lt",
    "ReplaceComparisonOperator_Gt_GtE", "ReplaceComparisonOperator_GtE_Gt", "ReplaceComparisonOperator_Lt_Gt",
    "ReplaceComparisonOperator_Gt_Lt", "ReplaceComparisonOperator_Eq_NotEq", "ReplaceComparisonOperator_NotEq_Eq",
    "ReplaceComparisonOperator_Is_IsNot", "ReplaceComparisonOperator_IsNot_Is", "ReplaceUnaryOperator_USub_UAdd",
    "ReplaceUnaryOperator_Delete_Not", "AddNot", "ReplaceTrueWithFalse", "ReplaceFalseWithTrue", "ReplaceAndWithOr",
    "ReplaceOrWithAnd", "ReplaceBreakWithContinue", "ReplaceContinueWithBreak", "NumberReplacer",
    "ZeroIterationForLoop", "ScaleNumber",
)  # fmt: skip


SCALE = 1.2  # what a number with a point is multiplied by: a threshold a fifth too high


class ScaleNumber(Operator):
    """A number with a point or an exponent, a fifth larger; whole numbers are Cosmic Ray's NumberReplacer's."""

    def mutation_positions(self, node):
        if node.type == "number" and not _is_whole(node):
            yield node.start_pos, node.end_pos

    def mutate(self, node, index):
        return parso.parse(f"{SCALE * float(node.value.rstrip('jJ')):.12g}").children[0]

    @classmethod
    def examples(cls):
        return ()


def _operator(name: str) -> Operator:
    return ScaleNumber() if name == "ScaleNumber" else get_operator(f"core/{name}")()


@dataclass(frozen=True)
class Mutant:
    """One change: the file, the line, the operator and which of its places in the file."""

    path: str
    line: int
    operator: str
    occurrence: int

    def text(self, root: Path) -> str:
        """The whole file with the change."""
        source = (root / self.path).read_text(encoding="utf-8")
        return mutate_code(source, _operator(self.operator), self.occurrence)

    def lines(self, root: Path) -> tuple[str, str]:
        """The line before and after."""
        before = (root / self.path).read_text(encoding="utf-8").splitlines()
        after = self.text(root).splitlines()
        return before[self.line - 1].strip(), after[self.line - 1].strip()


def mutants_of(root: Path, path: str) -> list[Mutant]:
    """Every mutant of a file, in order of lines; none inside the words of a message or an annotation."""
    tree, out = get_ast((root / path).read_text(encoding="utf-8")), []
    nodes = list(_walk(tree))
    for name in OPERATORS:
        operator, occurrence = _operator(name), 0
        for node in nodes:
            for (line, _), _ in operator.mutation_positions(node):
                if not _passed_over(node, name):
                    out.append(Mutant(path, line, name, occurrence))
                occurrence += 1
    return sorted(out, key=lambda m: (m.line, m.operator, m.occurrence))


def _walk(node: parso.tree.NodeOrLeaf):
    """As Cosmic Ray walks: a node, then what is inside it."""
    yield node
    for child in getattr(node, "children", ()):
        yield from _walk(child)


def _passed_over(node: parso.tree.NodeOrLeaf, operator: str) -> bool:
    """Places that only change how something reads (formatted texts, annotations, decorators); numbers with a point are
    ScaleNumber's."""
    if operator == "NumberReplacer" and not _is_whole(node):
        return True
    while node is not None:
        if node.type in ("fstring", "tfpdef", "decorator"):
            return True
        node = node.parent
    return False


def _is_whole(node: parso.tree.NodeOrLeaf) -> bool:
    return node.type == "number" and node.value.replace("_", "").isdigit()
