"""Alien crosstalk of a bundle and the constants of a cable, as the report tells them."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from benchsweep.records import AlienShare, CableConstants, Parameter, SMatrix
from benchsweep.report.content._bundle import bundle_section, disturbers
from benchsweep.report.content._cable import cable_section
from benchsweep.report.content._findings import Findings
from benchsweep.report.content._item import ReportItem
from benchsweep.report.content.charts import cable_drawings
from benchsweep.report.document import Drawn, Section
from benchsweep.report.text import english, load_texts
from tests.report.content.told import HOSTILE, ours, tables_of, text_of, within
from tests.report.text.pseudo import outside_marks, pseudo_language

TEXTS = english()


@pytest.fixture
def item(build: SimpleNamespace) -> ReportItem:
    return build.item(points=40)


def shares(parameter: Parameter) -> list[AlienShare]:
    """Of two ends and pairs: cable 2 gives half of the power, 3 a third, 1 the rest; pair 36 most of it."""
    found = []
    for end in ("A", "B"):
        for cable, part in ((1, 1 / 6), (2, 1 / 2), (3, 1 / 3)):
            more = 0.1 if end == "B" and cable == 1 else 0.0
            found.append(AlienShare(parameter, end, "12", cable, None, 123e6, part + more, 60.25, part))
            for pair, of_it in (("36", 0.75), ("45", 0.25)):
                found.append(
                    AlienShare(parameter, end, "12", cable, pair, 1e8, part * of_it, 61.0, part * of_it)
                )
    return found


def bundle(item: ReportItem) -> ReportItem:
    corrected = item.measurement.corrected
    ports = (*corrected.ports[:2], "2.A:12.1", "2.A:12.2", "5.A:12.1", "5.A:12.2")
    coupling = SMatrix(corrected.frequency_hz, np.zeros((40, 6, 6)), ports, (50.0,) * 6)
    return replace(item, measurement=replace(item.measurement, couplings=(coupling, coupling)))


def test_the_cable_that_matters_most_comes_first(item: ReportItem) -> None:
    found = shares(Parameter.PS_ANEXT)
    told = disturbers(found, Parameter.PS_ANEXT)
    assert [one.cable for one in told] == [2, 3, 1]
    assert sum(one.mean for one in told) == pytest.approx(1.0)  # every watt comes from some cable
    assert disturbers(found, Parameter.PS_AACR_F) == []
    section = bundle_section([replace(item, findings=Findings(shares=found))], TEXTS)
    assert section is not None
    ((heads, *rows),) = tables_of(section)
    assert heads == [
        "disturbing cable", "mean share", "largest share", "there: end, pair", "at MHz", "alone, dB",
        "its strongest pair",
    ]  # fmt: skip
    assert rows == [
        ["2", "50 %", "50 %", "A, 12", "123.00", "60.25", "36"],
        ["3", "33 %", "33 %", "A, 12", "123.00", "60.25", "36"],
        ["1", "17 %", "27 %", "B, 12", "123.00", "60.25", "36"],
    ]
    assert "PS ANEXT: which disturbing cables matter most" in text_of(section)
    assert "with this cable only" in text_of(section)


def test_a_bundle_tells_what_was_measured_and_whether_it_is_enough(item: ReportItem) -> None:
    assert bundle_section([item], TEXTS) is None
    known = replace(bundle(item), findings=Findings(enough_disturbers="two are enough"))
    section = bundle_section([known], TEXTS)
    assert section is not None
    assert "Disturbing cables 2, 5 were measured, their couplings in 2 matrices." in text_of(section)
    assert "two are enough" in text_of(section)
    assert tables_of(section) == []
    assert bundle_section([item], TEXTS, drawings=[Section(("drawn",), ())]) is not None


def constants(end: str, pair: str, **changes: object) -> CableConstants:
    grid = np.geomspace(1e6, 500e6, 30)
    flat = np.full(30, 100.0)
    made = CableConstants(
        end, pair, 100.0, grid, "open-short", flat, flat, 0.0 * flat, (99.5, 5.0, 0.0, 0.0), 0.3 * flat,
        100.6, (50e6, 100e6), 0.62, np.full(30, 537.6), np.full(30, 45.25), 5.35, None,
    )  # fmt: skip
    return replace(made, **changes)


def cable(*found: CableConstants) -> Findings:
    return Findings(constants=found)


def test_constants_of_each_end_and_pair(item: ReportItem) -> None:
    assert cable_section([item], TEXTS) is None
    one = constants("A", "12", low_frequency_capacitance_nf_per_100m=5.41)
    two = constants(
        "B", "36", route="terminated", velocity_fraction=None, delay_ns_per_100m=None,
        attenuation_db_per_100m=None, capacitance_nf_per_100m=None, mean_band_hz=(1e6, 100e6),
    )  # fmt: skip
    section = cable_section([replace(item, findings=cable(one, two))], TEXTS)
    assert section is not None
    ((heads, *rows),) = tables_of(section)
    assert heads == [
        "end", "pair", "mean impedance, ohm", "over MHz", "K0, ohm", "velocity, c", "delay, ns/100 m",
        "loss, dB/100 m", "capacitance, nF/100 m", "at low frequency", "route",
    ]  # fmt: skip
    assert rows == [
        ["A", "12", "100.60", "50.000 to 100.00", "99.50", "0.6200", "537.6", "45.2", "5.350", "5.410",
         "open-short"],
        ["B", "36", "100.60", "1.000 to 100.00", "99.50", "-", "-", "-", "-", "-", "terminated"],
    ]  # fmt: skip
    told = text_of(section)
    assert "Made with a length of 100 m." in told
    assert "K0 + K1 f^-1/2 + K2 f^-1 + K3 f^-3/2" in told
    assert "terminated from one end only" in told


def test_what_is_the_same_for_all_is_a_sentence(item: ReportItem) -> None:
    section = cable_section(
        [replace(item, findings=cable(constants("A", "12"), constants("B", "12")))], TEXTS
    )
    assert section is not None
    ((heads, *_),) = tables_of(section)
    assert not {"over MHz", "route"} & set(heads)
    assert "Mean impedance over 50.000 to 100.00 MHz." in text_of(section)
    assert "Route of all: open-short." in text_of(section)


def test_charts_come_with_what_tells_their_lines(item: ReportItem) -> None:
    known = replace(item, findings=cable(constants("A", "12"), constants("B", "12")))
    drawings = cable_drawings([known], TEXTS, prefix="x-")
    section = cable_section([known], TEXTS, drawings=drawings)
    assert section is not None
    assert sum(isinstance(block, Drawn) for block in within(section)) == 2
    assert "Thin: as measured; heavy: fitted. Line style and colour tell the pair: 12 solid" in text_of(
        section
    )
    assert "Thin" not in text_of(cable_section([known], TEXTS) or Section((), ()))


def test_words_of_ours_and_of_others(item: ReportItem, tmp_path: Path) -> None:
    texts = load_texts(pseudo_language(tmp_path))
    found = shares(Parameter.PS_ANEXT) + shares(Parameter.PS_AACR_F)
    known = replace(
        bundle(item),
        findings=Findings(shares=found, enough_disturbers=HOSTILE, constants=[constants("A", "12")]),
    )
    drawings = cable_drawings([known], texts, prefix="x-")
    for section in (bundle_section([known], texts), cable_section([known], texts, drawings=drawings)):
        assert section is not None
        assert set(re.findall("[A-Za-z]+", outside_marks(ours(section)))) <= {"A", "B"}
        assert "script" not in ours(section)
