"""What a statement takes of mating from a study, and one line of each parameter with its worst trace."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from benchsweep.qualification.comparisons._documents import study_document
from benchsweep.qualification.comparisons._statement import read_statement, resolve
from benchsweep.qualification.comparisons._studies import (
    StudyView,
    add_study_result,
    mating_scatter,
    plan_study,
)
from benchsweep.qualification.comparisons._study_summary import mating_of, mating_words, step_of
from benchsweep.records import NestedStudy, Parameter

STATEMENT = """
schema = 1
name = "mating"
source = "ours"
standing = "common-practice"
[[mating]]
parameter = "next"
study = "winter"
source = "study winter"
standing = "common-practice"
"""


def matings(*, freedom: int = 6, **expanded: float) -> dict[str, tuple[NestedStudy, ...]]:
    """Return what a study found of each trace; ``_`` in its name stands for a space."""
    return {
        name.replace("_", " "): (NestedStudy(("mating",), (value / 2,), (value / 2,), (freedom,), value),)
        for name, value in expanded.items()
    }


def test_traces_that_scatter_alike_are_pooled() -> None:
    found = mating_of(matings(next_A_12=0.3, next_A_36=0.4, next_B_45=0.5))[Parameter.NEXT]
    # NIST/SEMATECH e-Handbook 2.4.4: s^2 pooled = sum(v s^2) / sum(v).
    assert found.expanded == pytest.approx(math.sqrt((0.09 + 0.16 + 0.25) / 3))
    assert (found.taken, found.freedom, found.quantities) == ("pooled", 6, 3)
    assert (found.largest, found.trace) == (0.5, "next B 45")
    assert mating_words(found) == (
        "pooled over its 3 traces (GUM 4.2.4), 6 degrees of freedom; the largest is 0.5 of NEXT B 45"
    )


@pytest.mark.parametrize(("largest", "taken"), [(2.49, "pooled"), (2.51, "largest")])
def test_the_largest_is_taken_where_cochran_says_that_it_scatters_more(largest: float, taken: str) -> None:
    # ISO 5725-2, table 4 (from memory): 0.676 at 1 % for four variances of six values, and
    # x^2 / (x^2 + 3) crosses it at x = 2.502.
    told = matings(next_A_12=1.0, next_A_36=1.0, next_B_45=1.0, next_B_78=largest, freedom=5)
    found = mating_of(told)[Parameter.NEXT]
    assert found.taken == taken
    if taken == "largest":
        assert (found.expanded, found.trace) == (largest, "next B 78")
        assert "largest of its 4 traces, NEXT B 78" in mating_words(found)


def test_nothing_smaller_is_taken_than_the_resolution_allows() -> None:
    steps = {Parameter.INSERTION_LOSS: 0.1}
    found = mating_of(matings(insertion_loss=0.0), steps)
    assert not found  # a word of the laboratory's own is no parameter
    made = {"insertion_loss A 12": matings(x=0.0)["x"], "insertion_loss A 36": matings(x=0.01)["x"]}
    found = mating_of(made, steps)
    # JCGM 100 (GUM), F.2.2.1: u = 0.29 of the step.
    assert found[Parameter.INSERTION_LOSS].expanded == pytest.approx(2 * 0.29 * 0.1, rel=0.01)
    assert found[Parameter.INSERTION_LOSS].taken == "step"


@pytest.mark.parametrize(
    ("values", "step"),
    [([3.1, 2.25, -4.0], 0.01), ([517.0, 40.0], 1.0), ([1.0 / 3.0], None), ([], None), ([0.1 + 0.2], 0.1)],
)
def test_steps_of_results(values: list[float], step: float | None) -> None:
    assert step_of(values) == (None if step is None else pytest.approx(step))


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> StudyView:
    """A study of two parts with a trace that scatters, one that hardly does, and one that never changes."""
    folder = tmp_path_factory.mktemp("study")
    view = plan_study(
        folder,
        "winter",
        subject="FT-07",
        kind="crossed",
        parts=("link 1", "link 2"),
        operators=("Maren", "Ilja"),
        matings=3,
        trials=1,
        by="I. Vogt",
        seed="winter",
    )
    rng = np.random.default_rng(11)
    for run in view.planned.design.runs:
        part = 2.0 * (run.part == "link 2")
        typed = {
            "next A 36-45": round(3.0 + part + 0.02 * rng.standard_normal(), 2),
            "next B 12-78": round(3.0 + part + 0.4 * rng.standard_normal(), 2),
            "acr_f A 12-36": round(9.0 + part + 0.05 * rng.standard_normal(), 2),
            "delay 12": 517.3 + part,
        }
        view = add_study_result(folder, "winter", run.number, typed=typed, by=run.operator)
    return view


def test_the_worst_trace_of_each_parameter_is_told_the_worst_first(whole: StudyView) -> None:
    assert [(row.quantity, row.traces) for row in whole.summary] == [
        ("next B 12-78", 2),
        ("acr_f A 12-36", 1),
        ("delay 12", 1),
    ]
    first, _, last = whole.summary
    gauge = whole.results["next B 12-78"][0]
    assert first.gauge_percent == dict(gauge.study_percent)["gauge"]  # type: ignore[union-attr]
    assert (last.gauge_percent, last.categories) == (None, None)


def test_what_repeats_to_the_last_digit_is_counted_in_one_line(whole: StudyView) -> None:
    (words,) = whole.doubts
    assert words.startswith("1 of 4 traces repeat to the last digit in every trial (delay 1)")
    assert "steps of 0.1 ns" in words
    assert "0.029 ns" in words  # 0.1 / sqrt(12), GUM F.2.2.1


def test_a_statement_says_which_figure_it_takes_and_from_how_many_traces(whole: StudyView) -> None:
    stated = resolve(read_statement(STATEMENT), whole.folder)
    found = next(row.mating for row in whole.summary if row.parameter is Parameter.NEXT)
    assert found is not None
    assert stated.of_mating(Parameter.NEXT) == found.expanded
    assert f"mating, NEXT: {found.expanded:.3g} dB (k = 2) from study winter: " in stated.lines[0]
    assert mating_words(found) in stated.lines[0]


def test_a_file_of_a_simulated_tester_is_practice(tmp_path: Path) -> None:
    plan_study(
        tmp_path,
        "winter",
        subject="FT-07",
        kind="crossed",
        parts=("link 1", "link 2"),
        operators=("Maren", "Ilja"),
        matings=2,
        trials=1,
        by="I. Vogt",
    )
    rows = "Parameter,End,Pairs,Worst margin,Frequency (MHz),Value,Limit\nNEXT,A,36-45,3.2,233.5,38.2,35.0\n"
    for number, operator in ((1, "simulated"), (2, "Ilja")):
        path = tmp_path / f"{number}.csv"
        path.write_text(f"Operator,{operator}\n{rows}")
        view = add_study_result(tmp_path, "winter", number, source=path, mapping="worst-margins", by="Ilja")
    assert [event.simulated for event in view.measured.values()] == [True, False]


def test_the_document_of_a_study_holds_the_same_lines(whole: StudyView) -> None:
    told = study_document(whole)["summary"]
    assert [row["quantity"] for row in told] == [row.quantity for row in whole.summary]
    assert told[0]["mating"]["expanded"] == whole.summary[0].mating.expanded  # type: ignore[union-attr]


def test_the_step_of_values_in_files_bounds_mating_where_margins_are_counted_from_them(
    tmp_path: Path,
) -> None:
    view = plan_study(
        tmp_path,
        "winter",
        subject="FT-07",
        kind="crossed",
        parts=("link 1", "link 2"),
        operators=("Maren", "Ilja"),
        matings=2,
        trials=1,
        by="I. Vogt",
        requirement="tia-6-channel",
    )
    path = tmp_path / "run.csv"
    for run in view.planned.design.runs:
        # The same numbers in files of their own: one file is the result of one run.
        path.write_text(f"Run,{run.number}\nFrequency (MHz),next A 36-45 (dB)\n100,45.3\n233,36.4\n")
        view = add_study_result(
            tmp_path, "winter", run.number, source=path, mapping="wide-values", by=run.operator
        )
    # The limit at 233 MHz has many digits, and so have the margins: they show no steps.
    assert step_of([event.values["next A 36-45"] for event in view.measured.values()]) != 0.1
    found = mating_scatter(view)[Parameter.NEXT]
    assert (found.taken, found.step) == ("step", 0.1)
    assert found.expanded == pytest.approx(2 * 0.1 / math.sqrt(12.0))  # GUM, F.2.2.1
    assert "steps of 0.1 dB" in view.doubts[0]
