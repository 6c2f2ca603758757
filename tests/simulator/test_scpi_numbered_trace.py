"""The family ``numbered-trace`` over TCP with a bare socket: it sweeps the other way round."""

from __future__ import annotations

import time

import numpy as np
import pytest

from benchsweep.simulator import BenchOptions, running_bench

from .conftest import Client
from .family_clients import DRIVERS, complex_trace, own_analyzer

DRIVER = DRIVERS["numbered-trace"]
own_address, client = own_analyzer("numbered-trace")


def s(client: Client, name: str) -> np.ndarray:
    return complex_trace(client, f"SENS:DATA:CORR? {name}")


def test_the_preset_has_its_traps(client: Client) -> None:
    assert ", " in client.ask("*IDN?")
    assert client.ask("FORM?;:FORM:BORD?;:INIT:CONT?;:TRIG:SOUR?") == "ASC;NORM;1;INT"
    assert client.ask("TRIG:SCOP?;AVER?;:SENS:CORR?;:SENS:CORR:EXT?") == "ALL;0;1;1"
    assert client.ask("CALC1:PAR:COUN?;:CALC1:PAR1:DEF?;:CALC2:PAR:COUN?") == "+1;S11;+0"
    assert client.ask("SERV:PORT:COUN?;:SERV:CHAN:COUN?;ACT?") == "+4;+16;+1"


def test_the_format_is_a_word_with_its_length(client: Client) -> None:
    DRIVER.set_up(client, (1,))
    DRIVER.take(client)
    assert client.ask("FORM:DATA?") == "REAL"
    axis = client.block("SENS:FREQ:DATA?")
    np.testing.assert_allclose(axis, np.linspace(1e6, 500e6, 11), rtol=1e-15)
    client.write("FORM:DATA REAL32")
    assert client.ask("FORM:DATA?") == "REAL32"
    np.testing.assert_array_equal(client.block("SENS:FREQ:DATA?", "<f4"), axis.astype("f4"))
    client.write("FORM:DATA ASC", "FORM:DATA REAL,64")
    assert client.ask("FORM:DATA?") == "ASC"
    assert client.errors() == [-108]
    assert np.array(client.ask("SENS:FREQ:DATA?").split(","), dtype=float) == pytest.approx(axis)


def test_traces_by_number_and_data_without_a_trace(client: Client) -> None:
    DRIVER.set_up(client, (1, 2))
    client.write("CALC:PAR:COUN 3;:CALC:PAR3:DEF S12;SEL")
    DRIVER.take(client)
    selected = complex_trace(client, "CALC:SEL:DATA:SDAT?")
    np.testing.assert_array_equal(selected, s(client, "S12"))
    np.testing.assert_array_equal(complex_trace(client, "CALC:DATA:SDATA?"), selected)
    shown = client.block("CALC:SEL:DATA:FDAT?")
    assert shown.size == 22  # as many numbers as complex data: the count does not betray it
    np.testing.assert_allclose(shown[::2], 20 * np.log10(np.abs(selected)), rtol=1e-12)
    assert np.all(shown[1::2] == 0)
    client.write("CALC:PAR:COUN 2", "CALC:PAR3:SEL", "CALC:PAR3:DEF?", "CALC:PAR1:DEF S51")
    client.write("CALC:PAR1:DEF R1", "CALC:PAR:COUN 17", "CALC:DATA:SNP:PORT? '1,2'", "SENS:SWE:MODE HOLD")
    assert client.errors() == [-114, -114, -224, -241, -222, -113, -113]
    assert client.ask("CALC:PAR2:DEF?") == "S22"


def test_only_ports_that_a_trace_needs_are_driven(client: Client) -> None:
    DRIVER.set_up(client, (1, 2))
    DRIVER.take(client)
    first = s(client, "S31")
    assert np.all(s(client, "S13") == 0)
    client.write("CALC:PAR1:DEF S33;:CALC:PAR2:DEF S33")
    DRIVER.take(client)
    assert np.all(s(client, "S13") != 0)
    np.testing.assert_array_equal(s(client, "S31"), first)


def test_a_single_trigger_needs_continuous_and_the_bus(client: Client) -> None:
    client.write("FORM REAL;:FORM:BORD SWAP;:SENS:CORR OFF;:SENS:CORR:EXT OFF", "TRIG:SING")
    client.write("TRIG:SOUR BUS;:INIT:CONT OFF;:TRIG:SING")
    assert client.errors() == [-211, -211]
    assert client.ask("*OPC?") == "1"
    assert np.all(s(client, "S11") == 0)
    client.write("INIT:CONT ON;:TRIG:SING")
    assert client.ask("*OPC?") == "1"
    once = s(client, "S11")
    assert np.all(once != 0)
    np.testing.assert_array_equal(s(client, "S11"), once)  # it waits for the next trigger
    assert client.errors() == []


@pytest.mark.parametrize(
    "how", ["INIT:CONT OFF;:TRIG:SOUR INT;:INIT", "TRIG:SOUR BUS;:TRIG", "TRIG:SOUR BUS;*TRG"]
)
def test_other_ways_to_sweep_tell_nobody_of_their_end(client: Client, how: str) -> None:
    """``*OPC?`` answers at once, and what is read then is what was there before."""
    DRIVER.set_up(client, (1,))
    DRIVER.take(client)
    before = s(client, "S11")
    client.write("SENS:BWID 100", how)
    assert client.ask("*OPC?") == "1"
    np.testing.assert_array_equal(s(client, "S11"), before)
    assert int(client.ask("STAT:OPER:COND?")) == 8
    deadline = time.monotonic() + 5
    while int(client.ask("STAT:OPER:COND?")) & 8:
        assert time.monotonic() < deadline
        time.sleep(0.01)
    assert np.all(s(client, "S11") != before)
    assert client.errors() == []


def noise(client: Client) -> float:
    client.write("SENS:AVER:CLE")
    DRIVER.take(client)
    values = [s(client, name) for name in ("S12", "S21", "S31", "S32")]
    return float(np.mean(np.abs(np.array(values)) ** 2))


def test_one_trigger_averages_only_when_told_so(client: Client) -> None:
    client.write("BENC:CONN '1=load,2=load,3=load,4=load'", "SENS:SWE:POIN 801;:SENS:BWID 10E3")
    DRIVER.set_up(client, (1, 2))
    client.write("SENS:AVER ON;:SENS:AVER:COUN 16")
    once = noise(client)
    for _ in range(15):
        DRIVER.take(client)
    sixteen = [s(client, name) for name in ("S12", "S21", "S31", "S32")]
    assert once / np.mean(np.abs(np.array(sixteen)) ** 2) == pytest.approx(16, rel=0.15)
    client.write("TRIG:AVER ON")
    assert once / noise(client) == pytest.approx(16, rel=0.15)
    client.write("SENS:AVER:MODE SWE")
    assert client.errors() == [-113]


def test_the_scope_of_the_trigger(client: Client) -> None:
    DRIVER.set_up(client, (1,))
    client.write("CALC2:PAR:COUN 1;:INIT2:CONT ON;:SENS2:CORR OFF;:SENS2:SWE:POIN 11;:TRIG:SCOP ACT")
    DRIVER.take(client)
    assert np.all(complex_trace(client, "SENS2:DATA:CORR? S11") == 0)
    client.write("DISP:WIND2:ACT")
    assert client.ask("SERV:CHAN:ACT?") == "+2"
    DRIVER.take(client)
    assert np.all(complex_trace(client, "SENS2:DATA:CORR? S11") != 0)
    client.write("TRIG:SCOP ALL")
    before = s(client, "S11")
    DRIVER.take(client)
    assert np.all(s(client, "S11") != before)


def test_uncorrected_data_are_raw_whatever_is_on(client: Client) -> None:
    DRIVER.set_up(client, (1, 2))
    DRIVER.take(client)
    raw = s(client, "S21")
    client.write("SENS:CORR ON;:SENS:CORR:EXT ON")
    assert np.abs(s(client, "S21") - raw).max() > 0.01
    np.testing.assert_array_equal(complex_trace(client, "SENS:DATA:RAWD? S21"), raw)


def test_free_running_gives_new_data_at_every_reading(client: Client) -> None:
    client.write("FORM REAL;:FORM:BORD SWAP")
    assert client.ask("*OPC?") == "1"
    assert int(client.ask("STAT:OPER:COND?")) == 8
    assert np.all(s(client, "S11") != s(client, "S11"))


def test_names_with_ten_ports_and_more() -> None:
    with running_bench(BenchOptions(ports=16, family="numbered-trace")) as bench:
        one = Client(bench.address)
        one.write("CALC:PAR:COUN 3;:CALC:PAR1:DEF S10_1;:CALC:PAR2:DEF S0910;:CALC:PAR3:DEF S9_8")
        assert one.ask("CALC:PAR1:DEF?;:CALC:PAR2:DEF?;:CALC:PAR3:DEF?") == "S10_1;S9_10;S98"
        one.write("CALC:PAR1:DEF S109", "SENS:DATA:CORR? S1_17")
        assert one.errors() == [-224, -224]
        one.close()
