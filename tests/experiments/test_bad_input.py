"""Every bad request gets one clear sentence that names the place, a non-zero exit, no traceback, and no run folder."""

import pytest

from experiments.main import _guarded

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
    "scenario load line off the steel": (["scenarios.glide.line=[-15 mm, -160 mm]"], "off the steel"),
    "load line at the very end": (["scenarios.glide.line=[-139 mm, -139 mm]"], "reference blade cannot carry"),
    "load no blade carries": (["skater.mass=200 kg", "states.glide.load=9"], "states.glide.load"),
    "lean past lying down": (["states.push.lean=89 deg"], "states.push"),
    "turn too fast for its radius": (["states.turn.speed=12 m/s"], "turn"),
    "speed of nan": (["states.glide.speed=nan m/s"], "states.glide.speed"),
    "history of unequal lengths": (["scenarios.stride.load=[1, 1]"], "stride"),
    "history that runs backward": (["scenarios.glide.at=[1, 0]"], "rise from 0 to 1"),
    "changing lean in a free movement": (["scenarios.nudge.lean=[0 deg, 20 deg]"], "free"),
    "unknown mode": (["scenarios.nudge.mode=fre"], "free"),
    "time step of zero": (["scenarios.stride.time_step=0 ms"], "time step"),
    "time step far too long": (["scenarios.stride.time_step=10 ms"], "time step"),
    "scuff below zero": (["law.scuff=-1"], "law.scuff"),
    "switch that is neither": (["law.rebound=maybe"], "true nor false"),
    "unknown contact": (["law.contact=slidng"], "sliding"),
    "workers of zero": (["workers=0"], "workers"),
    "workers of a half": (["workers=1.5"], "workers"),
    "radius line backward": (["radius_line.from=16 ft", "radius_line.to=6 ft"], "radius_line"),
    "file that is not there": (["candidates_from=no/such/file.yaml"], "candidates_from"),
    "results folder that is a file": (["results_dir=README.md"], "results_dir"),
    "name of 200 letters": ([blades(f"family: single_radius, radii: [9 ft], name: {'x' * 200}")], "name"),
}


@pytest.mark.parametrize("name", CASES)
def test_bad_request_is_answered_with_one_sentence(name, capsys, tmp_path, monkeypatch):
    arguments, expected = CASES[name]
    monkeypatch.chdir(tmp_path)
    (tmp_path / "README.md").write_text("a file")
    status = _guarded([*arguments, "figures=false"] if "=" in arguments[0] else arguments)
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
    ],
)
def test_bad_candidates_file(content, expected, capsys, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "mine.yaml").write_text(content)
    assert _guarded(["candidates_from=mine.yaml", "figures=false"]) == 2
    err = capsys.readouterr().err
    assert expected in err and err.count("\n") == 1, err


def test_binary_and_huge_candidates_files(capsys, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "binary.yaml").write_bytes(b"\x89HDF\r\n\x1a\n\x00\xff")
    (tmp_path / "huge.yaml").write_bytes(b"# " + b"x" * 2_000_000)
    for name, expected in (("binary.yaml", "cannot read"), ("huge.yaml", "larger than 1 MB")):
        assert _guarded([f"candidates_from={name}", "figures=false"]) == 2
        assert expected in capsys.readouterr().err
