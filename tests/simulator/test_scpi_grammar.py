"""Rules of IEEE 488.2 and SCPI-1999 for messages, headers and parameters (rules from memory)."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchsweep.simulator.scpi._grammar import Form, Parameter, split_units
from benchsweep.simulator.scpi._messages import ScpiFault
from benchsweep.simulator.scpi._tree import Command, Tree
from benchsweep.simulator.scpi._values import (
    Boolean,
    Choice,
    Integer,
    Limits,
    Name,
    Number,
    Text,
    string_text,
)


def parameters(text: str) -> tuple[Parameter, ...]:
    (unit,) = split_units(f"HEAD {text}")
    return unit.parameters


def fault_of(call) -> int:
    with pytest.raises(ScpiFault) as caught:
        call()
    return caught.value.number


# -- messages ----------------------------------------------------------------------------------------------


def test_units_are_cut_outside_strings_blocks_and_parentheses() -> None:
    units = list(split_units("A 'x;y',\"a,;b\";;B #15;;,;;;C (@1;2),3;*OPC?"))
    assert [unit.header.nodes[0].mnemonic for unit in units] == ["A", "B", "C", "OPC"]
    assert [p.text for p in units[0].parameters] == ["x;y", "a,;b"]
    assert units[1].parameters[0].form is Form.BLOCK
    assert [p.form for p in units[2].parameters] == [Form.EXPRESSION, Form.NUMBER]
    assert units[3].header.common
    assert units[3].header.query


def test_units_before_a_bad_one_are_carried_out() -> None:
    units = split_units("GOOD 1;B%D;NEVER")
    assert next(units).header.nodes[0].mnemonic == "GOOD"
    assert fault_of(lambda: next(units)) == -101


@given(st.text(alphabet=st.characters(min_codepoint=32, max_codepoint=126)))
def test_a_string_comes_through_in_both_quotes(text: str) -> None:
    for quote in "'\"":
        (found,) = parameters(quote + text.replace(quote, quote * 2) + quote)
        assert found == Parameter(Form.STRING, text)
    assert parameters(string_text(text))[0].text == text


@given(st.text(alphabet=st.characters(min_codepoint=0, max_codepoint=255)))
def test_any_line_is_units_or_a_command_error(line: str) -> None:
    faults = []
    try:
        for unit in split_units(line):
            assert unit.header.nodes
    except ScpiFault as fault:
        faults.append(fault)
    assert all(fault.is_command_error for fault in faults)


@pytest.mark.parametrize(
    ("text", "number"),
    [
        ("HEAD 'open", -151),
        ("HEAD 1.2.3", -121),
        ("HEAD 1E99999", -123),
        ("HEAD " + "1" * 300, -124),
        ("HEAD 1,,2", -109),
        ("HEAD 'a' 'b'", -103),
        ("HEAD ON OFF", -103),
        ("HEAD A%B", -141),
        ("HEAD ABCDEFGHIJKLM", -144),
        ("HEAD #15abc", -161),
        ("HEAD #", -161),
        ("HEAD #HXY", -121),
        ("HEAD (@1,2", -171),
        ("HEAD:", -102),
        ("::HEAD", -102),
        ("1HEAD", -102),
        ("HEAD,1", -103),
        ("H\xc4AD", -101),
        ("ABCDEFGHIJKLM", -112),
        ("*", -102),
        ("*ID3?", -102),
    ],
)
def test_each_syntax_error_has_its_number(text: str, number: int) -> None:
    assert fault_of(lambda: list(split_units(text))) == number


# -- parameters --------------------------------------------------------------------------------------------

FREQUENCY: Number[None] = Number(Limits(1e3, 3e9, 1e6), "HZ")


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("1.5 GHZ", 1.5e9),
        ("1.5ghz", 1.5e9),
        ("20 MHZ", 20e6),  # mega, not milli
        ("20MAHZ", 20e6),
        ("2e6", 2e6),
        ("+2 E +6", 2e6),
        (".5E+07 HZ", 5e6),
        ("3.", None),
        ("100 KHZ", 1e5),
        ("#H2000", 8192.0),
        ("MIN", 1e3),
        ("MAXimum", 3e9),
        ("DEF", 1e6),
    ],
)
def test_numbers_with_units(text: str, value: float | None) -> None:
    (parameter,) = parameters(text)
    if value is None:
        assert fault_of(lambda: FREQUENCY.decode(parameter, None)) == -222
    else:
        assert FREQUENCY.decode(parameter, None) == pytest.approx(value, rel=1e-15)


def test_m_is_milli_with_seconds_and_there_are_no_multipliers_of_dbm() -> None:
    time: Number[None] = Number(Limits(-1, 1, 0), "S")
    power: Number[None] = Number(Limits(-40, 10, 0), "DBM")
    assert time.decode(parameters("5 MS")[0], None) == 0.005
    assert time.decode(parameters("5PS")[0], None) == pytest.approx(5e-12)
    assert power.decode(parameters("-5 DBM")[0], None) == -5
    assert fault_of(lambda: power.decode(parameters("5 MDBM")[0], None)) == -131


@given(st.floats(min_value=1e3, max_value=3e9))
def test_a_number_comes_through_as_text(value: float) -> None:
    assert FREQUENCY.decode(parameters(repr(value))[0], None) == value
    assert float(FREQUENCY.encode(value)) == pytest.approx(value, rel=1e-11)


@pytest.mark.parametrize(
    ("kind", "text", "number"),
    [
        (FREQUENCY, "1 S", -131),
        (FREQUENCY, "1 QHZ", -131),
        (FREQUENCY, "UP", -141),
        (FREQUENCY, "'1'", -158),
        (FREQUENCY, "(1)", -178),
        (FREQUENCY, "4 GHZ", -222),
        (FREQUENCY, "1E300", -222),
        (Integer(Limits(1, 10, 1)), "5 HZ", -138),
        (Integer(Limits(1, 10, 1)), "11", -222),
        (Boolean(), "YES", -141),
        (Boolean(), "'ON'", -158),
        (Choice("LINear"), "LINE", -224),
        (Choice("LINear"), "1", -128),
        (Text(), "abc", -148),
        (Text(), "#10", -168),
        (Name(), "1", -128),
    ],
)
def test_each_wrong_parameter_has_its_number(kind, text: str, number: int) -> None:
    (parameter,) = parameters(text)
    assert fault_of(lambda: kind.decode(parameter, None)) == number


def test_booleans_and_choices() -> None:
    switch: Boolean[None] = Boolean()
    answers = [switch.decode(parameters(text)[0], None) for text in ("ON", "off", "1", "0", "0.4", "-3", "2")]
    assert answers == [True, False, True, False, False, True, True]
    form: Choice[None] = Choice("ASCii", "REAL")
    assert [form.decode(parameters(t)[0], None) for t in ("asc", "ASCII", "Real")] == ["ASC", "ASC", "REAL"]
    whole: Integer[None] = Integer(Limits(1, 10, 1))
    assert whole.decode(parameters("2.6")[0], None) == 3


# -- headers -----------------------------------------------------------------------------------------------

TREE: Tree[None] = Tree(
    [
        [
            Command("[SENSe{channel}]:FREQuency:STARt"),
            Command("[SENSe{channel}]:FREQuency:STOP"),
            Command("SOURce{channel}:POWer{port}[:LEVel][:IMMediate]"),
            Command("SYSTem:ERRor[:NEXT]"),
            Command("*OPC"),
        ]
    ],
    {"channel": 4, "port": 16},
)


def find(text: str, path=()):
    (unit,) = split_units(text)
    command, suffixes, path = TREE.find(unit.header, path)
    return command.pattern, dict(suffixes), path


@pytest.mark.parametrize(
    "text",
    [
        "FREQ:STAR 1",
        "freq:start 1",
        "SENS:FREQ:STAR",
        "sense1:frequency:star",
        ":SENS:FREQUENCY:START?",
        "SENSE01:FREQ:STAR",
    ],
)
def test_long_and_short_forms_and_optional_nodes(text: str) -> None:
    assert find(text)[:2] == ("[SENSe{channel}]:FREQuency:STARt", {"channel": 1})


@pytest.mark.parametrize(
    "text",
    [
        "SENSO:FREQ:STAR",
        "SEN:FREQ:STAR",
        "FREQU:STAR",
        "FREQ:STA",
        "FREQ",
        "FREQ1:STAR",
        "STAR",
        "*OPT",
        "FREQ:STAR:STAR",
    ],
)
def test_everything_else_is_an_undefined_header(text: str) -> None:
    assert fault_of(lambda: find(text)) == -113


def test_suffixes_default_to_1_and_are_checked() -> None:
    assert find("SOUR:POW 1")[1] == {"channel": 1, "port": 1}
    assert find("SOUR2:POW16:LEV:IMM 1")[1] == {"channel": 2, "port": 16}
    assert find("SOUR2:POW3:IMM 1")[1] == {"channel": 2, "port": 3}
    for text in ("SOUR:POW17 1", "SOUR0:POW 1", "SENS5:FREQ:STAR 1"):
        assert fault_of(lambda text=text: find(text)) == -114
    assert fault_of(lambda: find("SOUR99999999999999999:POW 1")) == -114


def test_the_path_is_kept_within_a_message() -> None:
    path = find("SENS2:FREQ:STAR 1")[2]
    pattern, suffixes, path = find("STOP 2", path)
    assert (pattern, suffixes) == ("[SENSe{channel}]:FREQuency:STOP", {"channel": 2})
    assert find("*OPC", path)[2] == path  # common commands leave it alone
    assert fault_of(lambda: find("SENS2:FREQ:STOP 2", path)) == -113
    assert find(":SYST:ERR?", path)[0] == "SYSTem:ERRor[:NEXT]"


@given(st.data())
def test_only_the_short_and_the_long_form_of_a_mnemonic_match(data: st.DataObject) -> None:
    word = "FREQUENCY"
    cut = data.draw(st.integers(1, len(word)))
    case = data.draw(st.lists(st.booleans(), min_size=cut, max_size=cut))
    text = "".join(c.lower() if low else c for c, low in zip(word[:cut], case, strict=True))
    if cut in (4, 9):
        assert find(f"{text}:STAR")[0] == "[SENSe{channel}]:FREQuency:STARt"
    else:
        assert fault_of(lambda: find(f"{text}:STAR")) == -113


@pytest.mark.parametrize("pattern", ["SENSe{bank}:A", "[SENSe:A", "SENSe]:A", "a b", "SENSe::FREQ"])
def test_a_badly_written_pattern_is_refused(pattern: str) -> None:
    with pytest.raises(ValueError, match=r"bracket|pattern|range"):
        Tree([[Command(pattern)]], {"channel": 4})
