"""Comments, corrections and gradings of version 2, the first that had them, are read for ever.

The expected values are written out here: they do not come from what the program writes today.
"""

from __future__ import annotations

import math
from pathlib import Path

from benchsweep.archive import read_grading, read_note, verdicts_of
from benchsweep.records import (
    Comment,
    Correction,
    Outcome,
    Parameter,
    RequirementText,
    VerdictRow,
    WiringFinding,
    WiringReport,
)

GOLDEN = Path(__file__).resolve().parent / "golden"


def test_a_comment_of_version_2_stays_readable() -> None:
    assert read_note(GOLDEN / "comment-v2.h5") == Comment(
        record="ab" * 32,
        by="M. Lindqvist",
        at="2026-03-01T12:30:05.000001+00:00",
        text="Kunde zweifelt:\nbitte prüfen",
    )


def test_a_correction_of_version_2_stays_readable() -> None:
    assert read_note(GOLDEN / "correction-v2.h5") == Correction(
        record="ab" * 32,
        by="R. Example",
        at="2026-03-02T08:00:00+00:00",
        reason="label of the neighbour",
        changes={
            "identifier": "cord 8",
            "lot": "26-118",
            "description": "",
            "operator": "Å. Öst",
            "length_m": 2.5,
            "ambient.temperature_degc": None,
            "ambient.humidity_percent": 40.0,
        },
        withdrawn=True,
    )


def test_a_grading_of_version_2_stays_readable() -> None:
    grading = read_grading(GOLDEN / "grading-v2.h5")
    assert (grading.made_at, grading.by) == ("2026-03-01T12:30:05+00:00", "R. Example")
    assert dict(grading.software) == {"numpy": "2"}
    assert dict(grading.told) == {"length_m": "2.0", "budget_toml": "schema = 1\n"}
    assert grading.requirements == (
        RequirementText("tia-6a-cord", "2018", ('schema = 1\nname = "tia-6a-cord"\n# naïve\n', "the base")),
        RequirementText("my own", "ed. 2", ("x = 1\n",)),
    )
    assert [grading.words[place] for place in grading.verdicts.record] == [
        f"{1:064x}",
        f"{2:064x}",
        f"{1:064x}",
    ]
    first, second, third = verdicts_of(grading)
    assert (first.record, first.specimen, first.requirement) == ("archive/x.h5", "cord 7", "tia-6a-cord")
    assert (first.decision_rule, first.length_m, first.outcome) == ("simple", 2.0, Outcome.PASS)
    assert (first.notes, first.budget, first.doubts) == (("a note",), "b2", ())
    assert first.wiring == WiringReport((1, 2, 3, 4, 5, 6, 7, 8), ())
    assert first.rows == (
        VerdictRow(
            parameter=Parameter.NEXT,
            end="A",
            pairs=("12", "36"),
            worst_margin_db=3.25,
            frequency_hz=1e8,
            value=48.5,
            limit=45.25,
            expanded_uncertainty=0.29,
            outcome=Outcome.PASS,
            standing="published",
            note="",
            uncertainty_low=0.29,
            uncertainty_high=0.2,
            guard_band=None,
        ),
    )
    assert (second.outcome, second.length_m) == (Outcome.UNDECIDED, None)
    assert (second.notes, second.doubts) == (("doubt", "a note", "doubt"), ("doubt",))
    assert second.wiring == WiringReport(
        (2, 1, None, 4, 5, 6, 7, 8),
        (
            WiringFinding("reversed", (1, 2), ("12",), None, "contacts 1 and 2 are exchanged"),
            WiringFinding("open", (3,), ("36",), "B", "contact 3 leads nowhere"),
        ),
    )
    assert [row.note for row in second.rows] == ["not measured", "", ""]
    assert second.rows[0].worst_margin_db is None
    assert (second.rows[1].end, second.rows[1].pairs) == (None, ("12", "78"))
    assert (second.rows[2].worst_margin_db, second.rows[2].limit) == (-math.inf, 1e-300)
    assert (third.outcome, third.rows, third.wiring) == (Outcome.FAIL, (), None)
