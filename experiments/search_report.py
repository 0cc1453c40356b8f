"""What a search leaves: tables, a template for each blade, moving pictures, a gallery, and the terminal's words."""

import html
import math
from pathlib import Path

import numpy as np
from rich import box
from rich.table import Table
from rich.text import Text

from experiments import figure_search, search
from experiments.animation import animate
from experiments.grids import zone_words
from experiments.scoring import BEYOND
from experiments.search import Blade, Made, verdict
from experiments.store import csv_table, h5_file, put, scale, whole
from experiments.template import write_part
from sim.measures import REGISTRY

ANIMATED = 2  # blades that get moving pictures: the one of greatest gain, and an end of the front
MOVEMENTS = ("stride", "tight_turn")
STYLE = (
    "body{font:15px/1.5 sans-serif;max-width:70em;margin:2em auto;padding:0 1em;color:#222}img{max-width:100%}"
    "table{border-collapse:collapse;font-size:.9em}td,th{border-bottom:1px solid #ccc;padding:.25em .6em;"
    "text-align:right}td:first-child,th:first-child,td:nth-child(2),th:nth-child(2){text-align:left}"
    ".pair{display:flex;flex-wrap:wrap;gap:1em}"
)


def read_search(own: dict, rest: dict):
    """As search.read_search; what runs it also leaves the tables and parts in the run folder."""
    asked, run = search.read_search(own, rest)

    def leave(folder, on_chunk) -> Made:
        made = run(folder, on_chunk)
        write(made, folder.path, folder.attributes())
        return made

    return asked, leave


def words_of(recipe) -> str:
    """A recipe in words, with its level point where that is not mid-runner."""
    level = f", level {recipe.level_m * 1e3:+.0f} mm" if abs(recipe.level_m) > 5e-4 else ""
    return f"{zone_words(recipe)}{level}".replace(" heel to toe, zones", ",")


def write(made: Made, folder: Path, attributes: dict[str, str]) -> None:
    """front.csv, results.h5 and the parts (recipe, template, gauge table, drawing) of each blade of the front."""
    _front_csv(made, folder / "front.csv")
    _h5(made, folder / "results.h5", attributes)
    for k, blade in enumerate(made.blades):
        place = folder / "parts" / f"{k + 1:02d}"
        place.mkdir(parents=True, exist_ok=True)
        write_part(place, blade.candidate, made.plan.asked.limits)


def _front_csv(made: Made, path: Path) -> None:
    objectives = [name for name, _ in made.plan.asked.objectives]
    header = ["blade", "recipe", *(f"cost of {n}" for n in objectives), *(f"ratio of cost of {n}" for n in objectives)]
    for pair in made.pairs:
        label = " | ".join(pair)
        header += [f"gain {label}", *(f"gain q{q} {label}" for q in ("05", "50", "95"))]
        header += [f"verdict {label}", *(f"gain with grinding errors only q{q} {label}" for q in ("05", "50", "95"))]
    with csv_table(path, [*header, "nearest_known", "height_from_it [m]", "beyond_limits"]) as writer:
        for k, blade in enumerate(made.blades):
            row = [k + 1, words_of(blade.candidate.recipe), *blade.costs, *(blade.costs / made.reference)]
            for p in range(len(made.pairs)):
                row += [blade.alone[p], *blade.gains[:, p], verdict(blade, p), *blade.grinding[:, p]]
            writer.writerow([*row, *blade.nearest, " | ".join(blade.limits)])


def _h5(made: Made, path: Path, attributes: dict[str, str]) -> None:
    """Everything judged: search(evaluation, ...) and, where asked, random(evaluation, ...); units on every array."""
    objectives = made.plan.asked.objectives
    with h5_file(path, attributes) as file:
        for name, found in (("search", made.found), ("random", made.random)):
            if found is None or not len(found.points):
                continue
            group = file.create_group(name)
            number = scale(group, "evaluation", np.arange(len(found.points), dtype="i4"))
            column = scale(group, "coordinate", np.array(made.plan.asked.space.names, dtype=object))
            put(group, "point", found.points, "1", "place in the search space, 0 to 1", number, column)
            put(group, "generation", found.born.astype("i4"), "1", "generation of the search", number)
            put(group, "allowed", found.allowed.astype("i1"), "1", "1: within all limits and judged", number)
            for k, (measure, better) in enumerate(objectives):
                unit = REGISTRY[measure].unit if better == "lower" else f"1/({REGISTRY[measure].unit})"
                values = np.where(found.allowed, found.costs[:, k], np.nan)
                put(group, f"cost_{measure}", values, unit, f"cost: {REGISTRY[measure].label}", number)


def draw(made: Made, folder: Path) -> list[Path]:
    """Figures, moving pictures of the front's most unlike blades, and the gallery page beside them."""
    paths = figure_search.draw(made, folder)
    setting = made.request.settings[0]
    best = max(range(len(made.blades)), key=lambda k: np.nan_to_num(made.blades[k].alone[0], nan=-1.0))
    ends = list(dict.fromkeys((best, 0, len(made.blades) - 1)))[:ANIMATED]
    for k in ends:
        for name in MOVEMENTS:
            path = folder / f"{name}_{k + 1}.gif"
            if name in setting.scenarios and animate(made.blades[k].candidate, setting, name, path):
                paths.append(path)
    _gallery(made, folder, [p for p in paths if p.suffix == ".gif"])
    return paths


def _gallery(made: Made, folder: Path, moving: list[Path]) -> None:
    """gallery.html in the run folder: the front, its blades with their templates, moving pictures."""
    page = [
        "<!doctype html><html lang='en'><meta charset='utf-8'><meta name='viewport' content='width=device-width'>",
        f"<title>Recipes found</title><style>{STYLE}</style><h1>Recipes found</h1>",
        *(f"<p>{html.escape(line)}</p>" for line in sentences(made)),
        f"<p><img src='{folder.name}/front.svg' alt='front'></p>", _table(made), "<div class='pair'>",
        *(f"<figure><img src='{folder.name}/{p.name}' alt='{p.stem}'><figcaption>blade {p.stem.rsplit('_')[-1]}, "
          f"{p.stem.rsplit('_', 1)[0].replace('_', ' ')}</figcaption></figure>" for p in moving),
        f"</div><p><img src='{folder.name}/objectives.svg' alt='objectives'> "
        f"<img src='{folder.name}/progress.svg' alt='progress'></p>",
        "<p>Grinding: guards, eye and lung protection; the grinder maker's limits, a check for cracks and for the "
        "height left come first. A skater on an unfamiliar curve goes slowly at first. Recipes found by computation "
        "have not been skated.</p></html>",
    ]  # fmt: skip
    with whole(folder.parent / "gallery.html") as temporary:
        temporary.write_text("\n".join(page) + "\n", encoding="utf-8")


def _table(made: Made) -> str:
    head = ["blade", "recipe, heel to toe"]
    head += [f"{REGISTRY[n].label}, cost over the reference's" for n, _ in made.plan.asked.objectives]
    head += [f"gain, {REGISTRY[a].label} and {REGISTRY[b].label}" for a, b in made.pairs] + ["nearest known", "files"]
    rows = []
    for k, blade in enumerate(made.blades):
        ratios = [f"{v:.3f}" for v in blade.costs / made.reference]
        place = f"parts/{k + 1:02d}"
        cells = [str(k + 1), words_of(blade.candidate.recipe), *ratios]
        cells += [_gain(blade, p) for p in range(len(made.pairs))]
        cells += [f"{blade.nearest[0]}, {blade.nearest[1] * 1e6:.0f} um apart"]
        linked = f"<a href='{place}/recipe.yaml'>recipe</a> <a href='{place}/'>template</a>"
        rows.append("".join(f"<td>{html.escape(c)}</td>" for c in cells) + f"<td>{linked}</td>")
    body = "".join(f"<tr>{r}</tr>" for r in rows)
    return f"<table><tr>{''.join(f'<th>{html.escape(h)}</th>' for h in head)}</tr>{body}</table>"


def _gain(blade: Blade, p: int) -> str:
    low, middle, high = blade.gains[:, p]
    return f"{middle:.3f} ({low:.3f} to {high:.3f}), {verdict(blade, p)}"


def sentences(made: Made) -> list[str]:
    """What was found, each line from the numbers."""
    able, n = int(made.found.allowed.sum()), len(made.found.points)
    skaters = ", ".join(f"{s.skater.name} {s.skater.mass_kg:g} kg" for s in made.request.settings)
    out = [f"{n} blades judged for {skaters}, {able} of them within what can be ground; costs are ratios to the "
           "reference, less is better; intervals are 5 to 95 %."]  # fmt: skip
    if len(made.request.settings) > 1:
        first = made.request.settings[0].skater.name
        out.append(f"Costs are over all skaters; gains, intervals and rolled movements are those of {first}.")
    if made.random is not None:
        times = made.volumes[-1, 1] / made.random_volume if made.random_volume > 0 else float("inf")
        out.append(f"As many at random within the same limits reach a hypervolume of {made.random_volume:.4f}; the "
                   f"search reaches {made.volumes[-1, 1]:.4f}, {times:.2f} times that.")  # fmt: skip
    for p, (a, b) in enumerate(made.pairs):
        sure = [k + 1 for k, blade in enumerate(made.blades) if verdict(blade, p) == "beyond"]
        kept = [k + 1 for k, blade in enumerate(made.blades) if blade.grinding[0, p] > BEYOND]
        words = f"{REGISTRY[a].label} and {REGISTRY[b].label}"
        out.append(
            f"Beyond every single radius on {words}: blade{'s' * (len(sure) > 1)} {', '.join(map(str, sure))}." if sure
            else f"No blade of the front is surely beyond single radii on {words}."
        )  # fmt: skip
        if kept:
            out.append(
                f"If only grinding were uncertain, {len(kept)} of {len(made.blades)} would be surely beyond on {words}."
            )
        out += _zone_words(made, p, words)
    for static, rolled, tau in made.taus:
        if not math.isfinite(tau):
            out.append(
                f"Whether the order by {REGISTRY[static].label} survives rolling cannot be told from so few blades."
            )
            continue
        kept = "kept" if tau > 0.8 else "partly kept" if tau > 0.4 else "NOT kept"
        out.append(f"Order along the front by {REGISTRY[static].label} is {kept} when the movement is rolled "
                   f"({REGISTRY[rolled].label}; Kendall's tau {tau:.2f}).")  # fmt: skip
    return out


def _zone_words(made: Made, p: int, words: str) -> list[str]:
    """What each zone of the best blade is worth: gain lost when it takes its longer neighbour's radius."""
    best = max(made.blades, key=lambda blade: np.nan_to_num(blade.alone[p], nan=-1.0))
    if not len(best.without):
        return []
    lost = ", ".join(f"zone {i + 1} from the heel {best.alone[p] - g:+.3f}" for i, g in enumerate(best.without[:, p]))
    return [f"{best.candidate.name}, gain {best.alone[p]:.3f} on {words} with nothing uncertain, of which {lost}."]


def show(made: Made, asked, console) -> None:
    """The front in the terminal."""
    table = Table(title="Front, as ratios to the reference", title_justify="left", title_style="bold",
                  box=box.SIMPLE_HEAD, pad_edge=False)  # fmt: skip
    table.add_column("blade", no_wrap=True)
    table.add_column("recipe, heel to toe")
    for name, _ in made.plan.asked.objectives:
        table.add_column(f"{REGISTRY[name].label}\n(cost)", justify="right")
    for a, b in made.pairs:
        table.add_column(f"gain, {REGISTRY[a].label} |\n{REGISTRY[b].label}", justify="right")
    for k, blade in enumerate(made.blades):
        gains = [_gain(blade, p) for p in range(len(made.pairs))]
        table.add_row(str(k + 1), words_of(blade.candidate.recipe), *(f"{v:.3f}" for v in blade.costs / made.reference),
                      *gains)  # fmt: skip
    console.print(table)
    for line in sentences(made):
        console.print(Text(line))
    console.print(Text("Templates, gauge tables and drawings: parts/. Pictures: gallery.html. Not skated: go slowly."))
