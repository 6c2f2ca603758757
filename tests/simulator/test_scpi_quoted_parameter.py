"""The family ``quoted-parameter`` over TCP with a bare socket."""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np
import pytest

from benchsweep.definitions import find_definition
from benchsweep.simulator import BenchOptions, running_bench

from .conftest import Client
from .family_clients import DRIVERS, complex_trace, own_analyzer

DRIVER = DRIVERS["quoted-parameter"]
own_address, client = own_analyzer("quoted-parameter")


def test_the_preset_has_its_traps(client: Client) -> None:
    assert client.ask("FORM?;:FORM:BORD?;:INIT:CONT?;:SENS:CORR?") == "ASC,0;NORM;1;1"
    assert client.ask("SENS:CORR:OFFS1?;:SENS:CORR:OFFS:COMP?") == "1;1"
    assert client.ask("CALC:PAR:CAT?;:CONF:CHAN:CAT?") == "'Trc1,S11';'1,Ch1'"
    assert client.ask("INST:PORT:COUN?") == "4"
    assert client.ask("SENS:AVER:MODE?;:INIT:SCOP?;:SENS:SWE:COUN?") == "AUTO;ALL;1"
    client.write("FORM REAL,64")
    assert client.ask("FORM?") == "REAL,64"


def test_other_families_verbs_are_unknown(client: Client) -> None:
    client.write(
        "SENS:SWE:MODE HOLD", "CALC:PAR:EXT 'x',S21", "CALC:DATA:SNP:PORT? '1'", "CALC:X?",
        "SYST:CAP:HARD:PORT:COUN?", "SENS:CORR:EXT OFF", "CALC:PAR:COUN?", "DISP:ENAB OFF",
    )  # fmt: skip
    assert client.errors() == [-113] * 8


def test_all_errors_come_in_one_answer(client: Client) -> None:
    assert client.ask("SYST:ERR:ALL?") == '0,"No error"'
    client.write("BAD", "SENS:SWE:POIN 1E9")
    first, second = client.ask("SYST:ERR:ALL?").split('",')
    assert first.startswith('-113,"Undefined header')
    assert second.startswith('-222,"Data out of range')
    assert client.ask("SYST:ERR?") == '0,"No error"'


def test_traces_are_defined_by_strings_and_read_by_name(client: Client) -> None:
    client.write("INIT:CONT 0;:FORM REAL,64;:FORM:BORD SWAP;:CALC:PAR:DEL:ALL")
    client.write("CALC:PAR:SDEF 'one','S21';SDEF \"two\",\"S12\"", "CALC:PAR:SDEF 'bare',S21")
    assert client.errors() == [-148]
    assert client.ask("CALC:PAR:CAT?;SEL?") == "'one,S21,two,S12';'two'"
    DRIVER.take(client)
    one = complex_trace(client, "CALC:DATA:TRAC? 'one',SDAT")
    two = complex_trace(client, "CALC:DATA? SDATA")
    client.write("CALC:PAR:SEL 'one'")
    np.testing.assert_array_equal(complex_trace(client, "CALC:DATA? SDAT"), one)
    both = complex_trace(client, "CALC:DATA:CHAN:ALL? SDAT")
    np.testing.assert_array_equal(both, np.concatenate([one, two]))
    shown = client.block("CALC:DATA:TRAC? 'one',FDAT")
    np.testing.assert_allclose(shown, 20 * np.log10(np.abs(one)), rtol=1e-12)
    np.testing.assert_allclose(client.block("CALC:DATA:STIM?"), np.linspace(1e6, 500e6, 11), rtol=1e-15)
    client.write("DISP:WIND1:TRAC1:FEED 'one'", "DISP:WIND1:TRAC1:EFE 'no'", "CALC:PAR:DEL 'one'")
    client.write("CALC:PAR:SEL 'one'", "CALC:DATA? SDAT")
    assert client.errors() == [-224, -224, -221]


def test_a_group_is_read_parameter_after_parameter(client: Client) -> None:
    """Reshaping straight to points by ports by ports would mix everything without an error."""
    DRIVER.set_up(client, (3, 1))
    assert client.ask("CALC:PAR:DEF:SGR?") == "3,1"
    assert "Ch1_SG_S31,S31" in client.ask("CALC:PAR:CAT?")
    DRIVER.take(client)
    group = complex_trace(client, "CALC:DATA:SGR? SDAT").reshape(4, 11)
    for row, name in zip(group, ("S33", "S31", "S13", "S11"), strict=True):
        client.write(f"CALC:PAR:SDEF 't','{name}'")
        np.testing.assert_array_equal(row, complex_trace(client, "CALC:DATA? SDAT"))
    assert np.abs(group[1] - group[2]).max() > 1e-4
    client.write("CALC:PAR:DEL:SGR", "CALC:DATA:SGR? SDAT")
    client.write("CALC:PAR:DEF:SGR 1,1", "CALC:PAR:DEF:SGR 5", "CALC:PAR:DEF:SGR")
    assert client.errors() == [-221, -224, -222, -109]


def test_undriven_ports_are_zero_and_then_stale(client: Client) -> None:
    DRIVER.set_up(client, (1, 2))
    DRIVER.take(client)
    first = DRIVER.matrix(client, (1, 2))
    client.write("CALC:PAR:DEF:SGR 1,2,3")
    before = DRIVER.matrix(client, (1, 2, 3))
    assert np.all(before[:, :, 2] == 0)
    client.write("CALC:PAR:DEF:SGR 3")
    DRIVER.take(client)
    client.write("CALC:PAR:DEF:SGR 1,2,3")
    after = DRIVER.matrix(client, (1, 2, 3))
    np.testing.assert_array_equal(after[:, :2, :2], first)
    assert np.all(after[:, :, 2] != 0)


def test_port_offsets_move_the_phase_until_they_are_taken_away(client: Client) -> None:
    delays = [float(client.ask(f"SENS:CORR:EDEL{port}:TIME?")) for port in (1, 2)]
    DRIVER.set_up(client, (1, 2))
    DRIVER.take(client)
    raw = DRIVER.matrix(client, (1, 2))
    client.write("SENS:CORR:OFFS:COMP ON")
    f = np.linspace(1e6, 500e6, 11)
    turned = raw[:, 0, 1] * np.exp(2j * np.pi * f * sum(delays))
    np.testing.assert_allclose(DRIVER.matrix(client, (1, 2))[:, 0, 1], turned, rtol=1e-12)
    client.write("SENS:CORR:OFFS1 OFF")
    assert client.ask("SENS:CORR:OFFS1?;:SENS:CORR:EDEL2?") == "0;0.00000000000E+00"
    np.testing.assert_array_equal(DRIVER.matrix(client, (1, 2)), raw)


def test_the_sweep_count_averages(client: Client) -> None:
    """Sixteen sweeps of one INITiate lower the noise to a sixteenth; without the count it is one sweep."""
    client.write("BENC:CONN '1=load,2=load,3=load,4=load'", "SENS:SWE:POIN 801;:SENS:BWID 10E3")
    DRIVER.set_up(client, (1, 2, 3, 4))

    def noise() -> float:
        client.write("SENS:AVER:CLE")
        DRIVER.take(client)
        return float(np.mean(np.abs(DRIVER.matrix(client, (1, 2, 3, 4))[:, ~np.eye(4, dtype=bool)]) ** 2))

    wide = noise()
    client.write("SENS:AVER ON;:SENS:AVER:COUN 16")
    assert wide / noise() == pytest.approx(1, rel=0.1)
    client.write("SENS:SWE:COUN 16")
    assert wide / noise() == pytest.approx(16, rel=0.1)


def test_initiate_starts_every_holding_channel_unless_its_scope_is_single(client: Client) -> None:
    client.write("FORM REAL,64;:FORM:BORD SWAP;:SENS2:SWE:POIN 11;:SENS:CORR OFF;:SENS2:CORR OFF")
    client.write("CALC2:PAR:SDEF 'b','S11'", "INIT1:CONT 0;:INIT2:CONT 0", "INIT1:IMM:SCOP SING")
    DRIVER.take(client)
    assert np.all(complex_trace(client, "CALC2:DATA? SDAT") == 0)
    client.write("INIT1:IMM:SCOP ALL")
    DRIVER.take(client)
    assert np.all(complex_trace(client, "CALC2:DATA? SDAT") != 0)
    client.write("INIT2:CONT 1;:INIT2")
    assert client.errors() == [-213]


def test_completion_in_continuous_sweep_comes_at_the_end_of_a_sweep(client: Client) -> None:
    client.write("FORM REAL,64;:FORM:BORD SWAP")
    assert int(client.ask("STAT:OPER:COND?")) == 8
    assert client.ask("*OPC?") == "1"
    one, two = complex_trace(client, "CALC:DATA? SDAT"), complex_trace(client, "CALC:DATA? SDAT")
    assert np.all(one != two)


def test_that_end_is_waited_for(tmp_path: Path) -> None:
    text = find_definition("benches", "default").read_text()
    path = tmp_path / "slow.toml"
    path.write_text(text.replace("real_time = false", "real_time = true"))
    with running_bench(BenchOptions(bench=str(path), ports=2, family="quoted-parameter")) as bench:
        one = Client(bench.address)
        one.write("SENS:SWE:POIN 100;:SENS:BWID 1000")
        wanted = float(one.ask("SENS:SWE:TIME?"))
        before = time.perf_counter()
        assert one.ask("*OPC?") == "1"
        assert time.perf_counter() - before >= wanted > 0.1
        one.write("INIT:CONT OFF")
        before = time.perf_counter()
        assert one.ask("*OPC?") == "1"
        assert time.perf_counter() - before < 0.5 * wanted
        one.close()


def test_names_with_ten_ports_and_more() -> None:
    with running_bench(BenchOptions(ports=16, family="quoted-parameter")) as bench:
        one = Client(bench.address)
        one.write("CALC:PAR:DEL:ALL;:CALC:PAR:SDEF 'a','S1001';SDEF 'b','S10_9';SDEF 'c','S0201'")
        assert one.ask("CALC:PAR:CAT?") == "'a,S1001,b,S1009,c,S21'"
        one.write("CALC:PAR:SDEF 'd','S109'", "CALC:PAR:SDEF 'd','S1_17'", "CALC:PAR:SDEF 'd','S1_'")
        assert one.errors() == [-224] * 3
        one.close()
