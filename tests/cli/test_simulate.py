"""``benchsweep simulate``: what it announces, and that every announced address answers."""

from __future__ import annotations

import json
import re
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import pytest
import pyvisa

from benchsweep.simulator import list_families
from tests.conftest import Answer


@contextmanager
def simulate(*arguments: str) -> Iterator[dict[str, Any]]:
    command = [sys.executable, "-W", "error", "-m", "benchsweep", "simulate", *arguments]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        try:
            yield json.loads(process.stdout.readline())
        finally:
            process.send_signal(signal.SIGINT)
            code = process.wait(20)
        assert (code, process.stdout.read(), process.stderr.read()) == (0, "", "")


def test_every_address_that_is_announced_answers() -> None:
    with simulate("--ports", "4", "--seed", "3", "--relays", "--family", "quoted-parameter") as document:
        assert document["schema"] == "benchsweep.bench/1"
        assert document["relays"] is True
        assert (document["family"], document["ports"], document["seed"]) == ("quoted-parameter", 4, 3)
        addresses = document["addresses"]
        assert set(addresses) == {"analyzer", "hislip", "vxi11", "relays"}
        assert all("::127.0.0.1" in address for address in addresses.values())
        manager = pyvisa.ResourceManager("@py")
        names = {}
        for key, address in addresses.items():
            resource = manager.open_resource(
                address, read_termination="\n", write_termination="\n", timeout=5000
            )
            names[key] = resource.query("*IDN?").split(",")[1]
            resource.close()
        manager.close()
        assert set(names.values()) == {"bench analyzer 4 ports", "relay matrix 4 by 21"}
        assert names["relays"] == "relay matrix 4 by 21"


def test_a_family_comes_with_the_ports_that_it_has() -> None:
    with simulate("--family", "single-channel", "--noiseless") as document:
        assert (document["ports"], document["noiseless"], document["relays"]) == (2, True, False)


def test_the_help_names_every_family(run: Callable[..., Answer]) -> None:
    shown = run("simulate", "--help")
    assert shown.code == 0
    words = re.sub(r"[^a-z-]+", " ", re.sub(r"-\s*│?\s*\n[\s│]*", "-", shown.out))
    for family in list_families():
        assert family in words
    assert "--relays" in shown.out


@pytest.mark.parametrize(
    ("arguments", "word"),
    [
        (("--family", "shouting"), "shouting"),
        (("--family", "single-channel", "--ports", "4"), "single-channel"),
        (("--ports", "5"), "5 ports"),
        (("--port", "70000"), "70000"),
    ],
)
def test_what_describes_no_bench_is_code_2(
    run: Callable[..., Answer], arguments: tuple[str, ...], word: str
) -> None:
    answer = run("simulate", *arguments)
    assert answer.code == 2
    assert word in answer.err
    assert answer.out == ""
