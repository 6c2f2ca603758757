"""Large arrays go to the disc from where they are, and the file is an HDF5 file like any other."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace

import h5py
import numpy as np
import pytest

from benchsweep.archive import Journal, check_record, read_record, write_record
from benchsweep.archive.format._hollow import HollowFile
from benchsweep.archive.format._seal import BLOCK
from benchsweep.archive.format._tree import Block, fill, to_bytes


def bare_numbers(size: int) -> np.ndarray:
    return np.random.default_rng(size).standard_normal(size)


@pytest.mark.parametrize("points", [1, 15, 16, 17, 301, 1001])
def test_whatever_the_size_it_comes_back(points: int, build: SimpleNamespace, tmp_path: Path) -> None:
    """16 points and 16 ports are the first matrix that is kept apart."""
    whole = build.measurement(points=points, ports=16, hookups=3)
    path = write_record(whole, tmp_path)
    check_record(path)
    assert build.same(read_record(path), whole)
    Journal(tmp_path / "job", {"a": "b"}).save(whole.hookups[1])
    assert build.same(Journal(tmp_path / "job", {"a": "b"}).finished()[2], whole.hookups[1])


def test_h5py_reads_it_without_us(tmp_path: Path) -> None:
    """Large and small by turns, in groups, strided, of every type; the last item is a large one."""
    rng = np.random.default_rng(1)
    matrix = rng.normal(size=(64, 16, 16)) + 1j * rng.normal(size=(64, 16, 16))
    tree = {
        "/": Block({"created_at": "now"}),
        "/corrected": Block(data={"frequency_hz": bare_numbers(20000), "ports": ("A:12.1",), "s": matrix}),
        "/hookups/001": Block(
            {"number": 1},
            {
                "frequency_hz": bare_numbers(3),
                "s": matrix.transpose(2, 1, 0),
                "analyzer_ports": np.arange(30000)[::2],
                "state_question": ("a?", "b?"),
                "connected_port": np.arange(10000),
            },
        ),
    }
    path = tmp_path / "x.h5"
    path.write_bytes(b"".join(to_bytes("record", tree)))
    with h5py.File(path) as file:
        for where, block in tree.items():
            for key, values in block.data.items():
                found = file[where][key]
                if isinstance(values, np.ndarray):
                    assert found.dtype == values.dtype
                    assert np.array_equal(found[()], values)
                else:
                    assert tuple(found.asstr()[()]) == values
        assert file["hookups/001"].attrs["number"] == 1
    # Nothing is missing behind the last large array, and nothing is there twice.
    large = matrix.nbytes * 2 + 8 * (20000 + 15000 + 10000)
    assert large < path.stat().st_size < large + 20000


def test_a_large_array_is_not_copied() -> None:
    matrix = np.zeros((64, 16, 16), complex)
    pieces = to_bytes("hookup", {"/": Block(data={"s": matrix, "frequency_hz": bare_numbers(3)})})
    shared = [piece for piece in pieces if np.shares_memory(np.frombuffer(piece, np.uint8), matrix)]
    assert [len(piece) for piece in shared] == [matrix.nbytes]
    assert sum(map(len, pieces)) - matrix.nbytes < 8000


def test_nobody_reads_or_writes_an_array_through_the_file() -> None:
    """The array is not in memory there: what came back would be other bytes."""
    hollow = HollowFile()
    with h5py.File(hollow, "w", userblock_size=BLOCK, libver=("v110", "v110"), locking=False) as file:
        made, hole = hollow.reserve(file.id, "frequency_hz", np.dtype("<f8"), (20000,))
        fill(file, "series", {"/": Block({"sweeps": 1})})
        del made
        with pytest.raises(OSError, match="written elsewhere"):
            file["frequency_hz"][:]
        with pytest.raises(OSError, match="written elsewhere"):
            file["frequency_hz"][:] = np.ones(20000)
    assert hole.length == 160000
    assert len(hollow.content) < 8000
    hollow.seek(0, 2)
    assert hollow.tell() == len(hollow.content) + hole.length
