"""CSV files of several shapes, read by the shipped mappings and by a laboratory's own."""

from __future__ import annotations

import hashlib
from pathlib import Path

import numpy as np
import pytest

from benchsweep.errors import DataFileError, DefinitionError, UnknownName
from benchsweep.records import FieldResult, FieldTrace, Parameter
from benchsweep.testers import FieldMapping, load_mapping, mapping_text, mappings, read_mapping, read_results
from tests.testers.shapes import COMMA, LONG, WIDE, WORST

HEAD = """schema = 1
name = "own"
description = "A laboratory's own"
source = "The laboratory"
standing = "common-practice"
"""


def read(mapping: str | FieldMapping, text: str, encoding: str = "utf-8") -> FieldResult:
    found = load_mapping(mapping) if isinstance(mapping, str) else mapping
    return read_results("result.csv", found, content=text.encode(encoding))


def own(text: str) -> FieldMapping:
    return read_mapping(HEAD + text)


def trace(result: FieldResult, parameter: str, *pairs: str) -> FieldTrace:
    found = [one for one in result.traces if one.parameter == parameter and one.pairs == pairs]
    assert len(found) == 1, [(one.parameter.value, one.pairs) for one in result.traces]
    return found[0]


def test_wide_values():
    result = read("wide-values", WIDE)
    assert (result.at, result.by, result.tester) == ("2026-11-20T10:15:00", "J. Doe", "FT-3")
    assert (result.channel, result.requirement, result.outcome) == ("ref-90m", "tia-6a-channel", "pass")
    assert (result.source, result.mapping, result.notes) == ("result.csv", "wide-values", ())
    assert result.digest == hashlib.sha256(WIDE.encode()).hexdigest()
    assert [(one.parameter, one.end, one.pairs) for one in result.traces] == [
        (Parameter.INSERTION_LOSS, "A", ("12",)),
        (Parameter.PS_NEXT, "B", ("36",)),
        # One trace of a combination in the usual order: NEXT is the same in both directions.
        (Parameter.NEXT, "A", ("12", "36")),
        (Parameter.ACR_F, "B", ("45", "78")),
        (Parameter.DELAY, None, ("12",)),
    ]
    loss = result.traces[0]
    assert loss.quantity == "value"
    assert loss.limit is None
    assert loss.frequency_hz.tolist() == [1e6, 1e8]
    assert loss.value.tolist() == [2.1, 21.25]
    assert result.traces[-1].value.tolist() == [498.2, 495.1]


def test_long_values_rise_in_frequency_and_go_by_the_unit_of_each_row():
    result = read("long-values", LONG)
    next_ = trace(result, "next", "12", "36")
    assert next_.frequency_hz.tolist() == [1e6, 1e8]
    assert next_.value.tolist() == [74.2, 44.6]
    assert next_.limit is not None
    assert next_.limit.tolist() == [65.0, 39.9]
    assert trace(result, "delay", "12").value == pytest.approx([498.2])
    assert trace(result, "skew", "12", "78").value.tolist() == [21.0]
    # The first of the times in a column.
    assert result.at == "2026-11-20T10:15:00"
    assert result.channel == "ref-90m"


def test_margins_with_a_decimal_comma():
    result = read("long-margins-decimal-comma", COMMA)
    assert result.at == "2026-11-20T10:15:00"
    far = trace(result, "acr_f", "78", "36")
    assert (far.quantity, far.end) == ("margin", "B")
    assert far.frequency_hz.tolist() == [31.25e6]
    assert far.value.tolist() == [-0.4]
    assert far.limit is not None
    assert far.limit.tolist() == [33.4]
    assert trace(result, "return_loss", "78").value.tolist() == [4.1]


def test_worst_margins_are_points():
    first, delay = read("worst-margins", WORST).points
    assert (first.parameter, first.end, first.pairs) == (Parameter.NEXT, "A", ("12", "36"))
    assert (first.margin, first.value, first.limit, first.frequency_hz) == (3.2, 38.2, 35.0, 233.5e6)
    assert (delay.end, delay.margin, delay.frequency_hz) == (None, 40.1, None)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_the_encoding_is_found(encoding: str):
    result = read("wide-values", WIDE.replace("J. Doe", "J. Dö"), encoding)
    assert result.by == "J. Dö"
    assert len(result.traces) == 5
    assert ("UTF-16" in "".join(result.notes)) == (encoding == "utf-16")


def test_windows_1252_is_read_and_told():
    result = read("wide-values", WIDE.replace("J. Doe", "J. Dö"), "cp1252")
    assert result.by == "J. Dö"
    assert "Windows-1252" in result.notes[0]


def test_bytes_that_windows_1252_lacks_are_refused_with_the_line():
    raw = WIDE.encode().replace(b"74.2", b"74\x81\xff")
    with pytest.raises(DataFileError, match=r"result.csv, line \d+: is not in the encoding cp1252"):
        read_results("result.csv", load_mapping("wide-values"), content=raw)


@pytest.mark.parametrize("ends", ["\n", "\r\n", "\r"])
def test_any_line_end(ends: str):
    assert len(read("wide-values", WIDE.replace("\n", ends)).traces) == 5


def test_a_file_and_its_bytes_are_the_same(tmp_path: Path):
    path = tmp_path / "told.csv"
    path.write_text(LONG, encoding="utf-8", newline="")
    first, second = read_results(path, load_mapping("long-values")), read("long-values", LONG)
    assert first.digest == second.digest
    assert first.source == "told.csv"
    for one, other in zip(first.traces, second.traces, strict=True):
        assert np.array_equal(one.value, other.value)


def test_the_kept_text_of_a_mapping_reads_the_same_again():
    for name in mappings():
        assert read_mapping(mapping_text(name)) == load_mapping(name)
    assert {"wide-values", "long-values", "long-margins-decimal-comma", "worst-margins"} <= set(mappings())


def test_a_mapping_of_a_folder_goes_first(tmp_path: Path):
    (tmp_path / "wide-values.toml").write_text(
        mapping_text("wide-values").replace('"One row', '"Ours: one row'), encoding="utf-8"
    )
    assert load_mapping("wide-values", folders=(tmp_path,)).description.startswith("Ours")
    assert not load_mapping("wide-values").description.startswith("Ours")
    with pytest.raises(UnknownName, match="no mapping named 'wide-value'"):
        load_mapping("wide-value", folders=(tmp_path,))


OWN_WIDE = """
[file]
delimiter = ";"
skip_lines = 1
comment = ["//"]
stop_at = ["end"]
[rows]
frequency = { column = "f", unit = "kHz" }
[[numbers]]
heading = "{end} | {parameter} | {pairs} | {quantity}"
sign = "negative"
[names]
order = "disturbing-first"
separators = [" into "]
[names.parameters]
"Far crosstalk" = "acr_f"
"Loss" = "insertion_loss"
[names.ends]
"main unit" = "A"
"far unit" = "B"
[names.pairs]
"orange" = "12"
"green" = "36"
[names.quantities]
"reading" = "value"
"demanded" = "limit"
"""


def test_names_signs_units_and_order_as_a_tester_writes_them():
    text = (
        'anything "here\n'
        "f;Main unit | far crosstalk | green into orange | reading;far unit|loss|orange|reading;"
        "Main Unit | Far  crosstalk | green into orange | demanded;remark\n"
        "// a comment\n"
        "2000;-61.5;\u22121.5;-60.0;x\n"
        "1000;-65.5 dB;n/a;-63;\n"
        "End;;;;\n"
        "2000;1;2;3;4\n"
    ).replace("far unit|loss|orange|reading", "far unit | loss | orange | reading")
    result = read(own(OWN_WIDE), text)
    far = trace(result, "acr_f", "12", "36")
    assert far.end == "A"
    assert far.frequency_hz.tolist() == [1e6, 2e6]
    assert far.value.tolist() == [65.5, 61.5]
    assert far.limit is not None
    assert far.limit.tolist() == [63.0, 60.0]
    loss = trace(result, "insertion_loss", "12")
    assert (loss.end, loss.frequency_hz.tolist(), loss.value.tolist()) == ("B", [2e6], [1.5])
    assert any("'remark'" in note for note in result.notes)
    assert any("1 cells say that nothing was measured" in note for note in result.notes)


LEAN = """
[rows]
parameter = { column = "P" }
end = { text = "A" }
pairs = { column = "Pair" }
frequency = { column = "F", unit_column = "FU" }
[[without]]
column = "P"
texts = ["length"]
[[numbers]]
column = "V"
quantity = "value"
[[numbers]]
column = "M"
quantity = "margin"
optional = true
"""


def test_rows_are_left_out_units_of_frequency_differ_and_the_limit_follows_from_value_and_margin():
    text = (
        "P,Pair,F,FU,V,M\n"
        "length,,,,90.2,\n"
        "return loss,1-2,1,MHz,20,3\n"
        "return loss,12,2000,kHz,21,2.5\n"
        "insertion loss,12,3e6,Hz,5,1\n"
    )
    result = read(own(LEAN), text)
    reflected, loss = trace(result, "return_loss", "12"), trace(result, "insertion_loss", "12")
    assert reflected.frequency_hz.tolist() == [1e6, 2e6]
    assert reflected.limit is not None
    # A minimum: limit = value - margin; a maximum: value + margin.
    assert reflected.limit.tolist() == [17.0, 18.5]
    assert loss.limit is not None
    assert loss.limit.tolist() == [6.0]
    assert any("1 rows were left out" in note for note in result.notes)


def test_both_directions_of_next_are_one_trace_the_worse_at_each_point():
    rows = "P,Pair,F,FU,V\n" + "".join(
        f"next,{pairs},{f},MHz,{value}\n"
        for pairs, values in (("12-36", (60, 50)), ("36-12", (59, 51)))
        for f, value in zip((1, 2), values, strict=True)
    )
    result = read(own(LEAN), rows)
    assert trace(result, "next", "12", "36").value.tolist() == [59.0, 50.0]
    assert any("the worse counts" in note for note in result.notes)


def test_a_delay_of_both_ends_is_one_trace_the_longer_at_each_point():
    text = (
        "Frequency (MHz),delay A 12 (ns),delay B 12 (ns),insertion_loss A 12 (dB)\n1,498,499,2\n2,497,496,3\n"
    )
    result = read("wide-values", text)
    assert trace(result, "delay", "12").value.tolist() == [499.0, 497.0]
    assert trace(result, "delay", "12").end is None


def test_a_line_end_inside_a_cell_shifts_no_number():
    text = COMMA.replace("1,0;9,2;", '"1,0\n";"9,2";')
    result = read("long-margins-decimal-comma", text)
    assert trace(result, "next", "12", "36").value.tolist() == [9.2]
    assert trace(result, "acr_f", "78", "36").value.tolist() == [-0.4]
    assert trace(result, "return_loss", "78").value.tolist() == [4.1]
    with pytest.raises(DataFileError, match=r"line 4, column 6: '9,2\\n9,3'"):
        read("long-margins-decimal-comma", COMMA.replace(";9,2;", ';"9,2\n9,3";'))


def test_a_file_that_ends_within_a_letter_is_no_utf_8():
    text = WIDE.replace(",delay 12 (ns)", ",delay 12 (ns),remark").replace("498.2", "498.2,").rstrip()
    result = read_results("r.csv", load_mapping("wide-values"), content=f"{text},".encode() + b"\xc3")
    assert "Windows-1252" in result.notes[0]
    assert trace(result, "delay", "12").value.tolist() == [498.2, 495.1]


def test_a_header_that_comes_again_and_equal_points_do_no_harm():
    text = (
        "P,Pair,F,FU,V\nnext,12-36,1,MHz,60\nP,Pair,F,FU,V\nnext,12-36,1,MHz,60\n,,,,\nnext,12-36,2,MHz,58\n"
    )
    result = read(own(LEAN), text)
    assert trace(result, "next", "12", "36").value.tolist() == [60.0, 58.0]
    assert any("twice with the same number" in note for note in result.notes)


def test_a_row_without_a_unit_has_the_usual_one():
    result = read("long-values", LONG.replace("74.2,65.0,dB", "74.2,65.0,"))
    assert trace(result, "next", "12", "36").value.tolist() == [74.2, 44.6]


def test_a_limit_with_gaps_is_left_out_and_told():
    result = read("long-values", LONG.replace("74.2,65.0", "74.2,-"))
    assert trace(result, "next", "12", "36").limit is None
    assert any("limit is not told at every point" in note for note in result.notes)


def test_one_failed_row_is_a_failed_result():
    head, *rows = WORST.splitlines()[1:]
    text = "\n".join((head + ",Result", rows[0] + ",pass", rows[1] + ",FAIL"))
    mapping = read_mapping(
        mapping_text("worst-margins").replace(
            'outcome = { key = "Result" }', 'outcome = { column = "Result" }'
        )
    )
    assert read(mapping, text).outcome == "fail"
    assert read(mapping, text.replace("FAIL", "pass")).outcome == "pass"
    odd = read(mapping, text.replace("FAIL", "hm").replace("pass", "hm"))
    assert odd.outcome == ""
    assert any("neither pass nor fail" in note for note in odd.notes)


def test_orders_to_a_terminal_are_no_name():
    result = read("wide-values", WIDE.replace("J. Doe", "J\x1b[2JDoe" + "e" * 400))
    assert "\x1b" not in result.by
    assert len(result.by) == 200


WRONG_MAPPINGS = [
    ('[[numbers]]\ncolumn = "V"\nquantity = "value"\n', "nothing says the parameter"),
    ('[[numbers]]\ncolumn = "V"\nparameter = "next"\nquantity = "value"\n', "nothing says the frequency"),
    ('[[numbers]]\ncolumn = "V"\n', "say the quantity"),
    ('[[numbers]]\nquantity = "value"\n', "give either column or heading"),
    ('[[numbers]]\nheading = "{parmeter}"\nquantity = "value"\n', "unknown placeholder"),
    ('[[numbers]]\nheading = "{parameter"\nquantity = "value"\n', "heading"),
    ('[[numbers]]\nheading = "V"\nquantity = "value"\n', "needs placeholders"),
    ('[[numbers]]\nheading = "{parameter}"\nparameter = "next"\nquantity = "value"\n', "given beside it"),
    ('[[numbers]]\ncolumn = "V"\nquantity = "value"\nunit = "dBm"\n', "unknown unit 'dBm'"),
    ('[rows]\nfrequency = { column = "F [Hz]", unit = "MHz" }\n', "says Hz, the unit is given as MHz"),
    ('[rows]\nfrequency = { column = "F" }\n', "give either unit or unit_column"),
    ('[file]\ndecimal = ","\n', "both a comma"),
    ('[about]\nat = { key = "Date", column = "Date" }\n', "give one of key, column and text"),
    ('[names.pairs]\n"blue" = "54"\n', "no pairs of ours"),
    ("[file]\nencodig = 1\n", "unknown key; did you mean encoding"),
]


@pytest.mark.parametrize(("text", "why"), WRONG_MAPPINGS)
def test_wrong_mappings_are_refused_with_the_key(text: str, why: str):
    whole = (
        text if "[[numbers]]" in text else text + '[[numbers]]\nheading = "{parameter}"\nquantity = "value"\n'
    )
    with pytest.raises(DefinitionError) as caught:
        own(whole)
    assert why in caught.value.message + caught.value.hint
