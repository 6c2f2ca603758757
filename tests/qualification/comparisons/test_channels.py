"""Reference channels: registered, measured, withdrawn; their check values against limits by hand."""

from __future__ import annotations

import statistics
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from benchsweep import archive
from benchsweep.errors import ReferenceRefused, UnknownName, UsageError
from benchsweep.limits import load_requirement
from benchsweep.qualification.comparisons import (
    add_bench_record,
    change_interval,
    channel_document,
    exit_code_of_channel,
    list_references,
    read_channel,
    register_channel,
    return_reference,
    withdraw_reference,
)
from benchsweep.qualification.comparisons._stability import stability
from benchsweep.records import BenchMeasured, Specimen
from tests.qualification.comparisons.made import (
    BY,
    CHANNEL,
    REQUIREMENT,
    added,
    measured,
    registered,
    with_records,
)


def entry(checks: dict[str, float], day: int = 1, accepted: bool = True) -> BenchMeasured:
    at = f"2026-01-{day:02d}T08:00:00+00:00"
    return BenchMeasured(at, BY, f"{day:064x}", f"{day}.h5", at, 20.0, checks, "", accepted)


def test_a_channel_is_registered_once(tmp_path: Path) -> None:
    view = registered(tmp_path)
    assert (view.name, view.registered.parts[1], view.registered.length_m) == (CHANNEL, "90 m cable", 100.0)
    assert (view.withdrawn, view.measured, view.moved, view.every_days) == ("", (), (), 180.0)
    assert (view.due.due, view.due.days_left) == ("", None)
    assert view.drift.moved == ""
    with pytest.raises(ReferenceRefused, match="there is a channel"):
        registered(tmp_path)
    with pytest.raises(UnknownName):
        read_channel(tmp_path, "reference 3")


@pytest.mark.parametrize(
    "wrong",
    [
        {"every_days": 0.0},
        {"every_days": float("nan")},
        {"length_m": -1.0},
        {"by": " "},
        {"parts": ("a\nb",)},
        {"remarks": "\x00"},
    ],
)
def test_nonsense_is_refused_and_nothing_kept(tmp_path: Path, wrong: dict[str, object]) -> None:
    asked: dict[str, object] = {
        "requirement": load_requirement(REQUIREMENT),
        "length_m": 100.0,
        "every_days": 1.0,
        "by": BY,
    }
    with pytest.raises(UsageError):
        register_channel(tmp_path / "archive", CHANNEL, **(asked | wrong))  # type: ignore[arg-type]
    assert not (tmp_path / "archive").exists()


def test_a_requirement_must_be_found_again_by_its_name(tmp_path: Path) -> None:
    own = tmp_path / "mine.toml"
    own.write_text(load_requirement("tia-6-channel").texts[0] + "\n# another text\n")
    with pytest.raises(UsageError, match="could not be found again"):
        register_channel(
            tmp_path, CHANNEL, requirement=load_requirement(str(own)), every_days=90.0, by=BY, length_m=1.0
        )


def test_limits_are_those_of_the_handbook(tmp_path: Path) -> None:
    """mean -+ t s, t(0.975, 5) = 2.571 for six values of one kind (NIST/SEMATECH e-Handbook 1.3.6.7.2)."""
    values = [3.1, 3.3, 2.9, 3.2, 3.0, 3.1]
    baseline = [entry({"next A 12-36 worst margin": value}, day) for day, value in enumerate(values, 1)]
    mean, s = statistics.fmean(values), statistics.stdev(values)
    for value, beyond in ((mean + 2.56 * s, 0), (mean + 2.58 * s, 1), (mean - 2.58 * s, 1)):
        found = stability(baseline, {"next A 12-36 worst margin": value})
        assert len(found.beyond) == beyond
        assert found.limits["next A 12-36 worst margin"].upper == pytest.approx(mean + 2.571 * s, abs=1e-4)
        assert found.share == pytest.approx(abs(value - mean) / (2.571 * s), rel=1e-3)


def test_limits_are_shared_among_all_values() -> None:
    """Of 40 values that have not moved, one false alarm in 20 records (Sidak): not in two of three."""
    rng = np.random.default_rng(1)
    names = [f"next A {number}-36 worst margin" for number in range(40)]
    alarms = 0
    for _ in range(200):
        draws = rng.normal(size=(13, 40))
        baseline = [entry(dict(zip(names, row, strict=True)), day) for day, row in enumerate(draws[:12], 1)]
        alarms += bool(stability(baseline, dict(zip(names, draws[12], strict=True))).beyond)
    # 5 % is what limits of twelve values say; the mean of a short baseline adds some (see `check_limits`).
    assert 2 <= alarms <= 26


def test_few_records_say_nothing(tmp_path: Path) -> None:
    view = with_records(tmp_path, days=(0, 30, 60, 90))
    assert view.limits == {}
    assert "need 5" in view.stable
    assert exit_code_of_channel(view) == 0
    assert [event.accepted for event in view.measured] == [True] * 4
    assert view.drift.charts == {}


def test_another_channel_under_its_name_is_seen_at_the_second_record(tmp_path: Path) -> None:
    with_records(tmp_path, days=(0,))
    other = replace(measured(specimen="link-90m", day=30), specimen=Specimen(CHANNEL, 90.0))
    view = add_bench_record(tmp_path, CHANNEL, archive.write_record(other, tmp_path), by=BY)
    # 10 m are some 50 ns, and the bench knows a delay far better.
    assert any(words.startswith("delay 12 at 10 MHz: 4") for words in view.moved)
    assert exit_code_of_channel(view) == 1
    assert not view.measured[-1].accepted
    assert "was measured as 90 m, the channel is registered with 100 m" in view.doubts[0]
    assert added(tmp_path, day=60).moved == ()


def test_records_alike_to_the_last_digit_are_judged_all_the_same(tmp_path: Path) -> None:
    values = {"next A 12-36 worst margin": 5.0, "delay 12 at 10 MHz": 480.0}
    baseline = [entry(values, day) for day in range(1, 8)]
    assert stability(baseline, values).beyond == ()
    words = stability(baseline, values | {"delay 12 at 10 MHz": 427.0})
    assert len(words.beyond) == 1
    assert "of 2 values the records are more alike than 0.01 dB or 0.05 ns" in words.words


def test_after_its_return_no_record_counts_and_all_screens_say_so(tmp_path: Path) -> None:
    with_records(tmp_path, days=(0, 30))
    withdraw_reference(tmp_path, "channel", CHANNEL, by=BY, reason="a plug broke")
    view = return_reference(tmp_path, "channel", CHANNEL, by=BY, reason="new plug")
    assert view.stands.startswith("no bench record counts")
    assert (view.due.due, view.due.days_left) == ("", None)
    assert [each["counts"] for each in channel_document(view)["measured"]] == [False, False]
    assert [each[11:] for each in view.happened] == [
        f"withdrawn, by {BY}: a plug broke",
        f"returned to use, by {BY}: new plug",
    ]
    assert view.drift.words == ("too few to tell: no record counts, 4 more needed",)
    row = list_references(tmp_path)[0]
    assert (row.words["stands"], row.words["due"]) == ("none counts yet", "at once")
    assert added(tmp_path, day=60).stands == "in use"


def test_a_channel_that_stays_and_one_that_moves(tmp_path: Path) -> None:
    view = with_records(tmp_path, days=range(0, 180, 30))
    assert len(view.limits) == len(view.measured[0].checks) >= 30
    assert "all check values within" in view.stable
    assert view.moved == ()
    # A worn contact: one and a half decibels more insertion loss, on both ends of all pairs alike.
    moved = added(tmp_path, day=200, gain_db=-1.5)
    assert any("insertion loss A 12" in words for words in moved.moved)
    assert exit_code_of_channel(moved) == 1
    assert moved.measured[-1].accepted is False
    assert moved.baseline == view.baseline
    assert moved.withdrawn == ""
    assert moved.drift.moved == "unclear"  # there is no other channel
    well = added(tmp_path, day=210)
    assert well.moved == ()
    assert well.measured[-1].accepted


def test_it_is_withdrawn_at_once_where_asked_and_begins_anew(tmp_path: Path) -> None:
    with_records(tmp_path, days=range(0, 180, 30))
    record = archive.write_record(measured(day=200, gain_db=-1.5), tmp_path)
    view = add_bench_record(tmp_path, CHANNEL, record, by=BY, withdraw=True)
    assert "moved by the record" in view.withdrawn
    assert "insertion loss" in view.withdrawn
    assert view.due.withdrawn
    with pytest.raises(ReferenceRefused, match="withdrawn"):
        withdraw_reference(tmp_path, "channel", CHANNEL, by=BY, reason="again")
    back = return_reference(tmp_path, "channel", CHANNEL, by=BY, reason="new jack")
    assert (back.withdrawn, back.baseline) == ("", ())
    view = added(tmp_path, day=210, gain_db=-1.5)
    assert len(view.baseline) == 1
    with pytest.raises(ReferenceRefused, match="not withdrawn"):
        return_reference(tmp_path, "channel", CHANNEL, by=BY, reason="again")


def test_a_record_that_is_left_out_does_not_count(tmp_path: Path) -> None:
    with_records(tmp_path, days=(0, 30))
    record = archive.write_record(measured(day=60), tmp_path)
    view = add_bench_record(tmp_path, CHANNEL, record, by=BY, leave_out="the plug was loose")
    assert view.measured[-1].accepted is False
    assert view.measured[-1].words.startswith("left out: the plug was loose")
    assert len(view.baseline) == 2


def test_records_that_do_not_belong_there_are_refused(tmp_path: Path) -> None:
    registered(tmp_path)
    other = archive.write_record(measured("another"), tmp_path)
    with pytest.raises(ReferenceRefused, match="a record of another"):
        add_bench_record(tmp_path, CHANNEL, other, by=BY)
    record = archive.write_record(measured(), tmp_path)
    add_bench_record(tmp_path, CHANNEL, record, by=BY)
    with pytest.raises(ReferenceRefused, match="is in the history"):
        add_bench_record(tmp_path, CHANNEL, record, by=BY)
    outside = archive.write_record(measured(day=3), tmp_path.parent / "elsewhere")
    with pytest.raises(ReferenceRefused, match="does not lie in the archive"):
        add_bench_record(tmp_path, CHANNEL, outside, by=BY)
    assert len(read_channel(tmp_path, CHANNEL).measured) == 1


def test_check_values_by_hand(tmp_path: Path) -> None:
    view = with_records(tmp_path, budget="")
    checks = view.measured[0].checks
    names = [name for name in checks if name.startswith(("next", "return_loss"))]
    assert len(names) == 12 + 8
    from tests.qualification.comparisons.made import GRID, LEGS

    # Differential insertion loss of pair 12 at 100 MHz, straight from the sixteen-port matrix.
    s = measured().corrected.s
    at = int(np.flatnonzero(GRID == 100e6)[0])
    index = {f"{leg.port.end}{leg.contact}": place for place, leg in enumerate(LEGS)}
    a, b, c, d = index["A1"], index["A2"], index["B1"], index["B2"]
    through = 0.5 * (s[at, c, a] - s[at, c, b] - s[at, d, a] + s[at, d, b])
    assert checks["insertion_loss A 12 at 100 MHz"] == pytest.approx(-20 * np.log10(abs(through)), abs=1e-9)


def test_repeats_of_a_day_that_scatter_more_are_told() -> None:
    def day(number: int, value: float) -> BenchMeasured:
        return entry({"return_loss A 12 worst margin": value}, number)

    baseline = [day(number, 5.0 + 0.05 * sign) for number in range(1, 9) for sign in (-1, 0, 1)]
    worn = [day(20, 4.6), day(20, 5.4)]
    name = "return_loss A 12 worst margin"
    at = "2026-01-20T09:00:00+00:00"
    assert "scatter more" in stability([*baseline, *worn], {name: 5.0}, at).words
    steady = [day(20, 4.95), day(20, 5.05)]
    assert "scatter" not in stability([*baseline, *steady], {name: 5.0}, at).words


def test_an_interval_is_changed_with_a_reason(tmp_path: Path) -> None:
    with_records(tmp_path)
    view = change_interval(tmp_path, "channel", CHANNEL, every_days=90.0, by=BY, reason="moved twice")
    assert (view.every_days, view.due.interval_days) == (90.0, 90.0)
    with pytest.raises(UsageError, match="reason"):
        change_interval(tmp_path, "channel", CHANNEL, every_days=90.0, by=BY, reason="")


def test_a_clock_that_was_set_back_adds_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    registered(tmp_path)
    from benchsweep.qualification.comparisons import _histories, _register

    for module in (_histories, _register):
        monkeypatch.setattr(module, "utc_now", lambda _: "2020-01-01T00:00:00+00:00")
    with pytest.raises(ReferenceRefused, match="its last entry is of"):
        withdraw_reference(tmp_path, "channel", CHANNEL, by=BY, reason="x")
    assert read_channel(tmp_path, CHANNEL).withdrawn == ""


def test_a_corrected_name_counts(tmp_path: Path) -> None:
    from benchsweep.qualification import correct

    registered(tmp_path)
    record = archive.write_record(replace(measured("refrence 2")), tmp_path)
    with pytest.raises(ReferenceRefused):
        add_bench_record(tmp_path, CHANNEL, record, by=BY)
    correct(record, {"identifier": CHANNEL}, by=BY, reason="a slip")
    assert len(add_bench_record(tmp_path, CHANNEL, record, by=BY).measured) == 1


@pytest.mark.parametrize("name", ["REFERENCE 2", "reference  2", "\uff52eference 2"])
def test_names_that_look_alike_are_refused(tmp_path: Path, name: str) -> None:
    registered(tmp_path)
    with pytest.raises(ReferenceRefused, match="looks like reference 2"):
        registered(tmp_path, name)


def test_a_name_that_is_not_composed_is_refused(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="NFC"):
        registered(tmp_path, "Pru\u0308fling")
    with pytest.raises(UsageError):
        registered(tmp_path, "ref\u202e2")
