"""Every bad request gets one clear sentence that names the place, a non-zero exit, no traceback, and no run folder."""

import gzip
import os
import time

import h5py
import pytest

from experiments.main import run_command

PAIR = "[turn_drag, glide_drag_coefficient],"
STATIC_PAIR = "pairs=[[turn_drag, glide_drag_coefficient]]"
ONE = "candidates=[{family: single_radius, radii: [9 ft]}]"


def blades(text: str) -> str:
    """A candidates override with one entry."""
    return f"candidates=[{{{text}}}]"


# (arguments, what the sentence must contain)
CASES = {
    "not key=value": (["first_look"], "not key=value"),
    "unknown experiment": (["experiment=frist_look"], "first_look"),
    "unknown group option": (["skater=adlt"], "adult"),
    "unknown ice set": (["ice=rink"], "handbook"),
    "no kind at all": (["~kind=compare"], "kind"),
    "unknown top key": (["wrokers=2"], "workers"),
    "unknown nested key": (["skater.mas=80 kg"], "skater.mass"),
    "unknown key inside a candidate": ([blades("family: single_radius, radii: [9 ft], hollw: 12 mm")], "hollow"),
    "unbalanced bracket": (["candidates=[{family: single_radius"], "could not be read"),
    "mass without a unit": (["skater.mass=80"], "skater.mass"),
    "mass in a length unit": (["skater.mass=80 mm"], "skater.mass"),
    "mass in no unit at all": (["skater.mass=80 stones_of_mine"], "skater.mass"),
    "mass in words": (["skater.mass=heavy"], "80 kg"),
    "mass of nan": (["skater.mass=nan kg"], "skater.mass"),
    "mass of inf": (["skater.mass=1e999 kg"], "skater.mass"),
    "mass of zero": (["skater.mass=0 kg"], "mass_kg"),
    "negative mass": (["skater.mass=-80 kg"], "mass_kg"),
    "skate heavier than skater": (["skater.skate_mass=5 kg", "skater.mass=18 kg"], "quarter"),
    "ankle without stiffness": (["skater.ankle_stiffness=0 N*m/rad"], "ankle_stiffness"),
    "warm ice": (["ice.temperature=2 degC"], "water, not ice"),
    "impossibly cold ice": (["ice.temperature=-80 degC"], "-30 to 0"),
    "ice temperature as length": (["ice.temperature=5 mm"], "ice.temperature"),
    "soft ice": (["ice.hardness_at_zero=0 MPa"], "hardness"),
    "ice that melts without heat": (["ice.latent_heat=0 J/kg"], "ice.latent_heat"),
    "ice that hardens when warm": (["ice.hardness_per_kelvin=-1 MPa"], "ice.hardness_per_kelvin"),
    "water that never warms": (["ice.diffusivity='1e-24 m^2/s'"], "ice.diffusivity"),
    "hollow too small": (["blade.hollow=1.2 mm"], "half the thickness"),
    "thickness of nothing": (["blade.thickness=0 mm"], "thickness"),
    "zone of zero length": ([blades("family: rear_flat, radii: [13 ft, 10 ft, 7 ft], shares: [1, 0, 1]")], "zone"),
    "negative zone length": ([blades("family: rear_flat, radii: [13 ft, 10 ft, 7 ft], shares: [1, -1, 1]")], "zone"),
    "zone share of nan": ([blades("family: rear_flat, radii: [13 ft, 10 ft, 7 ft], shares: [1, nan, 1]")], "shares"),
    "shares of the wrong number": ([blades("family: rear_flat, radii: [13 ft, 7 ft], shares: [1, 1, 1]")], "shares"),
    "negative radius": ([blades("family: single_radius, radii: [-9 ft]")], "concave"),
    "radius of zero": ([blades("family: single_radius, radii: [0 ft]")], "concave"),
    "concave zone among good ones": ([blades("family: mid_flat, radii: [8 ft, -13 ft, 8 ft]")], "radii[1]"),
    "radius of nan": ([blades("family: single_radius, radii: [nan ft]")], "radii[0]"),
    "radius in seconds": ([blades("family: single_radius, radii: [9 s]")], "radii[0]"),
    "radius with a zero denominator": ([blades("family: single_radius, radii: [9/0 ft]")], "divides by zero"),
    "radius as an expression": ([blades("family: single_radius, radii: [9**9**9 ft]")], "radii[0]"),
    "too few radii": ([blades("family: rear_flat, radii: [9 ft]")], "rear_flat takes"),
    "too many radii": ([blades("family: single_radius, radii: [9 ft, 10 ft]")], "takes 1"),
    "empty radii": ([blades("family: single_radius, radii: []")], "radii"),
    "radii not a list": ([blades("family: single_radius, radii: 9 ft")], "list"),
    "rear flat the wrong way round": ([blades("family: rear_flat, radii: [7 ft, 10 ft, 13 ft]")], "toe to heel"),
    "eased the wrong way round": ([blades("family: rear_flat_eased, radii: [13 ft, 10 ft, 9 ft]")], "heel"),
    "mid flat that is not": ([blades("family: mid_flat, radii: [13 ft, 10 ft, 13 ft]")], "longest radius"),
    "unknown family": ([blades("family: rear_flatt, radii: [13 ft, 10 ft]")], "rear_flat"),
    "family missing": ([blades("radii: [9 ft]")], "family"),
    "blends that overlap": ([ONE.replace("}", ", blend: 60 mm}")], "blend"),
    "level point off the steel": (["blade.level=200 mm"], "off the steel"),
    "blade of 5 m": (["blade.length=5 m"], "no blade"),
    "sweep longer than the blade": (["blade.toe_sweep.length=200 mm"], "sweep"),
    "no candidates": (["candidates=[]"], "candidates"),
    "candidates not a list": (["candidates=9 ft"], "candidates"),
    "a candidate that is a word": (["candidates=[long]"], "candidates[0]"),
    "two of one name": (
        ["candidates=[{family: single_radius, radii: [9 ft]}, {family: single_radius, radii: [9 ft]}]"],
        "twice",
    ),
    "glide load line off the steel": (["states.glide.line=-150 mm"], "states.glide.line"),
    "state load line on the turned-up toe": (["states.glide.line=125 mm"], "turned-up toe end, which begins at 120 mm"),
    "state load line on the turned-up heel": (["states.push.line=-121 mm"], "heel end, which begins at -120 mm"),
    "pitch bias lines on the turned-up end": (["states.pitch_bias.from=-130 mm"], "states.pitch_bias: on"),
    "scenario load line on the turned-up toe": (["scenarios.glide.line=[-15 mm, 121 mm]"], "scenarios.glide.line: on"),
    "stance map on the turned-up toe": (["experiment=stance_map", "turn_lines.to=122 mm"], "turn_lines: on"),
    "scenario load line off the steel": (["scenarios.glide.line=[-15 mm, -160 mm]"], "off the steel"),
    "load line at the very end": (
        ["blade.heel_sweep.length=0 mm", "scenarios.glide.line=[-139 mm, -139 mm]"],
        "reference blade cannot carry",
    ),
    "load no blade carries": (["skater.mass=200 kg", "states.glide.load=9"], "states.glide.load"),
    "lean past lying down": (["states.push.lean=89 deg"], "states.push"),
    "turn too fast for its radius": (["states.turn.speed=12 m/s"], "turn"),
    "speed of nan": (["states.glide.speed=nan m/s"], "states.glide.speed"),
    "history of unequal lengths": (["scenarios.stride.load=[1, 1]"], "stride"),
    "stated instants too near": (
        [
            "scenarios.glide.at=[0, 0.9999, 1]",
            "scenarios.glide.load=[1, 1, 1]",
            "scenarios.glide.lean=[0 deg, 0 deg, 0 deg]",
            "scenarios.glide.line=[0 mm, 0 mm, 0 mm]",
        ],
        "less than 0.1 ms apart",
    ),
    "smoothing longer than a quarter of the movement": (["scenarios.stride.smoothing=101 ms"], "at most a quarter"),
    "guide that drags": (["scenarios.stride.guide_rate=20 rad/s"], "use 50 to 1000 rad/s"),
    "guide without a unit": (["scenarios.stride.guide_rate=400"], "scenarios.stride.guide_rate"),
    "guide of a free movement": (["scenarios.nudge.guide_rate=400 rad/s"], "scenarios.nudge.guide_rate"),
    "smoothing along a path": (["scenarios.tight_turn.smoothing=10 ms"], "scenarios.tight_turn.smoothing"),
    "history that runs backward": (["scenarios.glide.at=[1, 0]"], "rise from 0 to 1"),
    "changing lean in a free movement": (["scenarios.nudge.lean=[0 deg, 20 deg]"], "free"),
    "unknown mode": (["scenarios.nudge.mode=fre"], "free"),
    "time step of zero": (["scenarios.stride.time_step=0 ms"], "time step"),
    "time step far too long": (["scenarios.stride.time_step=10 ms"], "time step"),
    "scuff below zero": (["law.scuff=-1"], "law.scuff"),
    "rebound of no known form": (["law.rebound=maybe"], "choose one of half_space, rectangle, none"),
    "heat that no steel takes": (['law.steel_sink="9 MW/m^2"'], "use 0 to 1e6 W/m^2"),
    "roughness of a file": (["law.roughness=0.5"], "law.roughness"),
    "runner of no height": (["blade.height=2 mm"], "is no runner"),
    "span of a bridge": (["blade.span=2 m"], "rigid"),
    "switch that is neither": (["law.film=maybe"], "true nor false"),
    "unknown contact": (["law.contact=slidng"], "sliding"),
    "workers of zero": (["workers=0"], "workers"),
    "workers of a half": (["workers=1.5"], "workers"),
    "radius line backward": (["radius_line.from=16 ft", "radius_line.to=6 ft"], "radius_line"),
    "file that is not there": (["candidates_from=no/such/file.yaml"], "candidates_from"),
    "results folder that is a file": (["results_dir=README.md"], "results_dir"),
    "name of 200 letters": ([blades(f"family: single_radius, radii: [9 ft], name: {'x' * 200}")], "name"),
    "value from the environment": (["skater.name=${oc.env:HOME}"], "${"),
    "decoded value": (["skater.mass=${oc.decode:'80 kg'}"], "${"),
    "key from the environment": (["+skater={'${oc.env:HOME}': 1}"], "${"),
    "experiment from the environment": (["experiment=${oc.env:HOME}"], "${"),
    "place to look for configs": (["hydra.searchpath=[file:///tmp]"], "hydra.searchpath"),
    "another launcher": (["+hydra/launcher=basic"], "hydra/launcher"),
    "a package of the composing": (["+skater@hydra.run=adult"], "skater@hydra.run"),
    "an option of the composing": (["--config-dir=/tmp"], "not key=value"),
    "experiment elsewhere": (["experiment=../../x"], "no such experiment"),
    "experiment at the root": (["experiment=/first_look"], "no such experiment"),
    "experiment with an ending": (["experiment=first_look.yaml"], "no such experiment"),
    "experiment that is nothing": (["experiment=null"], "no such experiment"),
    "two experiments": (["experiment=[certainty,search]"], "no such experiment"),
    "no key": (["=3"], "not key=value"),
    "ice elsewhere": (["ice=../../../etc/ice"], "no such ice"),
    "skater of another group": (["skater=../ice/handbook"], "no such skater"),
    "one more skater from elsewhere": (["+skater@skaters.x=../../x"], "adult"),
    "code to build": (["+skater={_target_: os.system}"], "skater"),
    "code to build at the top": (["+_target_=os.system"], "_target_"),
    "deep brackets": (["candidates=" + "[" * 5000], "deeper than 12"),
    "deep braces that close": (["candidates=" + "{a: " * 13 + "1" + "}" * 13], "deeper than 12"),
    "text of a megabyte": (["skater.name=" + "x" * 1_000_000], "characters"),
    "name of 2000 letters": (["skater.name=" + "x" * 2000], "2000 characters"),
    "whole number of 4000 digits": (["workers=" + "9" * 4000], "workers"),
    "power tower in a unit": ([blades("family: single_radius, radii: ['9 m^9^9^9']")], "radii[0]"),
    "control character": (["skater.name=a\x1b[31m"], "skater.name"),
    "half a character": (["skater.name=a\udcff"], "skater.name"),
    "text that turns round": (["skater.name=a\u202eb"], "skater.name"),
    "name that is a formula": (["skater.name='=1+1'"], "formula"),
    "too many cases by each": (
        [
            blades(
                "family: single_radius, each: {radii: ["
                + "[9 ft], " * 400
                + "[9 ft]], level: ["
                + "0 mm, " * 400
                + "0 mm]}"
            )
        ],
        "more than 100000 cases",
    ),
    "movement of too many steps": (["scenarios.nudge.time_step=2 us"], "scenarios.nudge.time_step"),
    "turn that never ends": (["scenarios.tight_turn.heading=1e9 deg"], "smaller heading"),
    "draws beyond memory": (["experiment=certainty", "draws=1000000"], "draws"),
    "map beyond memory": (
        [
            "experiment=stance_map",
            "glide_lines.count=201",
            "turn_lines.count=201",
            "pairs=[" + 99 * PAIR + PAIR[:-1] + "]",
        ],
        "glide_lines",
    ),
    "too many pairs": (["pairs=[" + 200 * PAIR + PAIR[:-1] + "]"], "pairs"),
    "candidates from a device": (["candidates_from=/dev/zero"], "no ordinary file"),
    "candidates from a folder": (["candidates_from=."], "no ordinary file"),
    "candidates from a name with nothing in it": (["candidates_from=" + "x" * 900], "cannot read"),
    "shop of a long name": (["experiment=recommend", "trace=x", "shop=" + "x" * 900], "shop"),
}


@pytest.mark.parametrize("name", CASES)
def test_bad_request_is_answered_with_one_sentence(name, capsys, tmp_path, monkeypatch):
    arguments, expected = CASES[name]
    monkeypatch.chdir(tmp_path)
    (tmp_path / "README.md").write_text("a file")
    status = run_command([*arguments, "figures=false"] if "=" in arguments[0] else arguments)
    out, err = capsys.readouterr()
    assert status == 2, (status, out[-500:], err)
    assert err.startswith("arcstride: ") and err.count("\n") == 1 and len(err) < 600
    assert expected in err, err
    assert "Traceback" not in err and "Error" not in err
    assert not list(tmp_path.glob("results/*/*/results.h5"))


@pytest.mark.parametrize(
    "content, expected",
    [
        ("", "must be a list"),
        ("a: 1\n", "must be a list"),
        ("- [1, 2", "not YAML from line"),
        ("- !!python/object/apply:os.system ['true']\n", "not YAML"),
        ("- {family: single_radius, radii: ['9 ft'], radius: '9 ft'}\n", "unknown key"),
        ("- 5\n", "candidates[0]"),
        ("- " + "[" * 400_000, "not YAML"),
        ("- " + "{a: " * 200_000, "deeper than 12"),
        ("- " + "{a: " * 20 + "1" + "}" * 20, "deeper than 12"),
        ("".join(" " * i + "a:\n" for i in range(1000)), "deeper than 12"),
        ("- {name: '${oc.env:HOME}', family: single_radius, radii: ['9 ft']}\n", "${"),
        ("- {_target_: os.system, family: single_radius, radii: ['9 ft']}\n", "_target_"),
        ("- !!binary aGVsbG8=\n", "tags"),
        ("- !!set {a, b}\n", "tags"),
        ("- &a {b: 1}\n- {<<: *a}\n", "merge keys"),
        ("- &a [*a]\n", "deeper than 12"),
        ("- 2020-01-01\n", "date is no plain value"),
        ("- 2020-99-99\n", "holds a number or date that is none"),
        ("- {1: 2}\n", "a key that is not text"),
        ("- {null: 2}\n", "a key that is not text"),
        ("- {? [a] : 2}\n", "not YAML"),
        ("- {name: " + "9" * 900 + "}\n", "beyond 10^15"),
        ("- {name: 0x" + "f" * 900 + "}\n", "beyond 10^15"),
        ("- {name: 1" + ":59" * 300 + "}\n", "beyond 10^15"),
        ("- {name: " + "9" * 100_000 + "}\n", "over 1000 characters"),
        ("- {name: .inf, family: single_radius, radii: [.nan]}\n", "radii[0]"),
        ("- {name: \"a\\ud800\", family: single_radius, radii: ['9 ft']}\n", "not YAML"),
        ("- {name: \"a\\0\", family: single_radius, radii: ['9 ft']}\n", "cannot be shown"),
        ("- {name: '@SUM(A1)', family: single_radius, radii: ['9 ft']}\n", "formula"),
    ],
)
def test_bad_candidates_file(content, expected, capsys, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "mine.yaml").write_text(content)
    assert run_command(["candidates_from=mine.yaml", "figures=false"]) == 2
    err = capsys.readouterr().err
    assert expected in err and err.count("\n") == 1, err


def test_binary_and_huge_candidates_files(capsys, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "binary.yaml").write_bytes(b"\x89HDF\r\n\x1a\n\x00\xff")
    (tmp_path / "huge.yaml").write_bytes(b"# " + b"x" * 2_000_000)
    for name, expected in (("binary.yaml", "cannot read"), ("huge.yaml", "larger than 1 MB")):
        assert run_command([f"candidates_from={name}", "figures=false"]) == 2
        assert expected in capsys.readouterr().err


def test_laughs_of_a_small_file(capsys, tmp_path, monkeypatch):
    """Aliases of aliases: ten lines that would be 10^9 values, as values, as keys' values and within a recipe."""
    monkeypatch.chdir(tmp_path)
    lines = ["- &a0 [lol]"] + [f"- &a{i} [{', '.join([f'*a{i - 1}'] * 10)}]" for i in range(1, 10)]
    (tmp_path / "bomb.yaml").write_text("\n".join(lines) + "\n")
    (tmp_path / "wide.yaml").write_text("- &t " + "x" * 900 + "\n- [" + "*t, " * 200_000 + "1]\n")
    for name in ("bomb.yaml", "wide.yaml"):
        started = time.process_time()
        assert run_command([f"candidates_from={name}", "figures=false"]) == 2
        err = capsys.readouterr().err
        assert "more than 5000000 values" in err and err.count("\n") == 1 and time.process_time() - started < 5


def test_candidates_times_skaters_are_refused_before_the_list_is_made(capsys, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    level = ", ".join(f"{i / 100} mm" for i in range(300))
    radii = ", ".join(f"[{8 + i / 100} ft]" for i in range(300))
    entry = f"candidates=[{{family: single_radius, each: {{radii: [{radii}], level: [{level}]}}}}]"
    started = time.process_time()
    assert run_command([entry, "+skater@skaters.a=adult", "+skater@skaters.b=heavy", "figures=false"]) == 2
    assert "more than 100000 cases" in capsys.readouterr().err and time.process_time() - started < 5


def no_trace(folder, kind: str):
    """A file that is no trace, of a kind."""
    place = folder / f"{kind}.csv"
    if kind == "pipe":
        os.mkfifo(place)
    elif kind == "packed":
        place.write_bytes(gzip.compress(b"1,2\n" * 1000))
    elif kind == "results":
        with h5py.File(place, "w") as file:
            file["x"] = [1.0, 2.0]
    elif kind == "folder":
        place.mkdir()
    elif kind == "link to a folder":
        place.symlink_to(folder)
    elif kind == "link to itself":
        place.symlink_to(place)
    elif kind == "device":
        place.symlink_to("/dev/zero")
    return place


@pytest.mark.parametrize(
    "kind", ["pipe", "packed", "results", "folder", "link to a folder", "link to itself", "device"]
)
def test_what_is_no_text_is_refused_at_once_wherever_a_file_is_named(kind, capsys, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    place = no_trace(tmp_path, kind)
    asked = [["experiment=recommend", f"trace='{place}'"], [f"candidates_from='{place}'"]]
    if "folder" not in kind:
        asked.append(["experiment=recommend", f"trace='{place}'", f"shop='{place}'"])
    for arguments in asked:
        started = time.process_time()
        assert run_command(arguments) == 2
        err = capsys.readouterr().err
        assert err.startswith("arcstride: ") and err.count("\n") == 1 and len(err) < 600, err
        assert time.process_time() - started < 5
    assert not (tmp_path / "results").exists()


ODD = ["$\\frac$", "[/red] [bold", "../../x", "/etc/x", "CON", "<script>alert(1)</script>"]


@pytest.mark.parametrize("kind, names", [("compare", ODD[:2]), ("part", ODD[2:5])])
def test_odd_names_stay_in_the_run_folder_and_are_drawn(kind, names, capsys, tmp_path, monkeypatch):
    """Names that are mathtext, markup of the terminal or of a page, a path, or no name of a file."""
    monkeypatch.chdir(tmp_path)
    radii = enumerate(names, 8)
    entries = "".join(f"- {{name: '{name}', family: single_radius, radii: [{r} ft]}}\n" for r, name in radii)
    (tmp_path / "mine.yaml").write_text(entries, encoding="utf-8")
    asked = ["experiment=part"] if kind == "part" else ["radius_line.count=3", "scenarios={}", STATIC_PAIR]
    assert run_command([*asked, "candidates_from=mine.yaml", "workers=1"]) == 0
    shown = capsys.readouterr().out
    assert all(name in shown for name in names)
    assert {p.name for p in tmp_path.iterdir()} == {"mine.yaml", "results"}


@pytest.mark.parametrize("kind", ["pipe", "device", "bomb", "merge", "interpolation", "tag", "deep"])
def test_run_folder_from_elsewhere_is_plain_values_or_refused(kind, capsys, tmp_path, monkeypatch):
    """resume= names a folder that may be anybody's."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "run").mkdir()
    place = tmp_path / "run" / "config.yaml"
    laughs = ["a0: &a0 [lol]"] + [f"a{i}: &a{i} [{', '.join([f'*a{i - 1}'] * 10)}]" for i in range(1, 10)]
    texts = {
        "bomb": "kind: compare\n" + "\n".join(laughs), "merge": "kind: compare\nx: &x {a: 1}\ny: {<<: *x}\n",
        "interpolation": "kind: '${oc.env:HOME}'\n", "tag": "kind: !!python/name:os.system x\n",
        "deep": "kind: " + "[" * 100_000,
    }  # fmt: skip
    if kind in texts:
        place.write_text(texts[kind])
    else:
        no_trace(tmp_path, kind).rename(place)
    started = time.process_time()
    assert run_command(["resume=run"]) == 2
    err = capsys.readouterr().err
    assert err.startswith("arcstride: resume") and err.count("\n") == 1 and time.process_time() - started < 5
