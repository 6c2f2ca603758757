"""`lot plan` through the command line: the contract of its JSON, and nonsense."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Callable
from typing import Any

import pytest

Run = Callable[..., Any]
CONTRACT = (
    "schema",
    "lot_size",
    "level",
    "aql",
    "severity",
    "code_letter",
    "sample_size",
    "accept",
    "reject",
)


# Cells of Tables I, II-A, II-B and II-C of MIL-STD-105E, as facts/quality.md gives them: lots of 90 have
# letter E, those of 1 000 letter J at level II and G at level I.
@pytest.mark.parametrize(
    ("words", "expected"),
    [
        ("--size 90 --aql 0.65", (90, "II", 0.65, "normal", "E", 20, 0, 1)),
        ("--size 90 --aql 0.65 --severity tightened", (90, "II", 0.65, "tightened", "E", 32, 0, 1)),
        ("--size 90 --aql 0.65 --severity reduced", (90, "II", 0.65, "reduced", "E", 8, 0, 1)),
        ("--size 1000 --level II --aql 1", (1000, "II", 1.0, "normal", "J", 80, 2, 3)),
        ("--size 1000 --level I --aql 1", (1000, "I", 1.0, "normal", "G", 50, 1, 2)),
        ("--size 1000 --aql 2.5 --severity reduced", (1000, "II", 2.5, "reduced", "J", 32, 2, 5)),
        ("--size 12 --aql 0.65", (12, "II", 0.65, "normal", "B", 12, 0, 1)),
    ],
)
def test_json_keeps_its_contract(run: Run, words: str, expected: tuple[Any, ...]) -> None:
    answer = run("lot", "plan", *words.split(), "--json")
    assert answer.code == 0, answer.err
    assert answer.err == ""
    assert tuple(answer.json[key] for key in CONTRACT) == ("benchsweep.sampling/1", *expected)


def test_zero_acceptance_is_exact(run: Run) -> None:
    """Of 20 reels with 2 nonconforming: C(18, n) / C(20, n) <= 0.1 first at n = 14."""
    words = ("--size", "20", "--method", "zero-acceptance", "--limiting-quality", "10")
    answer = run("lot", "plan", *words, "--json").json
    assert (answer["sample_size"], answer["accept"], answer["reject"]) == (14, 0, 1)
    assert (answer["aql"], answer["severity"]) == (None, None)
    assert run("lot", "plan", *words, "--consumer-risk", "0.5", "--json").json["sample_size"] == 6


def test_a_limiting_quality_below_one_reel_is_told(run: Run) -> None:
    words = ("lot", "plan", "--size", "90", "--method", "zero-acceptance", "--limiting-quality")
    told = run(*words, "0.001")
    assert "0.001 % of 90 is less than one" in " ".join(told.out.split())
    found = run(*words, "0.001", "--json").json
    # One nonconforming of 90 is missed with a probability of 1 - n/90: at most 0.1 from n = 81 on.
    assert found["sample_size"] == 81
    assert "one nonconforming, which is 1.11 %" in found["rounded_up"]
    for enough in ("1.1112", "10"):
        assert run(*words, enough, "--json").json["rounded_up"] is None


def test_text_shows_curve_and_risks_within_eighty_columns(run: Run) -> None:
    told = run("lot", "plan", "--size", "90", "--aql", "0.65")
    assert told.code == 0
    assert max(map(len, told.out.splitlines())) <= 80
    flat = " ".join(told.out.split())
    assert "arrow down to letter F" in flat
    # 1 - 0.9935^20 = 12.2 %; 1 - 0.95^(1/20), 1 - 0.5^(1/20), 1 - 0.1^(1/20)
    assert "producer's risk at the AQL: 12.2 %" in flat
    assert "accepted in 95 % of cases at 0.256 % nonconforming, in 50 % at 3.41 %, in 10 % at 10.9 %" in flat
    assert "AOQL" in flat


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ("--size 90", "needs an AQL"),
        ("--size 90 --aql 0.7", "0.65"),
        ("--size 90 --aql nan", "There are: 0.01, 0.015"),
        ("--size 90 --aql inf", "There are: 0.01, 0.015"),
        ("--size 90 --aql -1", "There are: 0.01, 0.015"),
        ("--size 90 --aql 1e9", "nearest: 1000"),
        ("--size 99999999999999999999999 --aql 1", "up to 10000000"),
        ("--size 10000001 --aql 1", "a lot of 10000001 units is too large"),
        ("--size 99999999999999999999999 --method zero-acceptance --limiting-quality 10", "up to 10000000"),
        ("--size 99999999999999999999999 --method variables --aql 1 --characteristic next", "up to 10000000"),
        ("--size 0 --aql 1", "0"),
        ("--size -5 --aql 1", "-5"),
        ("--size 1 --aql 1", "1"),
        ("--size 90 --aql 1 --level IX", "IX"),
        ("--size 90 --aql 1 --limiting-quality 5", "--limiting-quality says nothing for --method attributes"),
        ("--size 90 --aql 1 --characteristic next", "--characteristic says nothing"),
        ("--size 90 --method zero-acceptance", "needs --limiting-quality"),
        ("--size 90 --method zero-acceptance --limiting-quality 10 --aql 1", "--aql says nothing"),
        ("--size 90 --method zero-acceptance --limiting-quality 0", "0"),
        ("--size 90 --method zero-acceptance --limiting-quality 500", "500"),
        ("--size 90 --method zero-acceptance --limiting-quality 5 --consumer-risk 2", "2"),
        ("--size 90 --method variables --aql 1 --characteristic nonsense", "nonsense"),
        ("--size many --aql 1", "valid integer"),
        ("--size 90 --aql 1 --severity gentle", "gentle"),
    ],
)
def test_nonsense_is_refused_with_words(run: Run, words: str, told: str) -> None:
    answer = run("lot", "plan", *words.split())
    assert answer.code == 2
    assert told in answer.err
    assert answer.out == ""
    assert "Traceback" not in answer.err


def test_a_reader_that_leaves_changes_nothing() -> None:
    code = "import sys; from benchsweep.cli import main; main()"
    words = [sys.executable, "-c", code, "lot", "plan", "--size", "90", "--aql", "0.65"]
    with subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        process.stdout.close()
        assert process.stderr.read() == b""
        assert process.wait(60) == 0


def test_help_names_every_verb_and_starts_without_them(run: Run) -> None:
    told = run("lot", "--help")
    assert told.code == 0
    verbs = "plan open draw add exclude replan status list close prove report process".split()
    for verb in verbs:
        assert f" {verb} " in told.out
        helped = run("lot", verb, "--help")
        assert helped.code == 0
        assert "Example: " in helped.out
    code = (
        "import sys, json, benchsweep.cli._app\nprint(json.dumps([m for m in sys.modules if '._lot' in m]))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60
    )
    assert json.loads(done.stdout) == []
