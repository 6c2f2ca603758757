"""Files whose outer checksum is right but whose content is not: made by a faulty or a hostile writer.

Of version 1, which is read by way of HDF5, with the golden record of a bundle as the one that is changed.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace

import h5py
import numpy as np
import pytest

from benchsweep.archive import check_record, read_record
from benchsweep.archive.format._seal import BLOCK, sealed
from benchsweep.errors import RecordDamaged


@pytest.fixture
def stored() -> Path:
    """A record of version 1 with all that can be in one."""
    return Path(__file__).with_name("golden") / "record-v1-bundle.h5"


def resealed(stored: Path, folder: Path, change: Callable[[h5py.File], object]) -> Path:
    path = folder / "changed.h5"
    path.write_bytes(stored.read_bytes())
    with h5py.File(path, "r+") as file:
        change(file)
    path.write_bytes(b"".join(sealed("record", path.read_bytes()[BLOCK:])))
    return path


def replace(name: str, values: object, **options: object) -> Callable[[h5py.File], object]:
    def change(file: h5py.File) -> None:
        del file[name]
        file.create_dataset(name, data=values, **options)

    return change


def attribute(group: str, name: str, value: object) -> Callable[[h5py.File], object]:
    return lambda file: file[group].attrs.__setitem__(name, value)


def without_attribute(group: str, name: str) -> Callable[[h5py.File], object]:
    return lambda file: file[group].attrs.__delitem__(name)


def external(file: h5py.File) -> None:
    del file["corrected/frequency_hz"]
    file.create_dataset("corrected/frequency_hz", (3,), "f8", external=[("/etc/hostname", 0, 24)])


def virtual(file: h5py.File) -> None:
    layout = h5py.VirtualLayout((3,), "f8")
    layout[:] = h5py.VirtualSource("/tmp/other.h5", "x", (3,))
    del file["corrected/frequency_hz"]
    file.create_virtual_dataset("corrected/frequency_hz", layout)


def soft_link(file: h5py.File) -> None:
    del file["corrected/s"]
    file["corrected/s"] = h5py.SoftLink("/hookups/001/s")


def huge(file: h5py.File) -> None:
    del file["corrected/s"]
    file.create_dataset("corrected/s", (10**6, 10**4, 10**4), "c16")


CASES = {
    "missing data set": (lambda f: f.__delitem__("corrected/s"), "/corrected/s: this data set is missing"),
    "missing group": (lambda f: f.__delitem__("corrected"), "/corrected: this group is missing"),
    "group for data": (
        lambda f: (f.__delitem__("corrected/s"), f.create_group("corrected/s")),
        "/corrected/s: should be a data set",
    ),
    "data for group": (replace("corrected", [1.0]), "/corrected: should be a group"),
    "fewer dimensions": (replace("corrected/s", np.zeros(3, complex)), "/corrected/s: complex128 of shape"),
    "other size": (replace("corrected/s", np.zeros((3, 4, 5), complex)), "s: shape"),
    "coupling of other size": (replace("couplings/001/s", np.zeros((3, 4, 5), complex)), "s: shape"),
    "coupling without ports": (lambda f: f.__delitem__("couplings/002/ports"), "this data set is missing"),
    "coupling on another grid": (
        replace("couplings/001/frequency_hz", [1e6, 3e6]),
        "couplings of a bundle must be on the frequency grid of the specimen",
    ),
    "coupling of no number": (lambda f: f.move("couplings/002", "couplings/x"), "not a sound record"),
    "single precision": (replace("corrected/s", np.zeros((3, 4, 4), np.complex64)), "complex64"),
    "text for numbers": (replace("corrected/z0_ohm", ["50"] * 4), "float64 with 1 dimensions is expected"),
    "numbers for text": (replace("corrected/ports", [1, 2, 3, 4]), "a list of texts is expected"),
    "list for one text": (replace("fixture/toml", ["a"]), "one text is expected"),
    "empty data space": (replace("fixture/toml", h5py.Empty("f8")), "should be a data set"),
    "not UTF-8": (
        replace("fixture/toml", np.bytes_(b"\xff\xfe"), dtype=h5py.string_dtype("utf-8", 2)),
        "not a sound record",
    ),
    "falling grid": (replace("corrected/frequency_hz", [3.0, 2.0, 1.0]), "strictly rising"),
    "equal ports": (replace("corrected/ports", ["A:12.1"] * 4), "one label"),
    "lists of two lengths": (replace("software/version", ["1"]), "not a sound record"),
    "missing attribute": (without_attribute("specimen", "identifier"), "@identifier: this attribute is"),
    "attribute of other type": (attribute("specimen", "identifier", 7), "@identifier: should be text"),
    "float for whole number": (attribute("sweep", "averages", 2.5), "@averages: should be a 64-bit integer"),
    "text for float": (attribute("specimen", "length_m", "2 m"), "@length_m: should be a 64-bit float"),
    "list attribute": (attribute("specimen", "length_m", [1.0, 2.0]), "@length_m: should be a single value"),
    "hookup not numbered": (lambda f: f.move("hookups/001", "hookups/one"), "not a sound record"),
    "outside data": (external, "kept in another file"),
    "virtual data": (virtual, "kept in another file"),
    "link": (soft_link, "/corrected/s: a link"),
    "huge claim": (huge, "claims"),
}


@pytest.mark.parametrize("case", CASES)
def test_content_that_does_not_fit_is_named(case: str, stored: Path, tmp_path: Path) -> None:
    change, words = CASES[case]
    path = resealed(stored, tmp_path, change)
    for reader in (read_record, check_record):
        with pytest.raises(RecordDamaged) as caught:
            reader(path)
        assert "\n" not in str(caught.value)
        assert str(path) in str(caught.value)
        assert caught.value.hint
    with pytest.raises(RecordDamaged) as caught:
        read_record(path)
    assert words in str(caught.value)


def test_unchanged_content_stays_sound(build: SimpleNamespace, stored: Path, tmp_path: Path) -> None:
    path = resealed(stored, tmp_path, lambda file: None)
    check_record(path)
    assert build.same(read_record(path), read_record(stored))


def patched(file: h5py.File) -> None:
    file["corrected/s"][0, 0, 0] = 1.0


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (patched, "/corrected/s: the data do not match their checksum"),
        (attribute("specimen", "identifier", "another cord"), "/specimen: its attributes do not match"),
        (attribute("corrected/s", "unit", "dB"), "/corrected/s: its attributes do not match"),
        (replace("fixture/toml", "other"), "/fixture/toml: the data do not match their checksum"),
        (lambda f: f.create_group("more"), "/more: its attributes do not match"),
        (lambda f: f.__delitem__("couplings/002"), "/@content_sha256: does not match"),
    ],
)
def test_the_check_names_the_item_that_changed(
    change: Callable[[h5py.File], object], words: str, stored: Path, tmp_path: Path
) -> None:
    with pytest.raises(RecordDamaged) as caught:
        check_record(resealed(stored, tmp_path, change))
    assert words in str(caught.value)
