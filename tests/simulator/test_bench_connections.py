"""The words for what is attached to the analyzer ports."""

from __future__ import annotations

import pytest

from benchsweep.definitions import find_definition, load_model
from benchsweep.errors import DefinitionError
from benchsweep.simulator.bench import BenchDefinition, load_bench
from benchsweep.simulator.bench._connections import (
    ImpossibleConnection,
    format_connections,
    parse_connections,
)


def test_what_is_read_is_written_back_with_ports_rising() -> None:
    text = "7=thru 6,1=A:12.1, 3=open,4 = short,5=load,6=thru  7,2=B:78.8"
    found = parse_connections(text, 8)
    assert format_connections(found) == "1=A:12.1,2=B:78.8,3=open,4=short,5=load,6=thru 7,7=thru 6"
    assert parse_connections(format_connections(found), 8) == found
    assert parse_connections("", 8) == {}


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("1=A:12.1,2=A:12.1", "A:12.1 at ports 1 and 2"),
        ("1=A:12.3", "no such target"),
        ("1=A:13.1", "no such target"),
        ("1=C:12.1", "no such target"),
        ("1=", "no such target"),
        ("1=Open", "no such target"),
        ("0=open", "there are 1 to 8"),
        ("9=open", "there are 1 to 8"),
        ("1=open,1=short", "port 1 named twice"),
        ("1=thru 2", "does not come back"),
        ("1=thru 1", "does not come back"),
        ("1=thru 2,2=thru 3,3=thru 2", "does not come back"),
        ("1=thru 2,2=load", "does not come back"),
        ("1", "expected port=target"),
        ("open=1", "expected port=target"),
        ("1=open,,2=open", "expected port=target"),
    ],
)
def test_what_cannot_be_made_is_refused_in_words(text: str, words: str) -> None:
    with pytest.raises(ImpossibleConnection, match=words):
        parse_connections(text, 8)


@pytest.mark.parametrize(
    ("old", "new", "key"),
    [
        ("[noise]", "[noise]\nflor_dbm = -110", "noise.flor_dbm: unknown key"),
        ("stop_hz = 500e6", "stop_hz = 5e9", "preset: start and stop"),
        ("if_bandwidth_hz = 1000", "if_bandwidth_hz = 1234", "if_bandwidth_hz"),
        ("directivity_db = -30.0", "directivity_db = 30.0", "error_terms.directivity_db"),
        ("schema = 1", "schema = 2", "schema"),
    ],
)
def test_a_wrong_bench_file_is_refused_by_file_and_key(tmp_path, old: str, new: str, key: str) -> None:
    text = find_definition("benches", "default").read_text()
    assert old in text
    path = tmp_path / "mine.toml"
    path.write_text(text.replace(old, new))
    with pytest.raises(DefinitionError, match=key) as caught:
        load_model(path, BenchDefinition)
    assert "mine.toml" in str(caught.value)


def test_the_fingerprint_changes_with_all_that_changes_error_terms() -> None:
    bench = load_bench("default")
    other = bench.model_copy(
        update={"error_terms": bench.error_terms.model_copy(update={"directivity_db": -31.0})}
    )
    quieter = bench.model_copy(
        update={"noise": bench.noise.model_copy(update={"floor_dbm_in_10_hz": -130.0})}
    )
    prints = [
        bench.fingerprint(16, 1),
        bench.fingerprint(8, 1),
        bench.fingerprint(16, 2),
        other.fingerprint(16, 1),
    ]
    assert len(set(prints)) == 4
    assert quieter.fingerprint(16, 1) == bench.fingerprint(16, 1)
