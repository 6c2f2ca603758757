"""Charts of cable constants hold the constants."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from benchsweep.records import CableConstants
from benchsweep.report import Findings
from benchsweep.report.content.charts import cable_charts
from benchsweep.report.text import english

GRID = np.linspace(1e6, 600e6, 60)
TEXTS = english()


def constants(end: str, pair: str, mean: float = 101.0, least: float = 20.0) -> CableConstants:
    wave = mean + 4.0 * np.sin(GRID / 3e7)
    returned = np.full(60, 30.0)
    returned[7], returned[8] = least, np.inf
    return CableConstants(
        end, pair, 100.0, GRID, "open-short", wave, np.full(60, mean), np.zeros(60), (mean, 0.0, 0.0, 0.0),
        returned, mean, (1e6, 600e6), 0.68, np.full(60, 490.0), np.full(60, 20.0), 4.8, 4.9,
    )  # fmt: skip


def test_impedance_and_structural_return_loss(build: SimpleNamespace) -> None:
    found = [
        constants("A", "12"),
        constants("A", "36", 99.0),
        constants("B", "12", 100.0, 12.5),
        constants("B", "36"),
    ]
    group = [replace(build.item(points=20), findings=Findings(constants=tuple(found)))]
    made = cable_charts(group, TEXTS, prefix="s1")
    assert [chart.name for chart, _ in made] == ["s1-cable-impedance", "s1-cable-structural-return-loss"]
    impedance, returned = (chart for chart, _ in made)
    assert [panel.title for panel in impedance.panels] == ["end A", "end B"]
    first = impedance.panels[0]
    assert [curve.name for curve in first.curves] == ["12 measured", "36 measured", "12 fitted", "36 fitted"]
    for curve, item in zip(first.curves[:2], found[:2], strict=True):
        assert curve.y is item.impedance_ohm
        assert curve.pairs == (item.pair,)
    for curve, item in zip(first.curves[2:], found[:2], strict=True):
        assert curve.y is item.fitted_impedance_ohm
        assert curve.look.width > first.curves[0].look.width
        assert curve.x == pytest.approx(GRID / 1e6)
    assert (first.y.unit, returned.panels[0].y.unit) == ("ohm", "dB")
    assert returned.panels[1].curves[0].y is found[2].structural_return_loss_db
    assert "means from 99.0 to 101.0 ohm" in impedance.words
    assert "8 curves" in impedance.words
    assert "least 12.5 dB, pair 12, end B" in returned.words
    assert np.isfinite([returned.panels[0].y.low, returned.panels[0].y.high]).all()


def test_an_impedance_far_from_the_mean_does_not_set_the_scale(build: SimpleNamespace) -> None:
    far = constants("A", "12")
    far = replace(far, impedance_ohm=np.where(np.arange(60) == 5, 5000.0, far.impedance_ohm))
    group = [replace(build.item(points=20), findings=Findings(constants=(far,)))]
    (panel,) = cable_charts(group, TEXTS, prefix="")[0][0].panels
    assert panel.y.high < 170.0


def test_none_without_constants(build: SimpleNamespace) -> None:
    assert cable_charts([build.item(points=20)], TEXTS, prefix="") == []
