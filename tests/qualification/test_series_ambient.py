"""Ambient readings from a file that another program is writing."""

from __future__ import annotations

import os
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from benchsweep.errors import UsageError
from benchsweep.qualification import AmbientFile, parse_ambient

NOW = datetime(2026, 3, 1, 12, 0, tzinfo=UTC)
HEADER = "time,temperature_degc,humidity_percent\n"
FRESH = "2026-03-01T11:59:50Z,23.5,41\n"


def read(path: Path, text: str | bytes, **options: float) -> dict[str, float]:
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    return dict(AmbientFile(path, stale_s=options.get("stale_s", 60.0)).read(NOW).values)


BOTH = {"temperature_degc": 23.5, "humidity_percent": 41.0}


@pytest.mark.parametrize(
    ("text", "found"),
    [
        (HEADER + FRESH, BOTH),
        (HEADER + "2026-03-01T11:59:40Z,20,40\n" + FRESH, BOTH),
        # Half a line, whatever it holds: the one before counts.
        (HEADER + FRESH + "2026-03-01T11:59:59Z,99.9,4", BOTH),
        (HEADER + FRESH + "2026-03-01T11:59:59Z,99.9,41", BOTH),
        (HEADER + FRESH + "2026", BOTH),
        # Lines that are none.
        (HEADER + FRESH + "2026-03-01T11:59:59Z,99.9\n", BOTH),
        (HEADER + FRESH + "restarted\n\n", BOTH),
        (HEADER + FRESH + "yesterday,99.9,41\n", BOTH),
        (HEADER + FRESH + "nan,99.9,41\n", BOTH),
        (HEADER + FRESH + "2026-03-01T11:59:59Z,---,---\n", BOTH),
        # A sensor that fails: its quantity has no reading.
        (HEADER + "2026-03-01T11:59:50Z,,41\n", {"humidity_percent": 41.0}),
        (HEADER + "2026-03-01T11:59:50Z,nan,41\n", {"humidity_percent": 41.0}),
        (HEADER + "2026-03-01T11:59:50Z,inf,41\n", {"humidity_percent": 41.0}),
        (HEADER.replace("\n", "\r\n") + FRESH.replace("\n", "\r\n"), BOTH),
        ("\ufeff" + HEADER + FRESH, BOTH),
        (HEADER + "2026-03-01T12:59:50+01:00,23.5,41\n", BOTH),
        (HEADER + f"{NOW.timestamp() - 5},23.5,41\n", BOTH),
        # Seconds since a start of their own: the age is that of the file, which is set below.
        (HEADER + "17.25,23.5,41\n", BOTH),
        ("t;temperature_degc\n2026-03-01T11:59:50Z;23,5\n", {"temperature_degc": 23.5}),
        ("t\ttemperature_degc\n2026-03-01T11:59:50Z\t23.5\n", {"temperature_degc": 23.5}),
        ('"time","temperature_degc"\n"2026-03-01T11:59:50Z","23.5"\n', {"temperature_degc": 23.5}),
        # Nothing to read.
        ("", {}),
        ("time,temp", {}),
        (HEADER, {}),
        ("time\n2026-03-01T11:59:50Z\n", {}),
        ("time,t,t\n2026-03-01T11:59:50Z,1,2\n", {}),
        (HEADER + "2026-03-01T11:58:59Z,23.5,41\n", {}),
        (b"\xff\xfe\x00\n\x80\x81,\n", {}),
    ],
)
def test_the_newest_complete_line_counts(text: str | bytes, found: dict[str, float], tmp_path: Path) -> None:
    path = tmp_path / "chamber.csv"
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    os.utime(path, (NOW.timestamp(), NOW.timestamp()))
    assert dict(AmbientFile(path, stale_s=60.0).read(NOW).values) == found


def test_a_line_is_never_read_before_it_is_complete(tmp_path: Path) -> None:
    """Cut at every byte, the file gives the readings of the last line whose line feed is there."""
    lines = [HEADER, *(f"2026-03-01T11:59:{20 + n:02d}Z,{20 + n}.25,4{n}\n" for n in range(5))]
    text = "".join(lines)
    ends = [len("".join(lines[:n])) for n in range(1, len(lines) + 1)]
    for cut in range(len(text) + 1):
        complete = sum(end <= cut for end in ends) - 1  # lines of readings
        expected = {"temperature_degc": 19.25 + complete, "humidity_percent": 39.0 + complete}
        assert read(tmp_path / "cut.csv", text[:cut]) == (expected if complete > 0 else {}), cut


def test_only_the_end_of_a_long_file_is_read(tmp_path: Path) -> None:
    long = HEADER + "2026-03-01T11:59:00Z,20,40\n" * 100_000 + FRESH
    assert read(tmp_path / "long.csv", long) == BOTH
    # A file whose last stretch has no whole line has no reading.
    assert read(tmp_path / "wide.csv", HEADER + FRESH + "x" * 100_000) == {}


def test_missing_and_stale_are_told_once_each(tmp_path: Path) -> None:
    path = tmp_path / "chamber.csv"
    source = AmbientFile(path, stale_s=60.0, typed={"temperature_degc": 19.0, "pressure_hpa": 1013.0})
    first, second = source.read(NOW), source.read(NOW)
    assert [event.kind for event in first.events] == ["ambient"]
    assert str(path) in first.events[0].words
    assert second.events == ()
    # What was typed in holds until the file turns out to measure it.
    assert dict(second.values) == {"temperature_degc": 19.0, "pressure_hpa": 1013.0}
    path.write_text(HEADER + FRESH)
    there = source.read(NOW)
    assert [event.words.split(" (")[0] for event in there.events] == [
        "ambient readings are there again",
        "the file has temperature_degc too: what was typed in counts no more",
    ]
    assert dict(there.values) == BOTH | {"pressure_hpa": 1013.0}
    later = [source.read(NOW + timedelta(seconds=after)) for after in (40, 60, 70, 3600)]
    assert [len(reading.events) for reading in later] == [0, 1, 0, 0]
    assert "stale: the newest line is 70 s old" in later[1].events[0].words
    assert dict(later[3].values) == {"pressure_hpa": 1013.0}  # never an old temperature, nor the typed one


@pytest.mark.parametrize(
    ("text", "found", "words"),
    [
        (
            HEADER + "2026-03-01T11:59:50Z,---,41\n",
            {"humidity_percent": 41.0},
            "no reading of temperature_degc",
        ),
        (HEADER + "2026-03-01T11:59:50Z,,41\n", {"humidity_percent": 41.0}, "no reading of temperature_degc"),
        (HEADER + FRESH + "2026-03-01T11:59:59Z,99.9\n", BOTH, "not the columns of the header: 2 where"),
        (HEADER + FRESH + "2026-03-01T11:59:59Z,1,2,3\n", BOTH, "not the columns of the header: 4 where"),
        (HEADER + FRESH + "restarted,,\n", BOTH, "its time is none: 'restarted'"),
        ("time,t,t\n2026-03-01T11:59:50Z,1,2\n", {}, "names t more than once"),
        ("2026-03-01T11:59:50Z,23.5\n" * 3, {}, "numbers where the names of the columns should stand"),
        ("17.5;23,5\n17.6;23,6\n", {}, "numbers where the names of the columns should stand"),
        (HEADER + "2026-03-01T12:59:50Z,23.5,41\n", {}, "of a time to come"),
        (HEADER + "2026-03-01T11:59:50-05:00,23.5,41\n", {}, "of a time to come"),
        # Clocks of two computers differ a little.
        (HEADER + "2026-03-01T12:00:20Z,23.5,41\n", BOTH, ""),
    ],
)
def test_nothing_is_left_out_in_silence(
    text: str, found: dict[str, float], words: str, tmp_path: Path
) -> None:
    """Told once when it begins, and once when it is right again."""
    path = tmp_path / "chamber.csv"
    path.write_text(text)
    os.utime(path, (NOW.timestamp(), NOW.timestamp()))
    source = AmbientFile(path, stale_s=60.0)
    first = source.read(NOW)
    assert dict(first.values) == found
    assert len(first.events) == bool(words)
    assert not words or words in first.events[0].words
    assert source.read(NOW + timedelta(seconds=1)).events == ()
    path.write_text(HEADER + FRESH)
    assert len(source.read(NOW).events) == bool(words)


def test_another_value_that_is_none_is_no_news(tmp_path: Path) -> None:
    path = tmp_path / "chamber.csv"
    source = AmbientFile(path, stale_s=60.0)
    told = []
    for value in ("---", "err 7", "23.5", "err 8"):
        path.write_text(HEADER + f"2026-03-01T11:59:50Z,{value},41\n")
        told.append(len(source.read(NOW).events))
    assert told == [1, 0, 1, 1]


def test_what_can_never_work_is_refused_at_the_start(tmp_path: Path) -> None:
    path = tmp_path / "chamber.csv"
    typed = {"humidity_percent": 40.0}
    AmbientFile(path, stale_s=60.0, typed=typed).check()  # the file may come later
    path.write_text("time,temperature_degc\n")
    AmbientFile(path, stale_s=60.0, typed=typed).check()
    path.write_text(HEADER)
    with pytest.raises(UsageError, match="humidity_percent: typed in with --ambient, and a column of"):
        AmbientFile(path, stale_s=60.0, typed=typed).check()
    with pytest.raises(UsageError, match="is a folder"):
        AmbientFile(tmp_path, stale_s=60.0).check()
    with pytest.raises(UsageError, match="there is no folder"):
        AmbientFile(tmp_path / "nowhere" / "chamber.csv", stale_s=60.0).check()


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes there")
def test_a_pipe_does_not_hang_the_recording(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    assert "not a file" in AmbientFile(tmp_path / "pipe", stale_s=60.0).read(NOW).events[0].words


def test_typed_in() -> None:
    assert parse_ambient(["temperature_degc=21.5", "humidity_percent = 40"]) == {
        "temperature_degc": 21.5,
        "humidity_percent": 40.0,
    }
    for wrong in ("21.5", "t=", "t=warm", "t=nan", "t=inf", "=3", "9t=3", "a b=3"):
        with pytest.raises(UsageError, match="not a name and a number"):
            parse_ambient([wrong])
    with pytest.raises(UsageError, match="given twice"):
        parse_ambient(["t=1", "t=2"])
