"""Every fault that can be armed, as a client with a bare socket meets it."""

from __future__ import annotations

import socket
import time
from collections.abc import Iterator

import numpy as np
import pytest
from numpy.typing import NDArray

from benchsweep.simulator import BenchOptions, running_bench

from .conftest import SETUP, Client, matrix, take

NAMES = (
    "setting-refused", "late-answer", "sweep-never-ends", "drop-link", "truncate-block",
    "garbage-before-block", "garbage-after-block", "wrong-count", "invalid-points", "overload", "stale-data",
    "port-not-driven", "hung-until-clear", "front-panel", "power-cycle", "second-controller",
    "rounded-setting", "option-missing", "queue-overflow", "correction-on", "extension-on",
    "instrument-error", "swapped-bytes", "missing-newline", "no-answer", "loose-connector",
    "swapped-standards", "worn-termination", "wrong-cable",
)  # fmt: skip
# So many draws miss one of three equal chances once in 10^10 times.
MOST_DRAWS = 60


@pytest.fixture
def other(address: str) -> Iterator[Client]:
    """A second client, who arms while the first one works."""
    client = Client(address)
    yield client
    client.close()


def arm(client: Client, name: str, *values: float) -> None:
    client.write(f"BENC:FAUL '{name}'" + "".join(f",{value}" for value in values))
    assert client.errors() == []


def has_struck(client: Client) -> bool:
    return client.ask("BENC:FAUL?") == '"none"'


def silent(client: Client, seconds: float = 0.1) -> bool:
    """Nothing comes."""
    client.socket.settimeout(seconds)
    try:
        return client.socket.recv(1, socket.MSG_PEEK) == b"never"
    except TimeoutError:
        return True
    finally:
        client.socket.settimeout(5.0)


def is_closed(client: Client) -> bool:
    try:
        return client.file.read(1) == b""
    except ConnectionResetError:
        return True


# -- arming ------------------------------------------------------------------------------------------------


def test_the_catalogue_is_complete(fresh: Client) -> None:
    assert set(fresh.ask("BENC:FAUL:CAT?").strip('"').split(",")) == set(NAMES)


@pytest.mark.parametrize("name", NAMES)
def test_every_fault_is_armed_and_disarmed(fresh: Client, name: str) -> None:
    arm(fresh, name, 1000, 0.5)
    assert fresh.ask("BENC:FAUL?") == f'"{name}"'
    arm(fresh, "none")
    assert has_struck(fresh)


@pytest.mark.parametrize(
    "values", ["'no-answer',-1", "'no-answer',0,-1", "'no-answer',0,1,2", "no-answer", "'relay-stuck-open'"]
)
def test_arming_what_is_none_changes_nothing(fresh: Client, values: str) -> None:
    fresh.write(f"BENC:FAUL {values}")
    assert len(fresh.errors()) == 1
    assert has_struck(fresh)


@pytest.mark.parametrize("after", [0, 1, 3])
def test_a_fault_lets_as_many_messages_pass_as_it_was_told(fresh: Client, other: Client, after: int) -> None:
    """Messages to the bench and the error queue that is read behind the arming do not count."""
    arm(other, "no-answer", after)
    for _ in range(after):
        fresh.write("BENC:TIM?", "SENS:SWE:POIN 21")
        fresh.read()
    assert not has_struck(other)
    count = int(other.ask("BENC:FAUL:COUN?"))
    fresh.write("SENS:SWE:POIN?")
    assert silent(fresh)
    assert has_struck(other)
    assert int(other.ask("BENC:FAUL:COUN?")) == count + 1
    assert fresh.ask("SENS:SWE:POIN?") == other.ask("SENS:SWE:POIN?")


def test_a_fault_waits_for_an_occasion_that_fits(ready: Client) -> None:
    arm(ready, "stale-data")
    ready.write("SENS:SWE:POIN 11", "FORM REAL,64")
    assert ready.ask("SENS:SWE:POIN?") == "+11"
    assert not has_struck(ready)
    take(ready)
    assert has_struck(ready)


# -- settings ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("name", "number"), [("setting-refused", -221), ("option-missing", -241)])
def test_a_refused_setting_shows_in_the_error_queue_only(fresh: Client, name: str, number: int) -> None:
    fresh.write("SENS:SWE:POIN 21")
    arm(fresh, name)
    fresh.write("*ESE 0", "ABOR", "SENS:SWE:POIN 31", "SENS:BWID 300")
    assert fresh.errors() == [number]
    assert fresh.ask("SENS:SWE:POIN?;:SENS:BWID?") == "+21;+3.00000000000E+02"


def test_a_rounded_frequency_is_off_by_a_ten_thousandth_and_no_error_says_so(fresh: Client) -> None:
    arm(fresh, "rounded-setting")
    fresh.write("SENS:SWE:POIN 101", "SENS:FREQ:STOP 100E6", "SENS:FREQ:STAR 1E6")
    assert fresh.errors() == []
    assert fresh.ask("SENS:SWE:POIN?") == "+101"
    assert float(fresh.ask("SENS:FREQ:STOP?")) == pytest.approx(100.01e6)
    assert float(fresh.ask("SENS:FREQ:STAR?")) == 1e6
    arm(fresh, "rounded-setting")
    fresh.write("SENS:FREQ:STOP MAX")
    assert fresh.errors() == []
    assert 2.99e9 < float(fresh.ask("SENS:FREQ:STOP?")) < 3e9


# -- answers -----------------------------------------------------------------------------------------------


def test_a_late_answer_shifts_the_answers_behind_it(fresh: Client) -> None:
    arm(fresh, "late-answer", 0, 0.15)
    before = time.perf_counter()
    fresh.write("*IDN?")
    assert silent(fresh, 0.05)
    fresh.write("SENS:SWE:TYPE?")
    assert fresh.read().startswith("Simulated works")
    assert time.perf_counter() - before >= 0.14
    assert fresh.read() == "LIN"


def test_a_late_answer_is_late_by_itself_and_keeps_nobody_else_waiting(fresh: Client, other: Client) -> None:
    arm(other, "late-answer")
    before = time.perf_counter()
    fresh.write("*IDN?")
    assert silent(fresh, 0.05)
    assert other.ask("*ESE?") == "+0"
    assert time.perf_counter() - before < 0.4
    assert fresh.read().startswith("Simulated works")
    assert time.perf_counter() - before >= 0.59


def test_no_answer_at_all(fresh: Client) -> None:
    arm(fresh, "no-answer")
    fresh.write("*IDN?", "SENS:SWE:TYPE?")
    assert fresh.read() == "LIN"


def test_a_line_without_its_end_runs_into_the_next(fresh: Client) -> None:
    arm(fresh, "missing-newline")
    fresh.write("SENS:SWE:TYPE?", "FORM?")
    assert fresh.read() == "LINASC,+0"


@pytest.mark.parametrize("command", ["*IDN?", "CALC:X?"])
def test_a_dropped_link_ends_in_the_middle_of_the_answer(address: str, fresh: Client, command: str) -> None:
    client = Client(address)
    client.write("FORM REAL,64")
    whole = client.ask("*IDN?")
    arm(client, "drop-link")
    client.write(command, "*IDN?")
    got = client.file.read()
    assert got
    assert not got.endswith(b"\n")
    assert len(got) in (len(whole) // 2, (len(whole) + 1) // 2) or got.startswith(b"#4")
    client.close()
    assert fresh.ask("*IDN?") == whole


def test_a_dropped_link_takes_a_setting_along_that_was_carried_out(address: str, fresh: Client) -> None:
    client = Client(address)
    arm(client, "drop-link", 1)
    client.write("SENS:SWE:POIN 41", "SENS:SWE:POIN 51", "SENS:SWE:POIN 61")
    assert is_closed(client)
    client.close()
    assert fresh.ask("SENS:SWE:POIN?") == "+51"


# -- blocks ------------------------------------------------------------------------------------------------


def block_line(client: Client, size: int) -> bytes:
    """Return the answer that holds a block of `size` doubles, up to its line feed."""
    client.write("CALC:X?")
    data = client.file.read(2 + 2 + 8 * size)
    return data + client.file.readline()


def test_garbage_before_and_behind_a_block_and_bytes_in_the_other_order(fresh: Client) -> None:
    fresh.write("FORM REAL,64", "SENS:SWE:POIN 11")
    good = block_line(fresh, 11)
    assert good.startswith(b"#288")
    arm(fresh, "garbage-before-block")
    before = block_line(fresh, 11)
    assert before != good
    assert before.endswith(good)
    arm(fresh, "garbage-after-block")
    behind = block_line(fresh, 11)
    assert behind.startswith(good[:-1])
    assert len(behind) > len(good)
    arm(fresh, "swapped-bytes")
    swapped = block_line(fresh, 11)
    np.testing.assert_array_equal(np.frombuffer(swapped[4:-1], "<f8"), np.frombuffer(good[4:-1], ">f8"))
    assert block_line(fresh, 11) == good
    assert fresh.errors() == []


def test_a_truncated_block_leaves_the_link_open(fresh: Client) -> None:
    fresh.write("FORM REAL,64", "SENS:SWE:POIN 11")
    good = block_line(fresh, 11)
    arm(fresh, "truncate-block")
    fresh.write("CALC:X?")
    assert fresh.file.read(46) == good[:46]
    assert silent(fresh)
    assert fresh.ask("SENS:SWE:POIN?") == "+11"


# -- sweeps ------------------------------------------------------------------------------------------------


def data(client: Client) -> NDArray[np.complex128]:
    take(client)
    return matrix(client)


def test_stale_data_are_the_last_ones_to_the_last_bit(ready: Client) -> None:
    first = data(ready)
    assert np.all(data(ready) != first)
    second = matrix(ready)
    arm(ready, "stale-data")
    np.testing.assert_array_equal(data(ready), second)
    assert ready.errors() == []
    assert np.all(data(ready) != second)


def test_a_port_that_is_not_driven_leaves_its_column_old_or_zero(ready: Client) -> None:
    kinds, ports = set(), set()
    for _ in range(MOST_DRAWS):
        before = data(ready)
        arm(ready, "port-not-driven")
        after = data(ready)
        wrong = [
            (j, "zero" if not after[:, :, j].any() else "old")
            for j in range(4)
            if not after[:, :, j].any() or (after[:, :, j] == before[:, :, j]).all()
        ]
        assert len(wrong) == 1
        ports.add(wrong[0][0])
        kinds.add(wrong[0][1])
        if len(kinds) == 2 and len(ports) > 1:
            break
    assert kinds == {"zero", "old"}
    assert len(ports) > 1
    assert ready.errors() == []


def test_an_overload_within_a_running_mean_is_no_error_of_the_instrument(ready: Client) -> None:
    ready.write("SENS:AVER:COUN 4", "SENS:AVER ON", "SENS:AVER:CLE")
    for _ in range(4):
        arm(ready, "overload")
        for _ in range(3):  # every later mean holds the overload
            take(ready)
    assert ready.errors() == []


def test_overload_is_marked_in_the_data_and_in_the_questionable_status(ready: Client) -> None:
    largest = set()
    for _ in range(MOST_DRAWS):
        assert ready.ask("STAT:QUES:COND?") == "+0"
        arm(ready, "overload")
        take(ready)
        values = np.abs(ready.block("CALC:DATA:SNP:PORT? '1,2,3,4'")[11:])
        assert ready.ask("STAT:QUES:COND?;EVEN?") == "+8;+8"
        assert np.any(values > 10)
        largest.add(bool(np.any(values == 9.9e37)))
        take(ready)
        assert np.abs(matrix(ready)).max() < 1.5
        if len(largest) == 2:
            break
    assert largest == {True, False}
    assert ready.errors() == []


# -- the whole instrument ----------------------------------------------------------------------------------


def test_a_hung_interface_swallows_everything_until_it_is_opened_anew(address: str, fresh: Client) -> None:
    client = Client(address)
    arm(client, "hung-until-clear")
    client.write("*IDN?", "SENS:SWE:POIN 77", "SYST:ERR?", "*IDN?")
    assert silent(client, 0.2)
    assert fresh.ask("SENS:SWE:POIN?") != "+77"
    client.close()
    again = Client(address)
    assert again.ask("*IDN?").startswith("Simulated works")
    again.close()


STIMULUS = "SENS:FREQ:STAR?;STOP?;:SENS:SWE:POIN?;:SENS:BWID?"


def test_somebody_at_the_front_panel_changes_one_setting_and_sets_a_bit(ready: Client) -> None:
    before = ready.ask(STIMULUS).split(";")
    changed = set()
    for _ in range(MOST_DRAWS):
        ready.write("SENS:FREQ:STAR 1E6;STOP 100E6", "SENS:SWE:POIN 11", "SENS:BWID 1000")
        assert ready.ask(STIMULUS).split(";") == before
        assert ready.ask("*ESR?") == "+0"
        arm(ready, "front-panel")
        after = ready.ask(STIMULUS).split(";")
        differ = [i for i, (one, two) in enumerate(zip(before, after, strict=True)) if one != two]
        assert len(differ) == 1
        changed |= set(differ)
        assert ready.ask("*ESR?") == "+64"
        if changed == {0, 2, 3}:
            break
    assert changed == {0, 2, 3}
    assert ready.errors() == []


def test_somebody_at_the_front_panel_changes_a_segment_when_segments_are_swept(ready: Client) -> None:
    ready.write("SENS:SEGM1 ON", "SENS:SEGM1:FREQ:STAR 1E6;STOP 50E6", "SENS:SEGM1:SWE:POIN 11")
    ready.write("SENS:SWE:TYPE SEGM")
    question = f"SENS:SEGM1:FREQ:STAR?;STOP?;:SENS:SEGM1:SWE:POIN?;:{STIMULUS}"
    changed = set()
    for _ in range(MOST_DRAWS):
        ready.write("SENS:SEGM1:FREQ:STAR 1E6;STOP 50E6", "SENS:SEGM1:SWE:POIN 11", "SENS:BWID 1000")
        before = ready.ask(question).split(";")
        arm(ready, "front-panel")
        after = ready.ask(question).split(";")
        changed |= {i for i, (one, two) in enumerate(zip(before, after, strict=True)) if one != two}
        if changed >= {0, 2, 6}:
            break
    assert ready.errors() == []
    assert changed >= {0, 2, 6}


def test_a_second_controller_changes_settings_and_takes_an_answer(ready: Client) -> None:
    before = ready.ask(STIMULUS).split(";")
    arm(ready, "second-controller")
    ready.write("SENS:SWE:TYPE?")
    assert silent(ready)
    after = ready.ask(STIMULUS).split(";")
    assert sum(one != two for one, two in zip(before, after, strict=True)) == 1
    assert ready.ask("*ESR?") == "+0"
    assert ready.errors() == []


def test_a_full_queue_ends_in_350(fresh: Client) -> None:
    arm(fresh, "queue-overflow")
    fresh.write("SENS:SWE:POIN 21")
    assert fresh.ask("SENS:SWE:POIN?") == "+21"
    errors = fresh.errors()
    assert len(errors) == 30
    assert errors[-1] == -350


def test_correction_and_extension_come_on_between_sweeps_and_change_data(ready: Client) -> None:
    ready.write("SENS:CORR:EXT OFF")
    good = data(ready)
    for name, question in (("correction-on", "SENS:CORR?"), ("extension-on", "SENS:CORR:EXT?")):
        assert ready.ask(question) == "0"
        arm(ready, name)
        assert ready.ask(question) == "1"
        changed = data(ready)
        assert np.abs(changed - good).max() > 0.02  # twice 20 ps at 100 MHz
        ready.write("SENS:CORR OFF", "SENS:CORR:EXT OFF")
        assert np.abs(matrix(ready) - good).max() < 0.002


def test_nothing_is_switched_on_while_a_sweep_runs(ready: Client) -> None:
    arm(ready, "sweep-never-ends")
    ready.write("SENS:SWE:MODE SING")
    arm(ready, "correction-on")
    assert ready.ask("SENS:CORR?") == "0"
    ready.write("ABOR")
    assert ready.ask("SENS:CORR?") == "1"


def test_extension_cannot_be_switched_on_where_there_is_none() -> None:
    with running_bench(BenchOptions(ports=2, family="single-channel")) as bench:
        client = Client(bench.address)
        client.write("*CLS", "BENC:FAUL 'extension-on'")
        assert client.errors() == [-241]
        client.close()


def test_a_power_cycle_ends_every_link_and_leaves_a_preset_analyzer() -> None:
    with running_bench(BenchOptions(ports=2)) as bench:
        one, two = Client(bench.address), Client(bench.address)
        identity = one.ask("*IDN?")
        one.write("*CLS", "*ESE 1", "SENS:SWE:POIN 33", "BENC:CONN '1=load'")
        assert one.ask("*ESR?") == "+0"
        arm(two, "power-cycle", 1, 0.3)
        assert one.ask("SENS:SWE:POIN?") == "+33"
        before = time.perf_counter()
        one.write("SENS:SWE:POIN?")
        assert is_closed(one)
        assert is_closed(two)
        turned_away = Client(bench.address)
        assert is_closed(turned_away)
        while True:
            again = Client(bench.address)
            try:
                if answer := again.ask("*IDN?"):
                    break
            except ConnectionError:
                pass
            again.close()
            assert time.perf_counter() - before < 3
            time.sleep(0.02)
        assert 0.25 < time.perf_counter() - before < 1.0
        assert answer == identity
        assert again.ask("*ESR?;*ESE?;:BENC:FAUL?") == '+128;+0;"none"'
        assert again.ask("SENS:SWE:POIN?") == again.ask("SENS:SWE:POIN? DEF")
        assert again.ask("BENC:CONN?") == '"1=load"'  # hands were not there
        for client in (one, two, turned_away, again):
            client.close()


def test_a_power_cycle_in_a_sweep_that_is_waited_for() -> None:
    with running_bench(BenchOptions(ports=2)) as bench:
        one, two = Client(bench.address), Client(bench.address)
        arm(one, "sweep-never-ends")
        one.write(*SETUP[2:-2], "CALC:PAR:EXT 'a',S11", "SENS:SWE:MODE SING", "*OPC?")
        while two.ask("STAT:OPER:COND?") != "+8":
            time.sleep(0.01)
        arm(two, "power-cycle", 0, 0.0)
        two.write("*ESE 0")
        assert is_closed(one)
        again = Client(bench.address)
        again.write("INIT:CONT OFF")  # a preset analyzer sweeps by itself
        assert again.ask("STAT:OPER:COND?;*ESR?") == "+0;+128"
        for client in (one, two, again):
            client.close()


# -- drift -------------------------------------------------------------------------------------------------


def test_a_linear_drift_changes_every_reading_by_gain_and_delay() -> None:
    """Also without noise: after 2 h at 0.3 dB/h and 5 ps/h, 0.6 dB more and 10 ps later, at all ports."""
    with running_bench(BenchOptions(ports=4, noiseless=True)) as bench:
        client = Client(bench.address)
        client.write(*SETUP, *(f"CALC:PAR:EXT 'p{port}',S{port}{port}" for port in range(1, 5)))
        client.write("BENC:CONN '1=A:12.1,2=A:12.2,3=B:12.1,4=B:12.2'", "BENC:WAIT 1000")
        before = data(client)
        client.write("BENC:DRIF 0.3,5")
        started = float(client.ask("BENC:TIM?"))
        np.testing.assert_array_equal(data(client)[:, 0, 0], matrix(client)[:, 0, 0])
        lasted = float(client.ask("BENC:TIM?")) - started
        assert lasted == pytest.approx(4 * float(client.ask("SENS:SWE:TIME?")), rel=1e-6)
        client.write(f"BENC:WAIT {7200 - lasted:.9f}")
        assert float(client.ask("BENC:TIM?")) - started == pytest.approx(7200)
        assert client.ask("BENC:DRIF?") == "+3.00000000000E-01,+5.00000000000E+00"
        ratio = data(client) / before
        frequency = np.linspace(1e6, 100e6, 11)
        expected = 10 ** (0.6 / 20) * np.exp(-2j * np.pi * frequency * 10e-12)
        np.testing.assert_allclose(ratio, np.broadcast_to(expected[:, None, None], ratio.shape), rtol=1e-7)
        client.write("BENC:DRIF 0,0")
        np.testing.assert_array_equal(data(client), before)
        assert client.errors() == []
        client.close()


def test_years_of_bench_time_pass_in_a_moment_and_a_run_can_be_repeated() -> None:
    found = []
    for steps in ((1e6, 1e6), (5e5, 1e6, 5e5)):
        with running_bench(BenchOptions(ports=2)) as bench:
            client = Client(bench.address)
            client.write(*SETUP, "CALC:PAR:EXT 'a',S11;EXT 'b',S22", "BENC:CONN '1=load,2=short'")
            before = time.perf_counter()
            client.write(*(f"BENC:WAIT {step}" for step in steps))
            take(client)
            assert time.perf_counter() - before < 2
            found.append(matrix(client, "1,2", 2))
            client.write("BENC:WAIT 1E7", "BENC:WAIT -1")
            assert client.errors() == [-222, -222]
            client.close()
    np.testing.assert_allclose(found[0], found[1], rtol=0, atol=1e-9)
