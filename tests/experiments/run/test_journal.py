"""Journal and addresses: what was given comes back, what is torn, changed or foreign is not believed."""

import math
from dataclasses import dataclass, replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from experiments.request.comparison import read_request
from experiments.request.compose import composed
from experiments.run import journal as journal_module
from experiments.run.address import address
from experiments.run.journal import Journal, pack, unpack
from experiments.run.provenance import computed_by
from sim.errors import BladeError

MODULE = "experiments.studies.compare.study"

ANSWERS = {"a": [1.0, {"x": np.arange(6.0).reshape(2, 3)}], "b": {"why": "ümläut \n", "none": None}, "c": np.zeros(0)}
plain = st.none() | st.booleans() | st.integers() | st.floats() | st.text()
arrays = hnp.arrays(st.sampled_from([np.float64, np.int32, np.bool_]), hnp.array_shapes(min_dims=0, min_side=0))
trees = st.recursive(plain | arrays, lambda x: st.lists(x) | st.dictionaries(st.text(), x), max_leaves=8)


def same(a, b) -> bool:
    """Equal to the bit; nan equals nan."""
    if isinstance(a, np.ndarray):
        return isinstance(b, np.ndarray) and (a.dtype, a.shape, a.tobytes()) == (b.dtype, b.shape, b.tobytes())
    if isinstance(a, dict):
        return list(a) == list(b) and all(same(a[k], b[k]) for k in a)
    if isinstance(a, list):
        return len(a) == len(b) and all(map(same, a, b))
    return a == b or (isinstance(a, float) and math.isnan(a) and math.isnan(b))


@given(trees)
def test_what_is_packed_comes_back_to_the_bit(tree):
    assert same(unpack(pack(tree)), tree)


def test_text_that_would_fill_the_memory_is_not_read():
    """A list takes fifty bytes where its text has three."""
    text = b"[" + b"[]," * 8_000_000 + b"0]"
    with pytest.raises(ValueError, match="a text of 24000003 bytes"):
        unpack(b"%d\n" % len(text) + text)


@given(st.binary(max_size=200))
def test_bytes_that_nobody_packed_are_refused(data):
    try:
        unpack(data)
    except (ValueError, KeyError, TypeError, RecursionError):
        pass  # only ever read behind a digest: this is the second wall


def test_no_array_of_objects_is_taken():
    with pytest.raises(ValueError):
        unpack(b'33\n{"array":["|O",[1],0]}           ' + b"x" * 8)


def kept(path):
    journal = Journal(path, "asked", MODULE)
    for key, answer in ANSWERS.items():
        journal.add(key, answer)
    journal.close()
    return path.read_bytes()


def test_every_place_a_kill_could_leave_it(tmp_path):
    path = tmp_path / "j"
    whole, counts = kept(path), []
    for cut in range(len(whole)):
        path.write_bytes(whole[:cut])
        again = Journal(path, "asked", MODULE)
        counts.append(len(again))
        assert all(same(again.get(key), ANSWERS[key]) for key in ANSWERS if key in again)
        again.add("d", 1.0)
        again.close()
        third = Journal(path, "asked", MODULE)
        assert len(third) == counts[-1] + 1 and third.get("d") == 1.0
        third.close()
    assert set(counts) == {0, 1, 2} and counts == sorted(counts)


def test_a_changed_byte_anywhere_is_not_believed(tmp_path):
    path = tmp_path / "j"
    whole = kept(path)
    for place in range(0, len(whole), 3):
        path.write_bytes(whole[:place] + bytes([whole[place] ^ 1]) + whole[place + 1 :])
        try:
            again = Journal(path, "asked", MODULE)
        except BladeError:
            continue  # not of this request any more
        assert all(same(again.get(key), ANSWERS[key]) for key in ANSWERS if key in again)
        again.close()


@pytest.mark.parametrize("foreign", [b"", b"\x89HDF\r\n\x1a\n" + bytes(3000), b"x" * 3000, b"\n" * 100, bytes(100),
                                     b"0 a 99999999999\n", b"%d " * 500])  # fmt: skip
def test_a_foreign_file_in_its_place_is_started_anew(foreign, tmp_path):
    path = tmp_path / "j"
    path.write_bytes(foreign)
    journal = Journal(path, "asked", MODULE)
    assert len(journal) == 0
    journal.close()


def test_another_request_and_another_version_are_refused(tmp_path, monkeypatch):
    kept(tmp_path / "j")
    with pytest.raises(BladeError, match="another request"):
        Journal(tmp_path / "j", "something else", MODULE)
    monkeypatch.setattr(journal_module, "computed_by", lambda module: COMPUTED | {"physics": "0123"})
    with pytest.raises(BladeError, match=r"another version of physics .*0123"):
        Journal(tmp_path / "j", "asked", MODULE)


COMPUTED = computed_by(MODULE)


# ---------------------------------------------------------------- addresses


@dataclass(frozen=True)
class Thing:
    a: float
    b: tuple


def test_addresses_tell_apart_and_repeat():
    things = [0, 0.0, -0.0, False, None, "", "0", [], (), {}, np.zeros(1), np.zeros((1, 1)), np.zeros(1, "f4"),
              ["ab"], ["a", "b"], {"a": 1}, {"a": "1"}, Thing(1.0, ()), Thing(1.0, (0,)), math.nextafter(1, 2), 1.0,
              math.sin, math.nan, "s", ["s"], [["s"]], [[], "s"]]  # fmt: skip
    found = [address(thing) for thing in things]
    assert len(set(found)) == len(things) and found == [address(thing) for thing in things]
    assert address(1, 2) != address([1, 2]) and address(1, 2) != address(12)
    with pytest.raises(TypeError):
        address(object())


def test_an_address_follows_every_number_of_a_setting_and_a_blade():
    case = read_request(composed([])[0]).cases[6]
    setting, blade = case.setting, case.candidate
    changed = [
        replace(setting, ice=replace(setting.ice, temperature_c=setting.ice.temperature_c + 1e-13)),
        replace(setting, skater=replace(setting.skater, mass_kg=math.nextafter(setting.skater.mass_kg, 0))),
        replace(setting, law=setting.law._replace(film=0.0)), replace(setting, scenarios={}),
        replace(blade, section=replace(blade.section, hollow_m=blade.section.hollow_m * (1 + 1e-15))),
        replace(blade, recipe=replace(blade.recipe, level_m=1e-12)),
    ]  # fmt: skip
    known = [address(setting), address(blade), *map(address, changed)]
    assert len(set(known)) == len(known)
    _ = setting.reference_pitches, blade.steel  # what is remembered does not count
    assert [address(setting), address(blade)] == known[:2]
