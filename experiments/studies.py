"""Studies beyond one comparison: how sure, where to stand, what if the physics is otherwise, which unknown matters."""

import math
from dataclasses import replace

import numpy as np
from scipy import stats

from experiments import certainty as c
from experiments.cases import Request
from experiments.fields import Fields
from experiments.scoring import measure_name
from experiments.store import csv_table, h5_file, put, scale
from experiments.variants import gains, static_pairs, statics
from sim.errors import BladeError
from sim.measures import REGISTRY

LINE_RADII = 33


# ---------------------------------------------------------------- how sure


def read_certainty(own: dict, request: Request):
    """Check the request of a certainty study; returns what runs it."""
    fields = Fields(own, "")
    inputs, draws, seed = c.read_inputs(fields.inner("uncertainty")), fields.count("draws", 2, 1_000_000), _seed(fields)
    fields.done()
    c.fitting(draws, len(request.cases))

    def run(folder, on_chunk):
        made = c.run_draws(request, inputs, draws, seed, folder.crew, on_chunk)
        write_draws(folder.path / "results.h5", made, inputs, folder.attributes())
        write_intervals(folder.path / "intervals.csv", made)
        write_beats(folder.path / "beats.csv", made, request.scheme.name)
        write_ranks(folder.path / "ranks.csv", made)
        return made

    return run


def _seed(fields: Fields) -> int:
    return fields.count("seed", 0, 2**31 - 1)


def write_draws(path, made: c.Draws, inputs, attributes) -> None:
    """results.h5 of a certainty study: inputs(draw, input), MEASURE(draw, candidate), gain and score."""
    with h5_file(path, attributes) as file:
        file.attrs["why"] = "\n".join(f"{i.name}: {i.why}" for i in inputs)
        group = file.create_group("draws")
        draw = scale(group, "draw", np.arange(len(made.points), dtype="i4"))
        column = scale(group, "input", np.array(made.columns, dtype=object))
        candidate = scale(group, "candidate", np.array(made.candidates, dtype=object))
        pair = scale(group, "pair", np.array([" | ".join(p) for p in made.pairs], dtype=object))
        put(group, "inputs", made.points, "SI", "uncertain inputs", draw, column)
        for j, name in enumerate(c.STATIC):
            put(group, name, made.values[:, :, j], REGISTRY[name].unit, REGISTRY[name].label, draw, candidate)
            reference = made.references[:, j]
            put(group, f"reference_{name}", reference, REGISTRY[name].unit, f"reference: {REGISTRY[name].label}", draw)
        put(group, "gain", made.gain, "1", "frontier gain G", draw, candidate, pair)
        put(group, "score", made.score, "1", "score", draw, candidate)


def ratio_samples(made: c.Draws, name: str) -> np.ndarray:
    """(draw, candidate) ratios of a measure to the reference of the same draw; differences where it can change sign."""
    j = c.STATIC.index(name)
    values, base = made.values[:, :, j], made.references[:, j, None]
    if REGISTRY[name].signed:
        return values - base
    return values / np.where(base == 0, np.nan, base)  # a ratio to nothing (no scrape at all) is none


def write_intervals(path, made: c.Draws) -> None:
    """One line per candidate and measure: interval of the value and of its ratio to the reference."""
    header = ["candidate", "measure", "unit", "q05", "q50", "q95"]
    header += ["against_reference", "r05", "r50", "r95", "failed_draws"]
    with csv_table(path, header) as writer:
        for j, name in enumerate(c.STATIC):
            absolute, against = c.intervals(made.values[:, :, j]), c.intervals(ratio_samples(made, name))
            kind = "difference" if REGISTRY[name].signed else "ratio"
            for i, candidate in enumerate(made.candidates):
                row = [*absolute[:, i], kind, *against[:, i]]
                writer.writerow([candidate, name, REGISTRY[name].unit, *row, int(made.failed.sum())])
        for k, label in enumerate(["score", *(f"gain {' | '.join(p)}" for p in made.pairs)]):
            samples = made.score if k == 0 else made.gain[:, :, k - 1]
            for i, candidate in enumerate(made.candidates):
                row = [*c.intervals(samples)[:, i], "", "", "", ""]
                writer.writerow([candidate, label, "1", *row, int(made.failed.sum())])


def write_beats(path, made: c.Draws, scheme: str) -> None:
    """Share of draws in which the row's candidate beats the column's, on the weighting and on each directed measure."""
    with csv_table(path, ["on", "candidate", *made.candidates]) as writer:
        sheets = [(f"weighting {scheme}", made.score, "higher")]
        directed = [name for name in c.STATIC if REGISTRY[name].better != "neither"]
        sheets += [(n, made.values[:, :, c.STATIC.index(n)], REGISTRY[n].better) for n in directed]
        for label, samples, better in sheets:
            for candidate, shares in zip(made.candidates, c.beats(samples, better)):
                writer.writerow([label, candidate, *(f"{s:.4f}" if math.isfinite(s) else "" for s in shares)])


def write_ranks(path, made: c.Draws) -> None:
    """How steady the order by the weighting is: share of draws in which each candidate takes each place."""
    places = np.arange(1, len(made.candidates) + 1)
    rank = c.ranks(made.score, "higher")
    with csv_table(path, ["candidate", "mean_rank", *(f"share_at_{p}" for p in places)]) as writer:
        for i, candidate in enumerate(made.candidates):
            shares = [f"{(rank[:, i] == p).mean():.4f}" for p in places] if len(rank) else [""] * len(places)
            writer.writerow([candidate, f"{rank[:, i].mean():.3f}" if len(rank) else "", *shares])


# ---------------------------------------------------------------- other physics

VARIANTS = {
    "standard": {},
    "standing contact": {"standing": 1.0},
    "no rebound": {"rebound": 0.0},
    "rear width a(d)": {"rear_full": 1.0},
    "slip-line pressure": {"slip_line": 1.0},
    "no film": {"film": 0.0},
    "scuff 0": {"scuff": 0.0},
    "scuff 0.05": {"scuff": 0.05},
}
OTHER_ICE = "van Leeuwen constants"


def read_hold(own: dict, request: Request):
    """Check the request of a model-form study; returns what runs it."""
    Fields(own, "").done()
    if not set(request.scheme.weights) <= set(c.STATIC):
        raise BladeError(
            "weighting: this study needs a weighting of static measures only; choose even, turns_first or another."
        )
    return lambda folder, on_chunk: does_it_hold(request, folder, on_chunk)


def does_it_hold(request: Request, folder, on_chunk) -> list[dict]:
    """Score and order of the candidates under each other physics; Kendall's tau against the standard order."""
    setting = replace(request.settings[0], scenarios={})
    candidates = [case.candidate for case in request.cases if case.setting is request.settings[0]]
    radii = np.geomspace(request.line_m[0], request.line_m[-1], LINE_RADII)
    pairs, rows = static_pairs(request.pairs), []
    settings = {name: replace(setting, law=setting.law._replace(**change)) for name, change in VARIANTS.items()}
    settings[OTHER_ICE] = replace(setting, ice=replace(setting.ice, **_other_ice()))
    shared = tuple(candidates), pairs, radii
    for name, part in zip(settings, folder.crew.map(under_other_physics, list(settings.values()), shared, on_chunk)):
        score = c.scores(part["values"][None], part["base"][None], request.scheme)[0]
        tau = _tau(rows[0]["score"] if rows else score, score)
        rows.append({"variant": name, "score": score, "gain": part["gain"], "tau": tau})
    header = [
        "variant",
        "candidate",
        "score",
        "rank",
        "kendall_tau_to_standard",
        *(f"gain {' | '.join(p)}" for p in pairs),
    ]
    with csv_table(folder.path / "does_it_hold.csv", header) as writer:
        for row in rows:
            places = (
                stats.rankdata(-row["score"]) if np.isfinite(row["score"]).all() else np.full(len(candidates), np.nan)
            )
            for i, candidate in enumerate(candidates):
                writer.writerow(
                    [row["variant"], candidate.name, row["score"][i], places[i], row["tau"], *row["gain"][i]]
                )
    return [dict(row, candidates=[x.name for x in candidates], pairs=pairs) for row in rows]


def under_other_physics(shared, here) -> dict[str, np.ndarray]:
    """Measures of candidates and reference, and frontier gains, under one setting. What a worker does."""
    candidates, pairs, radii = shared
    values = np.array([statics(x, here, c.STATIC) for x in candidates])
    table = {m: values[:, j] for j, m in enumerate(c.STATIC)}
    # an upright standing blade does not plough: a pair with a cost of nothing has no gain
    gain = gains(candidates, table, pairs, radii, here)
    return {"values": values, "base": statics(here.reference, here, c.STATIC), "gain": gain}


def _tau(standard, score) -> float:
    """Kendall's tau-b between two scores; nan when one cannot be had."""
    good = np.isfinite(standard) & np.isfinite(score)
    return float(stats.kendalltau(standard[good], score[good]).statistic) if good.all() else math.nan


def _other_ice() -> dict[str, float]:
    """Thermal and elastic constants of the other printed set: configs/ice/van_leeuwen_2017.yaml, read as any config."""
    from experiments.cases import read_ice
    from experiments.main import composed

    other = read_ice(Fields(composed(["ice=van_leeuwen_2017"])[0]["ice"], "ice"))
    keys = ("modulus_pa", "viscosity_pa_s", "conductivity_w_mk", "diffusivity_m2_s")
    return {key: getattr(other, key) for key in keys}


# ---------------------------------------------------------------- which unknown matters


def read_sensitivity(own: dict, request: Request):
    """Check the request of a sensitivity study; returns what runs it."""
    fields = Fields(own, "")
    inputs, seed = c.read_inputs(fields.inner("uncertainty")), _seed(fields)
    names = [case.candidate.name for case in request.cases]
    subject = fields.choice("subject", names)
    outputs = [measure_name(Fields({}, "outputs"), str(n)) for n in fields.listed("outputs")]
    if not set(outputs) <= set(c.STATIC):
        raise BladeError("outputs: only static measures; a rolled one would take hours over thousands of draws.")
    paths, base = fields.count("trajectories", 2, 10_000), fields.count("base_samples", 2, 100_000)
    if base & (base - 1):
        raise BladeError(f"base_samples: {base} is no power of 2, which Sobol points need; use for example 64.")
    fields.done()
    one = replace(request, cases=tuple(x for x in request.cases if x.candidate.name == subject)[:1])
    return lambda folder, on_chunk: sensitivity(one, inputs, outputs, paths, base, seed, folder, on_chunk)


def sensitivity(request, inputs, outputs, paths, base, seed, folder, on_chunk) -> dict:
    """Morris screening and Sobol indices (SALib) of the outputs and of each frontier gain, for one candidate.

    Indices are of the ratio to the reference, since that is what decides; one nan would silently spoil them all, so
    failed draws are refused with their count.
    """
    from SALib.analyze import morris as morris_indices
    from SALib.analyze import sobol as sobol_indices
    from SALib.sample import morris as morris_points
    from SALib.sample import sobol as sobol_points

    problem = {"num_vars": len(inputs), "names": [i.name for i in inputs], "bounds": [[0.0, 1.0]] * len(inputs)}
    columns = c.columns_of(inputs, [case.candidate for case in request.cases])
    order = [problem["names"].index(name) for name, _ in columns]
    plans = {"morris": morris_points.sample(problem, paths, num_levels=8, seed=seed),
             "sobol": sobol_points.sample(problem, base, calc_second_order=False, seed=seed)}  # fmt: skip
    total, rows, before = sum(len(p) for p in plans.values()), [], 0
    for kind, cube in plans.items():
        inside = np.clip(cube, 0.005, 0.995)  # screening levels at 0 and 1 would be infinite normal draws
        points = np.column_stack([inputs[j].law.ppf(inside[:, j]) for j in order])
        made = c.run_draws(
            request,
            inputs,
            len(points),
            seed,
            folder.crew,
            lambda d, n, b=before: on_chunk(b + c.PORTION * d, total),
            points,
        )
        before += len(points)
        if made.failed.any():
            raise BladeError(f"sensitivity: {int(made.failed.sum())} of {len(points)} draws failed; narrow the inputs.")
        samples = {name: ratio_samples(made, name)[:, 0] for name in outputs}
        samples |= {f"gain {' | '.join(p)}": made.gain[:, 0, k] for k, p in enumerate(made.pairs)}
        for label, y in samples.items():
            if not np.isfinite(y).all():
                raise BladeError(
                    f"sensitivity: {label} could not be had in {int((~np.isfinite(y)).sum())} of {len(y)} draws, and "
                    "one such draw spoils every index; choose another output or pair, or narrow the inputs."
                )
            if np.ptp(y) < 1e-12:
                continue  # nothing varies: no index can be formed
            if kind == "morris":
                found = morris_indices.analyze(problem, cube, y, num_levels=8, seed=seed)
                part = [
                    (found["mu_star"][j], found["mu_star_conf"][j], found["sigma"][j], "") for j in range(len(inputs))
                ]
            else:
                found = sobol_indices.analyze(problem, y, calc_second_order=False, seed=seed)
                part = [
                    (found["S1"][j], found["S1_conf"][j], found["ST"][j], found["ST_conf"][j])
                    for j in range(len(inputs))
                ]
            rows += [(kind, label, i.name, *map(_plain, p)) for i, p in zip(inputs, part)]
    header = ["method", "output", "input", "mu_star_or_S1", "confidence", "sigma_or_ST", "ST_confidence"]
    with csv_table(folder.path / "sensitivity.csv", header) as writer:
        writer.writerows(rows)
    return {"subject": request.cases[0].candidate.name, "rows": rows}


def _plain(value):
    return float(value) if value != "" else ""
