"""What a recommendation leaves besides its sheet: draws, intervals, traces as read, recipes; the verdict on screen."""

from pathlib import Path

from rich.console import Console

from experiments.report.draw_tables import write_draws, write_intervals
from experiments.report.page import write_text
from experiments.run.files import csv_table
from experiments.run.folder import RunFolder
from experiments.studies.recommend.content import cite, screen_content
from experiments.studies.recommend.detail import recipes_text
from experiments.studies.recommend.study import Plan, Recommendation
from experiments.studies.recommend.traces import Bench
from sim.blade.wear import deviation

__all__ = ["cite", "show", "write"]


def write(plan: Plan, result: Recommendation, folder: RunFolder) -> None:
    """results.h5, intervals.csv, reading.csv, recipes.yaml and, where a recipe was stated, deviation.csv."""
    bench = plan.order.bench
    write_draws(folder.path / "results.h5", result.draws, plan.sampling.inputs, folder.attributes())
    write_intervals(folder.path / "intervals.csv", result.draws)
    write_reading(folder.path / "reading.csv", bench)
    if bench.ground is not None:
        write_deviation(folder.path / "deviation.csv", bench)
    write_text(folder.path / "recipes.yaml", recipes_text(plan))


def write_reading(path: Path, bench: Bench) -> None:
    """Every point of every trace as it was read: place, level height, pass, whether it was set aside."""
    with csv_table(path, ["blade", "x [m]", "height [m]", "pass", "line_in_file", "set_aside"]) as writer:
        for blade in bench.blades:
            r = blade.reading
            for row in zip(r.x_m, r.z_m, blade.raw.pass_id, blade.raw.row, r.flagged):
                writer.writerow([blade.side, f"{row[0]:.7f}", f"{row[1]:.8f}", int(row[2]), int(row[3]), int(row[4])])


def write_deviation(path: Path, bench: Bench) -> None:
    """Height of each blade over the recipe it was ground to, best offset and tilt removed, with its 90 % band."""
    with csv_table(path, ["blade", "x [m]", "height_over_recipe [m]", "q05 [m]", "q95 [m]"]) as writer:
        for blade in bench.blades:
            for row in zip(*deviation(blade.reading, bench.ground)):
                writer.writerow([blade.side, *(f"{v:.8f}" for v in row)])


def show(plan: Plan, result: Recommendation, console: Console) -> None:
    """The verdict in the terminal: what the page says first."""
    content = screen_content(plan, result)
    for name, text in content["subject"]:
        console.print(f"{name:8s} {text}", markup=False)
    for blade in content["blades"]:
        _show_blade(blade, console)
    if content["pair"]:
        console.print(content["pair"], markup=False)
    console.print(f"\n{content['verdict']['headline']}", style="bold", markup=False)
    for sentence in (*content["complaints"], *content["verdict"]["plain"], content["verdict"]["measure"]):
        if sentence:
            console.print(f"  {sentence}", markup=False)
    for name, key in (("Gains", "gains"), ("Drawbacks", "drawbacks"), ("", "even")):
        for text in content[key]:
            console.print(f"  {name}{': ' if name else ''}{text}", markup=False)
    for choice in content["choices"]:
        _show_choice(choice, console)
    console.print(f"\n{content['verdict']['rule']}", markup=False)
    if plan.book:
        console.print(f"Visit kept under {plan.book.initials} in {plan.book.folder}; fill in as_left, found and words "
                      "there.", markup=False)  # fmt: skip
    console.print(
        "\nAt the grinder: guards, eye and lung protection. First session slowly. Page: sheet.html", markup=False
    )


def _show_blade(blade: dict, console: Console) -> None:
    radius = blade["single"]
    console.print(f"\n{blade['side']} blade: {radius['label']} {radius['value']} ({radius['interval']}), noise "
                  f"{blade['noise_um']} um. {blade['findings'][0]}", markup=False)  # fmt: skip
    for note in blade["aside"]:
        console.print(f"  {note}", markup=False)


def _show_choice(choice: dict, console: Console) -> None:
    console.print(f"\n{choice['role']}: {choice['name']} ({choice['recipe']})", markup=False)
    for steel in choice["steels"]:
        if "most_mm" in steel:
            console.print(f"  steel to remove, {steel['side']}, mm: heel {steel['heel_mm']}, mid {steel['mid_mm']}, "
                          f"toe {steel['toe_mm']}, most {steel['most_mm']}", markup=False)  # fmt: skip
