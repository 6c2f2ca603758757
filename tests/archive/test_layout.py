"""The layout as documented is the layout as written."""

from __future__ import annotations

import dataclasses
import re
import shutil
from pathlib import Path
from types import SimpleNamespace

import h5py
import numpy as np
import pytest

from benchsweep.archive import (
    Journal,
    SeriesWriter,
    check_record,
    content_hash,
    read_record,
    write_calibration,
    write_record,
)
from benchsweep.archive.format._layout import layout
from benchsweep.records import SeriesEnding, SeriesEvent, SeriesHead, SeriesSweep, Specimen

README = Path(__file__).resolve().parents[2] / "README.md"
GOLDEN = Path(__file__).resolve().parent / "golden" / "record-v1.h5"


def written(path: Path, *, summed: bool = True) -> tuple[set[str], set[str]]:
    """Data sets and attributes of a file, what is numbered under its general name, checksums left out.

    Every item has its checksums where the file is `summed`, none has any elsewhere.
    """
    data, attributes = set(), set()
    sums = {"sha256", "attributes_sha256"} if summed else set()

    def visit(_: str, item: h5py.Group | h5py.Dataset) -> None:
        name = re.sub(r"^/(hookups|couplings)/\d+", r"/\1/{n}", item.name)
        if isinstance(item, h5py.Dataset):
            data.add(name)
            assert set(item.attrs) == {"unit", "meaning"} | sums
            assert item.attrs["meaning"]
        else:
            assert ("attributes_sha256" in item.attrs) == summed
            attributes.update(f"{name}@{key}" for key in item.attrs if key != "attributes_sha256")

    with h5py.File(path) as file:
        visit("/", file)
        file.visititems(visit)
    return data, attributes


def documented(kind: str) -> tuple[set[str], set[str]]:
    paths = [item.path for item in layout(kind)]
    assert len(set(paths)) == len(paths)
    return {path for path in paths if "@" not in path}, {path for path in paths if "@" in path}


def test_all_that_is_written_is_documented(build: SimpleNamespace, stored: Path, tmp_path: Path) -> None:
    whole = build.measurement(reduced_at="2027-01-01T00:00:00Z")
    named = dataclasses.replace(whole.specimen, product="TM 6")
    again = write_record(dataclasses.replace(whole, specimen=named), tmp_path)
    assert written(again) == documented("record")
    data, attributes = documented("record")
    assert written(stored) == (data, attributes - {"/@reduced_at", "/specimen@product"})
    calibration = write_calibration(build.calibration(np.random.default_rng(1)), tmp_path / "calibrations")
    assert written(calibration) == documented("calibration")
    Journal(tmp_path / "job", {"a": "b"}).save(build.measurement().hookups[0])
    unfinished = tmp_path / "job" / "hookup-001.h5"
    assert written(unfinished, summed=False) == documented("hookup")


@pytest.fixture
def series(build: SimpleNamespace, tmp_path: Path) -> dict[str, Path]:
    """One file of each kind that a series is made of, with all that can be in it."""
    whole = build.measurement(points=5)
    raw = whole.hookups[0]
    event = SeriesEvent(whole.created_at, "gap", "the link was lost", 2.0)
    head = SeriesHead(
        specimen=dataclasses.replace(whole.specimen, product="TM 6"),
        started_at=whole.created_at,
        station=whole.station,
        operator=whole.operator,
        description="soak",
        hookup=raw.hookup,
        frequency_hz=raw.sweep.frequency_hz,
        analyzer=whole.analyzer,
        settings=whole.settings,
        calibration=whole.calibration,
        fixture_toml=whole.fixture_toml,
        safety=whole.safety,
        software=whole.software,
    )
    ending = SeriesEnding(whole.created_at, "enough", (event,))
    with SeriesWriter(tmp_path / "series", "key") as writer:
        writer.begin(head)
        writer.append(SeriesSweep(1, raw.sweep, {"temperature_degc": 21.5}, (event,)))
        writer.end(ending)
        files = {path.stem: path for path in shutil.copytree(writer.folder, tmp_path / "kept").iterdir()}
        return {
            "series": writer.pack(ending),
            "series-head": files["head"],
            "series-sweep": files["sweep-0000001"],
            "series-ending": files["ending"],
        }


def test_all_of_a_series_is_documented(series: dict[str, Path]) -> None:
    for kind, path in series.items():
        assert written(path, summed=kind != "series-sweep") == documented(kind), kind
        with h5py.File(path) as file:
            for item in layout(kind):
                if "@" in item.path:
                    continue
                found = file[item.path]
                text = h5py.check_string_dtype(found.dtype) is not None
                assert item.type == ("text" if text else str(found.dtype)), item.path
                dimensions = item.shape.count(",") + 1 if item.shape != "scalar" else 0
                assert dimensions == len(found.shape), item.path
                assert item.unit == found.attrs["unit"], item.path


def test_shapes_and_types_are_as_documented(stored: Path) -> None:
    with h5py.File(stored) as file:
        for item in layout("record"):
            if "@" in item.path:
                continue
            found = file[item.path.replace("{n}", "001")]
            text = h5py.check_string_dtype(found.dtype) is not None
            assert item.type == ("text" if text else str(found.dtype)), item.path
            assert (item.shape.count(",") + 1 if item.shape != "scalar" else 0) == len(found.shape), item.path
            assert item.unit == found.attrs["unit"], item.path


def test_the_readme_names_every_data_set() -> None:
    text = README.read_text(encoding="utf-8") if README.is_file() else ""
    section = re.search(r"^(#+) Record layout\n(.*?)(?=^#{1,3} |\Z)", text, re.MULTILINE | re.DOTALL)
    if section is None:
        pytest.skip("README has no section on the record layout yet")
    named = set(re.findall(r"`(/[^`]*)`", section[2]))
    items = (*layout("record"), *layout("series"))
    missing = {item.path for item in items} - named
    assert not missing, f"README.md, section Record layout, does not name: {sorted(missing)}"


def test_the_examples_of_the_readme_read_and_check_a_record(
    stored: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    section = README.read_text(encoding="utf-8").partition("\n## Record layout\n")[2].partition("\n## ")[0]
    reading, checking = re.findall(r"^```python\n(.*?)^```", section, re.MULTILINE | re.DOTALL)[:2]
    assert len(checking.strip().splitlines()) <= 12
    monkeypatch.chdir(tmp_path)
    raw = bytearray(stored.read_bytes())
    with h5py.File(stored) as file:
        place = file["corrected/s"].id.get_offset()
    Path("record.h5").write_bytes(raw)
    exec(reading.replace("B:12.1", "A:36.3"), {})
    assert "cord 2 m / no. 7 (3, 4, 4) 1 to 500 MHz (3,)" in capsys.readouterr().out
    exec(checking, {})
    for byte in (place, 700, 100):
        flipped = bytearray(raw)
        flipped[byte] ^= 1
        Path("record.h5").write_bytes(flipped)
        with pytest.raises(AssertionError):
            exec(checking, {})


def test_the_example_of_the_readme_makes_the_content_hash(
    stored: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    section = README.read_text(encoding="utf-8").partition("\n## Record layout\n")[2].partition("\n## ")[0]
    making = re.findall(r"^```python\n(.*?)^```", section, re.MULTILINE | re.DOTALL)[2]
    monkeypatch.chdir(tmp_path)
    for path in (stored, *sorted(GOLDEN.parent.glob("*.h5"))):
        if path.name.startswith("hookup"):
            continue
        shutil.copy(path, "record.h5")
        exec(making, {})
    shutil.copy(stored, "record.h5")
    with h5py.File("record.h5", "r+") as file:
        file["specimen"].attrs["lot"] = "another"
    with pytest.raises(AssertionError):
        exec(making, {})


def test_a_record_of_version_1_stays_readable() -> None:
    """Written when the format was fixed, kept for ever."""
    check_record(GOLDEN)
    back = read_record(GOLDEN)
    assert back.specimen == Specimen("cord 2 m / no. 7", 2.0, "green, from drum 12")
    assert back.corrected.ports == ("A:12.1", "A:12.2", "A:36.3", "A:36.6")
    assert back.corrected.s[2, 3, 1] == complex(0.009548302746945434, -0.025884806478784557)
    assert [raw.hookup.connections[1] for raw in back.hookups] == ["A:12.1", "A:45.4"]
    assert back.couplings == ()
    assert back.calibration is not None
    assert dict(back.calibration.residuals_db) == {
        "load port 3": -78.25,
        "thru 1-2": -80.1,
        "thru 1-3": -np.inf,
    }


def test_a_record_of_version_2_stays_readable() -> None:
    """Written when version 2 came, kept for ever."""
    path = GOLDEN.with_name("record-v2.h5")
    check_record(path)
    assert content_hash(path) == "a380cf6e460a20526190cbf2bb37cad8d091654833b7dc016f743d34422628e2"
    back = read_record(path)
    assert back.specimen == Specimen("cord 2 m / no. 8", 2.0, "green, from drum 12", "L 2026-118")
    assert (back.reduced_from, back.reason) == ("5e" * 32, "the load of the kit was measured again")
    assert back.reduced_at == ""
    assert back.corrected.ports == ("A:12.1", "A:12.2", "A:36.3", "A:36.6")
    assert back.corrected.s[1, 2, 1] == complex(0.08925351116148222, -0.008415967031156173)
    assert [raw.hookup.connections[1] for raw in back.hookups] == ["A:12.1", "A:45.4"]
    assert dict(back.hookups[0].sweep.state) == {"SENS1:BWID?": "+1.0E3", "FORM?": "REAL,64"}
    assert back.couplings == ()
    assert back.calibration is not None
    assert dict(back.calibration.residuals_db)["thru 1-3"] == -np.inf
    nominal = back.calibration.standard_terms[1].nominal[0]
    assert nominal == complex(0.029611499026283156, 0.013019258819129437)


def test_a_record_of_a_bundle_of_version_2_stays_readable() -> None:
    """Written when version 2 came, kept for ever."""
    path = GOLDEN.with_name("record-v2-bundle.h5")
    check_record(path)
    assert content_hash(path) == "8a744685e541324d718c07534bc284ad47928f2cbe5396bd58fc7330dd3d1a25"
    back = read_record(path)
    assert back.disturbing_cables == (1, 3)
    assert back.corrected.s[1, 2, 1] == complex(-0.07652887415836973, -0.21073310448657373)
    assert back.couplings[1].s[1, 2, 5] == complex(-0.03243075238285328, 0.0998250696977216)
    assert back.specimen.lot == ""


def test_a_record_of_version_2_that_names_its_product_stays_readable() -> None:
    """Written when the product came: the first record of version 2 with one, kept for ever."""
    path = GOLDEN.with_name("record-v2-product.h5")
    check_record(path)
    assert content_hash(path) == "9e63bfa4f701faccd7c03b6857a0d1e9f2202f3aa033548ae2950afb7bf174c3"
    back, before = read_record(path), read_record(GOLDEN.with_name("record-v2.h5"))
    assert back.specimen == Specimen("cord 2 m / no. 8", 2.0, "green, from drum 12", "L 2026-118", "TM 6")
    assert before.specimen.product == ""
    assert np.array_equal(back.corrected.s, before.corrected.s)


def test_the_versions_hold_the_same_but_for_what_came_later() -> None:
    """What a record of version 1 lacks counts as not known."""
    for name in ("record-v1.h5", "record-v1-bundle.h5"):
        back = read_record(GOLDEN.with_name(name))
        assert (back.specimen.lot, back.reduced_from, back.reason) == ("", "", "")


def test_a_record_of_a_bundle_of_version_1_stays_readable() -> None:
    """Written when records of bundles came, kept for ever."""
    path = GOLDEN.with_name("record-v1-bundle.h5")
    check_record(path)
    back = read_record(path)
    assert back.disturbing_cables == (1, 3)
    assert back.couplings[1].ports[4:] == ("3.A:12.1", "3.A:12.2", "3.A:36.3", "3.A:36.6")
    assert back.couplings[1].s[1, 2, 5] == complex(-0.10122361690292166, 0.0589124732229506)
    assert np.array_equal(back.couplings[0].frequency_hz, back.corrected.frequency_hz)
