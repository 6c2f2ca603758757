"""Histories of version 1, the first, of a channel, a tester and a study are read for ever.

The files were written by hand, their checksums computed apart from the program; the expected values are
written out here.
"""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from benchsweep.archive.references import read_history
from benchsweep.records import (
    Agreement,
    BenchMeasured,
    ChannelRegistered,
    FieldTesterCompared,
    FieldTesterRegistered,
    IntervalChanged,
    Parameter,
    Returned,
    StudyMeasured,
    StudyPlanned,
    Withdrawn,
)

FOLDER = Path(__file__).resolve().parent / "golden"
DIGESTS = {
    "channel": "7eff7f657dbb8539029234fedcc7df60d4f0f3e903d7e46567cb11251ef33570",
    "tester": "f0ccf894216926b082da003b7b5db6d6c0ae5b1c6213567c14f6f3ee389d56c7",
    "study": "fca450f77b00e65f4087cec9d4d63db7412af474b44733e3b4d984b191848c6f",
}


@pytest.mark.parametrize("kind", DIGESTS)
def test_the_digest_of_the_last_line_names_all_of_it(kind: str) -> None:
    history = read_history(FOLDER / f"reference-{kind}-v1.txt", must_exist=True)
    assert (history.kind, history.digest, history.unfinished) == (kind, DIGESTS[kind], 0)


def test_a_channel() -> None:
    events = read_history(FOLDER / "reference-channel-v1.txt").events
    registered, measured, withdrawn, returned, interval = events
    assert isinstance(registered, ChannelRegistered)
    assert (registered.channel, registered.by) == ("RC 1/Ü", "M. Ölsen")
    assert registered.parts == ("cord 2 m", "cable 90 m")
    assert (registered.length_m, registered.every_days) == (97.0, 180.0)
    assert isinstance(measured, BenchMeasured)
    assert (measured.record, measured.path, measured.temperature_degc) == ("ab" * 32, "2026/R.h5", None)
    assert dict(measured.checks) == {
        "next A 36-45 worst margin": 3.25,
        "skew largest at 10 MHz": math.inf,
    }
    assert (measured.words, measured.accepted) == ("as before", True)
    assert isinstance(withdrawn, Withdrawn)
    assert withdrawn.reason == "it fell"
    assert isinstance(returned, Returned)
    assert isinstance(interval, IntervalChanged)
    assert (interval.every_days, interval.reason) == (90.0, "staircase")


def test_a_tester() -> None:
    registered, compared = read_history(FOLDER / "reference-tester-v1.txt").events
    assert isinstance(registered, FieldTesterRegistered)
    assert (registered.tester, registered.accuracy, registered.remarks) == ("FT 07", "", "spare")
    assert isinstance(compared, FieldTesterCompared)
    assert (compared.file, compared.mapping_text, compared.repairs) == (
        "ef" * 32,
        "schema = 1\n",
        "new plugs",
    )
    told = compared.comparison
    assert (told.outcome, told.channel, told.record_digest) == (Agreement.AGREES, "RC 1/Ü", "ab" * 32)
    (row,) = told.rows
    assert (row.parameter, row.end, row.pairs) == (Parameter.NEXT, "A", ("36", "45"))
    assert (row.outcome, row.tester_margin, row.deviation) == (Agreement.AGREES, math.inf, None)
    assert row.decisive is not None
    assert (row.decisive.difference, row.decisive.e_n, row.decisive.limit) == (0.5, 0.5, 33.1)
    assert row.largest is None
    (suspicion,) = told.suspicions
    assert (suspicion.kind, suspicion.hinders) == ("limit", False)
    ((parameter, limits),) = told.bland_altman
    assert (parameter, limits.count, limits.upper) == (Parameter.NEXT, 12, 0.5)
    assert told.notes == ("a note: Prüfung",)


def test_a_study() -> None:
    planned, run = read_history(FOLDER / "reference-study-v1.txt").events
    assert isinstance(planned, StudyPlanned)
    assert (planned.study, planned.subject, planned.design.kind) == ("mating", "bench", "nested")
    assert [each.mating for each in planned.design.runs] == [1, 2]
    assert isinstance(run, StudyMeasured)
    assert dict(run.values) == {"next A 36-45": 33.25}
