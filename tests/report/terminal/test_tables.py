"""What a technician reads on the terminal: what failed, by how much, where; within 80 columns."""

from __future__ import annotations

import dataclasses
import re
import unicodedata
from dataclasses import replace
from types import SimpleNamespace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchsweep.records import (
    Fault,
    Outcome,
    Parameter,
    SafetyConfirmation,
    Specimen,
    Verdict,
    VerdictRow,
    WiringFinding,
    WiringReport,
)
from benchsweep.report import incident_table, measurement_table, verdict_table

P = Parameter


def display_columns(line: str) -> int:
    wide = sum(unicodedata.east_asian_width(char) in "WF" for char in line)
    return len(line) + wide - sum(bool(unicodedata.combining(char)) for char in line)


def row(
    parameter: Parameter,
    end: str | None,
    pairs: tuple[str, ...],
    margin: float | None,
    outcome: Outcome,
    standing: str = "from-memory",
    note: str = "",
) -> VerdictRow:
    numbers = (None, None, None) if margin is None else (212.5e6, 38.4 + margin, 38.4)
    return VerdictRow(parameter, end, pairs, margin, *numbers, None, outcome, standing, note)


ROWS = (
    row(P.NEXT, "A", ("36", "45"), 0.2, Outcome.PASS),
    row(P.NEXT, "B", ("12", "45"), -0.21, Outcome.FAIL),
    row(P.NEXT, "B", ("36", "45"), -3.214, Outcome.FAIL),
    row(P.RETURN_LOSS, "A", ("12",), 1.0, Outcome.CONDITIONAL_PASS, "published"),
    row(P.TCL, "A", ("78",), None, Outcome.UNDECIDED, "common-practice", "this parameter was not measured"),
    row(P.DELAY, None, ("78",), 400.0, Outcome.PASS),
)
WIRING = WiringReport(
    (1, 2, 6, 4, 5, 3, 7, 8), (WiringFinding("reversed", (3, 6), ("36",), "B", "pair 3-6 is reversed at B"),)
)
VERDICT = Verdict("a.h5", "cord 7", "tia-6a-cord", "simple", 2.0, Outcome.FAIL, ROWS, WIRING, ("a note",))


def test_the_outcome_comes_first_then_what_failed_worst_first() -> None:
    lines = verdict_table(VERDICT).splitlines()
    assert lines[0].split() == (
        "outcome fail: of 6 graded traces 2 fail, 1 undecided, 1 conditional-pass, 2".split()
    )
    text = "\n".join(lines)
    first = text.index("NEXT, end B, pairs 36-45: 3.21 dB outside the limit at 212.50 MHz")
    second = text.index("NEXT, end B, pairs 12-45: 0.21 dB outside the limit at 212.50 MHz")
    third = text.index("TCL, 1 undecided: this parameter was not measured")
    assert first < second < third < text.index("pair 3-6 is reversed at B") < text.index("parameter   ")


def test_one_line_per_parameter_and_end_with_the_worst_row() -> None:
    table = verdict_table(VERDICT).splitlines()
    found = [re.split(r"\s{2,}", line.strip()) for line in table if re.search(r" (dB|ns) ", line)]
    table_rows = [cells for cells in found if cells[0] in ("return loss", "NEXT", "TCL", "delay")]
    assert table_rows == [
        ["return loss", "A", "12", "+1.00", "212.50", "39.40", "38.40", "dB", "conditional-pass"],
        ["NEXT", "A", "36-45", "+0.20", "212.50", "38.60", "38.40*", "dB", "pass"],
        ["NEXT", "B", "36-45", "-3.21", "212.50", "35.19", "38.40*", "dB", "fail"],
        ["TCL", "A", "78", "-", "-", "-", "-+", "dB", "undecided"],
        ["delay", "78", "+400.00", "212.50", "438.40", "38.40*", "ns", "pass"],
    ]


def test_standing_and_missing_uncertainty_are_said() -> None:
    text = " ".join(verdict_table(VERDICT).split())
    assert "* limit from memory, to be verified against your own copy of the standard" in text
    assert "+ limit common practice in the trade" in text
    assert "No measurement uncertainty was evaluated" in text
    known = dataclasses.replace(
        VERDICT,
        rows=(dataclasses.replace(ROWS[0], standing="published", expanded_uncertainty=0.4),),
    )
    text = verdict_table(known)
    assert "from memory" not in text
    assert "was evaluated" not in text
    assert "U: expanded uncertainty, k = 2" in text


def test_a_pass_names_the_closest_call(build: SimpleNamespace) -> None:
    verdict = build.item().verdict
    text = verdict_table(verdict)
    worst = min(row.worst_margin_db for row in verdict.rows if row.parameter.unit == "dB")
    assert re.search(rf"^closest +insertion loss, .*{worst:.2f} dB inside the limit at", text, re.MULTILINE)
    assert "right: every contact leads to the same contact" in text
    assert text.startswith("outcome      pass: all 119 graded traces pass\n")


@pytest.mark.parametrize(
    ("wiring", "words"),
    [
        (None, "not checked"),
        (WiringReport((None,) * 8, (), checked=False), "not checked: the measurement does not tell"),
        (WIRING, "wrong"),
    ],
)
def test_the_wiring_in_words(wiring: WiringReport | None, words: str) -> None:
    text = verdict_table(dataclasses.replace(VERDICT, wiring=wiring))
    assert re.search(rf"^wiring +{words}$", text, re.MULTILINE)


def test_nothing_graded_is_said() -> None:
    empty = Verdict("", "x", "r", "simple", None, Outcome.UNDECIDED, ())
    text = verdict_table(empty)
    assert text.startswith("outcome      undecided: nothing was graded\n")
    assert "not stored" in text


@pytest.mark.parametrize("width", [60, 72, 80, 132])
def test_tables_keep_within_the_width(width: int, build: SimpleNamespace) -> None:
    item = build.item(fault_db=11.0)
    for text in (
        verdict_table(VERDICT, width=width),
        verdict_table(item.verdict, width=width),
        measurement_table(item.measurement, width=width),
    ):
        assert max(map(display_columns, text.splitlines())) <= width
        assert "\t" not in text


@settings(max_examples=150, deadline=None)
@given(name=st.text(max_size=300), note=st.text(max_size=60), idn=st.text(max_size=120))
def test_hostile_names_are_harmless(name: str, note: str, idn: str, build: SimpleNamespace) -> None:
    verdict = dataclasses.replace(VERDICT, specimen=name, record=idn, requirement=note, notes=(note,))
    measurement = dataclasses.replace(
        build.item().measurement,
        specimen=Specimen(name, None, note),
        operator=name,
        software={name: idn},
        fixture_toml=f"name = {name!r}",
    )
    for text in (verdict_table(verdict), measurement_table(measurement)):
        assert all(display_columns(line) <= 80 for line in text.splitlines())
        categories = {unicodedata.category(char) for char in text.replace("\n", "")}
        assert not categories & {"Cc", "Cs", "Zl", "Zp"}
        assert not set(text) & set("\u202a\u202b\u202d\u202e\u2066\u2067\u2068\u200e\u200f\ufeff")
        text.encode("utf-8")


def test_colour_codes_and_direction_marks_show_as_question_marks() -> None:
    text = verdict_table(dataclasses.replace(VERDICT, specimen="7\x1b[31m\u202ed"))
    assert "7?[31m?d" in text


def test_a_measurement_in_words(build: SimpleNamespace) -> None:
    text = measurement_table(build.item().measurement)
    for words in (
        "specimen     cord 2 m / no. 7",
        "length       2 m",
        "measured at  2026-03-01T12:30:05Z",
        "operator     M. Lindqvist",
        "16 legs, 1.000 to 500.00 MHz, 201 points",
        "IF bandwidth 1000 Hz, averages 1, power -5 dBm",
        "cal-7 of 2026-03-01T08:00:00Z",
        "largest of 31 residuals -64.0 dB (load port 16)",
        "fixture      contacts",
        "hookups disagree by at most -60.0 dB",
        "temperature_degc 21.5",
        "benchsweep 0.1.0, numpy 2.4",
    ):
        assert words in text


def test_what_happened_and_who_read_the_cautions(build: SimpleNamespace) -> None:
    item = build.item()
    assert incident_table(item.measurement) == ""
    measurement = replace(
        item.measurement,
        safety=SafetyConfirmation("R. Example", "2026-03-01T12:00:00+00:00", ("Read.",)),
        incidents=("hookup 2: lost", "hookup 3: lost\x1b[31m"),
    )
    lines = incident_table(measurement, width=60).splitlines()
    assert lines == [
        "safety       cautions confirmed by R. Example at",
        "             2026-03-01T12:00:00+00:00",
        "incidents    hookup 2: lost",
        "             hookup 3: lost?[31m",
    ]
    assert "\n".join(lines) in measurement_table(measurement, width=60)


def test_an_import_in_words(build: SimpleNamespace) -> None:
    measurement = dataclasses.replace(
        build.item().measurement,
        origin="touchstone",
        source_file="cord.s16p",
        calibration=None,
        analyzer=None,
        settings=None,
        fixture_toml="",
        consistency_db={},
        ambient={},
        operator="",
    )
    text = measurement_table(measurement)
    assert "origin       imported from a Touchstone file: cord.s16p" in text
    assert "calibration  none applied here" in text
    for label in ("operator", "analyzer", "consistency", "ambient"):
        assert f"\n{label}" not in text


def test_wiring_that_could_not_be_told_is_not_called_wrong() -> None:
    unclear = WiringFinding("unclear", (), ("36",), None, "pair 3-6 was not measured at both ends")
    passing = dataclasses.replace(VERDICT, outcome=Outcome.PASS, rows=ROWS[:1])
    for contacts, words in (((None,) * 8, "not checked"), ((1, 2, *(None,) * 6), "not certain")):
        wiring = WiringReport(contacts, (unclear,), checked=False)
        text = verdict_table(dataclasses.replace(passing, wiring=wiring))
        assert re.search(rf"^wiring +{words}$", text, re.MULTILINE)
        assert "wrong" not in text


def test_an_undecided_row_does_not_hide_a_measured_one() -> None:
    missing = row(P.NEXT, "A", ("12", "45"), None, Outcome.UNDECIDED, note="not measured")
    verdict = dataclasses.replace(VERDICT, outcome=Outcome.UNDECIDED, rows=(missing, ROWS[0]))
    table = verdict_table(verdict)
    assert re.search(r"^NEXT +A +36-45 +\+0\.20", table, re.MULTILINE)
    assert re.search(r"^NEXT +A +12-45 +- ", table, re.MULTILINE)


def test_doubts_stand_before_the_wiring_and_faults_are_told_of_a_pass_too() -> None:
    fault = Fault("contact", "A", ("45",), (4,), 0.0, 0.0, "bad contact: 5 ohm at the plug of end A")
    doubt = "the length of 20 m does not fit"
    passing = dataclasses.replace(
        VERDICT, outcome=Outcome.PASS, rows=ROWS[:1], wiring=None, notes=(doubt, "a note"), doubts=(doubt,)
    )
    text = verdict_table(passing, faults=[fault], width=100)
    assert text.index(doubt) < text.index("wiring") < text.index(fault.words) < text.index("a note")
    assert text.count(doubt) == 1
    assert "found, though no limit of this requirement is broken" in text
    assert "though no limit" not in verdict_table(VERDICT, faults=[fault], width=100)
