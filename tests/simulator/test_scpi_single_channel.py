"""The family ``single-channel`` over TCP with a bare socket: two ports, and less of everything."""

from __future__ import annotations

import numpy as np
import pytest

from .conftest import Client
from .family_clients import DRIVERS, complex_trace, own_analyzer

DRIVER = DRIVERS["single-channel"]
own_address, client = own_analyzer("single-channel")


def test_what_it_has_not(client: Client) -> None:
    client.write(
        "FORM:BORD SWAP", "SENS:SWE:TYPE LOG", "SENS:SEGM:COUN?", "SENS:CORR:EXT ON", "SENS:FREQ:DATA?",
        "SENS:DATA:CORR? S21", "SERV:PORT:COUN?", "TRIG:SING", "TRIG:AVER ON", "SENS:AVER:MODE POIN",
        "CALC:SEL:DATA:SDAT?", "CALC:FSIM:STAT OFF",
    )  # fmt: skip
    assert client.errors() == [-113] * 12
    client.write("SENS2:FREQ:STAR?", "CALC2:PAR:COUN?", "SOUR:POW3 0", "CALC:PAR1:DEF S31")
    assert client.errors() == [-114, -114, -114, -224]


def test_bandwidths_are_few(client: Client) -> None:
    for asked, used in ((150, 100), (250, 300), (700, 1000), (99e3, 30e3), (15, 10)):
        client.write(f"SENS:BWID {asked}")
        if asked <= 30e3:
            assert float(client.ask("SENS:BWID?")) == used
    assert client.errors() == [-222]
    assert [float(x) for x in client.ask("SENS:BWID? MIN;BWID? MAX").split(";")] == [10, 30e3]


def test_format_answers_and_big_endian_data(client: Client) -> None:
    assert client.ask("FORM?") == "ASC,0"
    client.write("FORM REAL,64")
    assert client.ask("FORM:DATA?") == "REAL,64"
    client.write("FORM REAL,32")
    assert client.ask("FORM?") == "REAL,32"
    DRIVER.set_up(client, (1, 2))
    DRIVER.take(client)
    client.write("CALC:PAR3:SEL")
    big = complex_trace(client, "CALC:DATA:SDATA?", ">f8")
    client.write("FORM ASC,0")
    text = np.array(client.ask("CALC:DATA:SDAT?").split(","), dtype=float)
    np.testing.assert_allclose(big, text[::2] + 1j * text[1::2], rtol=1e-11)
    shown = np.array(client.ask("CALC:DATA:FDAT?").split(","), dtype=float)
    np.testing.assert_allclose(shown[::2], 20 * np.log10(np.abs(big)), rtol=1e-10)


def test_sweeping_needs_continuous_off(client: Client) -> None:
    assert client.ask("INIT:CONT?;:SENS:CORR?") == "1;1"
    client.write("INIT")
    assert client.errors() == [-213]
    DRIVER.set_up(client, (1, 2))
    DRIVER.take(client)
    one = DRIVER.matrix(client, (1, 2))
    assert np.all(one != 0)
    np.testing.assert_array_equal(DRIVER.matrix(client, (1, 2)), one)


def test_completion_is_not_told_while_it_sweeps_by_itself(client: Client, own_address: str) -> None:
    client.write("*OPC?", "*IDN?")
    client.socket.settimeout(0.2)
    with pytest.raises(TimeoutError):
        client.socket.recv(100)
    other = Client(own_address)
    assert int(other.ask("STAT:OPER:COND?")) == 8
    other.write("*OPC")
    assert other.ask("*ESR?") == "0"
    other.write("INIT:CONT OFF")
    client.socket.settimeout(5)
    assert client.socket.recv(2) == b"1\n"
    assert other.ask("*ESR?") == "1"
    other.close()


def test_an_average_takes_as_many_triggers(client: Client) -> None:
    client.write("BENC:CONN '1=load,2=load'", "SENS:SWE:POIN 2001;:SENS:BWID 10E3")
    DRIVER.set_up(client, (1, 2))
    client.write("SENS:AVER ON;:SENS:AVER:COUN 16;CLE")

    def noise() -> float:
        found = DRIVER.matrix(client, (1, 2))
        return float(np.mean(np.abs(found[:, [0, 1], [1, 0]]) ** 2))

    DRIVER.take(client)
    once = noise()
    for _ in range(15):
        DRIVER.take(client)
    assert once / noise() == pytest.approx(16, rel=0.15)


def test_an_undriven_port_reads_zero_and_then_stale(client: Client) -> None:
    DRIVER.set_up(client, (1, 2))
    client.write("CALC:PAR:COUN 1")
    DRIVER.take(client)
    client.write("CALC:PAR:COUN 2;:CALC:PAR2:DEF S12;SEL")
    assert np.all(complex_trace(client, "CALC:DATA:SDAT?", ">f8") == 0)
    DRIVER.take(client)
    driven = complex_trace(client, "CALC:DATA:SDAT?", ">f8")
    assert np.all(driven != 0)
    client.write("CALC:PAR2:DEF S11")
    DRIVER.take(client)
    client.write("CALC:PAR2:DEF S12")
    np.testing.assert_array_equal(complex_trace(client, "CALC:DATA:SDAT?", ">f8"), driven)
