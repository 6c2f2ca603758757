"""What is written comes back bit by bit, and anything else is a named error of one line."""

from __future__ import annotations

import dataclasses
import hashlib
import io
import json
import os
import re
import threading
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import h5py
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from benchsweep.archive import (
    _convert,
    check_record,
    content_hash,
    list_calibrations,
    read_calibration,
    read_record,
    write_calibration,
    write_record,
)
from benchsweep.errors import (
    ArchiveError,
    ArchiveLocked,
    BenchsweepError,
    RecordDamaged,
    RecordMissing,
    RecordNewer,
)
from benchsweep.records import Probe, SMatrix, Specimen, SweepSettings

# Everything that can be stored: any text without zero bytes and lone surrogates.
TEXT = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=30)
FLOAT = st.floats(allow_nan=True, allow_infinity=True)
SETTINGS = st.builds(
    SweepSettings,
    start_hz=st.none() | FLOAT,
    stop_hz=st.none() | FLOAT,
    points=st.none() | st.integers(1, 2**40),
    if_bandwidth_hz=FLOAT,
    averages=st.integers(1, 10**9),
    power_dbm=FLOAT,
)
# A record that is quickly written, where what is in it does not matter.
SLIM: dict[str, Any] = {"hookups": 0, "calibration": None, "couplings": ()}
FEW = settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


def one_line(error: BenchsweepError) -> bool:
    return "\n" not in str(error) and bool(error.hint)


@FEW
@given(data=st.data())
def test_a_measurement_comes_back_bit_by_bit(
    data: st.DataObject, build: SimpleNamespace, tmp_path_factory: pytest.TempPathFactory
) -> None:
    draw = data.draw
    changes = {
        "specimen": Specimen(draw(TEXT), draw(st.none() | FLOAT), draw(TEXT), draw(TEXT), draw(TEXT)),
        "origin": draw(TEXT),
        "station": draw(TEXT),
        "operator": draw(TEXT),
        "settings": draw(st.none() | SETTINGS),
        "fixture_toml": draw(TEXT),
        "consistency_db": draw(st.dictionaries(TEXT, FLOAT, max_size=3)),
        "ambient": draw(st.dictionaries(TEXT, FLOAT, max_size=3)),
        "software": draw(st.dictionaries(TEXT, TEXT, max_size=3)),
        "source_file": draw(TEXT),
    }
    if draw(st.booleans()):
        changes |= {"analyzer": None, "calibration": None}
    measurement = build.measurement(
        draw(st.integers(0, 99)),
        points=draw(st.integers(1, 4)),
        ports=draw(st.sampled_from([2, 4, 16])),
        hookups=draw(st.integers(0, 3)),
        **changes,
    )
    path = write_record(measurement, tmp_path_factory.mktemp("record"))
    assert build.same(read_record(path), measurement)
    check_record(path)


def test_special_numbers_survive(build: SimpleNamespace, tmp_path: Path) -> None:
    matrix = np.full((1, 1, 1), complex(np.inf, -0.0))
    matrix = SMatrix([1e6], matrix, ("A:12.1",), (50.0,))
    measurement = build.measurement(corrected=matrix, couplings=(matrix,))
    assert build.same(read_record(write_record(measurement, tmp_path)), measurement)


def test_an_import_has_nothing_but_its_matrix(build: SimpleNamespace, tmp_path: Path) -> None:
    measurement = build.imported()
    back = read_record(write_record(measurement, tmp_path))
    assert build.same(back, measurement)
    assert (back.calibration, back.analyzer, back.settings, back.hookups) == (None, None, None, ())


def test_a_bundle_comes_back_with_all_its_couplings(build: SimpleNamespace, tmp_path: Path) -> None:
    rng = np.random.default_rng(4)
    shapes = {"12.A:12.1": 50.0, "A:45.4": 50.0, "7.B:78/d": 100.0, "A:12/c": 25.0}

    def one(n: int) -> SMatrix:
        ports = tuple(list(shapes)[:n])
        s = rng.normal(size=(2, n, n)) + 1j * rng.normal(size=(2, n, n))
        return SMatrix([1e6, 2e6], s, ports, tuple(shapes[port] for port in ports))

    bundle = dataclasses.replace(build.imported(), couplings=tuple(one(n % 4 + 1) for n in range(12)))
    path = write_record(bundle, tmp_path)
    back = read_record(path)
    assert build.same(back, bundle)
    assert [len(matrix.ports) for matrix in back.couplings] == [1, 2, 3, 4] * 3
    assert content_hash(path) != content_hash(write_record(build.imported(), tmp_path / "plain"))
    check_record(path)


def test_a_record_without_a_bundle_is_written_as_before(build: SimpleNamespace, tmp_path: Path) -> None:
    with h5py.File(write_record(build.imported(), tmp_path)) as file:
        assert "couplings" not in file
    plain = dataclasses.replace(build.measurement(), couplings=())
    assert read_record(write_record(plain, tmp_path)).couplings == ()


def test_one_flipped_byte_of_a_coupling_is_found(stored: Path, tmp_path: Path) -> None:
    with h5py.File(stored) as file:
        data = file["couplings/002/s"]
        start, size = data.id.get_offset(), data.id.get_storage_size()
        expected = data[...].tobytes()
    raw = stored.read_bytes()
    assert raw[start : start + size] == expected
    path = tmp_path / "flipped.h5"
    for place in (start, start + size // 2, start + size - 1):
        flipped = bytearray(raw)
        flipped[place] ^= 1
        path.write_bytes(flipped)
        for ask in (read_record, check_record):
            with pytest.raises(RecordDamaged):
                ask(path)


def test_more_than_999_hookups_keep_their_order(
    build: SimpleNamespace, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, request: pytest.FixtureRequest
) -> None:
    numbers = range(1, 1002)
    if not request.config.getoption("thorough"):
        # The groups of the last ones only: 1001 hookups are ten thousand items to write.
        numbers = range(998, 1002)
        counted = lambda items, start=0: enumerate(items, start and 998)  # noqa: E731
        monkeypatch.setattr(_convert, "enumerate", counted, raising=False)
    rng = np.random.default_rng(1)
    hookups = tuple(build.raw_hookup(rng, n, points=1, ports=1) for n in numbers)
    many = dataclasses.replace(build.imported(), hookups=hookups)
    path = write_record(many, tmp_path)
    back = read_record(path)
    assert [raw.hookup.number for raw in back.hookups] == list(numbers)
    with h5py.File(path) as file:
        # By name the last two come first.
        assert list(file["hookups"])[-2:] == ["998", "999"]
        assert {"1000", "1001"} <= set(file["hookups"])


def test_h5py_alone_reads_it(build: SimpleNamespace, stored: Path) -> None:
    measurement = build.measurement()
    with h5py.File(stored) as file:
        assert file.attrs["format"] == "benchsweep record"
        assert file.attrs["format_version"] == 2
        assert file["specimen"].attrs["identifier"] == measurement.specimen.identifier
        assert file["specimen"].attrs["length_m"] == 2.0
        assert np.array_equal(file["corrected/s"][:, 1, 0], measurement.corrected.s[:, 1, 0])
        assert file["corrected/frequency_hz"].attrs["unit"] == "Hz"
        assert list(file["corrected/ports"].asstr()) == list(measurement.corrected.ports)
        raw = measurement.hookups[1]
        assert np.array_equal(file["hookups/002/s"], raw.sweep.s)
        assert list(file["hookups/002/connected_to"].asstr()) == list(raw.hookup.connections.values())
        assert file["fixture/toml"].asstr()[()] == measurement.fixture_toml
        terms = file["calibration/terms"]
        assert np.array_equal(terms["directivity"], measurement.calibration.terms.directivity)
        filters = []
        file.visititems(lambda _, item: filters.append(getattr(item, "compression", None)))
        assert set(filters) == {None}


def sum_of_the_rest(raw: bytes, base: int) -> str:
    """The checksum of the HDF5 file without the arrays that h5py finds in it."""
    kept = np.ones(len(raw), dtype=bool)
    kept[:base] = False

    def leave_out(_: str, item: object) -> None:
        if isinstance(item, h5py.Dataset) and h5py.check_string_dtype(item.dtype) is None and item.nbytes:
            kept[item.id.get_offset() :][: item.nbytes] = False

    with h5py.File(io.BytesIO(raw)) as file:
        file.visititems(leave_out)
    return hashlib.sha256(np.frombuffer(raw, dtype=np.uint8)[kept].tobytes()).hexdigest()


@pytest.mark.parametrize("points", [3, 301])
def test_the_checksums_are_what_the_documentation_says(
    points: int, build: SimpleNamespace, tmp_path: Path
) -> None:
    """Recomputed here from the words of the documentation, with h5py and hashlib only."""
    stored = write_record(build.measurement(points=points, ports=16), tmp_path)
    raw = stored.read_bytes()
    head = raw[:512].decode("ascii").splitlines()
    base = int(head[2].rpartition(" ")[2])
    assert base & (base - 1) == 0
    assert head[:5] == [
        "benchsweep record 2",
        f"bytes in all: {len(raw)}",
        f"bytes before the HDF5 file: {base}",
        f"sha256 of them from byte 512 on: {hashlib.sha256(raw[512:base]).hexdigest()}",
        f"sha256 of the HDF5 file without the arrays of the catalogue: {sum_of_the_rest(raw, base)}",
    ]
    above = "".join(f"{one}\n" for one in head[:5])
    assert head[5] == f"sha256 of the lines above: {hashlib.sha256(above.encode()).hexdigest()}"
    assert head[6].strip() == ""
    catalogue = json.loads(raw[512:base])
    lines = []

    def attributes_digest(item: h5py.Group | h5py.Dataset) -> str:
        plain = {
            key: value.item() if isinstance(value, np.generic) else value
            for key, value in item.attrs.items()
            if "sha256" not in key
        }
        digest = hashlib.sha256(json.dumps(plain, sort_keys=True).encode()).hexdigest()
        assert item.attrs["attributes_sha256"] == digest, item.name
        return digest

    def visit(_: str, item: h5py.Group | h5py.Dataset) -> None:
        about = "group"
        if isinstance(item, h5py.Dataset):
            text = h5py.check_string_dtype(item.dtype) is not None
            if text:
                items = [item[()]] if item.shape == () else list(item[()])
                told = catalogue["texts"].pop(item.name)
                assert [one.decode() for one in items] == ([told] if item.shape == () else told)
                digest = hashlib.sha256(b"".join(one + b"\0" for one in items)).hexdigest()
            else:
                digest = hashlib.sha256(item[()].tobytes()).hexdigest()
                kind, shape, start, told = catalogue["numbers"].pop(item.name)
                assert (kind, tuple(shape), told) == (item.dtype.str, item.shape, digest)
                assert raw[start : start + item.nbytes] == item[()].tobytes()
            assert item.attrs["sha256"] == digest, item.name
            shape = "x".join(map(str, item.shape)) or "scalar"
            about = f"{shape} {'text' if text else item.dtype.str} {digest}"
        lines.append(f"{item.name} {about} {attributes_digest(item)}\n")

    with h5py.File(stored) as file:
        visit("/", file)
        file.visititems(visit)
        content = file.attrs["content_sha256"]
        for path, attributes in catalogue["groups"].items():
            there = {key: value for key, value in file[path].attrs.items() if key != "attributes_sha256"}
            assert there == attributes
    assert len(catalogue["groups"]) == sum(one.split(" ")[-2] == "group" for one in lines)
    assert not catalogue["texts"]
    assert not catalogue["numbers"]
    assert content == hashlib.sha256("".join(sorted(lines)).encode()).hexdigest() == content_hash(stored)


def test_the_content_hash_names_the_content(build: SimpleNamespace, tmp_path: Path) -> None:
    first = content_hash(write_record(build.measurement(1), tmp_path))
    assert content_hash(write_record(build.measurement(1), tmp_path)) == first
    assert content_hash(write_record(build.measurement(2), tmp_path)) != first
    assert content_hash(write_record(build.measurement(1, operator=""), tmp_path)) != first


def test_every_flipped_byte_is_found(stored: Path, tmp_path: Path, request: pytest.FixtureRequest) -> None:
    every, many = (1, 1500) if request.config.getoption("thorough") else (3, 300)
    raw = stored.read_bytes()
    path = tmp_path / "flipped.h5"
    rng = np.random.default_rng(3)
    places = [*range(0, 512, every), *rng.choice(np.arange(512, len(raw)), many, replace=False).tolist()]
    for place in places:
        flipped = bytearray(raw)
        flipped[place] ^= int(rng.integers(1, 256))
        path.write_bytes(flipped)
        with pytest.raises(RecordDamaged) as caught:
            read_record(path)
        assert one_line(caught.value), place
        assert str(path) in str(caught.value)


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_mangled_files_are_named_errors(data: st.DataObject, stored: Path, tmp_path: Path) -> None:
    raw = stored.read_bytes()
    path = tmp_path / "mangled.h5"
    kind = data.draw(st.sampled_from(["cut", "grown", "swapped", "noise", "noise after block", "text"]))
    cut = data.draw(st.integers(0, len(raw) - 1))
    junk = data.draw(st.binary(min_size=1, max_size=600))
    mangled = {
        "cut": raw[:cut],
        "grown": raw + junk,
        "swapped": raw[cut:] + raw[:cut] if cut else raw[1:],
        "noise": junk,
        "noise after block": raw[:512] + junk,
        "text": raw[: min(cut, 512)] + junk,
    }[kind]
    path.write_bytes(mangled)
    for reader in (read_record, check_record, content_hash):
        with pytest.raises(RecordDamaged) as caught:
            reader(path)
        assert one_line(caught.value)


def test_what_is_no_record_is_said(build: SimpleNamespace, stored: Path, tmp_path: Path) -> None:
    foreign = tmp_path / "foreign.h5"
    with h5py.File(foreign, "w") as file:
        file["s"] = np.zeros(3)
    touchstone = tmp_path / "cord.s4p"
    touchstone.write_text("# MHz S RI R 50\n1 0 0\n", encoding="ascii")
    calibration = write_calibration(build.calibration(np.random.default_rng(1)), tmp_path / "calibrations")
    cut = tmp_path / "cut.h5"
    cut.write_bytes(stored.read_bytes()[:5000])
    for path, error, words in (
        (foreign, RecordDamaged, "an HDF5 file but not a benchsweep record"),
        (touchstone, RecordDamaged, "not a benchsweep record"),
        (calibration, RecordDamaged, "a benchsweep calibration, not a record"),
        (cut, RecordDamaged, "truncated"),
        (tmp_path / "none.h5", RecordMissing, "no such file"),
        (tmp_path, ArchiveError, "not a file"),
        (Path("\0"), RecordMissing, "no file can have this name"),
    ):
        with pytest.raises(error, match=words) as caught:
            read_record(path)
        assert one_line(caught.value)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes here")
def test_a_pipe_does_not_hang(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(ArchiveError, match="not a file"):
        read_record(tmp_path / "pipe")


def test_a_later_version_is_told_from_damage(stored: Path, tmp_path: Path) -> None:
    head = "benchsweep record 3\nsomething new\n"
    digest = hashlib.sha256(head.encode()).hexdigest()
    newer = tmp_path / "newer.h5"
    newer.write_bytes(f"{head}sha256 of the lines above: {digest}\n".ljust(511).encode() + b"\n" + b"?" * 99)
    with pytest.raises(RecordNewer, match="version 3") as caught:
        read_record(newer)
    assert one_line(caught.value)
    changed = tmp_path / "changed.h5"
    changed.write_bytes(stored.read_bytes().replace(b"benchsweep record 2", b"benchsweep record 3", 1))
    with pytest.raises(RecordDamaged):
        read_record(changed)


@FEW
@given(text=st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=300))
def test_any_specimen_name_makes_a_safe_file_name(
    text: str, build: SimpleNamespace, tmp_path_factory: pytest.TempPathFactory
) -> None:
    folder = tmp_path_factory.mktemp("names")
    path = write_record(build.measurement(1, specimen=Specimen(text), **SLIM), folder)
    assert path.parent == folder
    assert re.fullmatch(r"20260301T123005Z-[A-Za-z0-9_][A-Za-z0-9._-]{0,79}\.h5", path.name)
    assert ".." not in path.name
    assert read_record(path).specimen.identifier == text


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("../../etc/passwd", "etc-passwd"),
        ("C:\\cords\\7", "C-cords-7"),
        ("..", "unnamed"),
        ("", "unnamed"),
        ("con", "con"),
        ("\u202e7-cord\u202c", "7-cord"),
        ("line\nfeed\x1b[31m", "line-feed-31m"),
        ("Förderkabel №7", "Forderkabel-No7"),
        ("x" * 300, "x" * 80),
    ],
)
def test_file_names(text: str, name: str, build: SimpleNamespace, tmp_path: Path) -> None:
    path = write_record(build.measurement(1, specimen=Specimen(text)), tmp_path)
    assert path.name == f"20260301T123005Z-{name}.h5"


def test_the_time_in_the_name_is_utc(build: SimpleNamespace, tmp_path: Path) -> None:
    path = write_record(build.measurement(created_at="2026-03-01T01:00:00.5+02:00"), tmp_path)
    assert path.name.startswith("20260228T230000Z-")
    for wrong in ("yesterday", "2026-03-01T01:00:00", ""):
        with pytest.raises(ArchiveError, match="ISO 8601"):
            write_record(build.measurement(created_at=wrong), tmp_path)
    assert len(list(tmp_path.iterdir())) == 1


def test_nothing_is_ever_overwritten(build: SimpleNamespace, tmp_path: Path) -> None:
    folder = tmp_path / "made" / "on the way"
    paths = [write_record(build.measurement(seed), folder) for seed in range(3)]
    assert [path.name[-5:] for path in paths] == ["-7.h5", "~2.h5", "~3.h5"]
    for seed, path in enumerate(paths):
        assert build.same(read_record(path), build.measurement(seed))


def test_a_place_without_second_names_for_files(
    build: SimpleNamespace, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def no_links(*_: object) -> None:
        raise OSError(95, "Operation not supported")

    monkeypatch.setattr(os, "link", no_links)
    paths = {write_record(build.measurement(seed, **SLIM), tmp_path) for seed in range(3)}
    assert len(paths) == 3 == len(list(tmp_path.iterdir()))
    for path in paths:
        check_record(path)


def test_writers_at_the_same_time_share_a_folder(build: SimpleNamespace, tmp_path: Path) -> None:
    written: list[Path] = []

    def write(seed: int) -> None:
        for _ in range(4):
            written.append(write_record(build.measurement(seed, **SLIM), tmp_path))

    threads = [threading.Thread(target=write, args=(seed,)) for seed in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(set(written)) == 16 == len(list(tmp_path.iterdir()))
    for path in written:
        check_record(path)


def test_a_full_disc_leaves_nothing(build: SimpleNamespace, tmp_path: Path) -> None:
    """A limit on the size of files stands for the full disc: the operating system refuses the bytes."""
    resource = pytest.importorskip("resource")
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (4096, hard))
    try:
        with pytest.raises(ArchiveError, match="the disc is full") as caught:
            write_record(build.measurement(), tmp_path)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert one_line(caught.value)
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("number", [1, 13, 30])
def test_no_permission_is_said(
    number: int, build: SimpleNamespace, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refused(*_: object) -> int:
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr(os, "open", refused)
    with pytest.raises(ArchiveLocked, match="not permitted") as caught:
        write_record(build.measurement(), tmp_path)
    assert str(tmp_path) in str(caught.value)
    assert one_line(caught.value)


def test_a_file_where_the_folder_should_be(build: SimpleNamespace, tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("x", encoding="ascii")
    for folder in (tmp_path / "taken", tmp_path / "taken" / "below"):
        with pytest.raises(ArchiveError) as caught:
            write_record(build.measurement(), folder)
        assert one_line(caught.value)


@pytest.mark.parametrize("bad", ["a\0b", "\udcff"])
def test_text_that_cannot_be_stored_is_refused(bad: str, build: SimpleNamespace, tmp_path: Path) -> None:
    for change in ({"operator": bad}, {"fixture_toml": bad}, {"software": {bad: "1"}}):
        with pytest.raises(ArchiveError, match="cannot be stored") as caught:
            write_record(build.measurement(**change), tmp_path)
        assert one_line(caught.value)
        str(caught.value).encode("utf-8")
    assert not list(tmp_path.iterdir())


def test_calibrations_are_listed_newest_first(build: SimpleNamespace, tmp_path: Path) -> None:
    rng = np.random.default_rng(1)
    assert list_calibrations(tmp_path / "none yet") == ()
    made = [
        build.calibration(rng, identifier=name, created_at=at)
        for name, at in (
            ("bench 2", "2026-03-01T08:00:00Z"),
            ("bench", "2026-03-02T08:00:00Z"),
            ("bench", "2026-03-02T08:00:00Z"),
            ("a", "2026-03-02T07:59:59Z"),
        )
    ]
    paths = [write_calibration(one, tmp_path) for one in made]
    (tmp_path / "notes.txt").write_text("x", encoding="ascii")
    (tmp_path / ".0123456789abcdef.partial").write_text("x", encoding="ascii")
    assert list_calibrations(tmp_path) == (paths[2], paths[1], paths[3], paths[0])
    for one, path in zip(made, paths, strict=True):
        assert build.same(read_calibration(path), one)


def test_a_calibration_is_no_record(build: SimpleNamespace, stored: Path) -> None:
    with pytest.raises(RecordDamaged, match="a benchsweep record, not a calibration"):
        read_calibration(stored)


def test_the_evidence_for_the_command_family_is_kept(build: SimpleNamespace, tmp_path: Path) -> None:
    back = read_record(write_record(build.measurement(), tmp_path))
    assert back.analyzer is not None
    assert back.analyzer.evidence == (Probe("*OPT?", "0"),)
