"""A run folder from elsewhere, made to do harm: it runs nothing, writes nothing outside, and makes nobody wait."""

import json
import os
import shutil
import socket
import subprocess
import sys
import time
from pathlib import Path
from unittest.mock import Mock

import pytest
import yaml

import sim
from experiments.main import run_command
from experiments.request.fields import Fields
from experiments.request.how import read_workers
from experiments.run.journal import Halted, Journal, _digest
from experiments.run.provenance import computed_by, processor, provenance
from experiments.studies.kind import Kind
from sim.errors import BladeError

HOME = Path(sim.__file__).parents[1]
MODULE = "experiments.studies.compare.study"
ASKED = ["candidates=[{family: single_radius, radii: [9 ft]}, {family: single_radius, radii: [10 ft]}]",
         "radius_line.count=3", "figures=false", "detail=measures", "draws=0"]  # fmt: skip


@pytest.fixture(scope="module")
def begun(tmp_path_factory):
    """The folder of a run that was stopped as its tables were to be written: all its answers are kept."""
    place = tmp_path_factory.mktemp("begun")
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr("experiments.studies.kind.Kind.write", lambda *given: 1 / 0)
        with pytest.raises(ZeroDivisionError):
            run_command([*ASKED, "workers=1", f"results_dir={place}"])
    (found,) = place.glob("*/*")
    assert (found / "answers.journal").stat().st_size > 1000
    return found


@pytest.fixture
def folder(begun, tmp_path):
    return shutil.copytree(begun, tmp_path / "from elsewhere")


def resumed(folder: Path, capsys, *more) -> tuple[int, str]:
    capsys.readouterr()
    status = run_command([f"resume={folder}", *more])
    return status, capsys.readouterr().err


def test_it_can_be_gone_on_with(folder, capsys):
    assert resumed(folder, capsys, "workers=1") == (0, "") and (folder / "measures.csv").is_file()


def test_who_computes_is_said_by_the_command_line_alone(folder, capsys, monkeypatch):
    """An address in the config of a folder: its answers would be believed, and they are unpickled."""
    config = yaml.safe_load((folder / "config.yaml").read_text())
    (folder / "config.yaml").write_text(yaml.safe_dump(config | {"workers": "tcp://192.0.2.1:8786"}))
    (folder / "answers.journal").unlink()
    asked = []
    monkeypatch.setattr("experiments.run.workers.worker_count", lambda who: asked.append(who) or 1)
    assert resumed(folder, capsys)[0] == 0 and asked == [None]


def a_link(path: Path, outside: Path) -> None:
    path.unlink(missing_ok=True)
    path.symlink_to(outside)


def a_second_name(path: Path, outside: Path) -> None:
    path.unlink(missing_ok=True)
    path.hardlink_to(outside)


def a_pipe(path: Path, outside: Path) -> None:
    path.unlink(missing_ok=True)
    os.mkfifo(path)


def a_socket(path: Path, outside: Path) -> None:
    path.unlink(missing_ok=True)
    short = Path("/tmp") / f"s{os.getpid()}"  # the name of a socket has a hundred letters at most
    with socket.socket(socket.AF_UNIX) as made:
        made.bind(str(short))
    shutil.move(short, path)


HARM = [
    (what, name) for what in (a_link, a_pipe, a_socket)
    for name in (".lock", "answers.journal", "run.log", "measures.csv", "config.yaml", "figures/01_curves.png")
] + [(a_second_name, name) for name in (".lock", "answers.journal", "run.log")]  # fmt: skip


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="pipes with names are of Unix")
@pytest.mark.parametrize("what, name", HARM, ids=[f"{what.__name__} {name}" for what, name in HARM])
def test_links_pipes_and_second_names_are_refused_and_nothing_outside_is_touched(what, name, folder, tmp_path, capsys):
    outside = tmp_path / "mine.txt"
    outside.write_text("mine")
    (folder / name).parent.mkdir(exist_ok=True)
    if name == "config.yaml" and what is a_link:
        outside.write_text((folder / name).read_text())
    before, was = outside.stat(), outside.read_bytes()
    what(folder / name, outside)
    began = time.monotonic()
    status, said = resumed(folder, capsys, "workers=1")
    assert status == 2 and said.count("\n") == 1 and time.monotonic() - began < 30
    assert "link, a pipe" in said or "not the folder of a run" in said
    assert outside.read_bytes() == was and outside.stat().st_mtime_ns == before.st_mtime_ns


def test_the_folder_itself_may_be_reached_by_a_link(folder, tmp_path, capsys):
    (tmp_path / "latest").symlink_to(folder)
    assert resumed(tmp_path / "latest", capsys, "workers=1")[0] == 0


def test_a_folder_named_as_half_a_file_is_left_alone(folder, capsys):
    (folder / "figures" / ".01_curves.png.7.part" / "inside").mkdir(parents=True)
    assert resumed(folder, capsys, "workers=1") == (0, "")


def test_a_name_that_a_terminal_would_obey_is_shown_as_text(folder, capsys):
    (folder / "a\x1b[31m\nb").symlink_to("nowhere")
    status, said = resumed(folder, capsys, "workers=1")
    assert status == 2 and r"a\x1b[31m\nb" in said and said.count("\n") == 1


@pytest.mark.parametrize("name", ["measures.csv", "results.h5", ".lock", "answers.journal", "run.log", "figures"])
def test_folders_and_files_in_each_others_place_are_one_sentence(name, folder, capsys):
    place = folder / name
    place.unlink(missing_ok=True)
    if name == "figures":
        place.write_text("no folder")
    else:
        (place / "inside").mkdir(parents=True)
    status, said = resumed(folder, capsys, "workers=1", "figures=true")
    assert status == 2 and said.count("\n") == 1 and "Traceback" not in said, said


def test_a_file_that_a_folder_names_is_not_quoted(tmp_path, capsys):
    """A folder may name any file of this machine as its trace; what stands in it is nobody's business."""
    secret = tmp_path / "secret.txt"
    secret.write_text("password,hunter2\n")
    trace = Path(__file__).parents[2] / "traces" / "single_9ft.csv"
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr("experiments.studies.kind.Kind.run", lambda *given: 1 / 0)
        with pytest.raises(ZeroDivisionError):
            run_command(["experiment=recommend", f"trace={trace}", f"results_dir={tmp_path / 'r'}"])
    (found,) = (tmp_path / "r").glob("*/*")
    text = (found / "config.yaml").read_text().replace(str(trace), str(secret))
    (found / "config.yaml").write_text(text)
    status, said = resumed(found, capsys)
    assert status == 2 and "hunter2" not in said and "names files of this machine (trace)" in said


def test_recipes_that_a_folder_names_are_not_quoted(tmp_path, capsys):
    secret = tmp_path / "secret.yaml"
    secret.write_text("- {family: single_radius, radii: [9 ft]}\n")
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr("experiments.studies.kind.Kind.run", lambda *given: 1 / 0)
        with pytest.raises(ZeroDivisionError):
            run_command(["experiment=search", f"start_from={secret}", f"results_dir={tmp_path / 'r'}"])
    (found,) = (tmp_path / "r").glob("*/*")
    secret.write_text("- {password: hunter2}\n")
    status, said = resumed(found, capsys)
    assert status == 2 and "hunter2" not in said and "password" not in said and "(start_from)" in said


@pytest.mark.parametrize("fault, left", [(BladeError("nobody answers"), 0), (Halted("all have gone"), 1)])
def test_a_refusal_by_who_computes_leaves_no_folder_but_what_can_be_gone_on_with(
    fault, left, tmp_path, capsys, monkeypatch
):
    monkeypatch.setattr("experiments.studies.kind.Kind.run", Mock(side_effect=fault))
    assert run_command([*ASKED, "workers=2", f"results_dir={tmp_path}"]) == 2
    assert str(fault) in capsys.readouterr().err and len(list(tmp_path.glob("*/*"))) == left


def test_a_refusal_leaves_a_folder_that_was_there_before(folder, capsys, monkeypatch):
    monkeypatch.setattr("experiments.studies.kind.Kind.run", Mock(side_effect=BladeError("nobody answers")))
    (folder / "answers.journal").unlink()
    assert resumed(folder, capsys)[0] == 2 and (folder / "config.yaml").is_file()


@pytest.mark.parametrize("who", ["many", "tls://host:8786", "ucx://host:1", "tcp://", "tcp://host", "tcp://host:99999",
                                 "inproc://1/2", "tcp://a b:1"])  # fmt: skip
def test_a_refusal_leaves_no_folder_behind(who, tmp_path, capsys):
    assert run_command([*ASKED, f"workers='{who}'", f"results_dir={tmp_path / 'r'}"]) == 2
    said = capsys.readouterr().err
    assert "workers" in said and said.count("\n") == 1 and not (tmp_path / "r").exists()


@pytest.mark.parametrize("who", ["tcp://host:8786", "tcp://127.0.0.1:9/", "tcp://[::1]:8786", "tcp://a-b.c_d:1"])
def test_addresses_that_may_be_meant_are_taken(who):
    assert read_workers(Fields({"workers": who}, "")) == who


# ---------------------------------------------------------------- journals made by hand


def rewritten(path: Path, change) -> int:
    """Every answer of a journal changed, with digests that fit; how many."""
    data, out, place, count = path.read_bytes(), b"", 0, 0
    while place < len(data):
        line, _, _ = data[place:].partition(b"\n")
        _, key, size = line.split()
        start = place + len(line) + 1
        payload = data[start : start + int(size)]
        place = start + int(size) + 1
        if key != b"head":
            payload, count = change(payload), count + 1
        out += b"%s %s %d\n" % (_digest(key, payload), key, len(payload)) + payload + b"\n"
    path.write_bytes(out)
    return count


def text_only(tree) -> bytes:
    text = json.dumps(tree).encode()
    return b"%d\n" % len(text) + text


FORGED = {
    "a number": text_only(7), "nothing": text_only(None), "a text": text_only("x" * 50), "an empty list": text_only([]),
    "lists of nothing": text_only([[], [], []]), "a mapping": text_only({"a": 1}),
    "a list of texts": text_only(["a"] * 9), "nothing in it": b"",
    "a deep one": b"200000\n" + b"[" * 100_000 + b"]" * 100_000, "no text at all": b"\xff\xfe\x00",
    "a negative size": b"-5\n[1]", "a large number": text_only([10**400]),
    "an array of nothing": text_only({"array": ["<f8", [0], 0]}),
    "an array that is not there": text_only({"array": ["<f8", [10**9], 0]}),
    "an array of another kind": text_only({"array": ["O", [2], 0]}),
    "an array beyond all": text_only({"array": ["<f8", [10**30, 10**30], 0]}),
    "an array of a wrong form": text_only({"array": [1, 2]}),
}  # fmt: skip


@pytest.mark.parametrize("how", FORGED)
def test_answers_that_no_question_has_are_one_sentence(how, folder, capsys):
    """Either found out as none and computed anew, or refused; never a traceback, and never half a table."""
    assert rewritten(folder / "answers.journal", lambda payload: FORGED[how]) > 2
    status, said = resumed(folder, capsys, "workers=1")
    assert status in (0, 2) and "Traceback" not in said and said.count("\n") == (status == 2), said
    assert status == 0 or ("start anew" in said and not (folder / "measures.csv").exists()), said


@pytest.mark.parametrize("stage", ["run", "write", "draw", "write_page", "show"])
def test_whatever_odd_answers_make_a_library_raise_is_one_sentence(stage, folder, capsys, monkeypatch):
    """Some raise plain Exception, with a line end in its text. In a run that took no answers it is a fault of ours."""

    def raising(*given):
        raise Exception("expected\nanother form")

    def asked(kind, plan, workers, progress):
        run(kind, plan, workers, progress)
        raising()

    run = Kind.run
    monkeypatch.setattr(Kind, stage, asked if stage == "run" else raising)
    status, said = resumed(folder, capsys, "workers=1", "figures=true")
    assert status == 2 and "start anew" in said and said.count("\n") == 1
    log = (folder / "run.log").read_text()
    assert "another form" in log and "done in" not in log
    (folder / "answers.journal").unlink()
    with pytest.raises(Exception, match="another form"):
        resumed(folder, capsys, "workers=1", "figures=true")


def test_a_head_that_is_deep_or_none_is_refused(tmp_path):
    for payload in (b"[" * 100_000, b"{}", b"7", b"[]", b'{"request": 1, "computed_by": 2}'):
        path = tmp_path / "j"
        path.write_bytes(b"%s head %d\n" % (_digest(b"head", payload), len(payload)) + payload + b"\n")
        with pytest.raises(ValueError, match="is no journal of this program"):
            Journal(path, "asked", MODULE)


def test_what_a_head_says_is_quoted_short_and_harmless(tmp_path):
    head = {"request": "asked", "computed_by": computed_by(MODULE) | {"numpy": "\x1b[31m\n" + 5000 * "x"}}
    payload, path = json.dumps(head).encode(), tmp_path / "j"
    path.write_bytes(b"%s head %d\n" % (_digest(b"head", payload), len(payload)) + payload + b"\n")
    with pytest.raises(ValueError, match="another version of numpy") as refused:
        Journal(path, "asked", MODULE)
    assert str(refused.value).isprintable() and len(str(refused.value)) < 500


# ---------------------------------------------------------------- who computed it


@pytest.mark.parametrize("what", ["python", "processor", "numpy", "studies"])
def test_answers_of_another_machine_or_python_are_not_mixed_in(what, folder, capsys):
    own = computed_by(MODULE)[what].encode()
    journal = folder / "answers.journal"
    data = journal.read_bytes()
    line, _, rest = data.partition(b"\n")
    head = rest[: int(line.split()[2])]
    assert b'"' + own + b'"' in head
    other = head.replace(b'"' + own + b'"', b'"another"', 1)
    journal.write_bytes(b"%s head %d\n" % (_digest(b"head", other), len(other)) + other + rest[len(head) :])
    status, said = resumed(folder, capsys)
    word = "kind" if what == "processor" else "version"
    assert status == 2 and f"another {word} of {what} (another, here {own.decode()})" in said


def test_less_of_the_processor_is_another_processor():
    kind, can = processor()
    if not can:
        pytest.skip("this processor has nothing that can be left unused")
    code = "from experiments.run.provenance import processor; print(*processor(), sep=chr(10))"
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True,
                          env=os.environ | {"NPY_DISABLE_CPU_FEATURES": can}, cwd=HOME)  # fmt: skip
    other, less = said.stdout.split("\n")[:2]
    assert other != kind and len(less) < len(can)


def test_what_the_processor_can_is_noted():
    kind, can = processor()
    assert kind in provenance()["processor"] and can == provenance()["processor_features"] and len(can) > 3


@pytest.mark.parametrize("where, project", [(".", "arcstride"), ("venv/lib", "of_others")])
def test_the_revision_is_of_this_project_only(where, project, tmp_path):
    """Installed inside the checkout of something else, or as a part of it, that one's revision says nothing."""
    package = tmp_path / "venv" / "lib"
    for name in ("experiments", "sim", "configs"):
        shutil.copytree(HOME / name, package / name)
    (tmp_path / where / "pyproject.toml").write_text(f'[project]\nname = "{project}"\n')
    git = {"cwd": tmp_path / where, "check": True, "capture_output": True}
    who = ["-c", "user.name=a", "-c", "user.email=a@example.org"]
    subprocess.run(["git", "init", "-q"], **git)
    subprocess.run(["git", *who, "commit", "-q", "--allow-empty", "-m", "x"], **git)
    code = "from experiments.run.provenance import provenance; print(provenance()['code_revision'])"
    said = subprocess.run([sys.executable, "-P", "-c", code], capture_output=True, text=True,
                          env=os.environ | {"PYTHONPATH": str(package)}, cwd=tmp_path)  # fmt: skip
    assert said.stdout.strip() == "unknown", said.stderr


def test_a_hook_of_another_project_does_not_name_the_revision(tmp_path):
    """Git tells a hook where it is; what runs in one asks for its own revision."""
    subprocess.run(["git", "init", "-q", str(tmp_path)], check=True, capture_output=True)
    code = "from experiments.run.provenance import provenance; print(provenance()['code_revision'])"
    said = [subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, env=env, cwd=HOME).stdout
            for env in (os.environ, os.environ | {"GIT_DIR": str(tmp_path / ".git")})]  # fmt: skip
    assert said[0] == said[1]


# ---------------------------------------------------------------- compiled code


@pytest.mark.skipif(not hasattr(os, "getuid"), reason="owners as Unix has them")
def test_compiled_code_is_loaded_from_a_folder_of_ones_own_only(tmp_path, monkeypatch):
    ours = tmp_path / "ours"
    ours.mkdir(mode=0o700)
    assert sim.is_ours(ours)
    (tmp_path / "link").symlink_to(ours)
    (tmp_path / "file").write_text("")
    others = tmp_path / "others"
    others.mkdir()
    others.chmod(0o777)
    for bad in ("link", "file", "others", "nowhere"):
        assert not sim.is_ours(tmp_path / bad), bad
    monkeypatch.setattr(os, "getuid", lambda: ours.stat().st_uid + 1)
    assert not sim.is_ours(ours), "of somebody else"


def cache_folder(cache: Path, first: str = "") -> list[str]:
    """[the folder that a new process keeps compiled code in, its mode]; first: what it does before."""
    env = {k: v for k, v in os.environ.items() if k != "NUMBA_CACHE_DIR"} | {"XDG_CACHE_HOME": str(cache)}
    code = "import os, sim; p = os.environ['NUMBA_CACHE_DIR']; print(p, oct(os.stat(p).st_mode & 0o777))"
    return subprocess.run([sys.executable, "-c", first + code], capture_output=True, text=True, env=env, cwd=HOME,
                          check=True).stdout.split()  # fmt: skip


@pytest.mark.skipif(not hasattr(os, "getuid"), reason="modes as Unix has them")
def test_compiled_code_is_kept_by_those_who_share_their_files_with_a_group(tmp_path):
    """Where new files are open to a group, as many systems have it, these are not, and serve again."""
    kept = [cache_folder(tmp_path / "new", "import os; os.umask(0o002);") for _ in range(2)]
    assert kept[0] == kept[1] and kept[0][0].startswith(str(tmp_path)) and kept[0][1] == "0o700"


@pytest.mark.skipif(not hasattr(os, "getuid"), reason="homes as Unix has them")
def test_a_user_without_a_home_has_a_new_folder():
    nobody = "import pwd, os; os.environ.pop('HOME', 0); os.environ.pop('XDG_CACHE_HOME'); pwd.getpwuid = {}.pop;"
    folder, mode = cache_folder(Path("unused"), nobody)
    assert mode == "0o700" and not Path(folder).exists()


def test_where_no_folder_is_ones_own_a_new_one_is_made(tmp_path):
    (tmp_path / "arcstride").mkdir()
    (tmp_path / "arcstride").chmod(0o777)
    said = [cache_folder(tmp_path) for _ in range(2)]
    assert said[0][0] != said[1][0] and str(tmp_path) not in said[0][0] and said[0][1] == "0o700"
    assert not Path(said[0][0]).exists(), "and it is gone afterwards"
