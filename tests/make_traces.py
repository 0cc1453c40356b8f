"""Writes the example traces of tests/traces: invented blades, seeded noise, the formats that shops hand over.

python -m tests.make_traces
"""

from pathlib import Path

import numpy as np

from sim.blade.recipe import Recipe, Sweep

FT = 0.3048
FOLDER = Path(__file__).parent / "traces"
SAYS = "synthetic trace of an invented blade"
NO_SWEEP = Sweep(0.0)
WHOLE_M, MIDDLE_M = 0.280, 0.230

ZONED = Recipe("9/11/9 ft", "zoned", (9 * FT, 11 * FT, 9 * FT))
REAR_FLAT = Recipe("13/10/7 ft", "rear_flat", (13 * FT, 10 * FT, 7 * FT))
SINGLE = Recipe("9 ft", "single_radius", (9 * FT,), heel_sweep=NO_SWEEP, toe_sweep=NO_SWEEP)


def heights(recipe: Recipe, x_m, wear_m: float = 0.0) -> np.ndarray:
    """Height of the running surface, m, at x_m from mid-runner (toe positive).

    wear_m: steel gone under mid-foot, a gaussian of sd 25 mm centred 15 mm behind mid-runner. Up to 40 um leaves a
    3.3 m blade convex: its curvature falls by wear/sd^2 = 0.064 1/m of 0.30 1/m.
    """
    x, z, _, _ = recipe.curve().at(np.linspace(0.0, recipe.length_m, 20_001))
    return np.interp(x_m, x, z) + wear_m * np.exp(-0.5 * ((np.asarray(x_m) + 0.015) / 0.025) ** 2)


def grid(length_m: float, pitch_m: float) -> np.ndarray:
    """Places from mid-runner, heel to toe, on a whole number of pitches within the curve."""
    half = int(length_m / 2 / pitch_m + 1e-9)
    places = np.arange(-half, half + 1) * pitch_m
    return places[np.abs(places) < WHOLE_M / 2 - 4e-4]  # the curve is a little shorter along x than along its arc


def noise(seed: int, count: int, sd_m: float = 3e-6) -> np.ndarray:
    """Gauge noise, m."""
    return np.random.default_rng(seed).normal(0.0, sd_m, count)


def worn_pair() -> str:
    """Both blades side by side, mm; ground to three zones, then worn flatter under mid-foot."""
    x = grid(WHOLE_M, 1e-3)
    left = heights(ZONED, x, 40e-6) + noise(1, len(x))
    right = heights(ZONED, x, 30e-6) + noise(2, len(x))
    rows = [f"{a * 1e3 + 140:.0f},{b * 1e3:.4f},{c * 1e3:.4f}" for a, b, c in zip(x, left, right)]
    return _lines(f"# {SAYS}, worn by 40 and 30 um", "# heel first", "position [mm],left [mm],right [mm]", *rows)


def worn_inches_toe_first() -> str:
    """One worn blade in inches, counted from the toe."""
    x = grid(MIDDLE_M, 0.05 * 0.0254)[::-1]
    z = heights(ZONED, x, 40e-6) + noise(3, len(x))
    rows = [f"{(x[0] - a) / 0.0254:.2f},{b / 0.0254:.5f}" for a, b in zip(x, z)]
    return _lines(f"# {SAYS}", "from_toe (in),height (in)", *rows)


def gauge_upside_down_semicolon() -> str:
    """Decimal commas; the gauge looks from below, so the sign is reversed, with tilt and offset."""
    x = grid(MIDDLE_M, 1e-3)
    z = 7.5e-3 + 0.004 * x - heights(ZONED, x) - noise(4, len(x))
    rows = [f"{a * 1e3 + 115:.1f};{b * 1e3:.4f}".replace(".", ",") for a, b in zip(x, z)]
    return _lines(f"# {SAYS}, gauge upside down", "Distance;Gauge depth", "mm;mm", *rows)


def passes_tab() -> str:
    """Three passes over one blade, out, back and out; a burr of 25 um in the second, a probe slipped by 60 um."""
    x = grid(MIDDLE_M, 1.5e-3)
    rows = []
    for k, order in enumerate((x, x[::-1], x)):
        z = heights(REAR_FLAT, order) + noise(5 + k, len(x))
        if k == 1:
            z += 25e-6 * np.exp(-0.5 * ((order - 0.042) / 0.0008) ** 2)
        if k == 2:
            z += 60e-6 * (order > 0.03)
        rows += [f"{k + 1}\t{a * 1e3:.2f}\t{b * 1e6:.0f}" for a, b in zip(order, z)]
    return _lines(f"# {SAYS}, three passes", "run\tx [mm]\tz [um]", *rows)


def out_and_back_blanks() -> str:
    """Out and back in one go, blanks, no pass column."""
    x = grid(MIDDLE_M, 2.5e-3)
    x = np.concatenate([x, x[::-1]])
    z = heights(REAR_FLAT, x) + noise(8, len(x))
    rows = [f"{a * 1e3:9.3f} {b * 1e3:9.4f}" for a, b in zip(x, z)]
    return _lines(f"# {SAYS}, out and back", "pos_mm height_mm", *rows)


def no_header_5mm() -> str:
    """By hand every 5 mm, two bare columns."""
    x = grid(WHOLE_M, 5e-3)
    z = heights(ZONED, x) + noise(9, len(x), 5e-6)
    return _lines(*[f"{a * 1e3 + 140:.0f},{b * 1e3:.3f}" for a, b in zip(x, z)])


def single_9ft() -> str:
    """One radius, no sweeps, um, nothing said of the units."""
    x = grid(WHOLE_M, 1e-3)
    z = heights(SINGLE, x) + noise(10, len(x))
    return _lines(f"# {SAYS}, 9 ft throughout", "x,z", *[f"{a * 1e3:.0f},{b * 1e6:.1f}" for a, b in zip(x, z)])


def rear_flat() -> str:
    """Flatter toward the heel, counted from the heel, with an extra column."""
    x = grid(WHOLE_M, 1e-3)
    z = heights(REAR_FLAT, x) + noise(11, len(x))
    rows = [f"{a * 1e3 + 140:.0f},{b * 1e3:.4f},20.5" for a, b in zip(x, z)]
    return _lines(f"# {SAYS}", "from_heel [mm],reading [mm],temperature [C]", *rows)


def pair_by_row() -> str:
    """Both blades below each other, two readings missing, uneven spacing."""
    rows = []
    for k, blade in enumerate(("left", "right")):
        x = grid(MIDDLE_M, 2e-3)
        x = x + np.random.default_rng(20 + k).uniform(-0.5e-3, 0.5e-3, len(x)).round(5)
        z = heights(ZONED, x, 20e-6) + noise(12 + k, len(x))
        cells = [f"{b * 1e3:.4f}" for b in z]
        cells[10 + k] = "-"
        rows += [f"{blade};{a * 1e3:.2f};{b}" for a, b in zip(x, cells)]
    return _lines(f"# {SAYS}", "Foot;Position [mm];Height [mm]", *rows)


def repeats_thou() -> str:
    """Three height columns, position in inches, heights in thou."""
    x = grid(MIDDLE_M, 0.1 * 0.0254)
    z = [heights(SINGLE, x) + noise(14 + k, len(x)) for k in range(3)]
    rows = [f"{x[i] / 0.0254:.1f}, " + ", ".join(f"{v[i] / 25.4e-6:.2f}" for v in z) for i in range(len(x))]
    return _lines(f"# {SAYS}", "station (in), height 1 (thou), height 2 (thou), height 3 (thou)", *rows)


def team() -> str:
    """A roster: four invented skaters in the keys of the command, traces from its own folder."""
    return _lines(
        "initials,trace,mass,height,stands,use,says,runner_height",
        'A1,worn_pair.csv,82 kg,1.80 m,back,forward,falls_back_on_heels,"24 mm, 23.5 mm"',
        "B2,single_9ft.csv,64 kg,1.70 m,mid,defence,,22 mm",
        'C3,rear_flat.csv,71 kg,1.76 m,-10 mm,all_round,"pivots_hard, turns_too_wide",',
        "D4,README.md,58 kg,1.64 m,mid,goal,,",
    )


def team_yaml() -> str:
    """The same in the other form, of two."""
    return _lines(
        "- {initials: A1, trace: worn_pair.csv, mass: 82 kg, height: 1.80 m, stands: back, use: forward,",
        "   says: [falls_back_on_heels], runner_height: [24 mm, 23.5 mm]}",
        "- {initials: B2, trace: single_9ft.csv, mass: 64 kg, height: 1.70 m, use: defence, runner_height: 22 mm}",
    )


FILES = {
    "worn_pair.csv": worn_pair,
    "worn_inches_toe_first.csv": worn_inches_toe_first,
    "gauge_upside_down_semicolon.csv": gauge_upside_down_semicolon,
    "passes_tab.txt": passes_tab,
    "out_and_back_blanks.txt": out_and_back_blanks,
    "no_header_5mm.csv": no_header_5mm,
    "single_9ft.csv": single_9ft,
    "rear_flat.csv": rear_flat,
    "pair_by_row.csv": pair_by_row,
    "repeats_thou.csv": repeats_thou,
    "team.csv": team,
    "team.yaml": team_yaml,
}


def _lines(*lines: str) -> str:
    return "\n".join(lines) + "\n"


def main() -> None:
    """Writes all files."""
    for name, make in FILES.items():
        (FOLDER / name).write_text(make(), encoding="utf-8", newline="")


if __name__ == "__main__":
    main()
