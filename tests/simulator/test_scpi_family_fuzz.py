"""Random series of each family's own commands over TCP: errors in words, never a bug or a hang."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from benchsweep.simulator import BenchOptions, running_bench
from benchsweep.simulator.families import FAMILIES

from .conftest import Client

NUMBERS = ("", "1", "2", "3", "5", "17", "0")
ARGUMENTS = (
    "", " 1", " 0", " -1", " 3", " 2.5E7", " 1E300", " MIN", " MAX", " DEF", " ON", " OFF", " LIN", " LOG",
    " SEGM", " SING", " HOLD", " CONT", " GRO", " BUS", " MAN", " INT", " IMM", " EXT", " ALL", " ACT",
    " S21", " S33", " 'a'", " 'a',S12", " 'a','S12'", " 'S21'", " 'XFR:S12'", " 'XFR:S11','XFR:S22'",
    " SDATA", " SDAT", " FDAT", " CH1SDATA", " 'a',SDAT", " '1,2'", " 1,2", " REAL", " REAL,64", " REAL32",
    " ASC", " SWAP", " DB", " 5,0,1,0,0,0,1,1E6,2E6,3,1E3", " 5,0,0,0,0,0,0", " COMP", " POIN", " RED",
)  # fmt: skip
UNHEALTHY = (HealthCheck.function_scoped_fixture, HealthCheck.too_slow)


def headers(family: str) -> list[str]:
    """Return the patterns of the family, short forms, with ``#`` where a numeric suffix stands."""
    patterns = {command.pattern for table in FAMILIES[family].tables for command in table}
    bare = (re.sub(r"\{[a-z]+\}", "#", pattern) for pattern in sorted(patterns))
    return [re.sub(r"[a-z]", "", text.replace("[", "").replace("]", "")) for text in bare]


@pytest.fixture(scope="module", params=list(FAMILIES))
def fuzzed(request: pytest.FixtureRequest) -> Iterator[tuple[str, Client]]:
    ports = 2 if request.param == "single-channel" else 4
    with running_bench(BenchOptions(ports=ports, family=request.param)) as bench:
        client = Client(bench.address)
        yield request.param, client
        client.close()


def until_identity(client: Client) -> None:
    client.write("", "*IDN?")
    for _ in range(200):
        if client.read().startswith("Simulated works"):
            return
    pytest.fail("no identity came back")


@settings(max_examples=150, deadline=None, suppress_health_check=UNHEALTHY)
@given(data=st.data())
def test_no_series_of_a_familys_commands_meets_a_bug(fuzzed: tuple[str, Client], data: st.DataObject) -> None:
    family, client = fuzzed
    unit = st.tuples(
        st.sampled_from(headers(family)),
        st.sampled_from(NUMBERS),
        st.sampled_from(["", "", "?"]),
        st.sampled_from(ARGUMENTS),
    )
    series = data.draw(st.lists(unit, max_size=8))
    texts = [header.replace("#", number) + mark + given for header, number, mark, given in series]
    client.write("SENS:SWE:POIN 11", *texts, "ABOR", "*RST")
    until_identity(client)
    assert -310 not in client.errors()


def test_every_pattern_of_a_family_is_known_to_its_tree(fuzzed: tuple[str, Client]) -> None:
    """No table hides another's header: each is found in its short form, as a command or as a query."""
    family, client = fuzzed
    client.write("*RST")
    for header in headers(family):
        if header.startswith("*"):
            continue
        name = header.replace("#", "1")
        found = []
        for text in (name, f"{name}?"):
            client.write("*CLS", text)
            until_identity(client)
            found.append(client.errors())
        assert [-113] != found[0] or [-113] != found[1], name
