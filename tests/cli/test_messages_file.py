"""What went over the link before an error is kept in a file, and that never changes the outcome."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from benchsweep.cli import _main as module
from benchsweep.definitions import data_folder, find_definition
from benchsweep.errors import InstrumentError, InstrumentTimeout, UsageError
from benchsweep.simulator import BenchOptions, running_bench


def leave(error: BaseException, monkeypatch: pytest.MonkeyPatch) -> int | str | None:
    def app() -> None:
        raise error

    monkeypatch.setattr(module, "app", app)
    with pytest.raises(SystemExit) as stop:
        module.main()
    return stop.value.code


def with_messages(*lines: str) -> InstrumentError:
    error = InstrumentTimeout("no answer to *OPC?", hint="Wait.")
    error.messages = lines
    return error


def test_one_line_says_where(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    code = leave(with_messages("10:00 -> *OPC?", "10:01 <- \udcff\x00"), monkeypatch)
    assert code == 4
    last = capsys.readouterr().err.splitlines()[-1]
    found = re.fullmatch(r"  The last 2 messages on the link are in (.*)", last)
    assert found is not None
    path = Path(found[1])
    assert path.parent == data_folder() / "logs"
    assert re.fullmatch(r"\d{8}T\d{6}Z-.*-messages\.txt", path.name)
    assert path.read_text(encoding="utf-8").splitlines() == [
        "InstrumentTimeout: no answer to *OPC?",
        "",
        "10:00 -> *OPC?",
        "10:01 <- \\udcff\x00",
    ]


def test_nothing_to_keep_makes_no_file(monkeypatch: pytest.MonkeyPatch) -> None:
    assert leave(InstrumentError("x"), monkeypatch) == 4
    assert leave(UsageError("x"), monkeypatch) == 2
    assert not (data_folder() / "logs").exists()


def test_a_place_that_cannot_be_written_changes_no_exit_code(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    data_folder().mkdir(parents=True)
    (data_folder() / "logs").write_text("a file, not a folder", encoding="ascii")
    assert leave(with_messages("one"), monkeypatch) == 4
    assert capsys.readouterr().err.splitlines() == ["benchsweep: no answer to *OPC?", "  Wait."]


def test_of_a_real_link(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], own_home: Path
) -> None:
    """The ring of a command that fails on the simulated bench holds what was said last."""
    with running_bench(BenchOptions(ports=4)) as served:
        from benchsweep.instrument import open_link

        with open_link(served.address) as link:
            link.write_checked('BENCh:FAULt "drop-link",40', doing="arming a fault")
        # What passes is overcome: only a station that allows no repeat ends with it.
        shipped = find_definition("stations", "simulated").read_text(encoding="utf-8")
        (own_home / "stations").mkdir()
        (own_home / "stations" / "once.toml").write_text(
            shipped.replace("[analyzer]", "[analyzer]\nretries = 0")
        )
        arguments = ["calibrate", "--station", "once", "--address", served.address]
        monkeypatch.setattr("sys.argv", ["benchsweep", *arguments])
        with pytest.raises(SystemExit) as stop:
            module.main()
    assert stop.value.code == 4
    (path,) = (data_folder() / "logs").iterdir()
    text = path.read_text(encoding="utf-8")
    assert text.startswith("LinkLost: ")
    assert "-> *ESR?" in text
    assert str(path) in capsys.readouterr().err
