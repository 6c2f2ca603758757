"""Version 2 of the format: the catalogue at the head, what is read by it, and what must not pass."""

from __future__ import annotations

import dataclasses
import hashlib
import io
import json
import re
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import fsspec
import h5py
import numpy as np
import pytest

from benchsweep.archive import (
    check_record,
    content_hash,
    read_head,
    read_record,
    read_reduced,
    write_calibration,
    write_record,
)
from benchsweep.archive.format._catalogue_seal import CatalogueSeal, padded
from benchsweep.archive.places import _remote_stream
from benchsweep.errors import ArchiveError, RecordDamaged
from benchsweep.records import Measurement, Specimen

BASE = 32768
READERS = (read_record, read_reduced, read_head, check_record, content_hash)


def parts(raw: bytes) -> tuple[int, dict[str, Any]]:
    """Where the HDF5 file of a record begins, and its catalogue, by the words of the documentation."""
    lines = raw[:512].decode("ascii").splitlines()
    base = int(lines[2].rpartition(" ")[2])
    return base, json.loads(raw[512:base])


def sealed_again(path: Path, image: bytes, catalogue: bytes, kept: list[tuple[int, int]]) -> Path:
    """Write a file of version 2 with right checksums; `kept` are the stretches of its arrays."""
    base = BASE
    digest = hashlib.sha256()
    start = 0
    for first, length in sorted(kept):
        digest.update(image[start : first - base])
        start = first - base + length
    digest.update(image[start:])
    front = padded(catalogue, base)
    seal = CatalogueSeal(
        "record", base + len(image), base, hashlib.sha256(front).hexdigest(), digest.hexdigest()
    )
    path.write_bytes(seal.block() + front + image)
    return path


@pytest.fixture(scope="module")
def stored(build: SimpleNamespace, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A record whose catalogue leaves room for a longer one."""
    folder = tmp_path_factory.mktemp("catalogued")
    whole = build.measurement(fixture_toml="# " + 14000 * "f", specimen=Specimen("cord 7", 2.0, "", "L 12"))
    path = write_record(whole, folder)
    assert parts(path.read_bytes())[0] == BASE
    return path


def spans_of(catalogue: dict[str, Any]) -> list[tuple[int, int]]:
    """First byte and length of every array."""
    entries = catalogue["numbers"].values()
    spans = [(at, int(np.prod(shape)) * np.dtype(kind).itemsize) for kind, shape, at, _ in entries]
    return [span for span in spans if span[1] > 0]


def changed(
    stored: Path,
    folder: Path,
    catalogue: Callable[[dict[str, Any]], object] = lambda _: None,
    file: Callable[[h5py.File], object] = lambda _: None,
) -> Path:
    """Change the catalogue, or the HDF5 file without moving any of its arrays, and seal it again."""
    raw = stored.read_bytes()
    base, found = parts(raw)
    whole = io.BytesIO(raw)
    with h5py.File(whole, "r+") as opened:
        file(opened)
    before = spans_of(found)
    told = catalogue(found)
    text = told if isinstance(told, bytes) else json.dumps(found).encode("ascii")
    try:
        kept = spans_of(found)
        inside = all(base <= start and start + length <= len(raw) for start, length in kept)
    except (TypeError, ValueError, KeyError, AttributeError):
        inside = False
    kept = kept if inside else before
    return sealed_again(folder / "changed.h5", whole.getvalue()[base:], text, kept)


def put(member: str, path: str, value: object) -> Callable[[dict[str, Any]], None]:
    return lambda found: found[member].__setitem__(path, value)


def entry(path: str, place: int, value: object) -> Callable[[dict[str, Any]], None]:
    return lambda found: found["numbers"][path].__setitem__(place, value)


def attribute(path: str, key: str, value: object) -> Callable[[dict[str, Any]], None]:
    return lambda found: found["groups"][path].__setitem__(key, value)


def without(member: str, path: str) -> Callable[[dict[str, Any]], None]:
    return lambda found: found[member].__delitem__(path)


GRID, S = "/corrected/frequency_hz", "/corrected/s"
# What is wrong with the catalogue -> the change, and words of the message of `read_record`.
CASES: dict[str, tuple[Callable[[dict[str, Any]], object], str]] = {
    "no JSON": (lambda _: b"{", "not a sound record"),
    "not text": (lambda _: b"\xff\xfe\xff", "not a sound record"),
    "a list": (lambda _: b"[]", "not a sound record"),
    "nested deep": (lambda _: b"[" * 9000, "not a sound record"),
    "a number too long": (lambda _: b'{"groups": ' + b"9" * 9000 + b"}", "not a sound record"),
    "groups missing": (lambda found: found.pop("groups") and None, "not a sound record"),
    "numbers a list": (lambda found: found.__setitem__("numbers", []), "not a sound record"),
    "no root": (without("groups", "/"), "not a sound record"),
    "group missing": (without("groups", "/corrected"), "/corrected: this group is missing"),
    "group no object": (put("groups", "/corrected", 7), "not a sound record|missing"),
    "data set missing": (without("numbers", S), "this data set is missing"),
    "lot missing": (lambda found: found["groups"]["/specimen"].__delitem__("lot"), "@lot: this attribute is"),
    "incidents missing": (without("groups", "/incidents"), "/incidents: this group is missing"),
    "text for a whole number": (
        attribute("/sweep", "averages", "4"),
        "@averages: should be a 64-bit integer",
    ),
    "yes for a whole number": (
        attribute("/sweep", "averages", True),
        "@averages: should be a 64-bit integer",
    ),
    "whole number for a float": (
        attribute("/sweep", "power_dbm", -5),
        "@power_dbm: should be a 64-bit float",
    ),
    "number for text": (attribute("/specimen", "identifier", 7), "@identifier: should be text"),
    "no digits of a float": (attribute("/sweep", "power_dbm", {"float64": "x"}), "not a sound record"),
    "few digits of a float": (attribute("/sweep", "power_dbm", {"float64": "7f"}), "not a sound record"),
    "text for a list": (put("texts", "/corrected/ports", "A:12.1"), "one text where a list of texts"),
    "list for a text": (put("texts", "/fixture/toml", ["a"]), "a list of texts where one text"),
    "numbers in a list of texts": (
        put("texts", "/corrected/ports", [1, 2, 3, 4]),
        "a list of texts is expected",
    ),
    "null for a text": (put("texts", "/fixture/toml", None), "/fixture/toml: of another type"),
    "text for an entry": (put("numbers", S, "abcd"), "not a sound record"),
    "short entry": (put("numbers", S, ["<c16", [3, 4, 4]]), "not a sound record"),
    "other type": (entry(S, 0, "<c8"), "where complex128 with 3 dimensions is expected"),
    "objects": (entry(S, 0, "|O8"), "not a sound record"),
    "no such type": (entry(S, 0, "<f7"), "not a sound record"),
    "fewer dimensions": (entry(S, 1, [48]), "where complex128 with 3 dimensions is expected"),
    "longer": (entry(S, 1, [4, 4, 4]), "two data sets|do not match|stand in the same|outside"),
    "shorter": (entry(S, 1, [2, 4, 4]), "do not match"),
    "huge": (entry(S, 1, [10**6, 10**6, 10**6]), "outside of the HDF5 file|same place"),
    "less than nothing": (entry(S, 1, [-3, -4, 4]), "not a sound record"),
    "half a length": (entry(S, 1, [3.0, 4, 4]), "not a sound record"),
    "in the head": (entry(GRID, 2, 0), "outside of the HDF5 file"),
    "behind the end": (entry(GRID, 2, 10**17), "outside of the HDF5 file"),
    "elsewhere": (lambda found: found["numbers"][GRID].__setitem__(2, found["numbers"][S][2]), "same place"),
    "other checksum": (entry(GRID, 3, "0" * 64), "do not match"),
    "no checksum": (entry(GRID, 3, None), "do not match"),
}


@pytest.mark.parametrize("case", CASES)
def test_a_catalogue_that_does_not_fit_is_a_named_error(case: str, stored: Path, tmp_path: Path) -> None:
    change, words = CASES[case]
    path = changed(stored, tmp_path, change)
    for reader in (check_record, read_record):
        with pytest.raises(RecordDamaged) as caught:
            reader(path)
        assert "\n" not in str(caught.value)
        assert str(path) in str(caught.value)
        assert caught.value.hint
    assert re.search(words, str(caught.value)), "read_record says another thing"
    for reader in (read_reduced, read_head, content_hash):  # these may never look at it
        with suppress(RecordDamaged):
            reader(path)


def test_what_is_sealed_again_unchanged_is_sound(
    stored: Path, build: SimpleNamespace, tmp_path: Path
) -> None:
    path = changed(stored, tmp_path)
    check_record(path)
    assert build.same(read_record(path), read_record(stored))


def rewrite(name: str, value: object) -> Callable[[h5py.File], None]:
    return lambda file: file[name].__setitem__((), value)


@pytest.mark.parametrize(
    ("catalogue", "file", "words"),
    [
        (
            attribute("/specimen", "identifier", "cord 8"),
            None,
            "/specimen: the catalogue says something else",
        ),
        (attribute("/specimen", "length_m", 3.0), None, "/specimen: the catalogue says something else"),
        (put("texts", "/fixture/toml", "x = 1"), None, "/fixture/toml: the catalogue says something else"),
        (put("texts", "/extra", "x"), None, "/extra: the catalogue says something else"),
        (put("groups", "/extra", {}), None, "/extra: the catalogue says something else"),
        (without("texts", "/hookups/001/state_answer"), None, "missing|something else"),
        (
            lambda found: found["numbers"].__setitem__(S, found["numbers"]["/hookups/001/s"]),
            None,
            "same place",
        ),
        (None, lambda file: file["specimen"].attrs.modify("length_m", 3.0), "/specimen: its attributes"),
        (None, lambda file: file["corrected/s"].attrs.modify("unit", "2"), "/corrected/s: its attributes"),
    ],
)
def test_the_check_compares_the_catalogue_with_the_file(
    catalogue: Callable[[dict[str, Any]], object] | None,
    file: Callable[[h5py.File], object] | None,
    words: str,
    stored: Path,
    tmp_path: Path,
) -> None:
    given = {name: change for name, change in (("catalogue", catalogue), ("file", file)) if change}
    with pytest.raises(RecordDamaged, match=words):
        check_record(changed(stored, tmp_path, **given))


def left_out(whole: Measurement) -> Measurement:
    """What `read_reduced` says it returns, from the words of its documentation."""

    def none(values: np.ndarray | None) -> np.ndarray | None:
        return None if values is None else values[:0]

    hookups = tuple(
        dataclasses.replace(
            raw,
            sweep=dataclasses.replace(
                raw.sweep,
                frequency_hz=raw.sweep.frequency_hz[:0],
                s=none(raw.sweep.s),
                switch_terms=none(raw.sweep.switch_terms),
            ),
        )
        for raw in whole.hookups
    )
    calibration = whole.calibration
    if calibration is not None:
        terms = calibration.terms
        arrays = {
            field.name: getattr(terms, field.name)[:0]
            for field in dataclasses.fields(terms)
            if field.name != "analyzer_ports"
        }
        calibration = dataclasses.replace(calibration, terms=dataclasses.replace(terms, **arrays))
    return dataclasses.replace(whole, hookups=hookups, calibration=calibration)


@pytest.mark.parametrize("golden", ["record-v1.h5", "record-v1-bundle.h5", ""])
def test_reduced_is_all_but_the_raw_sweeps_and_the_error_terms(
    golden: str, build: SimpleNamespace, stored: Path, tmp_path: Path
) -> None:
    path = Path(__file__).with_name("golden") / golden if golden else stored
    reduced = read_reduced(path)
    assert build.same(reduced, left_out(read_record(path)))
    assert reduced.hookups[0].sweep.s.shape[0] == 0
    with pytest.raises(ValueError, match="without its raw sweeps"):
        write_record(reduced, tmp_path)
    assert not list(tmp_path.iterdir())


def test_an_import_reduced_is_the_same(build: SimpleNamespace, tmp_path: Path) -> None:
    path = write_record(build.imported(), tmp_path)
    assert build.same(read_reduced(path), build.imported())
    assert write_record(read_reduced(path), tmp_path)


def test_the_head_says_what_the_record_says(build: SimpleNamespace, stored: Path, tmp_path: Path) -> None:
    for path in (stored, Path(__file__).with_name("golden") / "record-v1.h5"):
        whole, head = read_record(path), read_head(path)
        grid = whole.corrected.frequency_hz
        assert (head.kind, head.content_hash, head.size) == (
            "record",
            content_hash(path),
            path.stat().st_size,
        )
        assert (head.created_at, head.origin, head.station) == (whole.created_at, whole.origin, whole.station)
        assert (head.operator, head.specimen) == (whole.operator, whole.specimen)
        assert (head.points, head.start_hz, head.stop_hz) == (grid.size, grid[0], grid[-1])
        assert (head.ports, head.hookups) == (len(whole.corrected.ports), len(whole.hookups))
        assert whole.calibration is not None
        assert (head.calibration, head.kit) == (whole.calibration.identifier, whole.calibration.kit)
        assert head.calibration_created_at == whole.calibration.created_at
    again = dataclasses.replace(build.imported(), reduced_from="a" * 64, reason="kit had drifted")
    head = read_head(write_record(again, tmp_path))
    assert (head.reduced_from, head.reason, head.source_file) == ("a" * 64, "kit had drifted", "x.s4p")
    assert head.reduced_at == ""
    path = write_record(dataclasses.replace(again, reduced_at="2027-01-01T00:00:00Z"), tmp_path)
    head = read_head(path)
    assert (head.reduced_at, head.created_at) == ("2027-01-01T00:00:00Z", again.created_at)
    assert read_record(path).reduced_at == read_reduced(path).reduced_at == "2027-01-01T00:00:00Z"
    assert (head.calibration, head.kit, head.hookups, head.ports) == ("", "", 0, 4)
    made = build.calibration(np.random.default_rng(1))
    head = read_head(write_calibration(made, tmp_path))
    assert (head.kind, head.calibration, head.points, head.ports) == ("calibration", "cal-1", 3, 4)
    assert head.specimen is None


def test_one_flipped_byte_is_found_or_not_read(build: SimpleNamespace, stored: Path, tmp_path: Path) -> None:
    """Who reads a part gets it as it was written, or an error; who reads all gets an error."""
    raw = stored.read_bytes()
    whole = {reader: reader(stored) for reader in (read_reduced, read_head, content_hash)}
    base, catalogue = parts(raw)
    rng = np.random.default_rng(2)
    needed = range(catalogue["numbers"][S][2], catalogue["numbers"][S][2] + 3 * 4 * 4 * 16)
    unread = range(catalogue["numbers"]["/hookups/001/s"][2], catalogue["numbers"]["/hookups/001/s"][2] + 768)
    places = [*rng.integers(0, base, 20), *rng.integers(base, len(raw), 40), *needed[::90], *unread[::90]]
    path = tmp_path / "flipped.h5"
    found: set[str] = set()
    for place in map(int, places):
        flipped = bytearray(raw)
        flipped[place] ^= int(rng.integers(1, 256))
        path.write_bytes(flipped)
        with pytest.raises(RecordDamaged):
            read_record(path)
        for reader, expected in whole.items():
            try:
                assert build.same(reader(path), expected), place
            except RecordDamaged:
                assert place < base or reader is not content_hash
                assert place not in unread
                found.add(reader.__name__)
            else:
                assert place >= base, "all of the catalogue is checked, whatever is read"
                assert place not in needed or reader is not read_reduced
    assert found == {"read_reduced", "read_head", "content_hash"}


def test_hdf5_sees_nothing_of_what_is_read(stored: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise AssertionError("HDF5 was asked")

    monkeypatch.setattr(h5py, "File", refuse)
    for reader in (read_record, read_reduced, read_head, content_hash):
        reader(stored)
    with pytest.raises(AssertionError):
        check_record(stored)


def test_arrays_cannot_be_changed_and_hold_no_others(stored: Path) -> None:
    """A matrix that is kept does not keep the whole record in memory."""
    matrix = read_record(stored).corrected
    for array in (matrix.s, matrix.frequency_hz):
        whole = array
        while isinstance(whole.base, np.ndarray):
            whole = whole.base
            assert not whole.flags.writeable
        assert not array.flags.writeable
        assert whole.nbytes == array.nbytes


def test_numbers_that_json_has_not_come_back_to_the_bit(build: SimpleNamespace, tmp_path: Path) -> None:
    odd = np.array([0x7FF8000000000001, 0xFFF8000000000000, 0x7FF0000000000000, 1, 1 << 63], dtype=np.uint64)
    for bits, number in zip(odd.tolist(), odd.view(np.float64).tolist(), strict=True):
        path = write_record(dataclasses.replace(build.imported(), specimen=Specimen("x", number)), tmp_path)
        check_record(path)
        back = read_head(path).specimen
        assert back is not None
        assert np.float64(back.length_m).view(np.uint64) == bits


def test_the_first_block_is_what_an_old_program_knows(stored: Path) -> None:
    """Programs of version 1 look at the first line and at the checksum that closes the lines, no more."""
    head = stored.read_bytes()[:512].decode("ascii")
    assert re.match(r"benchsweep record ([1-9][0-9]{0,5})\n", head)
    lines, found, check = head.partition("sha256 of the lines above: ")
    assert found
    assert check[:64] == hashlib.sha256(lines.encode()).hexdigest()
    assert check[64:] == "\n" + " " * (len(check) - 66) + "\n"


def test_a_record_in_a_store_is_read_as_one_of_a_folder(build: SimpleNamespace, stored: Path) -> None:
    store = fsspec.filesystem("memory")
    url = "memory://test_catalogue/2026/cord 7.h5"
    store.pipe("/test_catalogue/2026/cord 7.h5", stored.read_bytes())
    store.pipe("/test_catalogue/damaged.h5", stored.read_bytes()[:-1])
    store.pipe("/test_catalogue/empty.h5", b"")
    try:
        for reader in (read_record, read_reduced, read_head, content_hash):
            assert build.same(reader(url), reader(stored))
        check_record(url)
        for name in ("damaged", "empty"):
            for reader in READERS:
                with pytest.raises(RecordDamaged, match=f"memory://test_catalogue/{name}.h5"):
                    reader(f"memory://test_catalogue/{name}.h5")
        with pytest.raises(ArchiveError, match="none"):
            read_head("memory://test_catalogue/none.h5")
    finally:
        store.rm("/test_catalogue", recursive=True)


def test_of_a_file_in_a_store_little_is_fetched(
    build: SimpleNamespace, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The head of a record needs its first bytes only, be the record as long as it may."""
    store = fsspec.filesystem("memory")
    path = write_record(build.measurement(points=60, ports=16), tmp_path)
    old = Path(__file__).with_name("golden") / "record-v1.h5"
    store.pipe("/test_little/new.h5", path.read_bytes())
    store.pipe("/test_little/old.h5", old.read_bytes())
    fetched: list[int] = []
    real = type(store).cat_file

    def counted(self: object, *given: object, **more: object) -> bytes:
        found = real(self, *given, **more)
        fetched.append(len(found))
        return found

    monkeypatch.setattr(type(store), "cat_file", counted)
    try:
        assert read_head("memory://test_little/new.h5") == read_head(path)
        assert (len(fetched), sum(fetched)) == (1, 1 << 16)
        assert path.stat().st_size > 40 * sum(fetched)
        fetched.clear()
        assert read_head("memory://test_little/old.h5") == read_head(old)
        assert build.same(read_record("memory://test_little/new.h5"), read_record(path))
        assert fetched[-1] == path.stat().st_size
        fetched.clear()
        assert build.same(read_reduced("memory://test_little/new.h5"), read_reduced(path))
        assert sum(fetched) < 2 * path.stat().st_size
    finally:
        store.rm("/test_little", recursive=True)


def test_a_long_file_in_a_store_is_read_in_stretches(monkeypatch: pytest.MonkeyPatch) -> None:
    """What is read of it is right whatever the order, and it is never in memory as a whole."""
    monkeypatch.setattr(_remote_stream, "_WINDOW", 100)
    monkeypatch.setattr(_remote_stream, "_LARGE_WINDOW", 400)
    monkeypatch.setattr(_remote_stream, "_WHOLE", 5000)
    rng = np.random.default_rng(6)
    store = fsspec.filesystem("memory")
    try:
        for size in (0, 1, 99, 5000, 9000):
            raw = rng.bytes(size)
            store.pipe("/test_stretches/x", raw)
            stream = _remote_stream.RemoteStream("memory://test_stretches/x", whole=False)
            largest = 0
            for _ in range(60):
                start, length = int(rng.integers(0, size + 20)), int(rng.integers(0, 900))
                assert stream.seek(start) == start == stream.tell()
                assert stream.read(length) == raw[start : start + length]
                largest = max(largest, len(stream._held))
            assert stream.size == size
            assert largest <= (900 if size > 5000 else size)
            stream.seek(0)
            assert stream.readall() == raw
            assert _remote_stream.RemoteStream("memory://test_stretches/x", whole=True).readall() == raw
    finally:
        store.rm("/test_stretches", recursive=True)
