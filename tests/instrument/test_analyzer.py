"""The analyzer against the simulated bench: settings, sweeps, and everything that goes wrong."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import skrf
from numpy.typing import NDArray

from benchsweep.definitions import find_definition
from benchsweep.errors import (
    BadAnswer,
    InstrumentError,
    InstrumentTimeout,
    LinkLost,
    PowerCycled,
    ScpiError,
    SettingsChanged,
    UsageError,
)
from benchsweep.instrument import Analyzer, open_analyzer, open_link
from benchsweep.instrument.matrix._ways import WAYS
from benchsweep.records import RawSweep, SweepSettings
from benchsweep.simulator import BenchOptions, running_bench

GRID = SweepSettings(start_hz=1e6, stop_hz=250e6, points=51, if_bandwidth_hz=10e3)
PRESET_GRID = replace(GRID, start_hz=None, stop_hz=None, points=None)

# A bench without errors of its own, so that what is read is what is attached (to 1e-15).
IDEAL = {
    **dict.fromkeys(("directivity_db", "source_match_db", "switch_match_db", "ripple_db"), "-400.0"),
    **dict.fromkeys(("cable_delay_s", "loss_constant_db", "loss_at_500_mhz_db", "receiver_spread_db"), "0.0"),
}


def changed_bench(tmp_path: Path, **changes: str) -> str:
    """Write the shipped bench with other values and return its path."""
    text = find_definition("benches", "default").read_text(encoding="utf-8")
    for key, value in changes.items():
        text, found = re.subn(rf"(?m)^{key} = .*$", f"{key} = {value}", text)
        assert found == 1, key
    path = tmp_path / "changed.toml"
    path.write_text(text, encoding="utf-8")
    return str(path)


@contextmanager
def analyzer_on(options: BenchOptions, **open_options: Any) -> Iterator[Analyzer]:
    with running_bench(options) as bench, open_analyzer(bench.address, **open_options) as analyzer:
        yield analyzer


@pytest.fixture
def analyzer() -> Iterator[Analyzer]:
    """A four-port analyzer with a cord attached, configured."""
    with analyzer_on(BenchOptions(ports=4)) as found:
        attach(found, "1=A:12.1,2=A:12.2,3=B:12.1,4=B:12.2")
        found.configure(GRID, (1, 2, 3, 4))
        yield found


def attach(analyzer: Analyzer, connections: str) -> None:
    analyzer.link.write_checked(f'BENCh:CONNect "{connections}"', doing="attaching")


def fault(analyzer: Analyzer, name: str) -> None:
    analyzer.link.write_checked(f'BENCh:FAULt "{name}"', doing="arming a fault")


# -- what is read is what is attached ----------------------------------------------------------------------


def random_network(tmp_path: Path, ports: int, points: int = 21) -> tuple[str, NDArray[np.complex128]]:
    """Write a random, passive, *not* reciprocal network with scikit-rf; return its path and matrix.

    Conductors 1, 2 at end A couple with each other only, and so do the others, so that two ports alone
    read the same numbers whatever ends the other conductors.
    """
    rng = np.random.default_rng(7)
    s = rng.standard_normal((points, ports, ports)) + 1j * rng.standard_normal((points, ports, ports))
    s *= 0.4 / ports
    s[:, :2, 2:] = 0.0
    s[:, 2:, :2] = 0.0
    network = skrf.Network(f=np.linspace(2e6, 42e6, points), f_unit="hz", s=s, z0=50.0)
    network.write_touchstone("device", dir=str(tmp_path), form="ri", write_z0=False)
    read = skrf.Network(str(tmp_path / f"device.s{ports}p"))
    return str(tmp_path / f"device.s{ports}p"), read.s


def test_round_trip_of_a_known_network(tmp_path: Path) -> None:
    """Row = receiver, column = source, on the network's own grid; matrix read as scikit-rf reads the file."""
    path, s = random_network(tmp_path, 4)
    options = BenchOptions(bench=changed_bench(tmp_path, **IDEAL), specimen=path, ports=4, noiseless=True)
    with analyzer_on(options) as analyzer:
        attach(analyzer, "1=A:12.1,2=A:12.2,3=B:12.1,4=B:12.2")
        used = analyzer.configure(PRESET_GRID, (1, 2, 3, 4))
        assert (used.start_hz, used.stop_hz, used.points) == (2e6, 42e6, 21)
        sweep = analyzer.sweep((1, 2, 3, 4))
    np.testing.assert_allclose(sweep.frequency_hz, np.linspace(2e6, 42e6, 21), rtol=0, atol=1e-6)
    np.testing.assert_allclose(sweep.s, s, rtol=0, atol=1e-12)


def test_two_ports_are_not_transposed(tmp_path: Path) -> None:
    """The simulated analyzer reads two ports column by column and more of them row by row."""
    path, s = random_network(tmp_path, 4)
    options = BenchOptions(bench=changed_bench(tmp_path, **IDEAL), specimen=path, ports=4, noiseless=True)
    with analyzer_on(options) as analyzer:
        attach(analyzer, "1=A:12.1,2=A:12.2,3=B:12.1,4=B:12.2")
        analyzer.configure(PRESET_GRID, (1, 2))
        first = analyzer.sweep((1, 2))
        analyzer.sweep((4, 1, 3, 2))
        again = analyzer.sweep((2, 1))
    assert np.max(np.abs(s[:, 0, 1] - s[:, 1, 0])) > 0.05
    for sweep in (first, again):
        assert sweep.analyzer_ports == (1, 2)
        np.testing.assert_allclose(sweep.s, s[:, :2, :2], rtol=0, atol=1e-12)


def test_sixteen_ports_with_names_of_two_digits(tmp_path: Path) -> None:
    path, s = random_network(tmp_path, 16)
    options = BenchOptions(bench=changed_bench(tmp_path, **IDEAL), specimen=path, ports=16, noiseless=True)
    legs = [f"{end}:{pair}.{contact}" for end in "AB" for contact, pair in zip(
        range(1, 9), ("12", "12", "36", "45", "45", "36", "78", "78"), strict=True)]  # fmt: skip
    with analyzer_on(options) as analyzer:
        attach(analyzer, ",".join(f"{port}={leg}" for port, leg in enumerate(legs, start=1)))
        analyzer.configure(PRESET_GRID, range(1, 17))
        sweep = analyzer.sweep(range(1, 17))
        pair = analyzer.sweep((9, 10))
    np.testing.assert_allclose(sweep.s, s, rtol=0, atol=1e-12)
    # Parameters of ports 9 and 10 mix one and two digits.
    assert pair.s.shape == (21, 2, 2)


@pytest.mark.parametrize("stated", ["row-major", "column-major", "detect"])
def test_order_of_the_family_file_is_checked(tmp_path: Path, stated: str) -> None:
    path, s = random_network(tmp_path, 4)
    text = find_definition("families", "named-measurement").read_text(encoding="utf-8")
    own = tmp_path / "named-measurement.toml"
    own.write_text(text.replace('matrix_order = "detect"', f'matrix_order = "{stated}"'), encoding="utf-8")
    options = BenchOptions(bench=changed_bench(tmp_path, **IDEAL), specimen=path, ports=4, noiseless=True)
    with analyzer_on(options, family=str(own)) as analyzer:
        attach(analyzer, "1=A:12.1,2=A:12.2")
        analyzer.configure(PRESET_GRID, (1, 2))
        if stated == "row-major":
            with pytest.raises(BadAnswer, match="column-major, not row-major"):
                analyzer.sweep((1, 2))
        else:
            np.testing.assert_allclose(analyzer.sweep((1, 2)).s, s[:, :2, :2], rtol=0, atol=1e-12)


def test_identical_sweeps_of_a_noiseless_bench_are_fine() -> None:
    with analyzer_on(BenchOptions(ports=4, noiseless=True)) as analyzer:
        attach(analyzer, "1=open,2=open,3=open,4=open")
        analyzer.configure(GRID, (1, 2, 3, 4))
        first, second = analyzer.sweep((1, 2, 3, 4)), analyzer.sweep((1, 2, 3, 4))
    assert first.s.tobytes() == second.s.tobytes()


# -- settings ----------------------------------------------------------------------------------------------


def test_settings_come_back_as_used(analyzer: Analyzer) -> None:
    wanted = SweepSettings(1.5e6, 100.25e6, 77, if_bandwidth_hz=1.4e3, averages=4, power_dbm=-12.5)
    used = analyzer.configure(wanted, (1, 2))
    # 1400 Hz is no bandwidth of the bench; 1500 Hz is the nearest.
    assert used == replace(wanted, if_bandwidth_hz=1500.0)
    np.testing.assert_array_equal(analyzer.frequency_hz, np.linspace(1.5e6, 100.25e6, 77))
    assert analyzer.sweep((1, 2)).s.shape == (77, 2, 2)


def test_raw_data_whatever_was_left_on(analyzer: Analyzer) -> None:
    """Correction, port extension and fixture simulation that somebody left on are switched off."""
    before = analyzer.sweep((1, 2, 3, 4))
    analyzer.link.write_checked(
        "SENS1:CORR:STAT ON", "SENS1:CORR:EXT ON", "SENS1:CORR:EXT:PORT1 1E-9", "CALC1:FSIM:STAT ON",
        "FORM ASC,0", "FORM:BORD NORM", "MMEM:STOR:TRAC:FORM:SNP DB", "SENS1:SWE:TYPE LOG", doing="meddling",
    )  # fmt: skip
    analyzer.configure(GRID, (1, 2, 3, 4))
    after = analyzer.sweep((1, 2, 3, 4))
    np.testing.assert_allclose(after.s, before.s, rtol=0, atol=5e-3)


@pytest.mark.parametrize(
    ("command", "words"),
    [
        ("SENS1:CORR:STAT ON", r"CORR:STAT\? was 0, is 1"),
        ("SENS1:BWID 100", "BWID"),
        ("SENS1:SWE:POIN 11", "POIN"),
        ("SENS1:FREQ:STOP 100E6", "STOP"),
        ("FORM:BORD NORM", "BORD"),
        ("SENS1:AVER:STAT ON", "AVER"),
    ],
)
def test_a_setting_changed_behind_our_back_stops_the_sweep(
    analyzer: Analyzer, command: str, words: str
) -> None:
    analyzer.sweep((1, 2))
    analyzer.link.write_checked(command, doing="meddling")
    with pytest.raises(InstrumentError, match=words):
        analyzer.sweep((1, 2))
    analyzer.configure(GRID, (1, 2))
    analyzer.sweep((1, 2))


@pytest.mark.parametrize(
    ("changes", "doing", "number"),
    [
        ({"stop_hz": 50e9}, "setting the frequency grid", -222),
        ({"points": 200_000}, "setting the frequency grid", -222),
        ({"power_dbm": 30.0}, "setting the source power", -222),
        ({"if_bandwidth_hz": 5e6}, "setting the IF bandwidth", -222),
    ],
)
def test_error_queue_reaches_the_person(
    analyzer: Analyzer, changes: dict[str, Any], doing: str, number: int
) -> None:
    with pytest.raises(ScpiError) as caught:
        analyzer.configure(replace(GRID, **changes), (1, 2))
    assert doing in caught.value.message
    assert caught.value.entries[0][0] == number
    assert caught.value.entries[0][1] in caught.value.message
    with pytest.raises(UsageError, match="no settings"):
        analyzer.sweep((1, 2))


@pytest.mark.parametrize(
    "changes",
    [
        {"start_hz": None}, {"start_hz": 300e6}, {"start_hz": 0.0}, {"stop_hz": float("inf")}, {"points": 1},
        {"if_bandwidth_hz": 0.0}, {"averages": 0}, {"power_dbm": float("nan")},
    ],
)  # fmt: skip
def test_settings_that_make_no_sense_touch_nothing(analyzer: Analyzer, changes: dict[str, Any]) -> None:
    sent = len(analyzer.link.recent())
    with pytest.raises(UsageError):
        analyzer.configure(replace(GRID, **changes), (1, 2))
    assert len(analyzer.link.recent()) == sent


@pytest.mark.parametrize("ports", [(), (1, 1), (0, 1), (1, 5)])
def test_ports_that_are_not_there(analyzer: Analyzer, ports: tuple[int, ...]) -> None:
    with pytest.raises(UsageError):
        analyzer.sweep(ports)


def test_not_configured() -> None:
    with analyzer_on(BenchOptions(ports=2)) as analyzer:
        assert analyzer.was_switched_on
        with pytest.raises(UsageError, match="no settings"):
            analyzer.sweep((1, 2))
        with pytest.raises(UsageError, match="no settings"):
            _ = analyzer.frequency_hz


# -- sweeps ------------------------------------------------------------------------------------------------


def test_a_sweep_is_dated_and_leaves_the_analyzer_in_hold(analyzer: Analyzer) -> None:
    before = datetime.now(UTC)
    sweep = analyzer.sweep((3, 1))
    taken = datetime.fromisoformat(sweep.taken_at)
    assert taken.tzinfo is not None
    assert abs((taken - before).total_seconds()) < 10.0
    assert sweep.analyzer_ports == (1, 3)
    assert sweep.seconds > 0.0
    assert analyzer.link.query("SENS1:SWE:MODE?") == "HOLD"
    assert analyzer.link.errors() == ()


def test_averages_lower_the_noise() -> None:
    def scatter(averages: int) -> float:
        with analyzer_on(BenchOptions(ports=4, seed=3)) as analyzer:
            attach(analyzer, "1=load,2=load,3=load,4=load")
            settings = SweepSettings(
                1e6, 250e6, 201, if_bandwidth_hz=100e3, averages=averages, power_dbm=-30.0
            )
            analyzer.configure(settings, (1, 2, 3, 4))
            # Between loads there is no signal, so what is read off the diagonal is noise.
            off = ~np.eye(4, dtype=bool)
            return float(np.sqrt(np.mean(np.abs(analyzer.sweep((1, 2, 3, 4)).s[:, off]) ** 2)))

    # Sixteen averages lower the noise by four; 2412 values tell that to a few per cent.
    assert scatter(1) / scatter(16) == pytest.approx(4.0, rel=0.15)


def test_a_sweep_that_takes_its_time(tmp_path: Path) -> None:
    """In real time: the sweep is awaited as long as the analyzer says, and its end is not missed by much."""
    bench = changed_bench(tmp_path, real_time="true")
    with analyzer_on(BenchOptions(bench=bench, ports=2)) as analyzer:
        analyzer.configure(replace(GRID, points=201, if_bandwidth_hz=3e3), (1, 2))
        states = float(analyzer.link.query("SENS1:SWE:TIME?"))
        took = [analyzer.sweep((1, 2)).seconds for _ in range(4)]
    assert all(seconds >= 2 * states for seconds in took)
    assert min(took) < 2 * states + 0.1  # a busy machine is late now and then, not each time
    assert 2 * states > 0.1


# -- faults ------------------------------------------------------------------------------------------------


def check_next_sweep(analyzer: Analyzer, before: RawSweep) -> None:
    after = analyzer.sweep(before.analyzer_ports)
    np.testing.assert_allclose(after.s, before.s, rtol=0, atol=5e-3)


def test_sweep_that_never_ends(
    analyzer: Analyzer, stopwatch: Callable[[], float], monkeypatch: pytest.MonkeyPatch
) -> None:
    before = analyzer.sweep((1, 2))
    fault(analyzer, "sweep-never-ends")
    monkeypatch.setattr(analyzer, "_minimum_timeout_s", 0.5)
    begun_at = stopwatch()
    with pytest.raises(InstrumentTimeout, match=r"\d\.\d s passed, .* s were expected"):
        analyzer.sweep((1, 2))
    assert stopwatch() - begun_at < 6.0
    monkeypatch.undo()
    check_next_sweep(analyzer, before)


def test_truncated_block(analyzer: Analyzer, short_blocks: Any) -> None:
    before = analyzer.sweep((1, 2))
    fault(analyzer, "truncate-block")
    with (
        short_blocks(analyzer.link),
        pytest.raises(BadAnswer, match=r"block of 3672 bytes announced, \d+ received"),
    ):
        analyzer.sweep((1, 2))
    check_next_sweep(analyzer, before)


def test_dropped_link(analyzer: Analyzer, stopwatch: Callable[[], float]) -> None:
    fault(analyzer, "drop-link")
    with pytest.raises(LinkLost):
        analyzer.sweep((1, 2))
    with pytest.raises(LinkLost, match="lost before") as caught:
        analyzer.sweep((1, 2))
    assert "anew" in caught.value.hint
    assert stopwatch() < 8.0  # one time-out is 10 s


def test_wrong_count(analyzer: Analyzer) -> None:
    before = analyzer.sweep((1, 2, 3))
    fault(analyzer, "wrong-count")
    with pytest.raises(
        BadAnswer, match=r"expected 969 \(19 rows of 51 points\); the instrument says \+51 points"
    ):
        analyzer.sweep((1, 2, 3))
    check_next_sweep(analyzer, before)


def test_instrument_error_in_the_sweep(analyzer: Analyzer) -> None:
    before = analyzer.sweep((1, 2))
    fault(analyzer, "instrument-error")
    with pytest.raises(ScpiError, match='sweeping: the instrument reports -300,"Device-specific error'):
        analyzer.sweep((1, 2))
    check_next_sweep(analyzer, before)


def test_invalid_points(analyzer: Analyzer) -> None:
    before = analyzer.sweep((1, 2))
    fault(analyzer, "invalid-points")
    with pytest.raises(BadAnswer) as caught:
        analyzer.sweep((1, 2))
    # The bench spoils every seventh point from the seventeenth on, 5 of 51.
    first = np.linspace(1e6, 250e6, 51)[17]
    assert "5 of 51 points are invalid" in caught.value.message
    assert f"{first:.9g} Hz" in caught.value.message
    check_next_sweep(analyzer, before)


def test_second_controller_that_triggers(analyzer: Analyzer) -> None:
    """A sweep that somebody else has begun is seen before ours would be refused."""
    fault(analyzer, "sweep-never-ends")
    analyzer.link.write("SENS1:SWE:MODE SING")
    with pytest.raises(SettingsChanged, match=r"SWE:MODE\? was HOLD, is SING") as caught:
        analyzer.sweep((1, 2))
    assert caught.value.differences == ("SENS1:SWE:MODE? was HOLD, is SING",)
    analyzer.configure(GRID, (1, 2))  # the preset aborted the foreign sweep
    analyzer.sweep((1, 2))


def test_interrupt_aborts_the_sweep(analyzer: Analyzer, monkeypatch: pytest.MonkeyPatch) -> None:
    before = analyzer.sweep((1, 2))
    fault(analyzer, "sweep-never-ends")
    with monkeypatch.context() as patch:
        patch.setattr("benchsweep.instrument._analyzer.time.sleep", _interrupt)
        with pytest.raises(KeyboardInterrupt):
            analyzer.sweep((1, 2))
    check_next_sweep(analyzer, before)


def _interrupt(seconds: float) -> None:
    raise KeyboardInterrupt


def test_power_that_went_meanwhile(analyzer: Analyzer, monkeypatch: pytest.MonkeyPatch) -> None:
    ask = analyzer.link.query
    monkeypatch.setattr(
        analyzer.link, "query", lambda command, **more: "128" if command == "*ESR?" else ask(command, **more)
    )
    with pytest.raises(PowerCycled, match="switched off and on"):
        analyzer.sweep((1, 2))
    monkeypatch.undo()
    # Nothing repairs that but setting up anew, on purpose.
    with pytest.raises(PowerCycled):
        analyzer.sweep((1, 2))
    with pytest.raises(PowerCycled):
        analyzer.restore()
    analyzer.configure(GRID, (1, 2))
    analyzer.sweep((1, 2))


def test_data_of_a_port_that_was_not_driven(analyzer: Analyzer, monkeypatch: pytest.MonkeyPatch) -> None:
    """Too few measurements defined: the others' columns are zero, and that is found out."""
    way = replace(WAYS["snp-rows"], defines=lambda ports: ((ports[0], ports[0]), (ports[-1], ports[0])))
    monkeypatch.setattr("benchsweep.instrument.matrix._matrix.WAYS", {"snp-rows": way})
    analyzer.configure(replace(GRID, points=41), (1, 2, 3))
    with pytest.raises(BadAnswer, match="port 2, 3: exactly zero"):
        analyzer.sweep((1, 2, 3))


@pytest.mark.parametrize("optional", [True, False])
def test_an_analyzer_without_fixture_simulation(tmp_path: Path, optional: bool) -> None:
    """A function that is not there needs no switching off, where the family file says that it may lack."""
    text = (
        find_definition("families", "named-measurement").read_text(encoding="utf-8").replace("FSIM", "NONE")
    )
    own = tmp_path / "named-measurement.toml"
    own.write_text(text if optional else text.replace("optional = true", ""), encoding="utf-8")
    with analyzer_on(BenchOptions(ports=2), family=str(own)) as analyzer:
        if optional:
            analyzer.configure(GRID, (1, 2))
            assert analyzer.sweep((1, 2)).s.shape == (51, 2, 2)
        else:
            with pytest.raises(InstrumentError, match=r"fixture simulation .*has not the function"):
                analyzer.configure(GRID, (1, 2))


def test_other_byte_order_than_confirmed(analyzer: Analyzer, monkeypatch: pytest.MonkeyPatch) -> None:
    ask = analyzer.link.query_doubles
    monkeypatch.setattr(
        analyzer.link, "query_doubles", lambda command, **_: ask(command, little_endian=False)
    )
    with pytest.raises(BadAnswer, match="other byte order"):
        analyzer.sweep((1, 2))


def test_analyzer_that_ignores_the_byte_order(scripted: Any, tmp_path: Path) -> None:
    """A setting that does not stay is an error that names it."""
    text = find_definition("families", "named-measurement").read_text(encoding="utf-8")
    own = tmp_path / "named-measurement.toml"
    own.write_text(text.replace('"FORM:BORD SWAP", ', ""), encoding="utf-8")
    with analyzer_on(BenchOptions(ports=2), family=str(own)) as analyzer:
        with pytest.raises(InstrumentError, match="little-endian byte order: not so"):
            analyzer.configure(GRID, (1, 2))


def test_two_links_to_one_bench() -> None:
    """The switch may talk over its own link while the analyzer sweeps over another."""
    with running_bench(BenchOptions(ports=4)) as bench:
        with open_analyzer(bench.address) as analyzer, open_link(bench.address) as other:
            analyzer.configure(GRID, (1, 2))
            other.write_checked('BENCh:CONNect "1=short,2=open"', doing="attaching")
            assert other.query("BENCh:CONNect?").strip('"') == "1=short,2=open"
            assert analyzer.sweep((1, 2)).s.shape == (51, 2, 2)
