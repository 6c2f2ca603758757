"""The cautions stand before the first hookup on real hardware: no way round them touches an instrument."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from benchsweep.cli import _station as module
from benchsweep.cli import main
from benchsweep.cli._station import confirm_cautions
from benchsweep.errors import UsageError
from benchsweep.qualification import CAUTIONS, Station, load_station

from .terminal import Terminal

# Nobody answers there: a command that touches the instrument ends with 4.
NOBODY = "TCPIP::127.0.0.1::9::SOCKET"
ALL = ["calibrate", "qualify", "record"]


def arguments(verb: str) -> list[str]:
    more = {
        "calibrate": [],
        "qualify": ["--against", "tia-6a-cord", "--length-m", "2"],
        "record": ["--count", "1"],
    }
    specimen = [] if verb == "calibrate" else ["--specimen", "x"]
    station = ["--station", "relays-example", "--address", NOBODY, "--switch-address", NOBODY]
    return [verb, *station, *specimen, *more[verb]]


def station(kind: str) -> Station:
    loaded = load_station("simulated")
    return loaded.model_copy(update={"switch": loaded.switch.model_copy(update={"kind": kind})})


@pytest.fixture
def typing(monkeypatch: pytest.MonkeyPatch) -> Callable[..., list[str]]:
    def answers(*lines: str | None) -> list[str]:
        asked: list[str] = []
        waiting = list(lines)

        def read_line(question: str) -> str | None:
            asked.append(question)
            return waiting.pop(0)

        monkeypatch.setattr(module, "person_is_there", lambda: True)
        monkeypatch.setattr(module, "read_line", read_line)
        return asked

    return answers


@pytest.mark.parametrize("verb", ALL)
def test_without_a_terminal_only_by_name(
    verb: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def run(*more: str) -> tuple[object, str]:
        monkeypatch.setattr("sys.argv", ["benchsweep", *arguments(verb), *more])
        with pytest.raises(SystemExit) as stop:
            main()
        return stop.value.code, " ".join(capsys.readouterr().err.split())

    code, told = run()
    assert code == 2
    assert "--cautions-read-by" in told
    code, told = run("--cautions-read-by", "R. Example")
    assert code == 4  # past the cautions, to an analyzer that does not answer
    for caution in CAUTIONS:
        assert caution in told


@pytest.mark.parametrize("answer", ["no", "NO", None])
def test_a_refusal_ends_with_2_before_the_instrument_is_touched(answer: str | None) -> None:
    with Terminal(*arguments("qualify")) as terminal:
        terminal.until("Your name: ")
        terminal.type("R. Example")
        terminal.until("Type yes or no: ")
        if answer is None:
            terminal.press(b"\x04")  # end of input
        else:
            terminal.type(answer)
        assert terminal.end() == 2
        assert "the cautions were not confirmed, so nothing was measured" in terminal.seen


def test_a_station_that_cannot_be_opened_asks_nobody_for_anything(tmp_path: Path) -> None:
    with Terminal("calibrate", "--station", "relays-example", "--address", NOBODY) as terminal:
        assert terminal.end() == 2
        assert "no address of the relay matrix" in terminal.seen
        assert "Your name" not in terminal.seen


def test_ctrl_c_while_being_asked_is_an_interruption() -> None:
    with Terminal(*arguments("calibrate")) as terminal:
        terminal.until("Your name: ")
        terminal.press(b"\x03")
        assert terminal.end() == 130
        assert "Traceback" not in terminal.seen


def test_the_simulated_bench_needs_none(typing: Callable[..., list[str]]) -> None:
    asked = typing()
    assert confirm_cautions(load_station("simulated"), operator="x", cautions_read_by=None) is None
    assert asked == []


@pytest.mark.parametrize("kind", ["person", "relays"])
def test_a_name_and_an_explicit_yes(kind: str, typing: Callable[..., list[str]]) -> None:
    asked = typing("", "  ", " R. Example ", "y", "", "ok", "Yes")
    safety = confirm_cautions(station(kind))
    assert safety is not None
    assert (safety.by, safety.cautions) == ("R. Example", CAUTIONS)
    assert [question.strip().split(":")[0] for question in asked] == ["Your name"] * 3 + ["R. Example"] * 4


def test_what_is_expected_is_said(
    typing: Callable[..., list[str]], capsys: pytest.CaptureFixture[str]
) -> None:
    typing("", "y", "R. \x07Example", "R. Example", "y", "done", "yes")
    safety = confirm_cautions(station("person"))
    assert safety is not None
    assert safety.by == "R. Example"
    said = capsys.readouterr().err
    assert said.count("A name is needed: it goes into the record.") == 3
    assert said.count("Type the whole word: yes when you have read it and done it, no to end here.") == 2


@pytest.mark.parametrize("lines", [("stop",), ("R. Example", "stop"), ("R. Example", "y", "NO")])
def test_who_stops_is_no_name_and_no_yes(typing: Callable[..., list[str]], lines: tuple[str, ...]) -> None:
    asked = typing(*lines)
    with pytest.raises(UsageError, match="not confirmed, so nothing was measured"):
        confirm_cautions(station("person"))
    assert len(asked) == len(lines)


def test_the_operator_need_not_type_the_name_again(typing: Callable[..., list[str]]) -> None:
    asked = typing("yes")
    safety = confirm_cautions(station("person"), operator="M. Sample")
    assert safety is not None
    assert safety.by == "M. Sample"
    assert len(asked) == 1


def test_no_name_no_confirmation(typing: Callable[..., list[str]]) -> None:
    typing(None)
    with pytest.raises(UsageError, match="not confirmed"):
        confirm_cautions(station("person"))


@pytest.mark.parametrize("name", ["", "  ", "a\x1b[2J", "x" * 101])
def test_a_name_is_a_name(name: str) -> None:
    with pytest.raises(UsageError, match="is no name of a person"):
        confirm_cautions(station("person"), cautions_read_by=name)


def test_named_on_the_command_line_nobody_is_asked(
    typing: Callable[..., list[str]], capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    asked = typing()
    safety = confirm_cautions(station("relays"), operator="M. Sample", cautions_read_by="R. Example")
    assert safety is not None
    assert safety.by == "R. Example"
    assert asked == []
    assert "Before anybody touches a port:" in capsys.readouterr().err
