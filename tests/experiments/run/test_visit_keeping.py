"""Keeping a visit: whole or not at all, under a name of its own, and nothing else in the folder is touched."""

import multiprocessing
import os
import signal

import pytest

from experiments.run import visits
from experiments.run.visits import LOCK, keep
from sim.errors import BladeError

DAY = "2026-11-03"


def test_visits_of_one_day_have_names_of_their_own(tmp_path):
    names = [keep(tmp_path / "new" / "folder", who, DAY, text).name
             for who, text in (("AB", "one"), ("AB", "two"), ("ab", "three"), ("A", "four"))]  # fmt: skip
    assert names == ["AB-2026-11-03.yaml", "AB-2026-11-03-2.yaml", "ab-2026-11-03-3.yaml", "A-2026-11-03.yaml"]
    assert [(tmp_path / "new" / "folder" / n).read_text() for n in names] == ["one", "two", "three", "four"]


def _keep_five(folder):
    for _ in range(5):
        keep(folder, "AB", DAY, "text")


def test_visits_kept_at_once_do_not_take_each_others_names(tmp_path):
    fork = multiprocessing.get_context("fork")
    many = [fork.Process(target=_keep_five, args=(tmp_path,)) for _ in range(4)]
    for one in many:
        one.start()
    for one in many:
        one.join(60)
    assert all(one.exitcode == 0 for one in many)
    kept = [p for p in tmp_path.iterdir() if p.name != LOCK]
    assert len(kept) == 20 and all(p.read_text() == "text" for p in kept)


def _killed(folder):
    os.fsync = lambda handle: os.kill(os.getpid(), signal.SIGKILL)
    keep(folder, "AB", DAY, "half of it")


def test_a_kill_leaves_no_visit_and_the_next_tidies_up(tmp_path):
    fork = multiprocessing.get_context("fork")
    one = fork.Process(target=_killed, args=(tmp_path,))
    one.start()
    one.join(60)
    assert one.exitcode == -signal.SIGKILL
    (torn,) = [p for p in tmp_path.iterdir() if p.name != LOCK]
    assert torn.name.endswith(".part")
    assert keep(tmp_path, "AB", DAY, "whole").name == "AB-2026-11-03.yaml" and not torn.exists()


def test_a_full_disk_leaves_no_visit(tmp_path, monkeypatch):
    def full(handle):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    with pytest.raises(OSError, match="No space"):
        keep(tmp_path, "AB", DAY, "text")
    assert [p.name for p in tmp_path.iterdir()] == [LOCK]


def test_nothing_else_is_touched(tmp_path):
    outside = tmp_path / "outside.yaml"
    outside.write_text("mine")
    folder = tmp_path / "visits"
    (folder / "sub").mkdir(parents=True)
    others = [folder / name for name in ("notes.yaml", ".hidden.12.part", ".AB-2026-11-03.yaml.mine.part", "sub/x")]
    for other in others:
        other.write_text("mine")
    (folder / "AB-2026-11-03.yaml").symlink_to(outside)
    before = {p: (p.read_bytes(), p.lstat().st_mtime_ns) for p in [*others, outside]}
    assert keep(folder, "AB", DAY, "text").name == "AB-2026-11-03-2.yaml"
    assert before == {p: (p.read_bytes(), p.lstat().st_mtime_ns) for p in before}


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="pipes with names are of Unix")
@pytest.mark.parametrize("made", ["link", "pipe", "second name"])
def test_a_lock_that_is_no_file_of_the_folder_alone_is_refused(made, tmp_path):
    outside = tmp_path / "outside"
    outside.write_text("mine")
    folder = tmp_path / "visits"
    folder.mkdir()
    lock = folder / LOCK
    {"link": lambda: lock.symlink_to(outside), "pipe": lambda: os.mkfifo(lock),
     "second name": lambda: lock.hardlink_to(outside)}[made]()  # fmt: skip
    with pytest.raises(BladeError, match="a link, a pipe"):
        keep(folder, "AB", DAY, "text")
    assert outside.read_text() == "mine" and [p.name for p in folder.iterdir()] == [LOCK]


def test_a_disk_without_locks_is_said(tmp_path, monkeypatch):
    def none(*given):
        raise visits.portalocker.exceptions.LockException

    monkeypatch.setattr(visits.portalocker, "lock", none)
    with pytest.raises(BladeError, match="cannot be locked"):
        keep(tmp_path, "AB", DAY, "text")
