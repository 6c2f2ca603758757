"""Whatever a file holds: the numbers that stand there, or a `DataFileError`; never another error.

400 inputs as a rule, ``pytest --thorough`` makes 10 000.
"""

from __future__ import annotations

import sys
from contextlib import suppress

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from benchsweep.errors import DataFileError, UsageError
from benchsweep.records import FOUR_PAIRS
from benchsweep.testers import load_mapping, read_results, typed_points
from tests.testers.shapes import COMMA, LONG, WIDE, WORST

# Hypothesis wants the number before pytest hands its options out.
INPUTS = 10_000 if "--thorough" in sys.argv else 400
FUZZ = settings(
    max_examples=INPUTS // 4, deadline=None, database=None, suppress_health_check=list(HealthCheck)
)
SHAPES = {
    "wide-values": WIDE,
    "long-values": LONG,
    "long-margins-decimal-comma": COMMA,
    "worst-margins": WORST,
}
BITS = [
    b"",
    b"\0",
    b'"',
    b",",
    b";",
    b"\n",
    b"\r",
    b"=1+1",
    b"\xff\xfe",
    b"\xef\xbb\xbf",
    b"nan",
    b"-",
    b"1e400",
]
BITS += [
    b"\x81",
    b"12-12",
    b"\xc2",
    b"9" * 400,
    b"\n" * 120,
    b" ",
    b"_",
    "\u0663".encode(),
    b"MHz",
    b"\x1b[2J",
]


@FUZZ
@given(
    shape=st.sampled_from(sorted(SHAPES)),
    cuts=st.lists(
        st.tuples(st.floats(0, 1), st.integers(0, 12), st.sampled_from(BITS)), min_size=1, max_size=4
    ),
)
def test_mangled_files(shape: str, cuts: list[tuple[float, int, bytes]]):
    raw = SHAPES[shape].encode()
    for where, gone, put in cuts:
        place = int(where * len(raw))
        raw = raw[:place] + put + raw[place + gone :]
    try:
        result = read_results("m.csv", load_mapping(shape), content=raw)
    except DataFileError as error:
        assert error.message.startswith("m.csv")  # noqa: PT017
        return
    assert result.traces or result.points
    for trace in result.traces:
        assert np.isfinite(trace.value).all()
        assert 1e4 <= trace.frequency_hz[0]
        assert trace.frequency_hz[-1] <= 1e10
        assert set(trace.pairs) <= set(FOUR_PAIRS)


@FUZZ
@given(raw=st.binary(max_size=300), shape=st.sampled_from(sorted(SHAPES)))
def test_any_bytes(raw: bytes, shape: str):
    with pytest.raises(DataFileError):
        read_results("b.csv", load_mapping(shape), content=raw)


@FUZZ
@given(
    table=st.dictionaries(
        st.integers(1, 2_000_000),
        st.tuples(st.integers(0, 9999), st.one_of(st.none(), st.integers(0, 9999))),
        min_size=1,
        max_size=30,
    ),
    order=st.randoms(use_true_random=False),
    decimal=st.booleans(),
)
def test_what_is_written_is_read(table: dict[int, tuple[int, int | None]], order, decimal: bool):
    """Frequencies in kHz of 10 kHz and more, hundredths of a dB, rows in any order, gaps."""
    mark = "," if decimal else "."
    mapping = load_mapping("long-margins-decimal-comma" if decimal else "wide-values")
    rows = []
    for khz, (first, second) in table.items():
        mhz = f"{khz + 9}e-3".replace(".", mark)
        one = f"{first / 100:.2f}".replace(".", mark)
        two = "n/a" if second is None else f"{second / 100:.2f}".replace(".", mark)
        if decimal:
            rows += [f"NEXT;A;1,2;3,6;{mhz};{one};", f"RL;B;7,8;;{mhz};{two};"]
        else:
            rows.append(f"{mhz},{one},{two}")
    order.shuffle(rows)
    head = (
        "Parameter;End;Receiving pair;Disturbing pair;Frequency (MHz);Margin (dB);Limit (dB)"
        if decimal
        else "Frequency (MHz),next A 12-36 (dB),return_loss B 78 (dB)"
    )
    low = min(table) + 9
    if low < 10:
        return
    result = read_results("w.csv", mapping, content="\n".join([head, *rows]).encode())
    found = {trace.pairs: trace for trace in result.traces}
    for pairs, place in ((("12", "36"), 0), (("78",), 1)):
        wanted = {
            (khz + 9) * 1e3: told[place] for khz, told in sorted(table.items()) if told[place] is not None
        }
        if not wanted:
            assert pairs not in found
            continue
        assert found[pairs].frequency_hz == pytest.approx(list(wanted), rel=1e-12)
        assert found[pairs].value == pytest.approx([one / 100 for one in wanted.values()], abs=1e-12)


WORDS = (
    "next A B 36-45 12 margin value limit at 3.2 -1 233.5 MHz dB ns delay skew return loss 1e9 , nan".split()
)


@FUZZ
@given(words=st.lists(st.one_of(st.sampled_from(WORDS), st.text(max_size=6)), max_size=10))
def test_typed_words(words: list[str]):
    with suppress(UsageError):
        assert len(typed_points([" ".join(words)]).points) == 1
