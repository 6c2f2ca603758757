"""A tester's result beside the bench: uncertainty by hand, outcomes, what hinders, what is kept."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from benchsweep import archive
from benchsweep.archive.references import kept_file
from benchsweep.errors import DefinitionError, RecordDamaged, ReferenceRefused, UnknownName, UsageError
from benchsweep.fixture import touchstone_text
from benchsweep.limits import load_requirement
from benchsweep.qualification import correct
from benchsweep.qualification.comparisons import (
    FieldTesterView,
    compare,
    comparison_traces,
    exit_code_of_comparison,
    list_references,
    look_at_result,
    plan_study,
    prove_comparison,
    read_channel,
    read_tester,
    register_tester,
    return_reference,
    withdraw_reference,
)
from benchsweep.qualification.comparisons import _compare as comparisons_compare
from benchsweep.qualification.comparisons import (
    tester_document as document_of_tester,
)
from benchsweep.qualification.comparisons._attribution import mean_differences
from benchsweep.qualification.comparisons._bench import read_bench
from benchsweep.qualification.comparisons._decide import Asked
from benchsweep.qualification.comparisons._histories import state_of_tester
from benchsweep.qualification.comparisons._rows import Compared
from benchsweep.qualification.comparisons._uncertainty_parts import Parts, point_of
from benchsweep.records import Agreement, ComparedTrace, Comparison, Parameter, Trace
from benchsweep.testers import load_accuracy
from tests.qualification.comparisons.made import (
    BY,
    CHANNEL,
    REQUIREMENT,
    TESTER,
    added,
    compared,
    constant,
    measured,
    no_error,
    registered,
    statement,
    told_file,
    with_records,
    with_tester,
)


def last(view: FieldTesterView) -> Comparison:
    return view.compared[-1].comparison


def row_of(found: Comparison, parameter: Parameter, end: str | None, *pairs: str) -> ComparedTrace:
    return next(row for row in found.rows if (row.parameter, row.end, row.pairs) == (parameter, end, pairs))


@pytest.fixture
def ready(tmp_path: Path) -> Path:
    """An archive with a channel that was measured once and a tester with a declared accuracy."""
    with_records(tmp_path)
    with_tester(tmp_path)
    return tmp_path


def test_e_n_and_zeta_by_hand() -> None:
    """10.0 against 10.3 with U of 0.2 and 0.3: E_n -0.832; parts of 2.0 and 0.5 are 2.0616 together."""
    parts = Parts(np.array([0.3]), np.array([0.2]), None, None)
    point = point_of(parts, 0, 100e6, 10.3, 10.0, 12.0)
    assert point.e_n == pytest.approx(-0.832, abs=5e-4)
    assert point.zeta == pytest.approx(2 * -0.832, abs=1e-3)
    assert Parts(np.array([2.0]), np.array([0.5]), 0.0, np.array([0.0])).total[0] == pytest.approx(
        2.0616, abs=1e-4
    )
    unknown = point_of(Parts(np.array([0.3]), np.array([np.nan]), 0.1, None), 0, None, 1.0, 2.0, math.nan)
    assert (unknown.uncertainty, unknown.e_n, unknown.limit, unknown.mating_uncertainty) == (
        None,
        None,
        None,
        0.1,
    )


def test_a_good_tester_agrees(ready: Path) -> None:
    view = compared(ready, constant(0.2))
    found = last(view)
    assert (found.outcome, exit_code_of_comparison(found)) == (Agreement.AGREES, 0)
    assert found.suspicions == ()
    assert {row.outcome for row in found.rows if row.decisive} == {Agreement.AGREES}
    row = row_of(found, Parameter.INSERTION_LOSS, "A", "12")
    assert row.mean_difference == pytest.approx(0.2, abs=0.1)  # contacts of that day differ by 0.02 dB a leg
    assert row.share_beyond == 0.0
    assert any("invented" in doubt for doubt in found.doubts)
    assert any(words.startswith("ACR-F") and "not told by the tester" in words for words in found.missing)


def test_the_parts_are_those_of_their_sources(ready: Path) -> None:
    found = last(compared(ready, constant(0.2)))
    row = row_of(found, Parameter.INSERTION_LOSS, "B", "78")
    point = row.decisive
    assert point is not None
    assert point.frequency_hz is not None
    declared = load_accuracy("demonstration").expanded(
        Parameter.INSERTION_LOSS, point.frequency_hz, point.tester
    )
    assert declared is not None
    assert point.tester_uncertainty == pytest.approx(declared[0])
    assert point.mating_uncertainty == 0.1
    # 0.4 % of the value for each of 2 degC at most: u = limit / sqrt 3 (GUM 4.3.7), U = 2 u.
    assert point.temperature_uncertainty == pytest.approx(2 * 0.004 * 2 * point.bench / math.sqrt(3))
    assert point.bench_uncertainty is not None
    assert point.bench_uncertainty > 0.0
    parts = (point.bench_uncertainty, declared[0], 0.1, point.temperature_uncertainty)
    assert point.uncertainty == pytest.approx(math.hypot(*parts))
    assert point.e_n == pytest.approx((point.tester - point.bench) / point.uncertainty)
    assert point.difference == pytest.approx(point.tester - point.bench)


def test_the_point_that_decides_is_the_worst_margin_of_the_bench(ready: Path) -> None:
    found = last(compared(ready))
    row = row_of(found, Parameter.NEXT, "B", "45", "78")
    assert row.decisive is not None
    assert row.decisive.limit is not None
    assert row.decisive.bench - row.decisive.limit == pytest.approx(row.bench_margin, abs=0.05)


def test_a_tester_that_is_off_disagrees_and_the_reason_is_named(ready: Path) -> None:
    found = last(compared(ready, constant(4.0, Parameter.NEXT)))
    assert (found.outcome, exit_code_of_comparison(found)) == (Agreement.DISAGREES, 1)
    for word in ("NEXT", "MHz", "E_n +", "dB", "traces beyond both uncertainties"):
        assert word in found.words
    assert {row.parameter for row in found.rows if row.outcome is Agreement.DISAGREES} == {Parameter.NEXT}


def test_a_tilt_far_from_the_worst_margin_is_seen_in_the_band(ready: Path) -> None:
    """Insertion loss has its worst margin at the lowest frequency: there this tester is right."""

    def tilt(trace: Trace) -> np.ndarray:
        if trace.parameter is not Parameter.INSERTION_LOSS:
            return np.zeros(trace.value.size)
        return 0.12 * trace.value * (trace.frequency_hz > 20e6)

    found = last(compared(ready, tilt))
    row = row_of(found, Parameter.INSERTION_LOSS, "A", "36")
    assert row.decisive is not None
    assert row.decisive.e_n is not None
    assert abs(row.decisive.e_n) < 1.0
    assert row.share_beyond is not None
    assert row.share_beyond > 0.25
    assert row.outcome is Agreement.DISAGREES
    assert found.outcome is Agreement.DISAGREES


def test_without_a_statement_what_is_beyond_is_undecided(ready: Path) -> None:
    """A part that is not stated makes E_n too large: agreement is certain, disagreement is not."""
    good = last(compared(ready, constant(0.2), statement=None))
    assert good.outcome is Agreement.AGREES
    assert any("not stated" in doubt for doubt in good.doubts)
    bad = last(compared(ready, constant(4.0), statement=None))
    assert (bad.outcome, exit_code_of_comparison(bad)) == (Agreement.UNDECIDED, 3)
    assert "not stated" in bad.words
    row = row_of(bad, Parameter.INSERTION_LOSS, "A", "12")
    assert row.decisive is not None
    assert (row.decisive.mating_uncertainty, row.decisive.temperature_uncertainty) == (None, None)
    assert row.decisive.e_n is not None


def test_a_parameter_whose_mating_is_not_stated_is_undecided_beyond(ready: Path) -> None:
    path = statement(ready / "part.toml", parameters=[Parameter.RETURN_LOSS])
    found = last(compared(ready, constant(4.0, Parameter.NEXT), statement=path))
    assert found.outcome is Agreement.UNDECIDED
    assert "the statement says nothing of it for NEXT" in found.words


def test_without_declared_accuracy_nothing_is_decided(tmp_path: Path) -> None:
    with_records(tmp_path)
    with_tester(tmp_path, accuracy="")
    found = last(compared(tmp_path))
    assert found.outcome is Agreement.UNDECIDED
    assert "no accuracy is declared" in found.words
    row = row_of(found, Parameter.INSERTION_LOSS, "A", "12")
    assert row.decisive is not None
    assert (row.decisive.e_n, row.decisive.tester_uncertainty, row.share_beyond) == (None, None, None)
    assert row.decisive.bench_uncertainty is not None


def test_without_a_budget_of_the_bench_nothing_is_decided(tmp_path: Path) -> None:
    with_records(tmp_path, budget="")
    with_tester(tmp_path)
    found = last(compared(tmp_path))
    assert found.outcome is Agreement.UNDECIDED
    assert "no uncertainty budget" in found.words


@pytest.mark.parametrize("pair", [("36", "45"), ("12", "78"), ("45", "78")])
def test_exchanged_pairs_hinder_and_come_first(ready: Path, pair: tuple[str, str]) -> None:
    swap = {pair[0]: pair[1], pair[1]: pair[0]}
    found = last(compared(ready, names=lambda name: swap.get(name, name)))
    assert found.outcome is Agreement.UNDECIDED
    assert found.suspicions[0].kind == "pairs-swapped"
    assert found.words.startswith(found.suspicions[0].words[:40])
    looked = look_at_result(
        ready,
        CHANNEL,
        file=told_file(ready / "x.csv", names=lambda name: swap.get(name, name)),
        mapping="long-values",
    )
    assert looked.suspicions[0].hinders


def test_looking_keeps_nothing(ready: Path) -> None:
    before = sorted(path.name for path in ready.rglob("*"))
    file = told_file(ready / "told.csv")
    looked = look_at_result(ready, CHANNEL, file=file, mapping="long-values")
    assert looked.suspicions == ()
    assert len(looked.differences) == len(looked.result.traces)
    alone = look_at_result(ready, file=file, mapping="long-values")
    assert (alone.differences, len(alone.result.traces)) == ((), len(looked.result.traces))
    file.unlink()
    assert sorted(path.name for path in ready.rglob("*")) == before


def test_all_that_it_goes_by_is_kept(ready: Path) -> None:
    view = compared(ready)
    event = view.compared[-1]
    content = (ready / "told.csv").read_bytes()
    assert kept_file(ready, event.file) == content
    assert event.comparison.source_digest == event.file
    assert "long-values" in event.mapping_text
    assert "demonstration" in event.accuracy_text
    assert "of this laboratory" in event.budget_text
    assert b"tia-6-channel" in kept_file(ready, event.comparison.requirement_digest)
    assert event.comparison.record_digest == archive.content_hash(ready / event.comparison.record)


def test_worst_margins_typed_in(ready: Path) -> None:
    """A margin told at a frequency: compared with the bench's smallest one, U at the tester's frequency."""
    whole = last(compared(ready))
    next_row = row_of(whole, Parameter.NEXT, "B", "45", "78")
    loss = row_of(whole, Parameter.INSERTION_LOSS, "A", "12")
    assert next_row.decisive is not None
    assert loss.decisive is not None
    assert next_row.bench_margin is not None
    assert loss.bench_margin is not None
    where = [f"{row.decisive.frequency_hz / 1e6:.4f} MHz" for row in (next_row, loss)]  # type: ignore[union-attr]
    told = [
        f"next B 45-78 margin {next_row.bench_margin + 0.5:.3f} at {where[0]}",
        f"insertion_loss A 12 margin {loss.bench_margin - 0.3:.3f} at {where[1]}",
    ]
    found = last(compared(ready, file=None, mapping=None, told=told))
    assert found.outcome is Agreement.AGREES
    assert (found.source, found.source_digest) == ("", "")
    row = row_of(found, Parameter.NEXT, "B", "45", "78")
    assert row.basis == "point"
    assert row.decisive is not None
    assert row.decisive.difference == pytest.approx(0.5, abs=2e-3)
    assert row.decisive.bench == pytest.approx(next_row.bench_margin)
    other = row_of(found, Parameter.INSERTION_LOSS, "A", "12")
    assert other.decisive is not None
    assert other.decisive.difference == pytest.approx(-0.3, abs=2e-3)
    off = [told[0].replace(f"{next_row.bench_margin + 0.5:.3f}", f"{next_row.bench_margin + 6:.3f}")]
    bad = last(compared(ready, file=None, mapping=None, told=off))
    assert bad.outcome is Agreement.DISAGREES


def test_a_touchstone_file_of_a_tester(ready: Path) -> None:
    path = ready / "tester.s16p"
    path.write_text(touchstone_text(measured(day=3).corrected))
    found = last(compared(ready, file=path, mapping=None))
    assert (found.mapping, found.outcome) == ("touchstone", Agreement.AGREES)
    assert {row.parameter for row in found.rows} >= {Parameter.NEXT, Parameter.ACR_F, Parameter.DELAY}
    # Nothing is declared of balance, and it is measured all the same.
    assert "not decided, since no accuracy is declared of it" not in found.words
    with pytest.raises(UsageError, match="needs no mapping"):
        compared(ready, file=path)


def test_what_is_asked_wrongly_is_refused(ready: Path) -> None:
    with pytest.raises(UsageError, match="either a file"):
        compare(ready, TESTER, CHANNEL, by=BY)
    with pytest.raises(UsageError, match="what its columns mean"):
        compared(ready, mapping=None)
    with pytest.raises(UnknownName):
        compared(ready, mapping="wide")
    with pytest.raises(UnknownName, match="no field tester FT-08"):
        compared(ready, tester="FT-08")
    with pytest.raises(UnknownName, match="no reference channel"):
        compared(ready, channel="x")
    with pytest.raises(UsageError, match="is no time"):
        compared(ready, measured_at="tomorrow")
    with pytest.raises(UsageError, match="not a file"):
        compared(ready, file=ready / "none.csv")
    bad = ready / "bad.toml"
    bad.write_text('schema = 1\nname = "x"\nsource = "y"\nstanding = "common-practice"\nmatings = 3\n')
    with pytest.raises(DefinitionError, match="matings"):
        compared(ready, statement=bad)
    with pytest.raises(DefinitionError, match="template"):
        register_tester(ready, "FT-09", accuracy="template", every_days=90.0, by=BY)


def test_withdrawn_ones_are_not_compared(ready: Path) -> None:
    withdraw_reference(ready, "tester", TESTER, by=BY, reason="fell")
    with pytest.raises(ReferenceRefused, match=r"the tester FT-07 is withdrawn: fell"):
        compared(ready)
    return_reference(ready, "tester", TESTER, by=BY, reason="repaired")
    assert last(compared(ready)).outcome is Agreement.AGREES
    withdraw_reference(ready, "channel", CHANNEL, by=BY, reason="bent")
    with pytest.raises(ReferenceRefused, match="the channel reference 2 is withdrawn"):
        compared(ready)
    return_reference(ready, "channel", CHANNEL, by=BY, reason="was not")
    with pytest.raises(ReferenceRefused, match="no bench record that counts since it was returned"):
        compared(ready)


def test_a_channel_without_a_record_or_that_moved(tmp_path: Path) -> None:
    registered(tmp_path)
    with_tester(tmp_path)
    with pytest.raises(ReferenceRefused, match="no bench record that counts yet"):
        compared(tmp_path)
    for day in range(0, 180, 30):
        added(tmp_path, day=day)
    view = added(tmp_path, day=200, gain_db=-1.5)
    with pytest.raises(ReferenceRefused, match="has moved by its newest"):
        compared(tmp_path)
    older = tmp_path / view.measured[-2].path
    found = last(compared(tmp_path, record=older))
    assert any("has moved" in doubt for doubt in found.doubts)
    stranger = archive.write_record(measured(day=300), tmp_path)
    with pytest.raises(ReferenceRefused, match="no bench record of the channel"):
        compared(tmp_path, record=stranger)


def test_a_withdrawn_record_is_not_compared_with(ready: Path) -> None:
    from benchsweep.qualification import correct
    from benchsweep.qualification.comparisons import read_channel

    record = ready / read_channel(ready, CHANNEL).measured[0].path
    correct(record, {}, by=BY, reason="the cable was bent", withdrawn=True)
    with pytest.raises(ReferenceRefused, match="withdrawn"):
        compared(ready)


def test_a_file_of_another_tester_and_channel_is_told(tmp_path: Path) -> None:
    with_records(tmp_path)
    with_tester(tmp_path, "FT-99")
    found = last(compared(tmp_path, tester="FT-99"))
    assert "the file says that the tester is FT-07, it was named as FT-99" in found.doubts


def test_limits_of_agreement_over_channels(ready: Path) -> None:
    """Bias and limits of the differences that decide, by hand (Bland and Altman 1986), one channel."""
    found = last(compared(ready, constant(0.2)))
    limits = dict(found.bland_altman)[Parameter.INSERTION_LOSS]
    values = [
        row.decisive.difference
        for row in found.rows
        if row.parameter is Parameter.INSERTION_LOSS and row.decisive
    ]
    assert limits.count == len(values)
    assert limits.bias == pytest.approx(np.mean(values))
    assert limits.upper == pytest.approx(np.mean(values) + 1.96 * np.std(values, ddof=1))
    assert limits.independent == 1
    with_records(ready, "reference 3", specimen="link-90m", seed=5)
    file = told_file(
        ready / "other.csv", constant(0.2), of=measured("reference 3", specimen="link-90m", seed=5, noise=0.0)
    )
    again = last(compared(ready, channel="reference 3", file=file))
    more = dict(again.bland_altman)[Parameter.INSERTION_LOSS]
    assert (more.count, more.independent) == (2 * len(values), 2)
    assert again.outcome is Agreement.AGREES
    fresh = last(compared(ready, channel="reference 3", file=file, repairs="new plugs"))
    assert dict(fresh.bland_altman)[Parameter.INSERTION_LOSS].independent == 1


def test_differences_over_frequency_with_their_uncertainty(ready: Path) -> None:
    view = compared(ready, constant(0.2))
    traces = comparison_traces(view)
    assert (traces.number, traces.simulated, traces.temperature_degc) == (1, False, 20.0)
    for row in last(view).rows:
        if row.decisive is None:
            continue
        key = (row.parameter, row.end, row.pairs)
        found = next(each for each in traces.differences if (each.parameter, each.end, each.pairs) == key)
        at = int(np.argmin(np.abs(found.frequency_hz - row.decisive.frequency_hz)))
        assert traces.uncertainties[key][at] == pytest.approx(row.decisive.uncertainty)
        assert found.difference[at] == pytest.approx(row.decisive.difference)
    with pytest.raises(UsageError, match="no comparison 2"):
        comparison_traces(view, 2)


def test_mating_from_a_study(ready: Path) -> None:
    """Twice the scatter of five fresh matings, by hand; one that is not complete says nothing."""
    from benchsweep.qualification.comparisons import add_study_result

    values = [8.1, 8.3, 7.9, 8.2, 8.0]
    view = plan_study(
        ready,
        "matings",
        subject="bench",
        kind="nested",
        parts=[CHANNEL],
        operators=["Ilja"],
        matings=5,
        trials=1,
        by=BY,
    )
    path = ready / "study.toml"
    path.write_text(
        statement(ready / "s.toml", parameters=[]).read_text()
        + '[[mating]]\nparameter = "next"\nstudy = "matings"\nsource = "s"\nstanding = "common-practice"\n'
    )
    with pytest.raises(UsageError, match="says nothing of the mating"):
        compared(ready, statement=path)
    for run in view.planned.design.runs:
        add_study_result(
            ready, "matings", run.number, typed={"next A 36-45": values[run.mating - 1]}, by="Ilja"
        )
    found = last(compared(ready, statement=path))
    row = next(row for row in found.rows if row.parameter is Parameter.NEXT and row.decisive)
    assert row.decisive is not None
    assert row.decisive.mating_uncertainty == pytest.approx(2 * np.std(values, ddof=1))
    assert any("study matings" in line for line in found.budget)


def test_no_error_has_no_difference(ready: Path) -> None:
    """The record itself told as a tester's result: differences are those of four written digits."""
    file = told_file(ready / "same.csv", no_error, of=measured())
    found = last(compared(ready, file=file))
    decisive = [row.decisive.difference for row in found.rows if row.decisive]
    assert max(map(abs, decisive)) < 1e-4


def test_the_day_of_the_tester_counts(ready: Path) -> None:
    """Its file says 2026-02-01; the bench measured on 2026-01-05 and the channel is due every 180 days."""
    view = compared(ready)
    found = last(view)
    assert found.measured_at == found.when == "2026-02-01T10:00:00+00:00"
    assert view.due.last == found.when
    assert view.due.due.startswith("2026-05-02")  # 90 days later
    assert not any("days apart" in doubt for doubt in found.doubts)
    document = document_of_tester(view)["comparisons"][0]
    assert document["measured_at"] == found.when
    late = last(compared(ready, constant(0.1), measured_at="2026-08-10"))
    assert any("says that the tester measured on 2026-02-01, the person" in each for each in late.doubts)
    assert any("bench and tester measured 217 days apart" in doubt for doubt in late.doubts)
    wrong = last(compared(ready, constant(0.05), measured_at="2999-08-10"))
    assert (wrong.measured_at, wrong.when) == ("", wrong.at)
    assert any("cannot be" in doubt for doubt in wrong.doubts)


def test_the_same_file_counts_once(ready: Path) -> None:
    compared(ready, constant(0.2))
    once = last(compared(ready, constant(0.3)))
    again = compared(ready, constant(0.3))
    assert "the same file as in comparison 2: counted once" in last(again).doubts
    assert dict(last(again).bland_altman) == dict(once.bland_altman)
    assert len(state_of_tester(again.events).alike) == 2
    with_tester(ready, "FT-08")
    view = compared(ready, constant(0.3), tester="FT-08")
    other = last(view)
    assert other.outcome is Agreement.UNDECIDED
    assert "that of the tester FT-07 (comparison 2): one of both is wrong" in other.words
    assert (view.due.due, prove_comparison(ready, "FT-08").differs) == ("", ())
    typed = {"file": None, "mapping": None, "told": ["insertion_loss A 12 value 20 at 200 MHz"]}
    compared(ready, **typed)
    assert "the same numbers as in comparison 4: counted once" in last(compared(ready, **typed)).doubts


def test_what_decides_little_or_nothing_puts_nothing_off(ready: Path) -> None:
    first = compared(ready, measured_at="2026-02-01")
    typed = {"file": None, "mapping": None, "measured_at": "2026-03-01"}
    few = compared(ready, told=["delay 12 value 515 ns"], **typed)
    assert few.due.due == first.due.due
    assert "puts nothing off: it decided" in few.due.note
    undecided = compared(ready, constant(9.0), statement=None, measured_at="2026-04-01")
    assert last(undecided).outcome is Agreement.UNDECIDED
    assert undecided.due.due == first.due.due
    assert "puts nothing off: it is undecided" in undecided.due.note
    beyond = compared(ready, constant(9.0), measured_at="2026-05-01")
    assert last(beyond).outcome is Agreement.DISAGREES
    assert beyond.due.due == first.due.due
    assert "puts nothing off: it disagrees" in beyond.due.note


def test_a_delay_told_without_a_frequency_is_held_against_the_graded_one(ready: Path) -> None:
    bench = read_bench(ready / last(compared(ready)).record, load_requirement(REQUIREMENT))
    trace = next(
        each
        for each in bench.evaluation.traces
        if each.parameter is Parameter.DELAY and each.pairs == ("12",)
    )
    limit = next(curve for curve in bench.curves if curve.parameter is Parameter.DELAY)
    worst = int(np.nanargmin(limit.value - trace.value))
    view = compared(
        ready, file=None, mapping=None, told=[f"delay 12 value {trace.value[worst] + 1.0:.3f} ns"]
    )
    point = row_of(last(view), Parameter.DELAY, None, "12").decisive
    assert point is not None
    assert point.difference == pytest.approx(1.0, abs=2e-3)
    assert point.frequency_hz == pytest.approx(trace.frequency_hz[worst])


def test_a_part_of_the_band_is_told_first_and_puts_nothing_off(ready: Path) -> None:
    file = told_file(ready / "told.csv")
    head, *rows = file.read_text().splitlines()
    cut = [row for row in rows if float(row.split(",")[6]) < 30e6]
    (ready / "cut.csv").write_text("\n".join([head, *cut]))
    view = compared(ready, file=ready / "cut.csv")
    found = last(view)
    assert found.outcome is Agreement.AGREES
    assert not found.whole_band
    assert any("only, limited and measured from 1 to 250 MHz: of the rest" in each for each in found.doubts)
    assert "a part of the band only" in view.due.note
    assert last(compared(ready)).whole_band


def test_what_was_said_of_a_record_since_is_told_of_the_comparison_and_the_channel(ready: Path) -> None:
    view = compared(ready)
    assert not any("withdrawn" in doubt for doubt in view.doubts)
    record = ready / last(view).record
    correct(record, {"operator": "M. Roth"}, by=BY, reason="typed wrong")
    assert any("corrected by I. Vogt" in doubt for doubt in read_tester(ready, TESTER).doubts)
    correct(record, {}, by=BY, reason="cable was loose", withdrawn=True)
    assert any(
        "comparison 1" in each and "cable was loose" in each for each in read_tester(ready, TESTER).doubts
    )
    doubts = read_channel(ready, CHANNEL).doubts
    assert any("cable was loose" in doubt and "counts here still" in doubt for doubt in doubts)


def test_one_that_was_overtaken_is_dated_anew(ready: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Another station adds its comparison while this one is still deciding."""
    real = comparisons_compare.decide

    def slow(asked: Asked) -> tuple[Comparison, Compared]:
        monkeypatch.setattr(comparisons_compare, "decide", real)
        compared(ready, constant(0.3))
        return real(asked)

    monkeypatch.setattr(comparisons_compare, "decide", slow)
    view = compared(ready, constant(0.1))
    first, second = view.compared
    assert first.at < second.at == second.comparison.at
    assert prove_comparison(ready, TESTER).differs == ()


def test_the_requirement_that_a_file_tells_is_noted(ready: Path) -> None:
    head, *rows = told_file(ready / "told.csv").read_text().splitlines()

    def saying(requirement: str) -> Comparison:
        other = [f"{head},Requirement,Result", *(f"{row},{requirement},FAIL" for row in rows)]
        (ready / "other.csv").write_text("\n".join(other))
        return last(compared(ready, file=ready / "other.csv"))

    told = "the file says that it was measured against {}; here it is held against tia-6-channel"
    # In the tester's own words it may be the same; by a name of ours it is another one.
    assert told.format("Cat 6 channel") in saying("Cat 6 channel").notes
    found = saying("tia-5e-channel")
    assert told.format("tia-5e-channel") in found.doubts
    assert any("the tester itself said fail, by the bench it is a pass" in each for each in found.doubts)


def test_a_record_that_is_of_another_channel_by_a_correction_is_not_compared_with(ready: Path) -> None:
    view = compared(ready)
    correct(ready / last(view).record, {"identifier": "reference 9"}, by=BY, reason="cords mixed up")
    with pytest.raises(ReferenceRefused, match="by a correction it is a record of reference 9"):
        compared(ready, constant(0.1))
    assert any("is of reference 9" in doubt for doubt in prove_comparison(ready, TESTER).doubts)
    assert any("cords mixed up" in doubt for doubt in read_tester(ready, TESTER).doubts)


def test_a_kept_file_that_is_gone_is_damage(ready: Path) -> None:
    view = compared(ready)
    path = next((ready / "references" / "files").glob(f"*{view.compared[-1].file}*"))
    path.unlink()
    with pytest.raises(RecordDamaged, match="not there any more"):
        prove_comparison(ready, TESTER)


def test_what_tells_no_day_was_measured_when_it_was_first_compared(ready: Path) -> None:
    typed = {"file": None, "mapping": None, "told": ["delay 12 value 500 ns"]}
    first = compared(ready, **typed)
    again = compared(ready, **typed)
    (counting,) = state_of_tester(again.events).alike
    assert counting.at == again.compared[-1].at
    assert counting.comparison.when == first.compared[-1].at


def test_a_tester_stands_as_it_was_measured_last(ready: Path) -> None:
    compared(ready, constant(3.0), measured_at="2026-02-01")
    compared(ready, measured_at="2026-01-20")
    row = next(each for each in list_references(ready) if each.kind == "tester")
    assert row.outcome is Agreement.DISAGREES


def test_a_record_that_was_replaced_is_not_compared_with(ready: Path) -> None:
    added(ready, day=30)
    first, second = sorted(ready.glob("*.h5"))
    second.write_bytes(first.read_bytes())
    with pytest.raises(ReferenceRefused, match="has other content than the bench record"):
        compared(ready)


def test_a_tester_that_was_returned_is_due_at_once(ready: Path) -> None:
    compared(ready, measured_at="2026-02-01")
    withdraw_reference(ready, "tester", TESTER, by=BY, reason="repair")
    view = return_reference(ready, "tester", TESTER, by=BY, reason="repaired")
    assert view.due.due == ""
    assert "from before the tester was returned" in view.due.note


def test_parts_of_a_band_and_few_numbers_are_no_drift(ready: Path) -> None:
    whole = last(compared(ready, constant(0.2)))
    assert mean_differences(whole)
    few = last(compared(ready, file=None, mapping=None, told=["delay 12 value 515 ns"]))
    assert mean_differences(few) == {}
    assert mean_differences(replace(whole, whole_band=False)) == {}


def test_figures_beyond_all_reason_are_refused(ready: Path) -> None:
    path = statement(ready / "huge.toml", db=1e155)
    with pytest.raises(DefinitionError, match="1000"):
        compared(ready, statement=path)
