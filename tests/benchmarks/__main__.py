"""Times, and ratios measured in the same run, in one table: python -m tests.benchmarks [cases of the largest study]"""

import sys

from experiments.request.comparison import read_request
from experiments.request.compose import composed
from tests.benchmarks import candidate, engines, growth, large, spread


def main() -> None:
    """Print the table, for the first recipe of zones in the first look."""
    request = read_request(composed([])[0])
    case = request.cases[6]
    for name in case.setting.scenarios:
        case.setting.program(name)
    _ = case.setting.reference_pitches
    candidate.show(case)
    engines.show(case)
    growth.show(case)
    spread.show()
    large.show(int(sys.argv[1]) if len(sys.argv) > 1 else 10_000)


if __name__ == "__main__":
    main()
