"""Whatever a CSV file of ambient readings holds, reading it gives finite numbers or says what is wrong.

What it gives can be archived, or is refused by an error of ours.
"""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from benchsweep import archive
from benchsweep.errors import BenchsweepError, UsageError
from benchsweep.qualification import AmbientFile, parse_ambient
from benchsweep.records import Measurement, SMatrix, Specimen

NOW = datetime(2026, 3, 1, 12, 0, tzinfo=UTC)
GOOD = (
    "time,temperature_degc,humidity_percent\n"
    "2026-03-01T11:59:40Z,23.4,41\n2026-03-01T11:59:50Z,23.5,41.5\n2026-03-01T11:59:55Z,23.6,42\n"
)
TOKENS = [
    *(
        ",",
        ";",
        "\t",
        "\n",
        "\r",
        '"',
        "'",
        "\0",
        "/",
        ".",
        "..",
        "nan",
        "inf",
        "-",
        "1e999",
        "1_0",
        "\u0664",
        "=1+1",
    ),
    *(
        "time",
        "temperature_degc",
        "0001-01-01T00:00:00+23:59",
        "9999-12-31T23:59:59-23:59",
        "1e18",
        "-1e18",
        "1e300",
    ),
    *("1772366390", "2026-03-01", "T", "Z", "\ufeff", "\ud800", "x" * 300, ";;;;;;;"),
]
EDITS = st.lists(
    st.tuples(
        st.integers(0, len(GOOD)), st.integers(0, 20), st.one_of(st.text(max_size=5), st.sampled_from(TOKENS))
    ),
    max_size=5,
)


def archived(values: dict[str, float], folder: Path) -> None:
    corrected = SMatrix(np.array([1e6]), np.zeros((1, 1, 1)), ("A:12.1",), (50.0,))
    measurement = Measurement(
        Specimen("cord"), "2026-03-01T12:00:00Z", "bench", "s", "", corrected, ambient=values
    )
    path = archive.write_record(measurement, folder)
    assert dict(archive.read_record(path).ambient) == values
    path.unlink()


def test_whatever_is_done_to_the_file(tmp_path: Path, pytestconfig: pytest.Config) -> None:
    path = tmp_path / "room.csv"
    thorough = pytestconfig.getoption("--thorough")
    whole = {"readings": 0}
    seen = {frozenset({"temperature_degc", "humidity_percent", "pressure_hpa"}), frozenset({"pressure_hpa"})}

    @settings(max_examples=10_000 if thorough else 150, deadline=None, database=None)
    @given(edits=EDITS)
    @example(edits=[(5, 16, 'a"b')])
    @example(edits=[(5, 16, "a/b")])
    @example(edits=[(5, 16, "a\0b")])
    @example(edits=[(5, 16, "..")])
    def mangled(edits: list[tuple[int, int, str]]) -> None:
        text = GOOD
        for at, removed, inserted in edits:
            text = text[:at] + inserted + text[at + removed :]
        path.write_bytes(text.encode("utf-8", "surrogatepass"))
        file = AmbientFile(path, stale_s=60.0, typed={"pressure_hpa": 1000.0})
        try:
            file.check()
        except UsageError as error:
            told = error.message
            assert "\n" not in told
            return
        found = file.read(NOW)
        assert all(np.isfinite(value) for value in found.values.values())
        assert all(len(event.words) < 2000 for event in found.events)
        whole["readings"] += len(found.values) > 1
        # Names that nobody thought of go into the record as they stand; writing one takes a while.
        names = frozenset(found.values)
        if names not in seen:
            seen.add(names)
            try:
                archived(dict(found.values), tmp_path / "archive")
            except BenchsweepError:
                return

    mangled()
    assert whole["readings"] > 10  # it is not all refused


@settings(max_examples=100, deadline=None, database=None)
@given(
    st.lists(
        st.one_of(st.text(max_size=20), st.sampled_from(["a=1", "a = 2", "b=nan", "=1", "a=b=c"])), max_size=3
    )
)
def test_whatever_is_typed_in(texts: list[str]) -> None:
    try:
        found = parse_ambient(texts)
    except UsageError:
        return
    assert all(np.isfinite(value) for value in found.values())
