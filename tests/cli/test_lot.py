"""The life of a lot through the command line, on records of simulated reels of 100 m."""

from __future__ import annotations

import re
import zlib
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from benchsweep import archive
from benchsweep.records import CONTACTS_OF_PAIR, Measurement, SMatrix, Specimen
from benchsweep.simulator.specimen import load_specimen
from tests.cli.test_hostile_text import HIDDEN, assert_harmless

Run = Callable[..., Any]
GRID = np.unique(np.concatenate([np.linspace(1e6, 250e6, 40), [100e6]]))
PAIR_OF = {contact: pair for pair, contacts in CONTACTS_OF_PAIR.items() for contact in contacts}
LEGS = tuple(f"{end}:{PAIR_OF[contact]}.{contact}" for end in "AB" for contact in range(1, 9))
BY = ("--by", "R. Lind")
OPEN = (
    *("--supplier", "Tollmoor Wire", "--product", "C6-23", "--reels", "R01..R12", "--against", "tia-6-cable"),
    *("--construction", "unscreened", "--seed", "the seed", *BY),
)
# Letter B of Table I for 12 reels at level II; AQL 6.5: n = 2 of letter A (MIL-STD-105E, Tables I and II-A).
FEW = ("--aql", "6.5")


@cache
def cable() -> np.ndarray:
    return load_specimen("cable-100m", seed=11).scatter(GRID)


def record_of(
    reel: str, *, product: str = "C6-23", through: float = 1.0, folder: str = "archive", at: int = 0
) -> Path:
    """A record of a good cable, or of one whose paths through are weaker."""
    # No two measurements are equal to the bit: each reel has a little of its own.
    s = cable() * (1.0 + 1e-13 * (zlib.crc32(reel.encode()) % 1000))
    s[:, :8, 8:] *= through
    s[:, 8:, :8] *= through
    measured = Measurement(
        specimen=Specimen(reel, 100.0, "", "", product=product),
        created_at=f"2026-03-0{1 + at}T08:00:00+00:00",
        origin="touchstone",
        station="",
        operator="M. Olsen",
        corrected=SMatrix(GRID, s, LEGS, (50.0,) * 16),
        ambient={"temperature_degc": 20.0},
    )
    return archive.write_record(measured, Path(folder))


def sample_of(run: Run, lot: str = "26-118") -> list[str]:
    return list(run("lot", "draw", lot, "--json").json["sample"])


def test_a_good_lot_from_opening_to_report(run: Run, own_home: Path) -> None:
    opened = run("lot", "open", "26-118", *OPEN, *FEW, "--size", "12")
    assert opened.code == 0, opened.err
    assert opened.out.count("[ ]") == 2
    sample = sample_of(run)
    assert [reel for reel in sample if reel in opened.out] == sample
    assert run("lot", "status", "26-118").code == 3

    added = run("lot", "add", "26-118", *map(record_of, sample), *BY)
    assert added.code == 0, added.err
    assert [line.split(",")[0] for line in added.out.splitlines()] == [f"pass: {reel}" for reel in sample]
    assert "2 of 2 reels tested" in added.err

    closed = run("lot", "close", "26-118", *BY)
    assert closed.code == 0, closed.err
    assert closed.out.startswith("decision     accepted: ")
    status = run("lot", "status", "26-118", "--json")
    assert status.code == 0
    assert status.json["schema"] == "benchsweep.lot/1"
    listed = run("lot", "list")
    assert re.search(r"26-118 .* Tollmoor Wire .* 2/2 +0 +accepted", listed.out)
    assert run("lot", "list", "--json").json["schema"] == "benchsweep.lots/1"

    proof = run("lot", "prove", "26-118")
    assert proof.code == 0, proof.err
    assert proof.out.startswith("now          accepted: ")
    assert "the draw, 2 records and the decision are as they were" in proof.out
    assert run("lot", "prove", "26-118", "--json").json["same"] is True
    # Category 7 allows far less crosstalk than the cable of category 6 has.
    other = run("lot", "prove", "26-118", "--against", "iec-7-cable")
    assert other.code == 1
    assert other.out.startswith("now          not accepted: ")
    assert "2 with another outcome" in " ".join(other.out.split())
    record = run("lot", "status", "26-118", "--json").json["results"][0]["record"]
    why = ("--reason", "taken for another", *BY)
    assert run("archive", "correct", Path("archive", record), "--withdraw", *why).code == 0
    spoilt = run("lot", "prove", "26-118")
    assert spoilt.code == 1
    assert "withdrawn" in spoilt.out
    assert "not as it was" in spoilt.out


def test_a_bad_reel_and_its_retest(run: Run, own_home: Path) -> None:
    assert run("lot", "open", "26-118", *OPEN, *FEW).code == 0
    first, second = sample_of(run)
    bad = run("lot", "add", "26-118", record_of(first, through=0.7), *BY)
    assert bad.code == 1
    assert bad.out.startswith(f"fail: {first}, ")
    assert "insertion loss" in bad.out
    told = run("lot", "status", "26-118")
    assert told.code in (1, 3)
    assert f"still to be tested: {second}" in told.out
    assert "1 or more reels that do not conform refuse it (rejection number Re 1)" in " ".join(
        told.out.split()
    )

    again = record_of(first, at=1)
    refused = run("lot", "add", "26-118", again, *BY)
    assert refused.code == 2
    assert first in refused.err
    assert run("lot", "add", "26-118", again, *BY, "--retest", "a connector was loose").code == 0
    assert run("lot", "add", "26-118", record_of(second), *BY).code == 0
    told = run("lot", "status", "26-118").out
    assert "tested again" in told
    assert "a connector was loose" in " ".join(told.split())
    assert run("lot", "close", "26-118", *BY).code == 0


def test_a_lot_with_a_bad_reel_is_not_accepted(run: Run, own_home: Path) -> None:
    assert run("lot", "open", "26-118", *OPEN, *FEW).code == 0
    first, second = sample_of(run)
    assert run("lot", "add", "26-118", record_of(first, through=0.7), record_of(second), *BY).code == 1
    closed = run("lot", "close", "26-118", *BY)
    assert closed.code == 1
    assert closed.out.startswith("decision     not accepted: 1 reel of 2 does not conform")
    assert run("lot", "status", "26-118").code == 1
    assert run("lot", "prove", "26-118").code == 0, "it is as it was decided"
    late = run("lot", "exclude", "26-118", first, "--reason", "dropped", *BY)
    assert late.code == 2
    assert "closed" in late.err


def test_an_excluded_reel_is_replaced_by_the_next_of_the_order(run: Run, own_home: Path) -> None:
    opened = run("lot", "open", "26-118", *OPEN, *FEW, "--json").json
    first, second = opened["order"][:2]
    third = opened["order"][2]
    gone = run("lot", "exclude", "26-118", first, "--reason", "crushed by the fork lift", *BY)
    assert gone.code == 0, gone.err
    assert gone.out.splitlines() == [f"excluded {first}", f"test {third} instead"]
    assert sample_of(run) == [second, third]
    assert f"excluded {first}: crushed by the fork lift" in " ".join(
        run("lot", "status", "26-118").out.split()
    )


def test_another_plan_needs_a_reason_and_keeps_the_order(run: Run, own_home: Path) -> None:
    opened = run("lot", "open", "26-118", *OPEN, *FEW, "--json").json
    without = run("lot", "replan", "26-118", "--aql", "1.5", *BY)
    assert without.code == 2
    # Letter B at AQL 1.5 follows the arrows to letter D, n = 8 (MIL-STD-105E, Table II-A).
    answer = run("lot", "replan", "26-118", "--aql", "1.5", "--reason", "agreed", *BY, "--json")
    assert answer.code == 0, answer.err
    assert answer.json["sample"] == opened["order"][:8]
    told = run("lot", "replan", "26-118", "--aql", "6.5", "--reason", "agreed again", *BY)
    assert told.out.count("[ ]") == 2


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("lot", "open", "26-118", *OPEN, *FEW), "26-118"),
        (("lot", "open", "26-119", *OPEN, *FEW, "--size", "90"), "--size is 90, but --reels name 12"),
        (("lot", "open", "26-119", *OPEN, *FEW, "--reels", "R12..R13"), "R12 is given twice"),
        (("lot", "open", "26-119", *OPEN), "needs an AQL"),
        (("lot", "open", "26-119", *OPEN, *FEW, "--against", "tia-*-cable"), "stands for"),
        (("lot", "open", "26-119", *OPEN, *FEW, "--against", "no-such"), "no-such"),
        (("lot", "open", "26-119", *OPEN, *FEW, "--severity", "reduced"), "reduced"),
        (("lot", "open", " ", *OPEN, *FEW), "name"),
        (("lot", "open", "26-119", *OPEN, *FEW, "--supplier", ""), "supplier"),
        (("lot", "status", "26-999"), "26-999"),
        (("lot", "draw", "26-999"), "26-999"),
        (("lot", "close", "26-118", *BY), "2 of 2 reels have no result yet"),
        (("lot", "close", "26-118", "--by", " "), "who closes the lot is empty"),
        (("lot", "exclude", "26-118", "R99", "--reason", "x", *BY), "R99"),
        (("lot", "exclude", "26-118", "R01", "--reason", "", *BY), "reason"),
        (("lot", "add", "26-118", "nowhere.h5", *BY), "nowhere.h5"),
        (("lot", "process", "--product", "unheard-of"), "unheard-of"),
        (("lot", "process", "--product", "C6-23", "--parameter", "nonsense"), "'nonsense' is no parameter"),
        (("lot", "draw", "26-118", "-o", "lot.txt"), "HTML or as PDF"),
        (("lot", "prove", "26-999"), "26-999"),
    ],
    ids=lambda words: " ".join(words[1:4]) if isinstance(words, tuple) else "",
)
def test_what_makes_no_sense_is_refused_with_words(
    run: Run, own_home: Path, words: tuple[str, ...], told: str
) -> None:
    assert run("lot", "open", "26-118", *OPEN, *FEW).code == 0
    before = sorted((path, path.read_bytes()) for path in Path("archive").rglob("*.jsonl"))
    refused = run(*words)
    assert refused.code == 2, refused.out
    assert told in refused.err
    assert "Traceback" not in refused.err
    assert sorted((path, path.read_bytes()) for path in Path("archive").rglob("*.jsonl")) == before


@pytest.mark.parametrize(
    ("make", "told"),
    [
        (lambda _: record_of("R99"), "R99"),
        (lambda sample: record_of(sample[0], product="C5-24"), "C5-24"),
        (
            lambda sample: record_of(next(f"R{n:02d}" for n in range(1, 13) if f"R{n:02d}" not in sample)),
            "drawn",
        ),
    ],
    ids=["unknown reel", "another product", "not drawn"],
)
def test_records_that_do_not_belong_there_are_refused(
    run: Run, own_home: Path, make: Callable[[list[str]], Path], told: str
) -> None:
    assert run("lot", "open", "26-118", *OPEN, *FEW).code == 0
    sample = sample_of(run)
    refused = run("lot", "add", "26-118", record_of(sample[1], at=2), make(sample), *BY)
    assert refused.code == 2
    assert told in refused.err
    assert "added before: 1 of 2" in refused.err
    assert run("lot", "status", "26-118", "--json").json["missing"] == [sample[0]]


def test_no_archive_has_no_lots(run: Run, own_home: Path) -> None:
    told = run("lot", "list")
    assert (told.code, told.out) == (0, "")
    assert "no lots in archive" in told.err
    assert run("lot", "list", "--json").json["lots"] == []
    assert not Path("archive").exists()
    assert run("lot", "status", "x").code == 2
    assert run("lot", "list", "--archive", "s3://bucket/folder").code == 2


def test_names_that_would_act_on_a_terminal_do_not(run: Run, own_home: Path) -> None:
    reels = Path("reels.txt")
    reels.write_text("".join(f"{HIDDEN[:4]} {number}\n" for number in range(12)), encoding="utf-8")
    words = ["lot", "open", HIDDEN[:4], *OPEN, *FEW]
    words[words.index("R01..R12")] = "reels.txt"
    words[words.index("Tollmoor Wire")] = HIDDEN[:4]
    for told in (
        run(*words),
        run("lot", "status", HIDDEN[:4]),
        run("lot", "list"),
        run("lot", "draw", HIDDEN[:4]),
    ):
        assert_harmless(told.out)
        assert_harmless(told.err)
    for verb in ("status", "draw", "prove"):
        told = run("lot", verb, HIDDEN)
        assert told.code == 2
        assert_harmless(told.err)


def test_charts_of_a_product_over_its_lots(run: Run, own_home: Path) -> None:
    for number, weaker in enumerate((1.0, 0.998, 0.996, 0.994)):
        lot = f"T{number}"
        assert run("lot", "open", lot, *OPEN, "--aql", "1.5").code == 0
        records = [
            record_of(reel, through=weaker - 0.0005 * place, folder=f"archive/{lot}", at=number)
            for place, reel in enumerate(sample_of(run, lot))
        ]
        added = run("lot", "add", lot, *records, *BY)
        assert added.code == 0, added.err
        assert run("lot", "close", lot, *BY).code == 0
    told = run("lot", "process", "--product", "C6-23")
    assert told.code in (0, 1), told.err
    assert "insertion loss" in told.out
    assert max(map(len, told.out.splitlines())) <= 80
    one = run("lot", "process", "--product", "C6-23", "--parameter", "insertion_loss")
    assert "individuals chart" in one.out
    assert "capability" in one.out
    assert "32 reels of 4 lots" in one.out
    document = run("lot", "process", "--product", "C6-23", "--ends", "both", "--json").json
    assert document["schema"] == "benchsweep.process/1"
