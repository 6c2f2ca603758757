"""Over time: what drifts, when things are due, all of it in documents. Histories are made, not measured."""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from benchsweep.archive.references import create
from benchsweep.errors import RecordDamaged, UsageError
from benchsweep.qualification.comparisons import (
    channel_document,
    due,
    due_document,
    list_references,
    read_channel,
    read_tester,
    references_document,
)
from benchsweep.qualification.comparisons import (
    tester_document as document_of_tester,
)
from benchsweep.records import (
    Agreement,
    BenchMeasured,
    ChannelRegistered,
    ComparedPoint,
    ComparedTrace,
    Comparison,
    FieldTesterCompared,
    FieldTesterRegistered,
    Parameter,
    Suspicion,
)

FIRST = datetime(2026, 1, 5, 8, tzinfo=UTC)
NAMES = tuple(f"next A {pair} worst margin" for pair in ("12-36", "12-45", "36-45"))
BY = "I. Vogt"


def at(day: float) -> str:
    return (FIRST + timedelta(days=day)).isoformat()


def channel(
    folder: Path,
    name: str,
    values: Sequence[float],
    *,
    every: float = 30.0,
    days: Sequence[float] | None = None,
) -> None:
    """A channel whose margins are these, all of them alike, with a scatter of 0.05 dB of each record."""
    rng = np.random.default_rng(list(name.encode()))
    file = create(folder, ChannelRegistered(at(0), BY, name, (), 90.0, "tia-6-channel", every))
    days = days if days is not None else [30.0 * place for place in range(len(values))]
    for place, (day, value) in enumerate(zip(days, values, strict=True)):
        checks = {each: value + rng.normal(0.0, 0.05) for each in NAMES}
        digest = (name + str(place)).encode().hex().rjust(64, "0")[-64:]
        event = BenchMeasured(at(day), BY, digest, f"{name}-{place}.h5", at(day), 20.0, checks)
        file.append(event, lambda _: None)


def keep_tester(
    folder: Path,
    name: str,
    differences: Sequence[float],
    *,
    channels: Sequence[str] = ("ref 1",),
    repairs: Sequence[int] = (),
    e_n: float | None = None,
    hinders: bool = False,
    levels: Sequence[float] = (),
    every: float = 30.0,
    days: Sequence[float] | None = None,
) -> None:
    """A tester whose NEXT is off by these, on three pairs with a scatter of 0.03 dB."""
    rng = np.random.default_rng(list(name.encode()))
    file = create(folder, FieldTesterRegistered(at(0), BY, name, "demonstration", every))
    days = days if days is not None else [30.0 * place for place in range(len(differences))]
    for place, (day, off) in enumerate(zip(days, differences, strict=True)):
        rows = []
        base = levels[place] if levels else 40.0
        for pairs in (("12", "36"), ("12", "45"), ("36", "45")):
            difference = off + rng.normal(0.0, 0.03)
            score = difference / 1.5 if e_n is None else e_n
            point = ComparedPoint(100e6, base, base + difference, difference, 0.5, 1.4, 0.1, 0.1, 1.5, score)
            rows.append(
                ComparedTrace(Parameter.NEXT, "A", pairs, Agreement.AGREES, "", point, point, compared=1)
            )
        suspicions = (Suspicion("sign", "losses are negative"),) if hinders else ()
        digest = (name + str(place)).encode().hex().rjust(64, "0")[-64:]
        told = Comparison(
            at(day), BY, name, channels[place % len(channels)], "R.h5", "ab" * 32, "tia-6-channel", "cd" * 32,
            "x.csv", digest, "wide-values", Agreement.AGREES, "", tuple(rows), suspicions,
        )  # fmt: skip
        why = "new plugs" if place in repairs else ""
        event = FieldTesterCompared(at(day), BY, told, "", "", "", "", (), why)
        file.append(event, lambda _: None)


STEADY = [5.0] * 12
STEP = [5.0] * 9 + [4.0, 4.0, 4.0]


def test_nothing_drifts(tmp_path: Path) -> None:
    channel(tmp_path, "ref 1", STEADY)
    view = read_channel(tmp_path, "ref 1")
    assert view.drift.moved == ""
    assert set(view.drift.charts) == set(NAMES)
    chart = view.drift.charts[NAMES[0]]
    # EWMA by hand: z = 0.2 y + 0.8 z, begun at the mean of the first eight (NIST e-Handbook 6.3.2.4).
    values = [event.checks[NAMES[0]] for event in view.measured]
    smooth = mean = float(np.mean(values[:8]))
    for value in values:
        smooth = 0.2 * value + 0.8 * smooth
    assert chart.value[-1] == pytest.approx(smooth)
    assert chart.centre[-1] == pytest.approx(mean)
    keep_tester(tmp_path, "FT-1", [0.2] * 12)
    assert read_tester(tmp_path, "FT-1").drift.moved == ""


@pytest.mark.parametrize(
    ("others", "moved"),
    [
        ({}, "unclear"),
        ({"ref 2": STEADY, "ref 3": STEADY}, "channel"),
        ({"ref 2": STEP, "ref 3": STEP}, "bench"),
        ({"ref 2": STEP, "ref 3": STEADY}, "unclear"),
        ({"ref 2": [5.0] * 3}, "unclear"),
        # The other way round it is no common move.
        ({"ref 2": [5.0] * 9 + [6.0, 6.0, 6.0]}, "channel"),
    ],
)
def test_channel_and_bench_are_told_apart(tmp_path: Path, others: dict[str, list[float]], moved: str) -> None:
    channel(tmp_path, "ref 1", STEP)
    for name, values in others.items():
        channel(tmp_path, name, values)
    drift = read_channel(tmp_path, "ref 1").drift
    assert drift.moved == moved
    assert "have moved" in drift.words[0]
    assert "down" in drift.words[0]


def test_another_channel_that_was_not_measured_since_tells_nothing(tmp_path: Path) -> None:
    channel(tmp_path, "ref 1", STEP)
    channel(tmp_path, "ref 2", STEADY, days=[2.0 * place for place in range(12)])
    assert read_channel(tmp_path, "ref 1").drift.moved == "unclear"


OFF = [0.1] * 9 + [0.6] * 6


def test_a_tester_that_drifts_against_an_unmoved_channel(tmp_path: Path) -> None:
    channel(tmp_path, "ref 1", [5.0] * 15)
    keep_tester(tmp_path, "FT-1", OFF)
    keep_tester(tmp_path, "FT-2", [0.1] * 15)
    drift = read_tester(tmp_path, "FT-1").drift
    assert drift.moved == "tester"
    assert "NEXT difference up, from +0." in drift.words[0]
    assert "the channel" not in drift.words[1]
    assert "NEXT (dB): tester FT-1 moved by +0.5" in drift.words[1]


def test_testers_that_drift_together_tell_of_the_bench(tmp_path: Path) -> None:
    # What the bench tells too small, every tester tells too large beside it.
    channel(tmp_path, "ref 1", [5.1 - each for each in OFF])
    keep_tester(tmp_path, "FT-1", OFF)
    keep_tester(tmp_path, "FT-2", [each + 0.2 for each in OFF])
    drift = read_tester(tmp_path, "FT-1").drift
    assert drift.moved == "bench"
    assert "NEXT (dB): the bench moved by -0.49" in drift.words[1]
    assert read_channel(tmp_path, "ref 1").drift.moved == "bench"


def test_testers_that_drift_together_beside_an_unmoved_channel_are_unclear(tmp_path: Path) -> None:
    channel(tmp_path, "ref 1", [5.0] * 15)
    keep_tester(tmp_path, "FT-1", OFF)
    keep_tester(tmp_path, "FT-2", [each + 0.2 for each in OFF])
    drift = read_tester(tmp_path, "FT-1").drift
    assert drift.moved == "unclear"
    assert "no single cause explains" in drift.words[1]


def test_a_tester_beside_a_channel_that_moved_or_is_hardly_known(tmp_path: Path) -> None:
    # A channel that moves changes no difference, and it moved later: nobody knows.
    channel(tmp_path, "ref 1", [5.0] * 12 + [4.0] * 3)
    keep_tester(tmp_path, "FT-1", OFF)
    assert read_tester(tmp_path, "FT-1").drift.moved == "unclear"
    channel(tmp_path, "ref 2", [5.0] * 2)
    keep_tester(tmp_path, "FT-2", OFF, channels=("ref 2",))
    assert read_tester(tmp_path, "FT-2").drift.moved in ("bench", "unclear")


SHORT = [0.1, 0.1, 0.6, 1.1, 1.6]


@pytest.mark.parametrize(
    ("other", "days", "moved"),
    [
        ([0.1] * 5, None, "tester"),
        # It was compared before all of that only, or moved alike, or is hardly known.
        ([0.1] * 5, [-200.0, -190.0, -180.0, -170.0, -160.0], "unclear"),
        # All were held against one bench record, which cannot move.
        (SHORT, None, "channel"),
        ([0.1] * 3, None, "unclear"),
    ],
)
def test_another_tester_on_the_same_channel_tells(
    tmp_path: Path, other: list[float], days: list[float] | None, moved: str
) -> None:
    channel(tmp_path, "ref 1", [5.0])
    keep_tester(tmp_path, "FT-1", SHORT)
    keep_tester(tmp_path, "FT-2", other, days=days)
    drift = read_tester(tmp_path, "FT-1").drift
    assert drift.moved == moved, drift.words


def test_a_repair_begins_anew_and_what_does_not_fit_is_left_out(tmp_path: Path) -> None:
    channel(tmp_path, "ref 1", [5.0] * 15)
    keep_tester(tmp_path, "FT-1", OFF, repairs=(9,))
    view = read_tester(tmp_path, "FT-1")
    assert view.drift.moved == ""
    assert all(len(chart.labels) == 6 for chart in view.drift.charts.values())
    keep_tester(tmp_path, "FT-2", OFF, hinders=True)
    assert read_tester(tmp_path, "FT-2").drift.charts == {}


def test_low_middle_high_over_channels(tmp_path: Path) -> None:
    """A tester that is right at 30 and 40 dB and off at 50 dB by now (NIST/SEMATECH e-Handbook 2.3.7)."""
    levels = [30.0, 40.0, 50.0] * 5
    channels = ("cord", "channel", "long")
    keep_tester(tmp_path, "FT-1", [0.0] * 15, levels=levels, channels=channels)
    check = read_tester(tmp_path, "FT-1").levels["NEXT"]
    assert check.out == ()
    assert check.levels == ("low (cord)", "middle (channel)", "high (long)")
    keep_tester(tmp_path, "FT-2", [0.0] * 14 + [1.0], levels=levels, channels=channels)
    view = read_tester(tmp_path, "FT-2")
    assert view.levels["NEXT"].out == ("high (long)",)
    assert any("NEXT" in words for words in view.drift.words)


def test_due_by_hand(tmp_path: Path) -> None:
    channel(tmp_path, "ref 1", STEADY[:3], every=45.0)
    channel(tmp_path, "never", [])
    keep_tester(tmp_path, "FT-1", [0.1, 0.1], every=20.0)
    found = due(tmp_path, at=at(70.0))
    assert [each.name for each in found] == ["never", "FT-1", "ref 1"]
    assert (found[0].due, found[0].last, found[0].days_left) == ("", "", None)
    assert found[1].days_left == pytest.approx(30 + 20 - 70)
    assert found[2].days_left == pytest.approx(60 + 45 - 70)
    assert due(tmp_path, at="2026-04-01")[1].days_left == pytest.approx(
        (FIRST + timedelta(days=50) - datetime(2026, 4, 1, tzinfo=UTC)).total_seconds() / 86400
    )
    assert [each["name"] for each in due_document(found)["due"]] == ["never", "FT-1", "ref 1"]
    with pytest.raises(UsageError, match="is no day"):
        due(tmp_path, at="next week")


def test_intervals_that_a_tester_suggests(tmp_path: Path) -> None:
    """Staircase: beyond once, half of it; within 80 % twice in a row, a quarter longer."""
    keep_tester(tmp_path, "good", [0.1] * 4)
    keep_tester(tmp_path, "bad", [0.1] * 4, e_n=1.2)
    keep_tester(tmp_path, "near", [0.1] * 4, e_n=0.9)
    suggested = {each.name: each.suggested_days for each in due(tmp_path)}
    assert suggested == {"good": 37.5, "bad": 15.0, "near": 30.0}


def test_results_of_one_day_count_once(tmp_path: Path) -> None:
    keep_tester(tmp_path, "FT-1", [0.1, 0.1, 3.0, 0.1], days=[0.0, 30.0, 60.0, 60.1])
    # Found beyond after 30 days; the comparison after it on the same day lengthens nothing.
    assert due(tmp_path)[0].suggested_days == pytest.approx(15.0)


def test_matings_shorten_the_interval_of_a_channel(tmp_path: Path) -> None:
    """In use: 8 records in 210 days, and comparisons that come more often of late."""
    channel(tmp_path, "ref 1", [5.0] * 8)
    calm = read_channel(tmp_path, "ref 1").due
    keep_tester(tmp_path, "FT-1", [0.1] * 40, days=[float(day) for day in range(170, 210)])
    used = read_channel(tmp_path, "ref 1").due
    assert calm.suggested_days is not None
    assert used.suggested_days is not None
    assert "by use" in used.words
    assert used.suggested_days <= calm.suggested_days


def test_the_list_and_a_damaged_history(tmp_path: Path) -> None:
    channel(tmp_path, "ref 1", STEADY)
    keep_tester(tmp_path, "FT-1", [0.1, 0.1])
    keep_tester(tmp_path, "FT-2", [])
    rows = list_references(tmp_path)
    assert [(row.kind, row.name, row.results) for row in rows] == [
        ("channel", "ref 1", 12),
        ("tester", "FT-1", 2),
        ("tester", "FT-2", 0),
    ]
    assert [row.words["stands"] for row in rows] == ["in use", "agrees", "not compared yet"]
    path = Path(str(read_tester(tmp_path, "FT-2").path))
    path.write_bytes(path.read_bytes().replace(b"FT-2", b"FT-3"))
    with pytest.raises(RecordDamaged):
        list_references(tmp_path)
    unread: list[tuple[object, object]] = []
    rows = list_references(tmp_path, unread=unread)  # type: ignore[arg-type]
    assert [row.name for row in rows] == ["ref 1", "FT-1"]
    assert len(unread) == 1
    json.dumps(references_document(rows, unread), allow_nan=False)  # type: ignore[arg-type]
    doubts = read_channel(tmp_path, "ref 1").doubts
    assert any("another history" in doubt for doubt in doubts)
    assert list_references(tmp_path / "none") == ()


def test_documents_are_whole_json(tmp_path: Path) -> None:
    channel(tmp_path, "ref 1", STEP)
    keep_tester(tmp_path, "FT-1", OFF)
    found = json.loads(json.dumps(channel_document(read_channel(tmp_path, "ref 1")), allow_nan=False))
    assert found["schema"] == "benchsweep.channel/1"
    assert len(found["measured"]) == 12
    assert found["drift"]["moved"] == "unclear"
    assert "have moved" in found["drift"]["words"][0]
    found = json.loads(json.dumps(document_of_tester(read_tester(tmp_path, "FT-1")), allow_nan=False))
    assert found["schema"] == "benchsweep.tester/1"
    assert [each["number"] for each in found["comparisons"]] == list(range(1, 16))
    assert found["drift"]["charts"]["NEXT difference"]["kind"] == "ewma"
