"""Studies of repeatability: drawn up first, filled run by run, evaluated only when they are whole."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from benchsweep.archive.references import kept_file
from benchsweep.errors import BenchsweepError, ReferenceRefused, UnknownName, UsageError
from benchsweep.qualification.comparisons._studies import (
    StudyView,
    add_study_result,
    mating_scatter,
    plan_study,
    read_study,
)
from benchsweep.records import GaugeStudy, InterlaboratoryStudy, NestedStudy, Parameter
from tests.qualification.lots.reels import record_of

WHAT = "next A 36-45"


def plan(folder: Path, kind: str = "crossed", **how: object) -> StudyView:
    asked: dict[str, object] = {
        "subject": "FT-07",
        "kind": kind,
        "parts": ("link 1", "link 2", "link 3"),
        "operators": ("Maren", "Ilja"),
        "matings": 2,
        "trials": 1,
        "by": "I. Vogt",
        "seed": "winter",
    }
    return plan_study(folder, "winter", **{**asked, **how})  # type: ignore[arg-type]


def fill(folder: Path, view: StudyView, value: object) -> StudyView:
    """Fill a study; `value` gives the number of each run."""
    for run in view.planned.design.runs:
        typed = {WHAT: float(value(run))}  # type: ignore[operator]
        view = add_study_result(folder, "winter", run.number, typed=typed, by=run.operator)
    return view


def test_the_order_is_kept_before_anybody_measures(tmp_path: Path) -> None:
    view = plan(tmp_path)
    assert [run.number for run in view.planned.design.runs] == list(range(1, 13))
    assert read_study(tmp_path, "winter").planned == view.planned
    assert (dict(view.measured), dict(view.results)) == ({}, {})
    by_chance = [plan_study_seed(tmp_path / name) for name in ("a", "b")]
    assert by_chance[0] != by_chance[1]


def plan_study_seed(folder: Path) -> str:
    return plan(folder, seed=None).planned.design.seed


def test_a_whole_study_tells_what_parts_operators_and_matings_add(tmp_path: Path) -> None:
    rng = np.random.default_rng(7)
    scatter: dict[tuple[str, str, int], float] = {}

    def value(run: object) -> float:
        key = (run.part, run.operator, run.mating)  # type: ignore[attr-defined]
        scatter[key] = {"link 1": 0.0, "link 2": 3.0, "link 3": 6.0}[key[0]] + 0.1 * rng.standard_normal()
        return scatter[key]

    view = fill(tmp_path, plan(tmp_path), value)
    gauge, matings = view.results[WHAT]
    assert isinstance(gauge, GaugeStudy)
    assert isinstance(matings, NestedStudy)
    # Scatter of matings within each part and operator, pooled (NIST/SEMATECH e-Handbook 2.4.4).
    cells = [[scatter[part, who, mating] for mating in (1, 2)] for part in view.planned.design.parts
             for who in view.planned.design.operators]  # fmt: skip
    pooled = float(np.sqrt(np.mean(np.var(cells, axis=1, ddof=1))))
    assert matings.mating_uncertainty == pytest.approx(2.0 * pooled)
    assert matings.freedom[matings.levels.index("mating")] == 6
    assert gauge.part > 10 * gauge.gauge
    assert view.units == {WHAT: "dB"}
    found = mating_scatter(view)[Parameter.NEXT]
    assert (found.expanded, found.freedom, found.quantities) == (pytest.approx(2 * pooled), 6, 1)


def test_nothing_is_evaluated_before_the_last_run(tmp_path: Path) -> None:
    view = plan(tmp_path)
    for run in view.planned.design.runs[:-1]:
        view = add_study_result(tmp_path, "winter", run.number, typed={WHAT: 1.0 + run.number}, by="Ilja")
        assert not view.results
    view = add_study_result(tmp_path, "winter", 12, typed={WHAT: 2.0}, by="Ilja")
    assert WHAT in view.results


@pytest.mark.parametrize(
    ("how", "levels"),
    [
        ({"matings": 3, "trials": 2}, ("trial", "mating", "operator", "part")),
        ({"matings": 3}, ("mating", "operator", "part")),
        ({"matings": 3, "parts": ("link 1",)}, ("mating", "operator")),
        ({"matings": 3, "parts": ("link 1",), "operators": ("Maren",)}, ("mating",)),
        ({"matings": 3, "trials": 2, "operators": ("Maren",)}, ("trial", "mating", "part")),
    ],
)
def test_nested_studies_leave_out_levels_of_one(
    tmp_path: Path, how: dict[str, object], levels: tuple[str, ...]
) -> None:
    rng = np.random.default_rng(1)
    view = fill(tmp_path, plan(tmp_path, "nested", **how), lambda run: rng.standard_normal())
    (result,) = view.results[WHAT]
    assert isinstance(result, NestedStudy)
    assert result.levels == levels
    assert mating_scatter(view)[Parameter.NEXT].expanded > 0.0


def test_every_part_of_an_interlaboratory_study_is_told_by_itself(tmp_path: Path) -> None:
    rng = np.random.default_rng(3)
    operators = ("FT-01", "FT-02", "FT-03", "FT-04")
    view = plan(tmp_path, "interlaboratory", operators=operators, parts=("link 1", "link 2"), matings=3)
    view = fill(tmp_path, view, lambda run: rng.standard_normal() + 5.0 * (run.operator == "FT-04"))
    for part in ("link 1", "link 2"):
        (result,) = view.results[f"{WHAT}, {part}"]
        assert isinstance(result, InterlaboratoryStudy)
        assert max(result.h) == result.h[3]
        assert result.reproducibility > result.repeatability


def test_what_only_some_runs_tell_is_named_and_not_evaluated(tmp_path: Path) -> None:
    view = plan(tmp_path)
    for run in view.planned.design.runs:
        typed = {WHAT: run.number * 0.1} | ({"delay 12": 480.0} if run.number > 3 else {})
        view = add_study_result(tmp_path, "winter", run.number, typed=typed, by="Ilja")
    assert list(view.results) == [WHAT]
    assert any("delay 12" in words for words in view.doubts)


def test_runs_out_of_order_and_measured_again_are_told(tmp_path: Path) -> None:
    plan(tmp_path)
    for number in (3, 1, 2):
        view = add_study_result(tmp_path, "winter", number, typed={WHAT: 1.0}, by="Ilja")
    assert any("runs 1, 2 came in after later ones" in words for words in view.doubts)
    with pytest.raises(ReferenceRefused, match="run 3 has a result"):
        add_study_result(tmp_path, "winter", 3, typed={WHAT: 2.0}, by="Ilja")
    view = add_study_result(tmp_path, "winter", 3, typed={WHAT: 2.0}, by="Ilja", again_because="dirty plug")
    assert view.measured[3].values[WHAT] == 2.0
    assert any("dirty plug" in words for words in view.doubts)
    with pytest.raises(ReferenceRefused, match="no earlier result"):
        add_study_result(tmp_path, "winter", 5, typed={WHAT: 2.0}, by="Ilja", again_because="x")


def test_margins_come_from_a_file_of_the_tester_which_is_kept(tmp_path: Path) -> None:
    view = plan(tmp_path)
    path = tmp_path / "run.csv"
    path.write_text(
        "Parameter,End,Pairs,Worst margin,Frequency (MHz),Value,Limit\n"
        "NEXT,A,36-45,3.2,233.5,38.2,35.0\nReturn loss,B,12,1.5,90,13.5,12.0\n"
    )
    view = add_study_result(tmp_path, "winter", 1, source=path, mapping="worst-margins", by="Ilja")
    event = view.measured[1]
    assert dict(event.values) == {"next A 36-45": 3.2, "return_loss B 12": 1.5}
    assert event.steps == {"next": 0.1, "return_loss": 0.1}
    assert kept_file(tmp_path, event.digest) == path.read_bytes()


def test_a_file_of_another_part_or_run_is_refused(tmp_path: Path) -> None:
    runs = plan(tmp_path, parts=("link 1", "link 2")).planned.design.runs
    other = {"link 1": "link 2", "link 2": "link 1"}[runs[0].part]
    rows = "Parameter,End,Pairs,Worst margin,Frequency (MHz),Value,Limit\nNEXT,A,36-45,3.2,233.5,38.2,35.0\n"
    path = tmp_path / "run.csv"
    how = {"source": path, "mapping": "worst-margins", "by": "Ilja"}
    path.write_text(f"Channel,{other}\n{rows}")
    with pytest.raises(ReferenceRefused, match=f"the file is of {other}, the run of {runs[0].part}"):
        add_study_result(tmp_path, "winter", 1, **how)
    # What the tester calls it itself may be this part.
    path.write_text(f"Channel,cable 17\n{rows}")
    add_study_result(tmp_path, "winter", 1, **how)
    with pytest.raises(ReferenceRefused, match="is the result of run 1"):
        add_study_result(tmp_path, "winter", 2, **how)


def test_values_of_a_file_become_margins_by_the_requirement(tmp_path: Path) -> None:
    plan(tmp_path, requirement="tia-6-channel")
    path = tmp_path / "run.csv"
    path.write_text("Frequency (MHz),next A 36-45 (dB)\n100,45.0\n250,36.0\n")
    view = add_study_result(tmp_path, "winter", 1, source=path, mapping="wide-values", by="Ilja")
    # Channel NEXT of category 6 in ANSI/TIA-568-C.2: 39.9 dB at 100 MHz, 33.1 dB at 250 MHz.
    assert view.measured[1].values["next A 36-45"] == pytest.approx(36.0 - 33.1, abs=0.05)
    assert view.measured[1].steps == {"next": 1.0}  # 45.0 and 36.0 dB


def test_margins_come_from_a_record_of_the_part(tmp_path: Path) -> None:
    plan(tmp_path, parts=("R001", "R002"), requirement="tia-6-cable")
    view = read_study(tmp_path, "winter")
    run = view.planned.design.runs[0]
    other = {"R001": "R002", "R002": "R001"}[run.part]
    record = record_of(tmp_path, run.part)
    view = add_study_result(tmp_path, "winter", 1, source=record, by="Ilja")
    assert view.measured[1].values
    assert all(np.isfinite(value) for value in view.measured[1].values.values())
    with pytest.raises(ReferenceRefused, match=f"a record of {other}"):
        add_study_result(
            tmp_path, "winter", 1, source=record_of(tmp_path, other), by="Ilja", again_because="x"
        )


@pytest.mark.parametrize(
    ("how", "error"),
    [
        ({"run": 99, "typed": {WHAT: 1.0}}, ReferenceRefused),
        ({"run": 1}, UsageError),
        ({"run": 1, "typed": {WHAT: float("nan")}}, UsageError),
        ({"run": 1, "typed": {"\x1b[2J": 1.0}}, UsageError),
        ({"run": 1, "source": Path("nowhere.csv")}, UsageError),
        ({"run": 1, "typed": {WHAT: 1.0}, "by": ""}, UsageError),
    ],
)
def test_what_makes_no_sense_is_refused(
    tmp_path: Path, how: dict[str, object], error: type[BenchsweepError]
) -> None:
    plan(tmp_path)
    asked: dict[str, object] = {"by": "Ilja", **how}
    with pytest.raises(error):
        add_study_result(tmp_path, "winter", **asked)  # type: ignore[arg-type]
    assert not read_study(tmp_path, "winter").measured


def test_names_that_are_not_there_or_there_twice(tmp_path: Path) -> None:
    plan(tmp_path)
    with pytest.raises(ReferenceRefused):
        plan(tmp_path)
    with pytest.raises(UnknownName, match="summer"):
        read_study(tmp_path, "summer")
    with pytest.raises(UsageError):
        plan(tmp_path / "other", operators=("Maren",))
    with pytest.raises(UnknownName):
        plan(tmp_path / "third", requirement="no-such-thing")
