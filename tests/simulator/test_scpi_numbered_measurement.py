"""The family ``numbered-measurement`` over TCP with a bare socket."""

from __future__ import annotations

import numpy as np

from benchsweep.simulator import BenchOptions, running_bench

from .conftest import Client
from .family_clients import DRIVERS, complex_trace, own_analyzer

DRIVER = DRIVERS["numbered-measurement"]
own_address, client = own_analyzer("numbered-measurement")


def test_the_preset_has_its_traps(client: Client) -> None:
    assert client.ask("FORM?;:FORM:BORD?") == "ASC,+0;NORM"
    assert client.ask("SENS:CORR?;:SENS:CORR:EXT?;:INIT:CONT?;:SENS:SWE:MODE?") == "1;1;1;CONT"
    assert client.ask("SYST:MEAS:CAT? 1;:CALC:MEAS1:DEF?;:SYST:CHAN:CAT?") == '1;"S11";"1"'
    assert client.ask("SYST:CAP:HARD:PORT:COUN?;INT:COUN?") == "+4;+4"
    assert client.ask("SENS:SEGM:COUN?;:SENS:SEGM1:STAT?") == "+1;0"


def test_there_is_no_selected_measurement_and_no_matrix(client: Client) -> None:
    client.write(
        "CALC:PAR:EXT 'x',S21", "CALC:PAR:SEL 'x'", "CALC:DATA? SDATA", "CALC:DATA:SNP:PORT? '1,2'",
        "CALC:PAR:CAT:EXT?",
    )  # fmt: skip
    assert client.errors() == [-113] * 5


def test_measurements_by_number(client: Client) -> None:
    client.write("CALC:MEAS7:DEF \"S34\";:CALC2:MEAS3:DEF 'S21'", "CALC:MEAS7:DEF 's43'")
    assert client.ask("SYST:MEAS:CAT?;CAT? 1;CAT? 2") == "1,3,7;1,7;3"
    assert client.ask("CALC:MEAS7:DEF?;:SYST:CHAN:CAT?") == '"S43";"1,2"'
    client.write(
        "CALC1:MEAS3:DEF 'S11'", "CALC1:MEAS3:DEF?", "CALC:MEAS9:DATA:SDATA?", "CALC:MEAS1:DEF 'S51'"
    )
    assert client.errors() == [-221, -114, -114, -224]
    client.write("DISP:MEAS7:FEED 1", "DISP:MEAS8:FEED 1", "CALC:MEAS7:DEL", "CALC:MEAS7:X?")
    assert client.errors() == [-114, -114]


def test_axis_data_and_formats(client: Client) -> None:
    DRIVER.set_up(client, (1, 2, 3, 4))
    DRIVER.take(client)
    axis = client.block("CALC:MEAS2:X?")
    np.testing.assert_allclose(axis, np.linspace(1e6, 500e6, 11), rtol=1e-15)
    np.testing.assert_array_equal(client.block("CALC:MEAS2:DATA:X?"), axis)
    values = complex_trace(client, "CALC:MEAS2:DATA:SDATA?")
    shown = client.block("CALC:MEAS2:DATA:FDATA?")
    assert shown.size == axis.size
    np.testing.assert_allclose(shown, 20 * np.log10(np.abs(values)), rtol=1e-12)
    client.write("FORM:BORD NORM")
    np.testing.assert_array_equal(complex_trace(client, "CALC:MEAS2:DATA:SDATA?", ">f8"), values)


def test_a_port_that_nothing_drives_reads_zero_and_then_stale(client: Client) -> None:
    DRIVER.set_up(client, (1, 2))
    client.write("CALC:MEAS2:DEL;:CALC:MEAS4:DEL", "CALC:MEAS5:DEF 'S31'")
    DRIVER.take(client)
    first = complex_trace(client, "CALC:MEAS5:DATA:SDATA?")
    client.write("CALC:MEAS2:DEF 'S12';:CALC:MEAS6:DEF 'S11'")
    assert np.all(complex_trace(client, "CALC:MEAS2:DATA:SDATA?") == 0)
    np.testing.assert_array_equal(complex_trace(client, "CALC:MEAS5:DATA:SDATA?"), first)
    client.write(*(f"CALC:MEAS{number}:DEL" for number in (1, 3, 5, 6)))
    DRIVER.take(client)
    client.write("CALC:MEAS5:DEF 'S31'")
    np.testing.assert_array_equal(complex_trace(client, "CALC:MEAS5:DATA:SDATA?"), first)
    assert np.all(complex_trace(client, "CALC:MEAS2:DATA:SDATA?") != 0)


def test_the_port_extension_is_on_after_a_preset_and_turns_the_phase(client: Client) -> None:
    delays = [float(client.ask(f"SENS:CORR:EXT:PORT{port}:TIME?")) for port in (1, 3)]
    assert min(delays) > 0
    DRIVER.set_up(client, (1, 2, 3))
    DRIVER.take(client)
    raw = complex_trace(client, "CALC:MEAS3:DATA:SDATA?")  # S13
    client.write("SENS:CORR:EXT ON")
    turned = complex_trace(client, "CALC:MEAS3:DATA:SDATA?")
    f = np.linspace(1e6, 500e6, 11)
    np.testing.assert_allclose(turned, raw * np.exp(2j * np.pi * f * sum(delays)), rtol=1e-12)


def test_names_with_ten_ports_and_more() -> None:
    with running_bench(BenchOptions(ports=16, family="numbered-measurement")) as bench:
        one = Client(bench.address)
        one.write("CALC:MEAS1:DEF 'S1001';:CALC:MEAS2:DEF 'S0109'")
        assert one.ask("CALC:MEAS1:DEF?;:CALC:MEAS2:DEF?") == '"S1001";"S19"'
        one.write("CALC:MEAS3:DEF 'S109'", "CALC:MEAS3:DEF 'S10_9'", "CALC:MEAS3:DEF 'S1701'")
        assert one.errors() == [-224] * 3
        one.close()
