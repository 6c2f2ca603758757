"""The family ``named-measurement`` over TCP with a bare socket: settings, sweeps, data, simulated faults.

Spellings as public driver code of scikit-rf (skrf/vi) uses them; the rest from memory.
"""

from __future__ import annotations

import contextlib

import numpy as np
import pytest

from benchsweep.simulator import BenchOptions, running_bench
from benchsweep.simulator.bench import Bench
from benchsweep.simulator.specimen import load_specimen

from .conftest import TIMEOUT_S, Client, matrix, take

TRUTH = load_specimen("cord-2m", seed=1)


# -- presets and settings ----------------------------------------------------------------------------------


def test_the_preset_has_its_traps(fresh: Client) -> None:
    assert fresh.ask("FORM?;:FORM:BORD?;:MMEM:STOR:TRAC:FORM:SNP?") == "ASC,+0;NORM;MA"
    assert fresh.ask("SENS:CORR?;:SENS:CORR:EXT?;:CALC:FSIM:STAT?;:INIT:CONT?") == "1;1;0;1"
    assert fresh.ask("CALC:PAR:CAT:EXT?;:SYST:CHAN:CAT?") == '"CH1_S11_1,S11";"1"'
    assert fresh.ask("SYST:CAP:HARD:PORT:COUN?") == "+4"
    fresh.write("FORM REAL,32;:FORM:BORD SWAP")
    assert fresh.ask("FORM?;:FORM:BORD?") == "REAL,+32;SWAP"
    fresh.write("SYST:PRES")
    assert fresh.ask("FORM?") == "ASC,+0"


def test_settings_round_and_couple(fresh: Client) -> None:
    fresh.write("SENS:BWID 1234")
    assert float(fresh.ask("SENS:BAND:RES?")) == 1000
    fresh.write("SENS:FREQ:STAR 20E6;STOP 10 MHZ")
    assert [float(x) for x in fresh.ask("FREQ:STAR?;STOP?").split(";")] == [10e6, 10e6]
    fresh.write("SENS:FREQ:CENT 100E6;SPAN 50E6")
    assert [float(x) for x in fresh.ask("FREQ:STAR?;STOP?").split(";")] == [75e6, 125e6]
    fresh.write("SOUR:POW1 -3")
    assert float(fresh.ask("SOUR:POW4?")) == -3
    fresh.write("SOUR:POW:COUP OFF;:SOUR:POW2 -7 DBM")
    assert [float(x) for x in fresh.ask("SOUR:POW1?;:SOUR:POW2?").split(";")] == [-3, -7]
    # points (1.2 / B + 60 us) for one driven port, as the bench file's comment and overhead say
    fresh.write("SENS:SWE:POIN 100;:SENS:BWID 100;:SENS:AVER ON;:SENS:AVER:COUN 4;MODE POIN")
    assert float(fresh.ask("SENS:SWE:TIME?")) == pytest.approx(4 * 100 * (1.2 / 100 + 60e-6))
    assert fresh.errors() == []


def test_names_of_parameters_with_ten_ports_and_more() -> None:
    with running_bench(BenchOptions(ports=16)) as bench:
        client = Client(bench.address)
        client.write("CALC:PAR:DEL:ALL;:CALC:PAR:EXT 'a',S1001;EXT 'b',S0109;EXT 'c',S21;EXT \"d\",'S1616'")
        assert client.errors() == []
        assert client.ask("CALC:PAR:CAT:EXT?") == '"a,S1001,b,S19,c,S21,d,S1616"'
        client.write("CALC:PAR:EXT 'e',S109;EXT 'f',S1716;EXT 'a',S11;DEL 'a';SEL 'b'")
        assert client.errors() == [-224, -224, -224]
        assert client.ask("CALC:PAR:SEL?;CAT?") == '"b";"b,S19,c,S21,d,S1616"'
        client.close()


def test_a_touchstone_specimen_sets_the_preset_grid(tmp_path) -> None:
    lines = ["# MHZ S RI R 50"] + [f"{f} " + " ".join(["0.1 0"] * 16) for f in (2, 4, 6, 8)]
    path = tmp_path / "four.s4p"
    path.write_text("\n".join(lines) + "\n")
    with running_bench(BenchOptions(ports=4, specimen=str(path))) as bench:
        client = Client(bench.address)
        assert client.ask("SENS:SWE:POIN?") == "+4"
        assert [float(x) for x in client.ask("SENS:FREQ:STAR?;STOP?").split(";")] == [2e6, 8e6]
        # Outside the file's range the sweep fails in words, and the data are not numbers.
        client.write("SENS:SWE:MODE HOLD;:SENS:FREQ:STOP 100E6;:FORM REAL,64;:FORM:BORD SWAP")
        client.write("BENC:CONN '1=A:12.1'", "CALC:PAR:SEL 'CH1_S11_1'")
        take(client)
        assert client.ask("SYST:ERR?").startswith("-221,")
        assert np.all(client.block("CALC:DATA? SDATA") == 9.91e37)
        client.close()


# -- sweeps and data ---------------------------------------------------------------------------------------


def test_matrix_trace_and_axis_agree_in_every_format(ready: Client) -> None:
    take(ready)
    s = matrix(ready)
    axis = ready.block("CALC:X?")
    np.testing.assert_array_equal(axis, np.linspace(1e6, 100e6, 11))
    np.testing.assert_array_equal(ready.block("CALC:DATA:SNP:PORT? '1'")[:11], axis)
    ready.write("CALC:PAR:EXT 't',S31;SEL 't'")
    trace = ready.block("CALC:DATA? SDATA")
    np.testing.assert_array_equal(trace[::2] + 1j * trace[1::2], s[:, 2, 0])
    np.testing.assert_allclose(ready.block("CALC:DATA? FDATA"), 20 * np.log10(np.abs(s[:, 2, 0])), rtol=1e-12)
    ready.write("FORM:BORD NORM")
    np.testing.assert_array_equal(ready.block("CALC:DATA? SDATA", ">f8"), trace)
    ready.write("FORM REAL,32")
    np.testing.assert_array_equal(ready.block("CALC:DATA? SDATA", ">f4"), trace.astype("f4"))
    ready.write("FORM ASC,0")
    text = np.array(ready.ask("CALC:DATA? SDATA").split(","), dtype=float)
    np.testing.assert_allclose(text, trace, rtol=1e-11)
    ready.write("FORM REAL,64;:FORM:BORD SWAP;:MMEM:STOR:TRAC:FORM:SNP MA")
    rows = ready.block("CALC:DATA:SNP:PORT? '1,2,3,4'").reshape(33, -1)
    np.testing.assert_allclose(
        rows[1::2] * np.exp(1j * np.radians(rows[2::2])), s.reshape(11, 16).T, atol=1e-12
    )
    ready.write("MMEM:STOR:TRAC:FORM:SNP DB")
    rows = ready.block("CALC:DATA:SNP:PORT? '1,2,3,4'").reshape(33, -1)
    np.testing.assert_allclose(10 ** (rows[1::2] / 20), np.abs(s.reshape(11, 16).T), rtol=1e-9)


def test_two_ports_come_column_by_column_and_more_row_by_row(ready: Client) -> None:
    """The receivers' gains differ, so the raw matrix is not symmetric and the order shows."""
    take(ready)
    s = matrix(ready)
    assert np.abs(s[:, 0, 2] - s[:, 2, 0]).min() > 1e-4
    pair = ready.block("CALC:DATA:SNP:PORT? '3,1'").reshape(9, -1)
    values = pair[1::2] + 1j * pair[2::2]
    np.testing.assert_array_equal(values, [s[:, 2, 2], s[:, 0, 2], s[:, 2, 0], s[:, 0, 0]])
    three = matrix(ready, "3,1,4", 3)
    order = [2, 0, 3]
    np.testing.assert_array_equal(three, s[:, order][:, :, order])


def test_a_port_that_was_not_driven_has_zero_and_then_stale_data(ready: Client) -> None:
    ready.write("CALC:PAR:DEL 'p3'")
    take(ready)
    first = matrix(ready)
    assert np.all(first[:, :, 2] == 0)
    assert np.all(first[:, :, [0, 1, 3]] != 0)
    ready.write("CALC:PAR:DEL 'p2';EXT 'p3',S13")
    take(ready)
    second = matrix(ready)
    assert np.all(second[:, :, 2] != 0)
    np.testing.assert_array_equal(second[:, :, 1], first[:, :, 1])
    assert np.all(second[:, :, 0] != first[:, :, 0])
    ready.write("SENS:SWE:POIN 21")
    assert np.all(matrix(ready) == 0)


def test_the_analyzers_own_correction_and_extension_change_the_data(ready: Client) -> None:
    take(ready)
    raw = matrix(ready)
    legs = [TRUTH.conductors.index(name) for name in ("A1", "A2", "B1", "B2")]
    truth = TRUTH.scatter(np.linspace(1e6, 100e6, 11))[:, legs][:, :, legs]
    ready.write("SENS:CORR ON")
    corrected = matrix(ready)
    assert np.abs(raw - truth).max() > 0.5
    assert 0.01 < np.abs(corrected - truth).max() < 0.2  # plausible, and wrong
    ready.write("SENS:CORR OFF", *(f"SENS:CORR:EXT:PORT{port}:TIME 0" for port in (2, 3, 4)))
    ready.write("SENS:CORR:EXT:PORT1:TIME 1 NS;:SENS:CORR:EXT ON")
    turned = matrix(ready)
    f = np.linspace(1e6, 100e6, 11)
    np.testing.assert_allclose(turned[:, 0, 0], raw[:, 0, 0] * np.exp(4j * np.pi * f * 1e-9), rtol=1e-9)
    np.testing.assert_allclose(turned[:, 2, 1], raw[:, 2, 1], rtol=1e-12)


def noise_of(client: Client, sweeps: int = 1) -> float:
    """Mean square of what two ports with nothing between them seem to transmit."""
    client.write(f"BENC:CONN '1=load,2=load,3=load,4=load';:SENS:SWE:GRO:COUN {sweeps};:SENS:AVER:CLE")
    client.write("SENS:SWE:MODE GRO")
    assert client.ask("*OPC?;:SENS:SWE:MODE?") == "1;HOLD"
    return float(np.mean(np.abs(matrix(client)[:, ~np.eye(4, dtype=bool)]) ** 2))


def test_noise_falls_with_bandwidth_and_with_averaging_done_right(ready: Client) -> None:
    ready.write("SENS:SWE:POIN 801;:SENS:BWID 10E3")
    wide = noise_of(ready)
    assert 10 * np.log10(wide) == pytest.approx(-85, abs=0.5)  # the bench file: -120 dBm in 10 Hz, -5 dBm
    ready.write("SENS:BWID 100")
    assert wide / noise_of(ready) == pytest.approx(100, rel=0.1)
    ready.write("SENS:BWID 10E3;:SENS:AVER ON;:SENS:AVER:COUN 16")
    assert wide / noise_of(ready, sweeps=1) == pytest.approx(1, rel=0.1)  # one sweep of sixteen only
    assert wide / noise_of(ready, sweeps=16) == pytest.approx(16, rel=0.1)
    ready.write("SENS:AVER:CLE")
    for _ in range(4):
        take(ready)
    four = float(np.mean(np.abs(matrix(ready)[:, ~np.eye(4, dtype=bool)]) ** 2))
    assert wide / four == pytest.approx(4, rel=0.1)
    ready.write("SENS:AVER:MODE POIN")
    assert wide / noise_of(ready, sweeps=1) == pytest.approx(16, rel=0.1)


def test_continuous_sweeping_gives_new_data_and_no_pending_operation(ready: Client) -> None:
    ready.write("INIT:CONT ON")
    assert ready.ask("*OPC?;:SENS:SWE:MODE?") == "1;CONT"
    one, two = matrix(ready), matrix(ready)
    assert np.all(one != two)
    ready.write("INIT")
    assert ready.errors() == [-213]
    ready.write("INIT:CONT OFF")
    np.testing.assert_array_equal(matrix(ready), matrix(ready))


def test_a_manual_trigger_is_waited_for(ready: Client) -> None:
    ready.write("TRIG:SOUR MAN", "SENS:SWE:MODE SING", "*OPC")
    assert int(ready.ask("STAT:OPER:COND?")) == 32
    assert ready.ask("*ESR?") == "+0"
    ready.write("INIT")
    assert ready.ask("*OPC?;*ESR?;:STAT:OPER:COND?") == "1;+1;+0"
    assert np.all(matrix(ready) != 0)


# -- simulated faults --------------------------------------------------------------------------------------


def test_invalid_points_wrong_count_and_instrument_error_come_once(ready: Client) -> None:
    ready.write("BENC:FAUL 'invalid-points'")
    assert ready.ask("BENC:FAUL?") == '"invalid-points"'
    take(ready)
    assert ready.ask("BENC:FAUL?") == '"none"'
    bad = matrix(ready)
    assert 0 < np.sum(bad[:, 0, 0].real == 9.91e37) < 11
    take(ready)
    assert np.abs(matrix(ready)).max() < 10
    ready.write("BENC:FAUL 'wrong-count'")
    assert ready.block("CALC:X?").size == 9
    assert ready.block("CALC:X?").size == 11
    ready.write("BENC:FAUL 'instrument-error'")
    take(ready)
    assert ready.errors() == [-300]
    assert int(ready.ask("*ESR?")) == 8


def test_a_truncated_block_leaves_the_link_open(ready: Client) -> None:
    take(ready)
    ready.write("BENC:FAUL 'truncate-block'", "CALC:X?")
    ready.socket.settimeout(0.3)
    received = ready.socket.recv(1000)
    assert received.startswith(b"#288")
    assert len(received) == (4 + 88) // 2
    with pytest.raises(TimeoutError):  # nothing more comes
        ready.socket.recv(1000)
    ready.socket.settimeout(TIMEOUT_S)
    ready.socket.sendall(b"*ESE?\n")
    assert ready.socket.recv(100) == b"+0\n"


def test_a_dropped_link_ends_in_the_sweep_or_in_the_block(ready: Client, address: str) -> None:
    ready.write("BENC:FAUL 'drop-link'", "SENS:SWE:MODE SING", "*OPC?")
    with contextlib.suppress(ConnectionError):
        assert ready.file.read(1) == b""
    other = Client(address)
    assert other.ask("*OPC?") == "1"
    other.write("FORM REAL,64", "BENC:FAUL 'drop-link'", "CALC:X?")
    assert 0 < len(other.file.read()) < 92
    other.close()
    third = Client(address)
    assert third.ask("BENC:FAUL?") == '"none"'
    third.close()


def test_a_bug_in_a_handler_is_an_entry_of_the_queue(ready: Client, monkeypatch) -> None:
    def broken(*_: object) -> None:
        raise ZeroDivisionError("made for a test")

    monkeypatch.setattr(Bench, "connect", broken)
    ready.write("BENC:CONN '1=open';:SENS:SWE:POIN 15")
    assert ready.ask("SENS:SWE:POIN?") == "+15"
    assert ready.ask("SYST:ERR?") == '-310,"System error;ZeroDivisionError: made for a test"'
    monkeypatch.setattr(Bench, "measure", broken)
    take(ready)
    assert ready.errors() == [-310]
    assert np.all(matrix(ready).real == 9.91e37)
