"""Reels measured at the bench for their lot: asked before, added once, also when the run is killed."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from benchsweep import archive
from benchsweep.qualification import read_lot
from benchsweep.qualification.lots import _in_place
from tests.qualification.lots.reels import opened

Run = Callable[..., Any]

REELS = tuple(f"tollmoor-6-{number:04d}" for number in range(1, 9))
TOLD = ("--length-m", "100", "--ambient", "temperature_degc=20", "--operator", "R. Lind")


class Killed(BaseException):
    """The program ends here and now: nothing catches this."""


@pytest.fixture
def station(coarse_station: Callable[[int], Path]) -> str:
    return str(coarse_station(240))


@pytest.fixture
def folder(own_home: Path) -> Path:
    opened(own_home / "archive", reels=REELS)
    return own_home / "archive"


def reel_of(folder: Path) -> str:
    return read_lot(folder, "26-118").state.sample[0]


def records(folder: Path) -> int:
    return len(list(folder.glob("*.h5")))


def test_a_reel_is_measured_graded_as_the_lot_asks_and_added(folder: Path, run: Run, station: str) -> None:
    reel = reel_of(folder)
    done = run("qualify", "--station", station, "--specimen", reel, "--lot", "26-118", *TOLD)
    assert "tia-6-cable" in done.out
    assert "lot 26-118: 1 of 2 reels tested" in done.err
    state = read_lot(folder, "26-118").state
    (entry,) = state.added
    record = archive.read_record(folder / entry.path)
    assert (entry.reel, entry.by, entry.station) == (reel, "R. Lind", record.station)
    assert (record.specimen.product, record.specimen.lot) == ("C6-23", "26-118")
    assert entry.result.conforms is {0: True, 1: False, 3: None}[done.code]
    assert len(archive.kept_verdicts(folder, entry.record)) == 1
    assert run("lot", "prove", "26-118").code == 3, "as it was, but the lot is open"


@pytest.mark.parametrize("when", ["before it is added", "after it was added"])
def test_a_run_that_is_killed_adds_its_record_once_when_it_goes_on(
    folder: Path, run: Run, station: str, monkeypatch: pytest.MonkeyPatch, when: str
) -> None:
    words = ("qualify", "--station", station, "--specimen", reel_of(folder), "--lot", "26-118", *TOLD)
    add = _in_place.add_record

    def killed(*arguments: Any, **how: Any) -> None:
        if when == "after it was added":
            add(*arguments, **how)
        raise Killed

    with monkeypatch.context() as patched:
        patched.setattr(_in_place, "add_record", killed)
        with pytest.raises(Killed):
            run(*words)
    assert len(read_lot(folder, "26-118").state.added) == (when == "after it was added")
    assert records(folder) == 1
    done = run(*words)
    assert done.code in (0, 1), done.err
    (entry,) = read_lot(folder, "26-118").state.added
    assert records(folder) == 1
    assert not list((folder / "unfinished").glob("*/hookup-*"))
    assert len(archive.kept_verdicts(folder, entry.record)) == 1
    # Now it is done: the same command would measure the reel a second time.
    again = run(*words)
    assert again.code == 2
    assert "has a result already" in again.err
    retested = run(*words, "--retest", "a connector was loose")
    assert retested.code in (0, 1), retested.err
    state = read_lot(folder, "26-118").state
    assert [each.retest_reason for each in state.added] == ["", "a connector was loose"]
    assert records(folder) == 2


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--specimen", "tollmoor-6-0009"), "has no reel tollmoor-6-0009"),
        (("--product", "C5-24"), "of the product C5-24"),
        (("--operator", " "), "nobody is named"),
        (("--length-m", None), "its length"),
        (("--ambient", None), "its temperature"),
        (("--decision", "guard-band"), "graded by simple, not by guard-band"),
        (("--retest", "loose"), "no result that could be replaced"),
        (("--lot", "26-119"), "nothing is named to grade against"),
        (("--lot", "26-119", "--retest", "loose"), "no lot 26-119"),
    ],
    ids=lambda words: " ".join(map(str, words)) if isinstance(words, tuple) else "",
)
def test_what_the_lot_would_refuse_is_refused_before_the_bench_is_opened(
    folder: Path, run: Run, station: str, words: tuple[str | None, ...], said: str
) -> None:
    options: dict[str, str | None] = dict(zip(TOLD[::2], TOLD[1::2], strict=True))
    options |= {"--station": station, "--specimen": reel_of(folder), "--lot": "26-118"}
    options |= dict(zip(words[::2], words[1::2], strict=True))  # type: ignore[arg-type]
    given = [word for name, value in options.items() if value is not None for word in (name, value)]
    refused = run("qualify", *given)
    assert refused.code == 2
    assert said in refused.err
    assert "analyzer" not in refused.err
    assert records(folder) == 0


def test_a_lot_that_nobody_opened_stays_a_word(folder: Path, run: Run, coarse_station: Any) -> None:
    """As before there were lots."""
    done = run(
        *("qualify", "--station", str(coarse_station(20)), "--specimen", "cord-2m", "--lot", "drum 7"),
        *("--against", "tia-6a-cord", "--length-m", "2"),
    )
    assert done.code in (0, 1, 3), done.err
    (record,) = folder.glob("*.h5")
    assert archive.read_record(record).specimen.lot == "drum 7"
    assert "reels tested" not in done.err
