"""Each mistake gives one line that says what, where and what to do, the right exit code, nothing half."""

from __future__ import annotations

import socket
from pathlib import Path

import pytest

from benchsweep.records import Hookup
from benchsweep.simulator import BenchOptions, running_bench
from tests.conftest import Answer, Run

STATION = """
schema = 1
name = "bench-9"
[analyzer]
address = "{address}"
timeout_s = 3
retries = 0
[sweep]
start_mhz = {start}
stop_mhz = 100.0
points = 100
if_bandwidth_hz = 1000.0
[switch]
kind = "simulated"
[fixture]
name = "contacts"
[calibration]
kit = "simulated-contacts"
max_age_hours = {age}
"""


def expect(answer: Answer, code: int, *words: str) -> None:
    assert answer.code == code, answer.err
    assert "Traceback" not in answer.err
    assert answer.out == ""
    for word in words:
        assert word in answer.err


def station_file(folder: Path, address: str, *, start: float = 1.0, age: float = 1.0) -> Path:
    path = folder / "bench-9.toml"
    path.write_text(STATION.format(address=address, start=start, age=age))
    return path


def qualify(run: Run, station: object, *more: object) -> Answer:
    return run(
        "qualify",
        "--station",
        station,
        "--specimen",
        "cord 1",
        "--against",
        "tia-6a-cord",
        "--length-m",
        2,
        *more,
    )


def test_nobody_at_the_address(run: Run) -> None:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    address = f"TCPIP::127.0.0.1::{port}::SOCKET"
    expect(run("identify", address), 4, address)
    expect(qualify(run, "simulated", "--address", address), 4, address)
    assert not Path("archive").exists()


@pytest.mark.parametrize("address", ["nonsense", "TCPIP::127.0.0.1::notaport::SOCKET", ""])
def test_an_address_that_is_none(run: Run, address: str) -> None:
    answer = run("identify", address)
    assert answer.code in (2, 4)
    assert "Traceback" not in answer.err


def test_a_requirement_parameter_or_frequency_that_does_not_exist(run: Run) -> None:
    expect(
        run("limits", "value", "tia-9-cord", "next", "--frequency-mhz", 100), 2, "tia-9-cord", "tia-6a-cord"
    )
    expect(
        run("limits", "value", "tia-6-cord", "nxt", "--frequency-mhz", 100, "--length-m", 2), 2, "nxt", "next"
    )
    expect(
        run("limits", "value", "tia-6-channel", "next", "--frequency-mhz", 400),
        2,
        "tia-6-channel",
        "next",
        "250",
    )
    expect(run("limits", "value", "tia-6-cord", "next", "--frequency-mhz", 100), 2, "--length-m")
    expect(run("limits", "value", "tia-6-channel", "next", "--frequency-mhz", "nan"), 2)


def test_a_cord_without_length_is_refused_before_anything_is_measured(run: Run) -> None:
    answer = run("qualify", "--station", "simulated", "--specimen", "x", "--against", "tia-6a-cord")
    expect(answer, 2, "--length-m")
    assert "embedded bench" not in answer.err


@pytest.mark.parametrize("length", ["0", "-2", "nan", "1e9"])
def test_a_length_that_is_none(run: Run, length: str) -> None:
    answer = run(
        "qualify",
        "--station",
        "simulated",
        "--specimen",
        "x",
        "--against",
        "tia-6a-cord",
        "--length-m",
        length,
    )
    expect(answer, 2, "length")


@pytest.mark.parametrize(
    ("reading", "said"),
    [
        ("warm", "not a name and a number"),
        ("temperature_degc=inf", "not a name and a number"),
        ("temperature_degc=2150", "2150 degC makes no sense"),
    ],
)
def test_an_ambient_reading_that_is_none(run: Run, reading: str, said: str) -> None:
    named = ("--specimen", "x", "--against", "tia-6a-cord", "--length-m", "2")
    answer = run("qualify", "--station", "simulated", *named, "--ambient", reading)
    expect(answer, 2, said)
    assert "embedded bench" not in answer.err


def test_a_station_file_with_a_typo_names_file_and_key(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "s.toml"
    path.write_text(STATION.format(address="x", start=1.0, age=1).replace("points", "pionts"))
    expect(qualify(run, path), 2, str(path), "sweep.pionts: unknown key")
    path.write_text("schema = ")
    expect(qualify(run, path), 2, str(path), "not valid TOML")
    expect(qualify(run, tmp_path / "none.toml"), 2, "no such file")
    expect(qualify(run, "no-such-station"), 2, "no-such-station", "simulated")


def test_no_calibration_another_grid_an_old_one(run: Run, tmp_path: Path) -> None:
    with running_bench(BenchOptions(ports=4, noiseless=True)) as served:
        station = station_file(tmp_path, served.address)
        expect(qualify(run, station), 5, "bench-9", "benchsweep calibrate")
        assert run("calibrate", "--station", station).code == 0
        station_file(tmp_path, served.address, start=2.0)
        expect(qualify(run, station), 5, "MHz")
        station_file(tmp_path, served.address, age=1e-9)
        expect(qualify(run, station), 5, "old")
        assert not list(Path("archive").glob("*.h5"))
        station_file(tmp_path, served.address)
        assert qualify(run, station).code in (0, 1, 3)


def test_too_few_analyzer_ports(run: Run) -> None:
    with running_bench(BenchOptions(ports=2, noiseless=True)) as served:
        expect(qualify(run, "simulated", "--address", served.address), 2, "port")


@pytest.mark.parametrize(
    ("fault", "words"),
    [
        ("sweep-never-ends", "sweep"),
        ("truncate-block", ""),
        ("drop-link", ""),
        ("wrong-count", ""),
        ("invalid-points", ""),
    ],
)
def test_a_bench_that_misbehaves_is_code_4_and_leaves_no_record(
    run: Run, tmp_path: Path, fault: str, words: str
) -> None:
    import pyvisa

    with running_bench(BenchOptions(ports=16, noiseless=True)) as served:
        station = station_file(tmp_path, served.address)
        assert run("calibrate", "--station", station).code == 0
        manager = pyvisa.ResourceManager("@py")
        with manager.open_resource(served.address, read_termination="\n", write_termination="\n") as link:
            link.write(f'BENC:FAUL "{fault}",1')
            link.query("*IDN?")
        manager.close()
        expect(qualify(run, station), 4, words)
        assert not list(Path("archive").glob("*.h5"))
        assert qualify(run, station).code in (0, 1, 3)


def test_files_that_are_no_records(run: Run, tmp_path: Path) -> None:
    for name, content in (("a.h5", b""), ("b.h5", b"\x89HDF\r\n\x1a\n" + bytes(200)), ("c.h5", b"text")):
        path = tmp_path / name
        path.write_bytes(content)
        expect(run("grade", path, "--against", "tia-6a-cord"), 6, str(path))
        expect(run("show", path), 6, str(path))


@pytest.mark.parametrize(
    "command",
    [
        ("show", "RECORD"),
        ("show", "RECORD", "--budget"),
        ("show", "RECORD", "--against", "tia-6-channel"),
        ("grade", "RECORD", "--against", "tia-6-channel"),
        ("report", "RECORD", "--against", "tia-6-channel"),
        ("report", "RECORD"),
        ("export", "RECORD", "--to", "csv"),
        ("locate", "RECORD"),
        ("archive", "check", "RECORD"),
        ("archive", "comment", "RECORD", "text", "--by", "R"),
        ("archive", "correct", "RECORD", "--lot", "L", "--reason", "typo", "--by", "R"),
    ],
)
@pytest.mark.parametrize("name", ["absent.h5", "file/absent.h5"])
def test_a_record_that_is_not_there_is_a_slip_and_no_damage(
    run: Run, tmp_path: Path, command: tuple[str, ...], name: str
) -> None:
    (tmp_path / "file").write_text("no folder")
    absent = tmp_path / name
    answer = run(*(absent if word == "RECORD" else word for word in command))
    expect(answer, 2, f"{absent}: no such file")
    assert answer.out == ""


def test_touchstone_files_that_are_none(run: Run, tmp_path: Path) -> None:
    for name, content in (("a.s16p", b"# HZ S RI R 50\n1 2 3\n"), ("b.s4p", bytes(100)), ("c.s16p", b"")):
        path = tmp_path / name
        path.write_bytes(content)
        answer = run("import", path, "--specimen", "x", "--port-map", "eight-conductors")
        expect(answer, 2, str(path))
    assert not Path("archive").exists()


def test_no_prompt_without_a_terminal(run: Run, tmp_path: Path) -> None:
    with running_bench(BenchOptions(ports=4, noiseless=True)) as served:
        station = station_file(tmp_path, served.address)
        station.write_text(station.read_text().replace('kind = "simulated"', 'kind = "person"'))
        expect(qualify(run, station), 2, "terminal")


def test_an_unknown_option_command_or_rule(run: Run) -> None:
    expect(run("qualfy"), 2)
    expect(run("grade", "x.h5"), 2)
    expect(run("grade", "x.h5", "--against", "tia-6a-cord", "--decision", "coin"), 2, "coin", "simple")
    assert run().code == 2


def test_a_wrong_kit_is_refused_and_forgotten(run: Run, tmp_path: Path) -> None:
    with running_bench(BenchOptions(ports=4, noiseless=True)) as served:
        station = station_file(tmp_path, served.address)
        wrong = tmp_path / "wrong-kit.toml"
        # A load that is none of this bench's, and an open far from it: nothing fits together at the throughs.
        kit = (Path(__file__).parents[2] / "tests" / "data" / "wrong-kit.toml").read_text()
        wrong.write_text(kit)
        for _ in range(2):
            answer = run("calibrate", "--station", station, "--kit", wrong)
            expect(answer, 5, "thru 1-2", "calibrate again")
            assert "continuing" not in answer.err
        assert run("calibrate", "--station", station).code == 0


def test_standards_are_judged_before_the_throughs(run: Run, tmp_path: Path) -> None:
    from benchsweep import acquisition

    class Forgetful(acquisition.SimulatedSwitch):
        """A person who leaves the open on where the short belongs."""

        def connect(self, hookup: Hookup, *, total: int) -> acquisition.Done:
            wrong = {
                port: "open" if target == "short" else target for port, target in hookup.connections.items()
            }
            return super().connect(Hookup(hookup.number, wrong), total=total)

        def confirm(self, hookup: Hookup) -> None:
            """Who forgets does not look a second time."""

    with (
        running_bench(BenchOptions(ports=4, noiseless=True)) as served,
        pytest.MonkeyPatch.context() as patch,
    ):
        station = station_file(tmp_path, served.address)
        patch.setattr("benchsweep.qualification._switching.SimulatedSwitch", Forgetful)
        answer = run("calibrate", "--station", station)
        expect(answer, 5, "open and short too much alike at port 1, 2, 3, 4")
        assert "hookup 4 of" not in answer.err


def test_a_second_run_of_the_same_work_is_refused(run: Run, tmp_path: Path) -> None:
    from benchsweep.archive import Journal
    from benchsweep.qualification import load_station

    with running_bench(BenchOptions(ports=4, noiseless=True)) as served:
        station = station_file(tmp_path, served.address)
        folder = load_station(str(station)).calibration_folder() / "unfinished"
        with Journal(folder, {"job": "someone else's"}):
            expect(run("calibrate", "--station", station), 6, "another run")
        assert run("calibrate", "--station", station).code == 0


def test_an_archive_that_is_a_file_is_refused_before_anything_is_measured(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "archive.txt"
    path.write_text("mine")
    answer = run(
        "qualify", "--station", "simulated", "--specimen", "x", "--against", "tia-6a-cord", "--length-m", 2,
        "--archive", path,
    )  # fmt: skip
    expect(answer, 6, "is a file, not a folder")
    assert "embedded bench" not in answer.err
    assert path.read_text() == "mine"
