"""A brief report tells once with what its measurements were made and graded."""

from __future__ import annotations

import hashlib
import pickle
from dataclasses import replace
from types import SimpleNamespace

from benchsweep.report.content import report_document, report_part
from benchsweep.report.document import Section, plain
from benchsweep.report.text import english
from tests.report.content.told import HOSTILE, ours, tables_of, text_of

TEXTS = english()


def test_each_means_stands_once_with_the_numbers_of_its_measurements(build: SimpleNamespace) -> None:
    item = build.item(points=30)
    other = replace(item.measurement, fixture_toml='name = "two"\nsource = "drawing 7"', calibration=None)
    group = [
        replace(item, measurement=replace(measurement), content_hash=str(place))
        for place, measurement in enumerate((item.measurement, item.measurement, other, item.measurement))
    ]
    document = report_document(group, TEXTS, detail="brief")
    sections = [block for block in document.blocks if isinstance(block, Section)]
    (told,) = [section for section in sections if plain(section.title) == "Measured and graded with"]
    limits, calibrations, fixtures, budgets, analyzers = tables_of(told)
    curves = item.limits
    assert len(limits) - 1 == len(curves) > 0
    assert {row[4] for row in limits[1:]} == {curve.source for curve in curves.values()}
    assert {row[-1] for row in limits[1:]} == {"1 .. 4"}
    made = item.measurement.calibration
    assert calibrations[1][:4] == [made.identifier, made.created_at, made.kit, made.method]
    assert calibrations[1][-1] == "1 .. 2, 4"
    assert calibrations[2] == ["none", "", "", "", "", "3"]
    digest = hashlib.sha256(other.fixture_toml.encode()).hexdigest()
    assert fixtures[2] == ["two", "drawing 7", "", digest[:16], "3"]
    assert budgets[1][0] == "none"
    assert analyzers[1] == [item.measurement.analyzer.idn, "1 .. 4"]
    full = report_document(group, TEXTS)
    assert "Measured and graded with" not in [
        plain(block.title) for block in full.blocks if isinstance(block, Section)
    ]


def test_it_is_small_and_names_stay_those_of_others(build: SimpleNamespace) -> None:
    item = build.item(points=30)
    calibration = replace(item.measurement.calibration, identifier=HOSTILE, kit=HOSTILE)
    measurement = replace(item.measurement, calibration=calibration, fixture_toml="name = '</bdi><script>'")
    bad = replace(item, measurement=measurement)
    part = report_part([bad], TEXTS, place=1, detail="brief")
    assert pickle.loads(pickle.dumps(part.means)) == part.means
    assert len(pickle.dumps(part.means)) < 8_000
    document = report_document([bad], TEXTS, detail="brief")
    (told,) = [
        block
        for block in document.blocks
        if isinstance(block, Section) and plain(block.title) == "Measured and graded with"
    ]
    assert text_of(told).count("script") >= 3
    assert "script" not in ours(told)
