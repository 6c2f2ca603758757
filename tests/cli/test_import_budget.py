"""A file measured elsewhere with the budget and the temperature of the bench that measured it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

Run = Callable[..., Any]


def test_budget_and_temperature_are_kept_with_the_record(touchstone: Path, run: Run) -> None:
    asked = ("import", touchstone, "--specimen", "T1", "--length-m", "2", "--json")
    without = run(*asked).json["record"]
    made = run(*asked, "--budget", "simulated", "--ambient", "temperature_degc=23.5")
    assert made.code == 0, made.err
    record = made.json["record"]
    graded = run("grade", record, "--against", "tia-6-cord", "--json").json
    named = run("grade", without, "--against", "tia-6-cord", "--budget", "simulated", "--json").json
    assert graded["budget"] == named["budget"] == "simulated"
    assert graded["rows"] == named["rows"]
    assert "23.5" in run("show", record).out


@pytest.mark.parametrize(
    "wrong",
    [
        ("--budget", "no-such"),
        ("--budget", "simulated-baluns"),
        ("--ambient", "warm"),
        ("--ambient", "temperature_degc=nan"),
    ],
)
def test_what_does_not_fit_is_refused_before_anything_is_kept(
    touchstone: Path, run: Run, wrong: tuple[str, str]
) -> None:
    answer = run("import", touchstone, "--specimen", "T1", *wrong)
    assert answer.code == 2, answer.err
    assert not list(touchstone.parent.glob("archive/*.h5"))


def test_a_channel_that_was_measured_elsewhere_decides(touchstone: Path, run: Run) -> None:
    """Without the budget every row of a comparison is undecided."""
    by = ("--by", "I. Vogt")
    cord = ("--specimen", "cord-2m", "--length-m", "2")
    made = run("import", touchstone, *cord, "--budget", "simulated", "--json")
    channel = ("compare", "channel", "cord-2m", "--length-m", "2", "--against", "tia-6-cord", *by)
    assert run(*channel).code == 0
    assert run("compare", "bench", "cord-2m", made.json["record"], *by).code == 0
    assert run("compare", "tester", "FT-1", "--accuracy", "demonstration", *by).code == 0
    told = ("compare", "add", "FT-1", "cord-2m", "--told", "delay 12 value 10 ns", *by, "--json")
    (row,) = run(*told).json["rows"]
    assert row["decisive"]["bench_uncertainty"] > 0.0
    assert row["decisive"]["e_n"] is not None
