"""What files of version 1 lack counts as what was so then; in a file of version 2 nothing may be missing."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import h5py
import pytest

from benchsweep.archive import read_record
from benchsweep.archive.format._migrations import SUPPLIED, supplied
from benchsweep.archive.format._seal import BLOCK, sealed
from benchsweep.errors import RecordDamaged
from benchsweep.records import Measurement

GOLDEN = Path(__file__).with_name("golden") / "record-v1-bundle.h5"
SEGMENTS = tuple(f"segment_{name}" for name in ("start_hz", "stop_hz", "points", "if_bandwidth_hz"))
# Items that are taken out of a record of version 1 -> what it then says, and the value that means.
CASES: dict[str, tuple[tuple[str, ...], Callable[[Measurement], object], object]] = {
    "verification": (("/@verification",), lambda m: m.verification, ""),
    "relays": (("/calibration@reached",), lambda m: m.calibration and m.calibration.reached, ""),
    "spacing": (("/sweep@spacing",), lambda m: m.settings and m.settings.spacing, "linear"),
    "segments": (
        tuple(f"/sweep/{name}" for name in SEGMENTS),
        lambda m: m.settings and m.settings.segments,
        (),
    ),
    "budget": (("/budget",), lambda m: m.budget_toml, ""),
    "budget text": (("/budget/toml",), lambda m: m.budget_toml, ""),
    "incidents": (("/incidents",), lambda m: m.incidents, ()),
    "incident list": (("/incidents/text",), lambda m: m.incidents, ()),
    "notes": (("/consistency/note",), lambda m: m.assembly_notes, ()),
    "terminators": (
        ("/hookups/001/terminated_port", "/hookups/001/terminated_by"),
        lambda m: dict(m.hookups[0].hookup.terminations),
        {},
    ),
    "state": (
        ("/hookups/001/state_question", "/hookups/001/state_answer"),
        lambda m: dict(m.hookups[0].sweep.state),
        {},
    ),
    "limits": (
        ("/analyzer/limit_name", "/analyzer/limit_value"),
        lambda m: m.analyzer and dict(m.analyzer.limits),
        {},
    ),
    "lacks": (("/analyzer/lacks",), lambda m: m.analyzer and m.analyzer.lacks, ()),
    "standards": (("/calibration/standards",), lambda m: m.calibration and m.calibration.standard_terms, ()),
}
NEVER_THERE = {"specimen@lot", "@reduced_from", "@reason"}


def without(items: tuple[str, ...], folder: Path) -> Path:
    path = folder / "older.h5"
    path.write_bytes(GOLDEN.read_bytes())
    with h5py.File(path, "r+") as file:
        for item in items:
            group, _, name = item.partition("@")
            if name:
                del file[group].attrs[name]
            else:
                del file[item]
    path.write_bytes(b"".join(sealed("record", path.read_bytes()[BLOCK:])))
    return path


@pytest.mark.parametrize("case", CASES)
def test_what_an_older_record_lacks_is_supplied(case: str, tmp_path: Path) -> None:
    items, told, value = CASES[case]
    before, after = told(read_record(GOLDEN)), told(read_record(without(items, tmp_path)))
    assert after == value
    assert type(after) is type(before)
    if case != "relays":  # that record was not measured through any
        assert before != value, "the golden record says something there"


def test_every_item_that_is_supplied_is_tried() -> None:
    tried = {item for items, _, _ in CASES.values() for item in items}
    untried = {key for key in SUPPLIED if not any(re.search(rf"[/@]?{key}$", item) for item in tried)}
    assert untried == NEVER_THERE
    with h5py.File(GOLDEN) as file:
        assert not {"reduced_from", "reason"} & set(file.attrs)
        assert "lot" not in file["specimen"].attrs
    back = read_record(GOLDEN)
    assert (back.specimen.lot, back.reduced_from, back.reason) == ("", "", "")


def test_nothing_else_is_supplied(tmp_path: Path) -> None:
    for item in ("/@operator", "/specimen@identifier", "/corrected/ports", "/ambient", "/hookups/001/s"):
        with pytest.raises(RecordDamaged, match="missing"):
            read_record(without((item,), tmp_path))


def test_version_2_lacks_nothing() -> None:
    assert supplied(1, "budget", "toml") == ""
    assert supplied(1, "budget", "") == ()
    assert supplied(1, "corrected", "") is None
    assert [supplied(2, "budget", item) for item in ("toml", "", "@lot")] == [None] * 3
