"""Nothing computed is lost: kills, a full disk, Ctrl-C, folders that cannot be written; a resumed run ends in the bits
of an uninterrupted one."""

import contextlib
import ctypes
import multiprocessing
import os
import random
import re
import resource
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import h5py
import numpy as np
import portalocker
import pytest
import yaml

from experiments.main import run_command

GRID = (
    "candidates=[{family: zoned, each: {radii_each: [{from: 7 ft, to: 12 ft, count: 4}, {from: 8 ft, to: 13 ft, "
    "count: 5}, {from: 7 ft, to: 11 ft, count: 4}]}}]"
)
STUDIES = {
    "sweep": ["experiment=sweep", GRID, "radius_line.count=9", "figures=false"],
    "certainty": ["experiment=certainty", "draws=32", "candidates=[{family: single_radius, radii: [9 ft]}]",
                  "figures=false"],
    "search": ["experiment=search", "evaluations=120", "population=24", "draws=8", "front_size=3", "figures=false",
               "compare_random=false", "radius_line.count=3", "scenarios={}"],
    "compare": ["candidates=[{family: single_radius, radii: [9 ft]}, {family: rear_flat, radii: [13 ft, 10 ft, 7 ft]}]",
                "radius_line.count=3", "figures=false"],
}  # fmt: skip
TABLES = {".csv", ".h5", ".yaml", ".txt", ".json", ".dxf"}


def _child(arguments, said: str, limit: int, meek: bool):
    """In a process of its own, leader of a group: one command, its screen in a file."""
    os.setsid()
    signal.signal(signal.SIGINT, signal.default_int_handler)
    handle = os.open(said, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o666)
    os.dup2(handle, 1)
    os.dup2(handle, 2)
    if limit:
        resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))  # stands for a disk that is full
    if meek:
        _obey_permissions()
    status = run_command(arguments)
    sys.stdout.flush()
    os._exit(status)


def _obey_permissions():
    """Give up what lets root write where permissions forbid it (Linux capabilities); nothing to do for others."""
    if os.geteuid() == 0:
        header, none = (ctypes.c_uint32 * 2)(0x20080522, 0), (ctypes.c_uint32 * 6)()
        assert ctypes.CDLL(None).capset(header, none) == 0


def begun(arguments, folder: Path, limit: int = 0, meek: bool = False):
    """Start a command in a child process that has everything imported."""
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(
        ["experiments.main", "experiments.studies.compare.study", "tests.experiments.run.test_resume"]
    )
    folder.mkdir(parents=True, exist_ok=True)
    child = context.Process(target=_child, args=(arguments, str(folder / "said.txt"), limit, meek))
    child.start()
    return child


def ended(arguments, folder: Path, **how) -> tuple[int, str]:
    """(exit status, what it said) of a command in a child process."""
    child = begun(arguments, folder, **how)
    child.join(120)
    return child.exitcode, (folder / "said.txt").read_text()


def made(folder: Path) -> dict[str, bytes]:
    """Every table of the one run below a folder, byte for byte; without what tells how it was carried out."""
    (run,) = [p for p in folder.glob("*/*") if p.is_dir()]
    names = [p for p in run.rglob("*") if p.suffix in TABLES and p.name != "config.yaml"]
    return {str(p.relative_to(run)): p.read_bytes() for p in names}


def the_run(folder: Path) -> Path:
    (run,) = [p for p in folder.glob("*/*") if p.is_dir()]
    return run


def wait_for(path_of, seconds=60.0):
    """Poll until path_of() gives a path that exists."""
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        found = next(iter(path_of()), None)
        if found:
            return found
        time.sleep(0.002)
    raise TimeoutError


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    """Each study uninterrupted: (tables, seconds from the moment that its journal appears)."""
    out = {}
    for name, arguments in STUDIES.items():
        folder = tmp_path_factory.mktemp(name)
        child = begun([*arguments, "workers=2", f"results_dir={folder / 'r'}"], folder)
        wait_for(lambda at=folder: (at / "r").glob("*/*/answers.journal"))
        start = time.monotonic()
        child.join(120)
        assert child.exitcode == 0, (folder / "said.txt").read_text()
        out[name] = made(folder / "r"), time.monotonic() - start
        assert out[name][0]
    return out


def killed_and_resumed(name, whole, folder: Path, wait: float, only_parent: bool) -> int:
    """Kill a study some time after its folder appears, resume it, compare; how many answers were kept at the kill."""
    child = begun([*STUDIES[name], "workers=2", f"results_dir={folder / 'r'}"], folder)
    wait_for(lambda: (folder / "r").glob("*/*/answers.journal"))
    time.sleep(wait)
    with contextlib.suppress(ProcessLookupError):  # it was done before
        (os.kill if only_parent else os.killpg)(child.pid, signal.SIGKILL)
    child.join()
    run = the_run(folder / "r")
    if "done in" in ((run / "run.log").read_text() if (run / "run.log").exists() else ""):
        assert made(folder / "r") == whole[name][0]
        return -1
    records = (run / "answers.journal").read_bytes().count(b"\n")
    status, said = ended([f"resume={run}", "workers=2"], folder)
    assert status == 0, said
    assert made(folder / "r") == whole[name][0]
    assert not list(run.rglob("*.part")) and not (run / "answers.journal").exists()
    return records


def often(*values):
    """The first of these in every run of the tests, the others in the slow one."""
    rest = [value if isinstance(value, tuple) else (value,) for value in values[1:]]
    return [values[0], *(pytest.param(*value, marks=pytest.mark.slow) for value in rest)]


@pytest.mark.parametrize("name", STUDIES)
def test_killed_once_and_resumed_to_the_same_bits(name, whole, tmp_path):
    killed_and_resumed(name, whole, tmp_path, 0.3 * whole[name][1], False)


@pytest.mark.slow
def test_nine_kills_at_random_moments(whole, tmp_path):
    rng, kept = random.Random(20261125), []
    for k in range(9):
        name = ("sweep", "certainty", "search")[k % 3]
        kept.append(killed_and_resumed(name, whole, tmp_path / str(k), rng.uniform(0, whole[name][1]), k % 2 == 0))
    assert sum(n > 1 for n in kept) > 2, kept  # that many were killed in the middle of the work


@pytest.mark.slow
def test_killed_again_and_again_a_run_still_ends_in_the_same_bits(whole, tmp_path):
    words = [*STUDIES["sweep"], "workers=2", f"results_dir={tmp_path / 'r'}"]
    for k in range(8):
        child = begun(words, tmp_path)
        wait_for(lambda: (tmp_path / "r").glob("*/*/answers.journal"))
        time.sleep(0.12 * k)
        os.killpg(child.pid, signal.SIGKILL)
        child.join()
        words = [f"resume={the_run(tmp_path / 'r')}"]
    status, said = ended(words, tmp_path)
    assert status == 0 or "is finished" in said
    assert made(tmp_path / "r") == whole["sweep"][0]


def test_ctrl_c_says_how_to_go_on(whole, tmp_path):
    child = begun([*STUDIES["sweep"], "workers=2", f"results_dir={tmp_path / 'r'}"], tmp_path)
    journal = wait_for(lambda: (tmp_path / "r").glob("*/*/answers.journal"))
    while journal.exists() and journal.stat().st_size < 3000:
        time.sleep(0.002)
    os.killpg(child.pid, signal.SIGINT)
    child.join(20)
    said = (tmp_path / "said.txt").read_text()
    assert child.exitcode == 130 and "Traceback" not in said and "stopped by hand" in said
    words = re.search(r"arcstride (resume=\S+)", said).group(1)
    status, said = ended([words], tmp_path)
    assert status == 0, said
    assert made(tmp_path / "r") == whole["sweep"][0]


@pytest.mark.parametrize("size", often(20_000, 1_000, 5_000, 16_000, 60_000, 100_000))
def test_a_full_disk_is_one_sentence_and_the_run_goes_on_later(size, whole, tmp_path):
    status, said = ended([*STUDIES["sweep"], "workers=2", f"results_dir={tmp_path / 'r'}"], tmp_path, limit=size)
    assert status == 2 and "Traceback" not in said, said
    lines = [line for line in said.splitlines() if line.startswith("arcstride: ")]
    assert len(lines) == 1 and "cannot" in lines[0] and len(lines[0]) < 600
    found = re.search(r"arcstride (resume=\S+)", said)
    if found:
        status, said = ended([found.group(1)], tmp_path)
        assert status == 0, said
        assert made(tmp_path / "r") == whole["sweep"][0]
    else:
        # not even the request, some 13 kB, found room: nothing was computed
        assert size in (1_000, 5_000) and not list((tmp_path / "r").rglob("answers.journal"))


@pytest.fixture()
def stopped(tmp_path):
    """A run that a full disk has stopped half way."""
    status, _ = ended([*STUDIES["sweep"], f"results_dir={tmp_path / 'r'}"], tmp_path, limit=20_000)
    assert status == 2
    return the_run(tmp_path / "r")


def test_two_runs_into_one_folder(stopped, whole, tmp_path):
    """The second is refused while the first is at work; two that start in one second get a folder each."""
    with open(stopped / ".lock", "w") as handle:
        portalocker.lock(handle, portalocker.LOCK_EX)  # as a run at work in it holds it
        status, said = ended([f"resume={stopped}"], tmp_path)
        assert status == 2 and "another process is at work" in said and said.count("\n") == 1
    assert ended([f"resume={stopped}"], tmp_path)[0] == 0
    assert made(tmp_path / "r") == whole["sweep"][0]
    pair = [begun([*STUDIES["sweep"], "workers=1", f"results_dir={tmp_path / 'p'}"], tmp_path / str(i)) for i in (0, 1)]
    for child in pair:
        child.join(60)
        assert child.exitcode == 0
    runs = [p for p in (tmp_path / "p").glob("*/*") if p.is_dir()]
    assert len(runs) == 2
    assert len({(run / "measures.csv").read_bytes() for run in runs}) == 1


@pytest.mark.skipif(sys.platform != "linux", reason="permissions are withdrawn by Linux means")
def test_folders_that_cannot_be_written(stopped, tmp_path):
    (tmp_path / "said.txt").unlink()
    places = [p for p in (tmp_path / "r").rglob("*") if p.is_dir()] + [tmp_path / "r"]
    for place in places:
        place.chmod(0o555)
    try:
        for k, words in enumerate(([*STUDIES["sweep"], f"results_dir={tmp_path / 'r'}"], [f"resume={stopped}"])):
            status, said = ended(words, tmp_path / str(k), meek=True)
            assert status == 2 and "cannot" in said and "Traceback" not in said, said
            assert len([line for line in said.splitlines() if not line.endswith(" done")]) == 1, said
    finally:
        for place in places:
            place.chmod(0o755)


def hdf5_bytes(tmp_path) -> bytes:
    with h5py.File(tmp_path / "foreign.h5", "w") as file:
        file["x"] = np.arange(1000.0)
    return (tmp_path / "foreign.h5").read_bytes()


@pytest.mark.parametrize(
    "what", often("flipped", "truncated", "garbage", "foreign HDF5", "HDF5 cut short", "empty", "missing")
)
def test_what_is_not_whole_is_computed_anew(what, stopped, whole, tmp_path):
    journal = stopped / "answers.journal"
    data, foreign = journal.read_bytes(), hdf5_bytes(tmp_path)
    middle = len(data) // 2
    bad = {"truncated": data[:middle], "garbage": random.Random(1).randbytes(5000), "foreign HDF5": foreign,
           "HDF5 cut short": foreign[:500], "empty": b"", "missing": None,
           "flipped": data[:middle] + bytes([data[middle] ^ 4]) + data[middle + 1 :]}[what]  # fmt: skip
    journal.unlink() if bad is None else journal.write_bytes(bad)
    for name in ("results.h5", "measures.csv"):  # and never believed either
        (stopped / name).write_bytes(bad or b"")
    status, said = ended([f"resume={stopped}"], tmp_path)
    assert status == 0, said
    assert made(tmp_path / "r") == whole["sweep"][0]


def changed(config, **how):
    return yaml.safe_dump(yaml.safe_load(config) | how)


@pytest.mark.parametrize("what, words", [("config", "another request"), ("physics", "another version of physics"),
                                         ("told", "differs at skater.mass"), ("finished", "is finished")])  # fmt: skip
def test_what_would_mix_is_refused_in_one_sentence(what, words, stopped, tmp_path, capsys):
    path, arguments = stopped / "config.yaml", [f"resume={stopped}"]
    if what == "config":
        path.write_text(changed(path.read_text(), pairs=[["turn_drag", "glide_drag_coefficient"]]))
    elif what == "physics":
        from experiments.run.provenance import computed_by

        journal = stopped / "answers.journal"
        own = computed_by("experiments.studies.compare.study")["physics"].encode()
        data = journal.read_bytes().replace(own, b"0" * len(own), 1)
        line, _, rest = data.partition(b"\n")
        from experiments.run.journal import _digest

        count = int(line.split()[2])
        journal.write_bytes(b"%s head %d\n" % (_digest(b"head", rest[:count]), count) + rest)
    elif what == "told":
        arguments += [*STUDIES["sweep"], "skater.mass=90 kg"]
    else:
        assert run_command([*arguments, "workers=1"]) == 0
    before = sorted(stopped.iterdir())
    capsys.readouterr()
    assert run_command(arguments) == 2
    said = capsys.readouterr().err
    assert words in said and said.count("\n") == 1 and sorted(stopped.iterdir()) == before


def test_the_same_words_with_resume_go_on(stopped, whole, tmp_path):
    status, said = ended([*STUDIES["sweep"], f"resume={stopped}", "workers=1"], tmp_path)
    assert status == 0, said
    assert made(tmp_path / "r") == whole["sweep"][0]


@pytest.mark.parametrize("place", ["nowhere", "README.md", "experiments", "."])
def test_resume_from_what_is_no_run(place, capsys):
    assert run_command([f"resume={place}"]) == 2
    assert "not the folder of a run" in capsys.readouterr().err


@pytest.mark.slow
def test_a_dask_worker_killed_in_the_middle_changes_nothing(whole, tmp_path):
    """An existing scheduler by its address; one of its two workers dies while the study runs."""
    distributed = pytest.importorskip("distributed")
    with distributed.LocalCluster(2, threads_per_worker=1, dashboard_address=None, silence_logs=50) as cluster:
        arguments = [*STUDIES["certainty"], "draws=64", f"workers={cluster.scheduler_address}"]
        child = begun([*arguments, f"results_dir={tmp_path / 'r'}"], tmp_path)
        journal = wait_for(lambda: (tmp_path / "r").glob("*/*/answers.journal"))
        while journal.stat().st_size < 5_000:
            time.sleep(0.002)
        os.kill(cluster.workers[0].process.pid, signal.SIGKILL)
        child.join(120)
        assert child.exitcode == 0, (tmp_path / "said.txt").read_text()
    status, _ = ended([*STUDIES["certainty"], "draws=64", "workers=2", f"results_dir={tmp_path / 's'}"], tmp_path)
    assert status == 0 and made(tmp_path / "r") == made(tmp_path / "s")


# ---------------------------------------------------------------- as a person uses it: the command in a process


def command(arguments, **how) -> subprocess.Popen:
    """The command with these arguments, in a session of its own, its screen in a pipe."""
    words = ["-c", "import sys; from experiments.main import main; sys.argv[0] = 'arcstride'; main()", *arguments]
    return subprocess.Popen([sys.executable, *words], stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
                            start_new_session=True, **how)  # fmt: skip


def at_work(folder: Path) -> Path:
    """The journal of the run below a folder, once there is something in it."""
    journal = wait_for(lambda: folder.glob("*/*/answers.journal"))
    while journal.exists() and journal.stat().st_size < 3000:
        time.sleep(0.002)
    return journal


@pytest.mark.parametrize("name, times, words, status", often(
    ("SIGINT", 2, "stopped by hand", 130), ("SIGTERM", 1, "stopped by the system", 143),
    ("SIGHUP", 1, "the terminal was closed", 129),
))  # fmt: skip
def test_a_signal_ends_it_within_seconds_and_the_words_to_go_on_work(name, times, words, status, whole, tmp_path):
    """For a folder whose name means something to a shell and to the grammar of the command line."""
    place = tmp_path / "it's [1], a=b {c} (d) & $e"
    child = command([*STUDIES["sweep"], "workers=2", f"results_dir={place}"])
    at_work(place)
    for _ in range(times):
        os.killpg(child.pid, getattr(signal, name))
        time.sleep(0.02)
    said = child.communicate(timeout=30)[0].decode()
    assert child.returncode == status and "Traceback" not in said, said
    assert f"arcstride: {words}." in said
    (go_on,) = re.findall(r"continue with  (arcstride .*)", said)
    script = f"arcstride() {{ {sys.executable} -c 'from experiments.main import main; main()' \"$@\"; }}; {go_on}"
    again = subprocess.run(["bash", "-c", script], capture_output=True, text=True, timeout=120)
    assert again.returncode == 0, again.stderr
    assert made(place) == whole["sweep"][0]


def test_a_folder_that_is_removed_in_mid_run_is_one_sentence(tmp_path):
    child = command([*STUDIES["sweep"], "workers=1", f"results_dir={tmp_path / 'r'}"])
    run = at_work(tmp_path / "r").parent
    shutil.rmtree(run)
    said = child.communicate(timeout=60)[0].decode()
    assert child.returncode == 2 and "Traceback" not in said, said
    assert said.splitlines()[-1] == f"arcstride: {run}: this folder was removed while the run wrote in it; start again."


def test_a_screen_that_knows_few_letters_or_is_closed_stops_nothing(tmp_path):
    ascii_only = os.environ | {"PYTHONIOENCODING": "ascii"}
    arguments = [*STUDIES["compare"], "skater.name='Zoë'", "detail=measures", f"results_dir={tmp_path}"]
    child = command(arguments, env=ascii_only)
    said = child.communicate(timeout=60)[0].decode()
    assert child.returncode == 0 and "Traceback" not in said and list(tmp_path.glob("*/*/measures.csv")), said
    helped = command(["--help"])
    helped.stdout.close()
    assert helped.wait(timeout=30) in (0, 141)
