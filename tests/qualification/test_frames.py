"""Records as pandas and xarray objects: the same numbers at the place that their labels say."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import xarray as xr

from benchsweep import archive
from benchsweep.errors import ArchiveError, UsageError
from benchsweep.mixedmode import to_mixed_mode
from benchsweep.qualification import evaluate, grade_record, load_requirements, to_pandas, to_xarray
from benchsweep.records import (
    Hookup,
    Measurement,
    Parameter,
    RawHookup,
    RawSweep,
    SMatrix,
    Specimen,
    balanced_ports,
)

LEGS = tuple(str(leg) for port in balanced_ports(("12", "36")) for leg in port.legs)
GRID = np.linspace(1e6, 100e6, 12)


def matrix() -> SMatrix:
    rng = np.random.default_rng(4)
    s = 0.03 * (rng.normal(size=(GRID.size, 8, 8, 2)) @ [1.0, 1.0j])
    way = 0.9 * np.exp(-2j * np.pi * GRID * 10e-9)
    for k in range(4):
        s[:, k + 4, k] += way
        s[:, k, k + 4] += way
    return SMatrix(GRID, s, LEGS, (50.0,) * 8)


def hookup(number: int, ports: dict[int, str], *, switch: bool) -> RawHookup:
    rng = np.random.default_rng(number)
    n = len(ports)
    s = rng.normal(size=(GRID.size, n, n, 2)) @ [1.0, 1.0j]
    sweep = RawSweep(
        GRID, s, tuple(ports), f"2026-03-01T12:0{number}:00Z", 0.5, {}, 0.1 * s if switch else None
    )
    return RawHookup(Hookup(number, ports), sweep)


@pytest.fixture
def measured() -> Measurement:
    hookups = (
        hookup(1, {1: "A:12.1", 2: "A:12.2", 4: "B:12.1"}, switch=False),
        hookup(2, {2: "A:36.3", 3: "B:36.3"}, switch=True),
    )
    return Measurement(
        Specimen("cord 7", 2.0), "2026-03-01T12:30:05Z", "bench", "s", "", matrix(), hookups=hookups
    )


def test_traces_by_their_labels(measured: Measurement) -> None:
    evaluation = evaluate(measured)
    frame, dataset = to_pandas(evaluation), to_xarray(evaluation)
    assert frame.index.name == "frequency_hz"
    assert frame.columns.names == ["parameter", "end", "pairs", "unit"]
    assert (
        frame.attrs
        == dataset.attrs
        == {
            "specimen": "cord 7",
            "created_at": "2026-03-01T12:30:05Z",
            "record": "",
        }
    )
    assert set(dataset.data_vars) == {str(trace.parameter) for trace in evaluation.traces}
    assert dataset.frequency_hz.attrs["units"] == "Hz"
    counted = dict.fromkeys(dataset.data_vars, 0)
    for trace in evaluation.traces:
        name, pairs = str(trace.parameter), "-".join(trace.pairs)
        column = frame[name, trace.end or "", pairs, trace.parameter.unit]
        np.testing.assert_array_equal(column.dropna(), trace.value)
        np.testing.assert_array_equal(column.dropna().index, trace.frequency_hz)
        place = dict(zip(("pair", "other_pair"), trace.pairs, strict=False))
        if trace.end:
            place["end"] = trace.end
        cell = dataset[name].sel(place)
        assert cell.dims == ("frequency_hz",)
        np.testing.assert_array_equal(cell.dropna("frequency_hz"), trace.value)
        assert dataset[name].attrs["units"] == trace.parameter.unit
        counted[name] += trace.value.size
    for name, count in counted.items():
        assert int(dataset[name].notnull().sum()) == count
    assert dataset["next"].dims == ("end", "pair", "other_pair", "frequency_hz")
    assert dataset["delay"].dims == ("pair", "frequency_hz")
    assert bool(dataset["next"].sel(pair="12", other_pair="12").isnull().all())


def test_matrices_by_their_labels(measured: Measurement) -> None:
    for what, expected in (("matrix", matrix()), ("mixed", to_mixed_mode(matrix()))):
        dataset, frame = to_xarray(measured, what), to_pandas(measured, what)
        assert dataset.s.dtype == frame["s"].dtype == np.complex128
        for out, into in ((1, 4), (5, 2), (7, 7)):
            a, b = expected.ports[out], expected.ports[into]
            wanted = expected.at(out=a, into=b)
            np.testing.assert_array_equal(dataset.s.sel(out=a, into=b), wanted)
            part = frame[(frame["out"] == a) & (frame["into"] == b)]
            np.testing.assert_array_equal(part["s"], wanted)
            np.testing.assert_array_equal(part["frequency_hz"], GRID)
            assert set(part["out_ohm"]) == {float(dataset.out_ohm.sel(out=a))} == {expected.z0_ohm[out]}
            assert set(part["into_ohm"]) == {float(dataset.into_ohm.sel(into=b))} == {expected.z0_ohm[into]}


def test_raw_sweeps_of_hookups_with_different_ports(measured: Measurement) -> None:
    dataset, frame = to_xarray(measured, "raw"), to_pandas(measured, "raw")
    assert dataset.s.dims == ("hookup", "frequency_hz", "port_out", "port_into")
    assert dataset.port_out.values.tolist() == [1, 2, 3, 4]
    assert dataset.taken_at.values.tolist() == ["2026-03-01T12:01:00Z", "2026-03-01T12:02:00Z"]
    assert str(dataset.attached.sel(hookup=2, port_out=3).values) == "B:36.3"
    assert str(dataset.attached.sel(hookup=2, port_out=1).values) == ""
    assert int(dataset.s.notnull().sum()) == GRID.size * (9 + 4)
    np.testing.assert_array_equal(
        dataset.s.sel(hookup=1, port_out=4, port_into=2), measured.hookups[0].sweep.s[:, 2, 1]
    )
    switch = measured.hookups[1].sweep.switch_terms
    assert switch is not None
    np.testing.assert_array_equal(
        dataset.switch_terms.sel(hookup=2, port_out=3, port_into=2), switch[:, 1, 0]
    )
    assert bool(dataset.switch_terms.sel(hookup=1).isnull().all())
    part = frame[(frame["hookup"] == 2) & (frame["out"] == "B:36.3") & (frame["into"] == "A:36.3")]
    np.testing.assert_array_equal(part["s"], measured.hookups[1].sweep.s[:, 1, 0])
    np.testing.assert_array_equal(part["switch"], switch[:, 1, 0])
    assert part["port_out"].tolist() == [3] * GRID.size
    assert frame[frame["hookup"] == 1]["switch"].isna().all()


def test_a_record_by_its_path_and_a_verdict(measured: Measurement, tmp_path: Path) -> None:
    path = archive.write_record(measured, tmp_path)
    pd.testing.assert_frame_equal(to_pandas(path), to_pandas(measured))
    assert to_pandas(str(path)).attrs["record"] == str(path)
    xr.testing.assert_identical(to_xarray(path, "raw").assign_attrs(record=""), to_xarray(measured, "raw"))
    graded = grade_record(path, load_requirements(["tia-6-cord"]))
    frame = to_pandas(graded, "verdict")
    (verdict,) = graded.verdicts
    assert len(frame) == len(verdict.rows)
    assert set(frame["content_hash"]) == {archive.content_hash(path)}
    assert set(frame["edition"]) == {load_requirements(["tia-6-cord"])[0].edition}
    assert set(frame["created_at"]) == {measured.created_at}
    assert frame["verdict_before"].isna().all()
    for (_, found), row in zip(frame.iterrows(), verdict.rows, strict=True):
        assert found["parameter"] == row.parameter
        assert found["pairs"] == "-".join(row.pairs)
        assert found["outcome"] == row.outcome
        for name, value in (
            ("worst_margin", row.worst_margin_db),
            ("value", row.value),
            ("limit", row.limit),
        ):
            assert (np.isnan(found[name]) and value is None) or found[name] == value
    next_a = to_xarray(graded)["next"].sel(end="A", pair="12", other_pair="36")
    traces = {(t.parameter, t.end, t.pairs): t.value for t in graded.evaluation.traces}
    assert float(next_a.min()) == traces[Parameter.NEXT, "A", ("12", "36")].min()


def test_what_there_is_not_is_refused(
    measured: Measurement, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    imported = Measurement(Specimen("x"), "2026-03-01T12:30:05Z", "touchstone", "", "", matrix())
    for convert in (to_pandas, to_xarray):
        with pytest.raises(UsageError, match="no raw sweeps"):
            convert(imported, "raw")
        with pytest.raises(UsageError, match="no 'power' of a record"):
            convert(measured, "power")  # type: ignore[arg-type]
        with pytest.raises(ArchiveError):
            convert(tmp_path / "nothing.h5")
    with pytest.raises(UsageError, match=r"give what `grade_record\(record, load_requirements\("):
        to_pandas(measured, "verdict")
    with pytest.raises(UsageError, match=r"a verdict needs a requirement: .* returns, not a str"):
        to_pandas("archive/20260301T101500Z-cord.h5", "verdict")
    for name, convert in (("pandas", to_pandas), ("xarray", to_xarray)):
        monkeypatch.setitem(sys.modules, name, None)
        with pytest.raises(UsageError, match=f"{name} is not installed") as raised:
            convert(measured)
        assert "benchsweep[tables]" in raised.value.hint
