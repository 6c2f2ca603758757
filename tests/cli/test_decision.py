"""Decision rules and budgets from the command line, on a record whose uncertainty is known in closed form.

Two legs with residual directivity of rms magnitude d each, independent: the differential reflection is off by
(d1 - d2) / 2 in its own terms, of rms magnitude d / sqrt(2), so its part along the reflection has a standard
uncertainty of d / 2. Of a reflection of magnitude r that is 8.686 d / (2 r) dB, coverage factor 2.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from benchsweep import archive
from benchsweep.records import Measurement, SMatrix, Specimen, balanced_ports

GRID = np.linspace(1e6, 100e6, 50)
LIMIT_DB = 20.0
DIRECTIVITY = 10 ** (-46.0 / 20.0)
# Pair 1-2 at end A is 0.4 dB better than its limit, all others 6 dB.
WORST = 10 ** (-(LIMIT_DB + 0.4) / 20.0)
OTHERS = 10 ** (-(LIMIT_DB + 6.0) / 20.0)

REQUIREMENT = f"""
schema = 1
name = "own"
title = "t"
body = "b"
edition = "e"
class = "5e"
configuration = "cord"
standing = "published"
%s
[source]
document = "d"
checked = "c"
[[lines]]
parameter = "return_loss"
sense = "min"
standing = "published"
source = "s"
[[lines.bands]]
from_mhz = 1.0
to_mhz = 100.0
limit = {{ form = "constant", level = {LIMIT_DB} }}
"""
BUDGET = """
schema = 1
name = "bench"
description = "two terms"
coverage_factor = 2
source = "a test"
standing = "common-practice"
[[term]]
kind = "directivity"
name = "residual directivity"
level_db = %g
source = "data sheet"
standing = "published"
[[term]]
kind = "tracking"
name = "residual tracking"
level_db = -70.0
source = "guess"
standing = "from-memory"
"""


def measured(budget: str = "") -> Measurement:
    legs = tuple(str(leg) for port in balanced_ports() for leg in port.legs)
    s = np.zeros((GRID.size, 16, 16), complex)
    line = 0.9 * np.exp(-2j * np.pi * GRID * 10e-9)
    for k in range(8):
        s[:, k + 8, k] = s[:, k, k + 8] = line
    for k in range(16):
        s[:, k, k] = WORST if k < 2 else OTHERS
    return Measurement(
        specimen=Specimen("cord 7", 2.0),
        created_at="2026-01-01T00:00:00+00:00",
        origin="touchstone",
        station="",
        operator="",
        corrected=SMatrix(GRID, s, legs, (50.0,) * 16),
        budget_toml=budget,
    )


@pytest.fixture
def record(own_home: Path) -> Path:
    """A record without a budget; requirements `own` and `allowed`, budget `bench` beside it."""
    for folder in ("requirements", "budgets", "archive"):
        (own_home / folder).mkdir()
    (own_home / "requirements" / "own.toml").write_text(REQUIREMENT % "")
    allowed = (REQUIREMENT % "contains_uncertainty = true").replace('"own"', '"allowed"')
    (own_home / "requirements" / "allowed.toml").write_text(allowed)
    (own_home / "budgets" / "bench.toml").write_text(BUDGET % -46.0)
    (own_home / "budgets" / "poor.toml").write_text(BUDGET % -20.0)
    return archive.write_record(measured(), Path("archive"))


def worst(document: dict) -> dict:
    return min(document["rows"], key=lambda row: row["worst_margin_db"])


def test_the_rule_decides_and_the_document_says_by_what(record: Path, run: Callable) -> None:
    def grade(rule: str, requirement: str = "own") -> tuple[int, dict]:
        answer = run(
            "grade", record, "--against", requirement, "--budget", "bench", "--decision", rule, "--json"
        )
        return answer.code, answer.json

    code, simple = grade("simple")
    row = worst(simple)
    assert (code, simple["outcome"], simple["decision_rule"]) == (0, "pass", "simple")
    assert row["worst_margin_db"] == pytest.approx(0.4, abs=1e-9)
    expanded = 2.0 * 20.0 / math.log(10.0) * DIRECTIVITY / (2.0 * WORST)
    assert row["expanded_uncertainty"] == pytest.approx(expanded, rel=0.05)
    assert row["uncertainty_low"] < row["uncertainty_high"] == row["expanded_uncertainty"]
    assert row["guard_band"] is None
    assert row["uncertainty_low"] > 0.4
    for rule, expected, outcome in (
        ("guard-band", 1, "fail"),
        ("four-way", 0, "conditional-pass"),
        ("guard-band 0.5", 0, "pass"),
        ("four-way 0.5", 0, "pass"),
    ):
        code, document = grade(rule)
        assert (code, document["outcome"], document["decision_rule"]) == (expected, outcome, rule)
        factor = 0.5 if rule.endswith("0.5") else 1.0
        assert worst(document)["guard_band"] == pytest.approx(factor * row["uncertainty_low"], rel=1e-9)
        assert any("ILAC-G8:09/2019" in note for note in document["notes"])
    code, document = grade("guard-band", "allowed")
    assert (code, document["outcome"], worst(document)["guard_band"]) == (0, "pass", 0.0)


def test_a_rule_with_a_guard_band_needs_a_budget(record: Path, run: Callable) -> None:
    for rule in ("guard-band", "four-way 1.5"):
        answer = run("grade", record, "--against", "own", "--decision", rule, "--json")
        assert (answer.code, answer.json["outcome"]) == (3, "undecided")
        assert worst(answer.json)["expanded_uncertainty"] is None
        assert "no uncertainty budget" in worst(answer.json)["note"]


def test_an_uncertainty_without_end_is_null_and_accepts_nothing(record: Path, run: Callable) -> None:
    """Residual directivity as large as the reflection: how much better the value may be, nobody knows."""
    answer = run(
        "grade", record, "--against", "own", "--budget", "poor", "--decision", "guard-band", "--json"
    )
    row = worst(answer.json)
    assert row["uncertainty_high"] is None
    assert row["expanded_uncertainty"] is None
    assert row["guard_band"] > 3.0
    assert answer.code == 1


def test_the_record_s_own_budget_is_used_unless_another_is_named(own_home: Path, run: Callable) -> None:
    (own_home / "requirements").mkdir()
    (own_home / "requirements" / "own.toml").write_text(REQUIREMENT % "")
    (own_home / "better.toml").write_text(BUDGET % -66.0)
    (own_home / "archive").mkdir()
    path = archive.write_record(measured(BUDGET % -46.0), own_home / "archive")
    own = run("grade", path, "--against", "own", "--decision", "guard-band", "--json")
    other = run(
        "grade",
        path,
        "--against",
        "own",
        "--decision",
        "guard-band",
        "--budget",
        own_home / "better.toml",
        "--json",
    )
    assert (own.json["outcome"], other.json["outcome"]) == ("fail", "pass")
    ratio = worst(own.json)["expanded_uncertainty"] / worst(other.json)["expanded_uncertainty"]
    assert ratio == pytest.approx(10.0, rel=0.1)
    assert archive.read_record(path).budget_toml == BUDGET % -46.0  # the record itself never changes
    shown = run("show", path, "--json").json
    assert (shown["budget"], shown["verification"]) == ("bench", None)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--decision", "coin"), "no decision rule named 'coin'"),
        (("--decision", "guard-band -1"), "would accept results beyond the limit"),
        (("--decision", "guard-band 0,83"), "'0,83' is no number"),
        (("--decision", "simple 2"), "has no guard band"),
        (("--budget", "none-such"), "none-such"),
        (("--budget", "absent.toml"), "absent.toml"),
        (("--budget", "budgets/broken.toml"), "broken.toml"),
    ],
)
def test_what_makes_no_sense_is_refused(
    arguments: tuple[str, str], words: str, record: Path, run: Callable
) -> None:
    Path("budgets/broken.toml").write_text('schema = 1\nname = "x"\nunknown = 1\n')
    answer = run("grade", record, "--against", "own", *arguments)
    assert answer.code == 2
    assert words in answer.err
    assert "Traceback" not in answer.err


def test_the_budget_is_printed_largest_term_first(record: Path, run: Callable) -> None:
    answer = run("show", record, "--budget", "--budget-name", "bench", "--against", "own", "--json")
    assert (answer.code, answer.json["schema"], answer.json["requirement"]) == (
        0,
        "benchsweep.budget/1",
        "own",
    )
    (row,) = answer.json["rows"]  # the requirement limits one parameter
    assert (row["parameter"], row["end"], row["pairs"]) == ("return_loss", "A", ["12"])
    assert row["value"] == pytest.approx(LIMIT_DB + 0.4, abs=1e-9)
    assert [term["term"] for term in row["terms"]] == ["residual directivity", "residual tracking"]
    first = row["terms"][0]
    along = 20.0 / math.log(10.0) * DIRECTIVITY / (2.0 * WORST)
    assert first["standard_uncertainty"] == pytest.approx(along, rel=1e-3)
    assert (first["standing"], first["source"]) == ("published", "data sheet")
    assert sum(term["share"] for term in row["terms"]) == pytest.approx(1.0)
    graded = run("grade", record, "--against", "own", "--budget", "bench", "--json").json
    assert row["expanded_uncertainty"] == worst(graded)["expanded_uncertainty"]

    text = run("show", record, "--budget", "--budget-name", "bench", "--against", "own").out
    assert re.search(r"return loss, end A, pair 12: 20\.40 dB at .* MHz, U \+0\.\d\d / -0\.\d\d dB", text)
    assert text.index("residual directivity") < text.index("residual tracking*")
    assert "* figure from memory, to be verified" in text


def test_every_trace_of_a_chosen_parameter_and_the_worst_values_without_a_requirement(
    record: Path, run: Callable
) -> None:
    arguments = ("show", record, "--budget", "--budget-name", "bench", "--json")
    every = run(*arguments, "--parameter", "return_loss").json["rows"]
    assert [(row["end"], row["pairs"]) for row in every] == [
        (end, [pair]) for end in "AB" for pair in ("12", "36", "45", "78")
    ]
    worst_values = {row["parameter"]: row for row in run(*arguments).json["rows"]}
    assert worst_values["return_loss"]["value"] == pytest.approx(LIMIT_DB + 0.4, abs=1e-9)
    assert "insertion_loss" in worst_values
    assert run(*arguments, "--parameter", "tcl", "--against", "own").code == 2


def test_show_budget_says_what_is_missing_or_idle(record: Path, run: Callable) -> None:
    for arguments, words in (
        (("--budget",), "without an uncertainty budget"),
        (("--budget-name", "bench"), "--budget-name does nothing without --budget"),
        (("--budget", "--budget-name", "bench", "--reading", "x"), "do nothing with --budget"),
        (("--budget", "--budget-name", "bench", "--parameter", "loudness"), "loudness"),
        (("--decision", "guard-band"), "--decision does nothing"),
    ):
        answer = run("show", record, *arguments)
        assert answer.code == 2
        assert words in answer.err


def test_the_report_tells_rule_uncertainty_and_budget(record: Path, run: Callable) -> None:
    answer = run(
        "report", record, "--against", "own", "--decision", "four-way", "--budget", "bench", "-o", "a.html"
    )
    assert answer.code == 0
    assert answer.out.startswith("conditional-pass: cord 7, own")
    page = re.sub(r"(<[^>]*>|\s)+", " ", Path("a.html").read_text(encoding="utf-8"))
    assert "ILAC-G8:09/2019" in page
    budget = page[page.index("By the budget bench") :]
    assert re.search(r"return loss (A )?12 1\.000 20\.40 dB .* residual directivity", budget[:800])


def test_show_against_takes_a_rule(record: Path, run: Callable) -> None:
    answer = run("show", record, "--against", "own", "--decision", "guard-band", "--json")
    assert answer.json["verdicts"][0]["decision_rule"] == "guard-band"
