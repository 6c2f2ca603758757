"""Recognising the command family by questions only."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from benchsweep.definitions import find_definition
from benchsweep.errors import (
    BadAnswer,
    DefinitionError,
    InstrumentTimeout,
    UnknownFamily,
    UnknownName,
    UsageError,
)
from benchsweep.instrument import identify, open_analyzer, open_link
from benchsweep.simulator import BenchOptions, running_bench


@pytest.mark.parametrize("ports", [2, 16])
def test_the_simulated_bench(ports: int) -> None:
    with running_bench(BenchOptions(ports=ports)) as bench, open_link(bench.address) as link:
        identity = identify(link)
        assert (identity.family, identity.ports) == ("named-measurement", ports)
        assert identity.idn.startswith("Simulated works,")
        asked = [item.probe for item in identity.evidence]
        assert asked[:5] == ["*IDN?", "*ESR?", "SYST:ERR?", "*CLS", "*OPT?"]
        assert ("SYST:CAP:HARD:PORT:COUN?", f"+{ports}") in [(e.probe, e.answer) for e in identity.evidence]
        # Questions only: nothing but *CLS and queries went out.
        sent = [item.text for item in link.recent() if item.direction == "sent"]
        assert [text for text in sent if "?" not in text] == ["*CLS"]
        json.dumps([item.answer for item in identity.evidence])


def instrument(known: dict[str, str]) -> Any:
    """An instrument that knows some questions and reports -113 for the others."""
    queue: list[str] = []

    def answer(line: str) -> bytes | None:
        if line == "SYST:ERR?":
            return (queue.pop(0) if queue else '+0,"No error"').encode() + b"\n"
        if line in known:
            return known[line].encode() + b"\n"
        if line == "*CLS":
            queue.clear()
        elif not line.startswith("*ESE"):
            queue.append('-113,"Undefined header"')
        return None

    return answer


# Some answer their name and no more: long enough for the name, and not much is asked in vain.
SILENT_S = 2.0
STANDARD = {"*IDN?": "Works,voltmeter,1,1.0", "*ESR?": "0"}
MATCHING = {**STANDARD, "SYST:CAP:HARD:PORT:COUN?": "4", "CALC1:PAR:CAT:EXT?": '"NO CATALOG"'}


def test_unknown_instrument_lists_questions_and_answers(scripted: Any, stopwatch: Any) -> None:
    with open_link(scripted(instrument(STANDARD)).address) as link, pytest.raises(UnknownFamily) as caught:
        identify(link)
    assert "voltmeter" in caught.value.message
    assert 'SYST:CAP:HARD:PORT:COUN? -> -113,"Undefined header"' in caught.value.message
    assert "named-measurement" in caught.value.hint
    assert "station file" in caught.value.hint
    assert stopwatch() < 8.0  # one time-out is 10 s


@pytest.mark.parametrize(
    ("query", "answer"),
    [("SYST:CAP:HARD:PORT:COUN?", "many"), ("SYST:CAP:HARD:PORT:COUN?", "0"), ("CALC1:PAR:CAT:EXT?", "17")],
)
def test_every_answer_must_fit(scripted: Any, query: str, answer: str) -> None:
    with open_link(scripted(instrument({**MATCHING, query: answer})).address) as link:
        with pytest.raises(UnknownFamily):
            identify(link)


def test_an_instrument_that_fits_without_options(scripted: Any) -> None:
    with open_link(scripted(instrument(MATCHING)).address) as link:
        identity = identify(link)
    assert identity.ports == 4
    assert [item.answer for item in identity.evidence if item.probe == "*OPT?"] == ['-113,"Undefined header"']


def test_the_persons_choice_overrides_what_the_answers_suggest(scripted: Any) -> None:
    known = {**MATCHING, "CALC1:PAR:CAT:EXT?": "17"}
    with open_link(scripted(instrument(known)).address) as link:
        assert identify(link, "named-measurement").ports == 4


def test_own_file_by_path(scripted: Any, tmp_path: Path) -> None:
    text = find_definition("families", "named-measurement").read_text(encoding="utf-8")
    own = tmp_path / "ours.toml"
    own.write_text(text.replace("SYST:CAP:HARD:PORT:COUN?", "PORTS?").replace(
        'name = "named-measurement"', 'name = "ours"'), encoding="utf-8")  # fmt: skip
    with open_link(scripted(instrument({**STANDARD, "PORTS?": "+6"})).address) as link:
        identity = identify(link, str(own))
    assert (identity.family, identity.ports) == ("ours", 6)


def test_chosen_family_that_cannot_tell_the_ports(scripted: Any) -> None:
    with (
        open_link(scripted(instrument(STANDARD)).address) as link,
        pytest.raises(BadAnswer, match="number of ports"),
    ):
        identify(link, "named-measurement")


def test_no_error_queue(scripted: Any) -> None:
    bench = scripted(lambda line: b"huh\n" if line.endswith("?") else None)
    with open_link(bench.address) as link, pytest.raises(UnknownFamily, match="huh"):
        identify(link)


def test_mute_instrument(scripted: Any) -> None:
    with open_link(scripted(lambda line: None).address, timeout_s=SILENT_S) as link:
        with pytest.raises(InstrumentTimeout, match=r"\*IDN\?"):
            identify(link)


def test_unknown_family_name_asks_nothing(scripted: Any) -> None:
    bench = scripted(instrument(MATCHING))
    with pytest.raises(UnknownName):
        open_analyzer(bench.address, family="telepathy")
    assert bench.lines == []


# -- what tells the families apart -------------------------------------------------------------------------

C_LIKE = {"SENS:FREQ:STAR?": "+1.0E+06", "CALC:PAR:COUN?": "+1"}


@pytest.mark.parametrize(
    ("known", "family", "ports"),
    [
        ({"SYST:CAP:HARD:PORT:COUN?": "+4", "SYST:MEAS:CAT? 1": "1,2", "CALC1:PAR:CAT:EXT?": '"a,S11"'},
         "numbered-measurement", 4),
        ({"SYST:CAP:HARD:PORT:COUN?": "+4", "SYST:MEAS:CAT? 1": '""'}, "numbered-measurement", 4),
        ({"SYST:CAP:HARD:PORT:COUN?": "+4", "CALC1:PAR:CAT:EXT?": '"a,S11"'}, "named-measurement", 4),
        ({"INST:PORT:COUN?": "8", "CALC1:PAR:CAT?": "'Trc1,S11'"}, "quoted-parameter", 8),
        ({"SERV:PORT:COUN?": "+4", "CALC1:PAR:COUN?": "+1", "CALC1:PAR1:DEF?": "S11", **C_LIKE,
          "SENS2:FREQ:STAR?": "+1.0E+06"}, "numbered-trace", 4),
        (C_LIKE, "single-channel", 2),
        ({"SENS1:FUNC?": '"XFR:S11"'}, "sense-function", 2),
    ],
)  # fmt: skip
def test_each_family_by_its_trait(
    scripted: Any, known: dict[str, str], family: str, ports: int, stopwatch: Any
) -> None:
    with open_link(scripted(instrument({**STANDARD, **known})).address) as link:
        identity = identify(link)
    assert (identity.family, identity.ports) == (family, ports)
    assert identity.limits == {}
    assert stopwatch() < 8.0


def test_a_second_channel_is_no_single_channel(scripted: Any) -> None:
    known = {**STANDARD, **C_LIKE, "SENS2:FREQ:STAR?": "1E6"}
    with open_link(scripted(instrument(known)).address) as link:
        with pytest.raises(UnknownFamily, match="not known"):
            identify(link)


def test_the_makers_name_decides_nothing(scripted: Any) -> None:
    known = {**MATCHING, "*IDN?": "Works,quoted parameter analyzer,1,1.0"}
    with open_link(scripted(instrument(known)).address) as link:
        assert identify(link).family == "named-measurement"


def test_nothing_is_asked_twice_and_little_of_a_family_that_does_not_fit(scripted: Any) -> None:
    bench = scripted(instrument({**STANDARD, "SENS1:FUNC?": '"XFR:S11"'}))
    with open_link(bench.address) as link:
        identity = identify(link)
    probes = [item.probe for item in identity.evidence]
    assert len(probes) == len(set(probes))
    assert "CALC1:PAR:CAT:EXT?" not in probes


def test_limits_are_what_the_analyzer_says(scripted: Any) -> None:
    known = {**MATCHING, "SENS1:FREQ:STAR? MIN": "+9E+03", "SENS1:SWE:POIN? MAX": "many"}
    with open_link(scripted(instrument(known)).address) as link:
        assert dict(identify(link).limits) == {"min_frequency_hz": 9e3}


def test_number_of_ports_said_by_the_person(scripted: Any) -> None:
    known = {**STANDARD, "SENS1:FUNC?": '"XFR:S11"'}
    with open_link(scripted(instrument(known)).address) as link:
        assert identify(link, ports=4).ports == 4
    with open_link(scripted(instrument({**STANDARD, **C_LIKE})).address) as link:
        with pytest.raises(UsageError, match="has 2 ports, not 4"):
            identify(link, ports=4)
    with open_link(scripted(instrument(STANDARD)).address) as link:
        assert identify(link, "named-measurement", 8).ports == 8


def test_from_before_scpi(scripted: Any) -> None:
    """It answers who it is, and knows no error queue."""
    bench = scripted(lambda line: {"*IDN?": b"Works,old,0,1\n", "*ESR?": b"0\n"}.get(line))
    with open_link(bench.address, timeout_s=SILENT_S) as link, pytest.raises(UnknownFamily) as caught:
        identify(link)
    assert "no SCPI instrument" in caught.value.message
    assert "SYST:ERR? -> nothing" in caught.value.message
    assert "before SCPI" in caught.value.hint
    assert caught.value.evidence[0] == ("*IDN?", "Works,old,0,1")


def test_something_that_only_accepts(scripted: Any) -> None:
    """A raw port has no greeting, so it shows at the first question; the words say what to check."""
    bench = scripted(lambda line: None)
    with open_link(bench.address) as link:
        link.timeout_s = 0.2
        with pytest.raises(InstrumentTimeout, match="nothing has been said on it yet") as caught:
            identify(link)
        assert caught.value.hint.startswith("Check that address and port")
        assert "before SCPI" in caught.value.hint


def test_something_that_falls_silent(scripted: Any) -> None:
    bench = scripted(lambda line: {"*IDN?": b"Works,mute,0,1\n"}.get(line))
    with open_link(bench.address, timeout_s=SILENT_S) as link:
        with pytest.raises(InstrumentTimeout) as caught:
            identify(link)
    assert "has been said" not in caught.value.message
    assert caught.value.hint.startswith("Is the instrument busy")


def test_unknown_where_messages_have_ends(start_server: Any, quickly: Any) -> None:
    """Each unknown question costs its time there; all of them together stay below three seconds."""
    server = start_server("hislip", instrument(STANDARD))
    with open_link(server.address) as link:

        def find_out() -> None:
            with pytest.raises(UnknownFamily, match="not known"):
                identify(link)

        quickly(find_out, 3.0)


# -- files that cannot be used, answers that cannot be right, what is cleared -------------------------------


def test_a_broken_file_keeps_no_other_family_from_working(scripted: Any, own_home: Path) -> None:
    folder = own_home / "families"
    folder.mkdir()
    (folder / "mill.toml").write_text("schema = 1\n", encoding="utf-8")
    with open_link(scripted(instrument(MATCHING)).address) as link:
        identity = identify(link)
    assert identity.family == "named-measurement"
    told = {item.probe: item.answer for item in identity.evidence}
    assert "mill.toml: name: this key is missing" in told["family file mill.toml"]
    with (
        open_link(scripted(instrument(MATCHING)).address) as link,
        pytest.raises(DefinitionError, match="mill"),
    ):
        identify(link, "mill")
    with open_link(scripted(instrument(STANDARD)).address) as link, pytest.raises(UnknownFamily) as caught:
        identify(link)
    assert "Not usable: " in caught.value.hint
    assert "mill.toml: name" in caught.value.hint


def test_the_error_queue_is_evidence_before_it_is_cleared(scripted: Any) -> None:
    answer = instrument(MATCHING)
    answer("BAD:ONE")
    answer("BAD:TWO")
    with open_link(scripted(answer).address) as link:
        evidence = [(item.probe, item.answer) for item in identify(link).evidence]
    assert evidence[2:4] == [("SYST:ERR?", '-113,"Undefined header"')] * 2
    assert evidence[4][0] == "*CLS"
    assert "clears" in evidence[4][1]


def test_an_answer_that_makes_no_sense_once_is_asked_for_again(scripted: Any) -> None:
    """A late or garbled answer must make neither an unknown instrument nor another family of it."""
    wrong = {"SYST:ERR?": [b"4711\n"], "SYST:CAP:HARD:PORT:COUN?": [b"\xff\xfe\n"]}
    known = instrument(MATCHING)

    def answer(line: str) -> bytes | None:
        return wrong[line].pop() if wrong.get(line) else known(line)

    with open_link(scripted(answer).address) as link:
        identity = identify(link)
    assert (identity.family, identity.ports) == ("named-measurement", 4)
    assert not any(wrong.values())
    assert next(item.answer for item in identity.evidence if item.probe == "SYST:ERR?") == "4711"


def test_an_error_queue_that_stays_silent_may_be_the_link(scripted: Any) -> None:
    bench = scripted(lambda line: {"*IDN?": b"Works,old,0,1\n", "*ESR?": b"0\n"}.get(line))
    with open_link(bench.address, timeout_s=SILENT_S) as link, pytest.raises(UnknownFamily) as caught:
        identify(link)
    assert isinstance(caught.value.__cause__, InstrumentTimeout)


@pytest.mark.parametrize("queue", [True, False])
def test_a_long_answer_is_said_once_and_cut(scripted: Any, queue: bool) -> None:
    garbage = "x" * 5000
    known = {**STANDARD, "*IDN?": garbage} | ({} if queue else {"SYST:ERR?": "none"})
    answer = instrument(STANDARD)
    bench = scripted(lambda line: known[line].encode() + b"\n" if line in known else answer(line))
    with open_link(bench.address) as link, pytest.raises(UnknownFamily) as caught:
        identify(link)
    assert caught.value.message.count("x" * 20) == 2  # 58 of them in a row
    assert "x" * 60 not in caught.value.message
    assert caught.value.idn == garbage
    assert len(caught.value.message) < 1500
