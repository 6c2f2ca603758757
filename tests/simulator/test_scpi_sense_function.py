"""The family ``sense-function`` over TCP with a bare socket. Its spellings are from memory of SCPI-1999."""

from __future__ import annotations

import numpy as np
import pytest

from benchsweep.simulator import BenchOptions, running_bench

from .conftest import Client
from .family_clients import DRIVERS, complex_trace, own_analyzer

DRIVER = DRIVERS["sense-function"]
own_address, client = own_analyzer("sense-function")


def test_the_preset(client: Client) -> None:
    assert client.ask("FORM?;:FORM:BORD?;:INIT:CONT?;:SENS:CORR?") == "ASC,+0;NORM;0;1"
    assert client.ask("SENS:FUNC?;:SENS:FUNC:CONC?;COUN?") == '"XFR:S11";0;+1'
    assert client.ask("CALC:FEED?;FORM?;:SENS:SWE:SPAC?") == '"XFR:S11";MLOG;LIN'
    client.write("CALC:PAR:COUN?", "SENS:SEGM:COUN?", "CALC:X?", "SERV:PORT:COUN?", "SENS:SWE:SPAC SEGM")
    assert client.errors() == [-113, -113, -113, -113, -224]


def test_functions_take_each_others_place_unless_they_may_be_concurrent(client: Client) -> None:
    client.write("SENS:FUNC 'XFR:S 2,1'")
    assert client.ask("SENS1:FUNC?;:CALC:FEED?") == '"XFR:S21";"XFR:S21"'
    client.write("SENS:FUNC 'XFR:S11','XFR:S21'", "SENS:FUNC:CONC ON;:SENS:FUNC 'xfrequency:power:s11'")
    assert client.errors() == [-221]
    assert client.ask("SENS:FUNC?;:SENS:FUNC:STAT? 'S11';COUN?") == '"XFR:S21","XFR:S11";1;+2'
    client.write("SENS:FUNC:OFF 'XFR:S21'", "CALC:FEED 'XFR:S21'", "SENS:FUNC 'XFR:S51'", "SENS:FUNC 'VOLT'")
    assert client.errors() == [-221, -224, -224]
    assert client.ask("SENS:FUNC?;:CALC:FEED?") == '"XFR:S11";"XFR:S11"'


def test_one_function_after_the_other_reads_the_same_as_all_at_once() -> None:
    with running_bench(BenchOptions(ports=2, family="sense-function", noiseless=True)) as bench:
        one = Client(bench.address)
        one.write("BENC:CONN '1=A:12.1,2=B:12.1'", "SENS:SWE:POIN 11")
        DRIVER.set_up(one, (1, 2))
        DRIVER.take(one)
        together = DRIVER.matrix(one, (1, 2))
        one.write("SENS:FUNC:CONC OFF")
        for i, j in np.ndindex(2, 2):
            one.write(f"SENS:FUNC 'XFR:S{i + 1}{j + 1}'")
            DRIVER.take(one)
            np.testing.assert_array_equal(complex_trace(one, "TRAC? CH1SDATA"), together[:, i, j])
        assert one.errors() == []
        one.close()


def test_data_are_shown_in_a_format_and_traces_are_complex(client: Client) -> None:
    DRIVER.set_up(client, (1, 2))
    DRIVER.take(client)
    values = complex_trace(client, "TRAC:DATA? CH1SDATA")
    np.testing.assert_array_equal(complex_trace(client, "DATA? CH1SDATA"), values)
    expected = {
        "MLOG": 20 * np.log10(np.abs(values)),
        "MLIN": np.abs(values),
        "PHAS": np.degrees(np.angle(values)),
        "REAL": values.real,
        "IMAG": values.imag,
        "COMP": values.view(float),
    }
    for word, shown in expected.items():
        client.write(f"CALC:FORM {word}")
        np.testing.assert_allclose(client.block("CALC:DATA?"), shown, rtol=1e-12)
    np.testing.assert_allclose(client.block("TRAC? CH1FDATA"), expected["MLOG"], rtol=1e-12)
    assert client.ask("TRAC:CAT?") == '"CH1SDATA","CH1FDATA","CH2SDATA","CH2FDATA"'
    client.write("TRAC? CH3SDATA", "TRAC? CH2SDATA", "TRAC? NONSENSE")
    assert client.errors() == [-224, -221, -224]


def test_an_undriven_port_reads_zero_and_then_stale(client: Client) -> None:
    DRIVER.set_up(client, (1, 2))
    client.write("SENS:FUNC:OFF 'S12','S22'")
    DRIVER.take(client)
    client.write("SENS:FUNC 'S12'", "CALC:FEED 'S12'")
    assert np.all(complex_trace(client, "TRAC? CH1SDATA") == 0)
    DRIVER.take(client)
    driven = complex_trace(client, "TRAC? CH1SDATA")
    assert np.all(driven != 0)
    client.write("SENS:FUNC:OFF 'S12'")
    DRIVER.take(client)
    client.write("SENS:FUNC 'S12'", "CALC:FEED 'S12'")
    np.testing.assert_array_equal(complex_trace(client, "TRAC? CH1SDATA"), driven)


def test_completion_is_not_told_while_it_sweeps_by_itself(client: Client, own_address: str) -> None:
    client.write("INIT:CONT ON", "*OPC?")
    client.socket.settimeout(0.2)
    with pytest.raises(TimeoutError):
        client.socket.recv(100)
    other = Client(own_address)
    other.write("INIT:CONT OFF")
    client.socket.settimeout(5)
    assert client.socket.recv(2) == b"1\n"
    other.close()


def test_an_electrical_delay_of_all_ports(client: Client) -> None:
    DRIVER.set_up(client, (1, 2))
    DRIVER.take(client)
    raw = complex_trace(client, "TRAC? CH1SDATA")
    client.write("SENS:CORR:EDEL:TIME 1 NS;STAT ON")
    f = np.linspace(1e6, 500e6, 11)
    turned = complex_trace(client, "TRAC? CH1SDATA")
    np.testing.assert_allclose(turned, raw * np.exp(4j * np.pi * f * 1e-9), rtol=1e-11)
    assert float(client.ask("SENS:CORR:EDEL?")) == 1e-9
