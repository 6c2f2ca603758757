"""Files of the simulated field tester: every shape is read back as it was told, by the shipped mapping."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from benchsweep.errors import UsageError
from benchsweep.limits import limit_curve, load_requirement
from benchsweep.records import Parameter
from benchsweep.simulator.tester import SHAPES, Told, write_result
from benchsweep.testers import load_mapping, read_results
from tests.simulator.tester.test_tester import GRID, told

SHAPE_NAMES = sorted(SHAPES)


def limits() -> dict[str, np.ndarray]:
    requirement = load_requirement("tia-6-channel")
    found = {}
    for line in requirement.lines:
        curve = limit_curve(requirement, line.parameter, GRID, length_m=100.0)
        assert curve is not None
        found[str(line.parameter)] = curve.value
    return found


def written(path: Path, shape: str, *, encoding: str = "utf-8", result: Told | None = None) -> Path:
    return write_result(
        path,
        told() if result is None else result,
        shape=shape,
        limits=limits(),
        requirement="tia-6-channel",
        operator="I. Vogt",
        encoding=encoding,
    )


@pytest.mark.parametrize("shape", SHAPE_NAMES)
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_a_file_is_read_back_as_it_was_told(shape: str, encoding: str, tmp_path: Path) -> None:
    found = read_results(written(tmp_path / "a.csv", shape, encoding=encoding), load_mapping(shape))
    assert (found.tester, found.channel) == ("FT-07", "cord-5m")
    assert found.at.startswith("2026-01-05T09:00")
    known = limits()
    assert found.traces or found.points
    for trace in found.traces:
        key = (trace.parameter.value, trace.end or "", "-".join(trace.pairs))
        values = told().values[key]
        if trace.quantity == "margin":
            limit = known[key[0]]
            kept = np.isfinite(limit)
            margin = limit - values if key[0] == "insertion_loss" else values - limit
            values, grid = margin[kept], GRID[kept]
        else:
            grid = GRID
        np.testing.assert_allclose(trace.frequency_hz, grid, rtol=1e-5, atol=501.0)
        np.testing.assert_allclose(trace.value, values, atol=0.0051)
    for point in found.points:
        key = (point.parameter.value, point.end or "", "-".join(point.pairs))
        limit = known[key[0]]
        maximum = key[0] in ("insertion_loss", "delay", "skew")
        margins = limit - told().values[key] if maximum else told().values[key] - limit
        assert point.margin == pytest.approx(np.nanmin(margins), abs=0.0051)


@pytest.mark.parametrize("shape", SHAPE_NAMES)
def test_every_parameter_that_has_a_limit_is_in_the_file(shape: str, tmp_path: Path) -> None:
    found = read_results(written(tmp_path / "a.csv", shape), load_mapping(shape))
    there = {each.parameter for each in (*found.traces, *found.points)}
    expected = {Parameter(key[0]) for key in told().values} & {Parameter(name) for name in limits()}
    if shape == "long-margins-decimal-comma":
        expected -= {Parameter.DELAY, Parameter.SKEW}
    assert expected <= there


def test_the_outcome_is_that_of_the_margins(tmp_path: Path) -> None:
    found = read_results(written(tmp_path / "a.csv", "wide-values"), load_mapping("wide-values"))
    margins = []
    for key, values in told().values.items():
        limit = limits().get(key[0])
        if limit is not None:
            margin = limit - values if key[0] in ("insertion_loss", "delay", "skew") else values - limit
            margins.append(np.nanmin(margin))
    assert found.outcome == ("pass" if min(margins) >= 0.0 else "fail")


def test_where_a_requirement_counts_nothing_no_margin_is_told(tmp_path: Path) -> None:
    key = ("return_loss", "A", "36")
    margin = told().values[key] - limits()["return_loss"]
    worst = int(np.nanargmin(margin))
    exempt = np.arange(GRID.size) == worst
    others = margin[~exempt & np.isfinite(margin)]
    for shape in ("worst-margins", "long-margins-decimal-comma"):
        path = tmp_path / f"{shape}.csv"
        write_result(path, told(), shape=shape, limits=limits(), not_counting={key: exempt})
        found = read_results(path, load_mapping(shape))
        asked = (Parameter.RETURN_LOSS, "A", ("36",))
        if shape == "worst-margins":
            (point,) = (each for each in found.points if (each.parameter, each.end, each.pairs) == asked)
            assert point.margin == pytest.approx(others.min(), abs=0.0051)
        else:
            (trace,) = (each for each in found.traces if (each.parameter, each.end, each.pairs) == asked)
            assert np.abs(trace.frequency_hz - GRID[worst]).min() > 1e6
            assert trace.value.size == others.size


def test_what_cannot_be_written_is_refused(tmp_path: Path) -> None:
    path = written(tmp_path / "a.csv", "wide-values")
    with pytest.raises(UsageError, match="is there already"):
        written(path, "wide-values")
    with pytest.raises(UsageError, match="no shape"):
        write_result(tmp_path / "b.csv", told(), shape="round")
    with pytest.raises(UsageError, match="no limits"):
        write_result(tmp_path / "b.csv", told(), shape="worst-margins")
    with pytest.raises(UsageError, match="cannot be written"):
        written(tmp_path / "nowhere" / "b.csv", "wide-values")
    assert [each.name for each in tmp_path.iterdir()] == ["a.csv"]
