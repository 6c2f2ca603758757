"""A lot of reels from the plan to the report: drawn, measured through a real link, decided, proved again."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

Run = Callable[..., Any]
LOT, PRODUCT, SEED = "26-301", "TM 6 U/UTP", "sealed envelope 14"
BY = ("--by", "R. Lind")
OPEN = ("--supplier", "Tollmoor Works", "--product", PRODUCT, "--against", "tia-6-cable", "--aql", "1.5", *BY)
REELS = [f"tollmoor-6-{number:04d}" for number in range(1, 51)]
POINTS = 250


@pytest.fixture
def measure(run: Run, coarse_station: Callable[[int], Path]) -> Callable[..., Any]:
    """Measure a reel in place, on the embedded bench."""
    station = coarse_station(POINTS)

    def call(reel: str, *more: str) -> Any:
        return run(
            *("qualify", "--station", station, "--lot", LOT, "--specimen", reel, "--length-m", "100"),
            *("--ambient", "temperature_degc=21", "--operator", "R. Lind", "-q", *more),
        )

    return call


def test_a_lot_of_eight_reels_through_the_link(
    run: Run, measure: Callable[..., Any], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    # MIL-STD-105E, Table I: 26 to 50 at level II is letter D; Table II-A: n = 8, AQL 1.5: Ac 0, Re 1.
    plan = run("lot", "plan", "--size", "50", "--level", "II", "--aql", "1.5", "--json").json
    assert (plan["code_letter"], plan["sample_size"], plan["accept"], plan["reject"]) == ("D", 8, 0, 1)

    wrong = run("lot", "open", LOT, *OPEN, "--reels", f"{REELS[0]}..{REELS[-1]}", "--size", "48")
    assert wrong.code == 2
    assert "48" in wrong.err
    assert "50" in wrong.err
    opened = run(
        "lot", "open", LOT, *OPEN, "--reels", f"{REELS[0]}..{REELS[-1]}", "--size", "50", "--seed", SEED
    )
    assert opened.code == 0, opened.err
    sample = run("lot", "draw", LOT, "--json").json["sample"]
    # The rule that README states, by another program: rising SHA-256 of seed, line feed and name.
    order = sorted(REELS, key=lambda reel: hashlib.sha256(f"{SEED}\n{reel}".encode()).hexdigest())
    assert sample == order[:8]

    early = run("lot", "close", LOT, *BY)
    assert early.code == 2
    assert "8 of 8 reels" in early.err
    not_drawn = measure(order[20])
    assert not_drawn.code == 2
    assert "drawn" in not_drawn.err or "sample" in not_drawn.err
    other = measure(sample[0], "--product", "TM 5e")
    assert other.code == 2
    assert "TM 5e" in other.err
    assert not list((tmp_path / "archive").glob("*.h5")), "refused before anything was measured"

    outcomes = {}
    for reel in sample[:-1]:
        answer = measure(reel, "--json")
        assert answer.code in (0, 1), answer.err
        outcomes[reel] = json.loads(answer.out)["outcome"]
    twice = measure(sample[0])
    assert twice.code == 2
    assert sample[0] in twice.err
    assert "has a result" in twice.err
    early = run("lot", "close", LOT, *BY)
    assert early.code == 2
    assert sample[-1] in early.err
    last = measure(sample[-1], "--json")
    outcomes[sample[-1]] = json.loads(last.out)["outcome"]

    status = run("lot", "status", LOT, "--json").json
    assert {each["reel"]: each["result"]["outcome"] for each in status["results"]} == outcomes
    # Each worst margin is the least of those that `grade` tells of the same record.
    for each in status["results"]:
        rows = run("grade", f"archive/{each['record']}", "--against", "tia-6-cable", "--json").json["rows"]
        for margin in each["result"]["margins"]:
            kind = (margin["parameter"], margin["end"])
            same = [row["worst_margin_db"] for row in rows if (row["parameter"], row["end"]) == kind]
            assert margin["worst_margin"] == min(same)
    closed = run("lot", "close", LOT, *BY, "--json")
    accepted = all(outcome == "pass" for outcome in outcomes.values())
    assert closed.code == (0 if accepted else 1)
    assert closed.json["decision"]["accepted"] is accepted
    assert run("lot", "close", LOT, *BY).code == 2
    after = measure(sample[0])
    assert after.code == 2
    assert "closed" in after.err

    proof = run("lot", "prove", LOT, "--json")
    assert proof.code == closed.code
    assert run("archive", "check", "--json").json["damaged"] == []
    stricter = run("lot", "prove", LOT, "--against", "tia-6a-cable-without-alien", "--json")
    assert stricter.code in (0, 1, 3)
    process = run("lot", "process", "--product", PRODUCT, "--parameter", "next", "--json").json
    told = {each["reel"]: each["margin"] for each in process["views"][0]["values"]}
    for each in status["results"]:
        ends = [one for one in each["result"]["margins"] if one["parameter"] == "next"]
        assert told[each["reel"]] == min(one["worst_margin"] for one in ends)
    report = run("lot", "report", LOT, "-o", "lot.html", "-o", "lot.pdf", "--issued", "2026-11-28", "-q")
    assert report.code == 0, report.err
    page = Path("lot.html").read_text(encoding="utf-8")
    assert all(reel in page for reel in sample)
    assert status["digest"] != closed.json["digest"]
    assert closed.json["digest"] in page
    assert Path("lot.pdf").read_bytes().startswith(b"%PDF")
