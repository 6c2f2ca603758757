"""The calibration and the fixture, as the report tells them."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

import benchsweep
from benchsweep.fixture import fixture_text
from benchsweep.records import Calibration, StandardTerm
from benchsweep.report.content._calibration import calibration_section, checks
from benchsweep.report.content._fixture import fixture_of, fixture_section
from benchsweep.report.content._item import ReportItem
from benchsweep.report.document import Section
from benchsweep.report.text import english, load_texts
from tests.report.content.told import HOSTILE, facts_of, ours, section_in, tables_of, text_of
from tests.report.text.pseudo import outside_marks, pseudo_language

TEXTS = english()
FIXTURES = Path(benchsweep.__file__).parent.parent / "fixtures"
RESIDUALS = (
    {f"{name} port {port}": -290.0 - port for port in range(1, 5) for name in ("open", "short")}
    | {f"load port {port}": -300.0 + port for port in range(1, 5)}
    | {"thru 1-2 transmission": -43.26, "thru 1-3 transmission": -51.0, "thru 1-2 reflection": -60.0}
    | {"thru 1-2 load match": -38.0, "thru 1-3 load match": -39.0, "line 2 1-3 reciprocity": -55.5}
)


@pytest.fixture
def item(build: SimpleNamespace) -> ReportItem:
    return build.item(points=40)


def with_calibration(item: ReportItem, **changes: object) -> ReportItem:
    calibration = item.measurement.calibration
    assert calibration is not None
    return replace(item, measurement=replace(item.measurement, calibration=replace(calibration, **changes)))


def term(standard: str) -> StandardTerm:
    zero = np.zeros(3)
    return StandardTerm(
        standard, "reflection", zero, np.array([1e-4, 5e-4, 2e-4]), zero, True, zero, zero, zero, zero, zero
    )


def test_residuals_become_one_row_for_each_kind(item: ReportItem) -> None:
    section = calibration_section([with_calibration(item, residuals_db=RESIDUALS)], TEXTS)
    assert tables_of(section)[0] == [
        ["standard", "what is compared", "worst, dB", "at", "how many"],
        ["thru", "load match", "-38.0", "path 1-2", "2"],
        ["thru", "transmission", "-43.3", "path 1-2", "2"],
        ["line 2", "reciprocity", "-55.5", "path 1-3", "1"],
        ["thru", "reflection", "-60.0", "path 1-2", "1"],
        ["open", "reflection", "below the noise of computing", "", "4"],
        ["short", "reflection", "below the noise of computing", "", "4"],
        ["load", "reflection", "below the noise of computing", "", "4"],
    ]
    assert "below -200 dB: as good as exact" in text_of(section)
    every = section_in(section, f"All {len(RESIDUALS)} residuals")
    assert every.folded
    ((_, *rows),) = tables_of(every)
    told = {name: value for name, value in RESIDUALS.items() if value >= -200.0}
    assert rows == [[name, f"{value:.1f}"] for name, value in told.items()]
    assert "12 residuals are below -200 dB, the noise of computing, and not listed one by one." in text_of(
        every
    )


def test_what_was_measured_hides_no_exact_solution(item: ReportItem) -> None:
    section = calibration_section(
        [with_calibration(item, residuals_db={"thru 1-2 reflection": -60.0})], TEXTS
    )
    assert "noise of computing" not in text_of(section)
    assert len(tables_of(section)) == 1  # the list would say the same again


def test_residuals_of_any_name_are_counted() -> None:
    names = {"thru 1-5": -80.0, "odd": -20.0, "a port b port 7": -30.0, "x 1-2 y 3-4 z": -40.0}
    found = [(check.standard, check.what, check.where) for check in checks(names)]
    assert found == [
        ("odd", "", ""),
        ("a port b", "reflection", "7"),
        ("x 1-2 y", "z", "3-4"),
        ("thru", "", "1-5"),
    ]
    (one,) = checks({"load port 1": -50.0, "load port 2": float("nan"), "load port 3": -10.0})
    assert (one.where, one.count) == ("2", 3)
    assert np.isnan(one.worst_db)


@pytest.mark.parametrize(
    ("made_at", "words"),
    [
        ("2026-03-01T12:00:05Z", "30 min old when it was used"),
        ("2026-03-01T08:00:05+00:00", "4.5 h old when it was used"),
        ("2026-02-26T12:30:05Z", "3.0 days old when it was used"),
        ("2026-03-01T13:30:05Z", "1.0 h after the sweeps that it was applied to"),
        ("some day", ""),
        ("2026-03-01T12:00:05", ""),
    ],
)
def test_how_old_it_was(item: ReportItem, made_at: str, words: str) -> None:
    section = calibration_section([with_calibration(item, created_at=made_at)], TEXTS)
    assert facts_of(section)["made at"] == [made_at, *([words] if words else [])]


def test_who_and_how(item: ReportItem) -> None:
    calibration = item.measurement.calibration
    assert calibration is not None
    other = replace(calibration.settings, if_bandwidth_hz=100.0)
    known = with_calibration(
        item, settings=other, reached="command family x 12ab", standard_terms=(term("load"),)
    )
    known = replace(known, measurement=replace(known.measurement, verification=f"{'2026'} use: ratio 0.4"))
    section = calibration_section([known], TEXTS)
    told = facts_of(section)
    assert told["calibration"] == ["cal-7"]
    assert told["kit"] == ["simulated-contacts"]
    assert told["method"] == ["SOLT"]
    assert told["analyzer"] == ["Simulated works,x"]
    assert told["reached by"] == ["command family x 12ab"]
    assert told["settings then"] == ["IF bandwidth 100 Hz, averages 1, power -5 dBm, points spaced linearly"]
    assert told["verification"] == ["2026 use: ratio 0.4"]
    standards = section_in(section, "How well the standards are known")
    assert tables_of(standards)[0][1] == ["load", "reflection", "0.0005", "0", "one for all ports"]
    told = facts_of(calibration_section([item], TEXTS))
    assert told["verification"] == ["none of this calibration is on record"]
    assert "settings then" not in told


def test_without_one_it_is_said(item: ReportItem) -> None:
    without = replace(item, measurement=replace(item.measurement, calibration=None))
    section = calibration_section([without], TEXTS)
    assert "No calibration was applied by this program." in text_of(section)
    assert "No residuals are kept" in text_of(
        calibration_section([with_calibration(item, residuals_db={})], TEXTS)
    )


def shipped(name: str) -> Section:
    return fixture_of(fixture_text(FIXTURES / f"{name}.toml"), TEXTS)


def test_fixtures_as_shipped() -> None:
    told = facts_of(shipped("contacts"))
    assert told["fixture"][0] == "contacts"
    assert told["kind"] == ["direct contacts: every leg on an analyzer port of its own"]
    assert told["places for balanced ports"] == ["8"]
    assert told["what is not attached sits on"] == ["51 ohm to ground, 0.2 pF to ground"]
    assert told["hookups may disagree by"][0] == "-28 dB"
    assert told["source"][0].endswith("; common practice in the trade")
    told = facts_of(shipped("baluns"))
    assert told["balance of the baluns"][:4] == [
        "output signal balance 50 dB",
        "common mode rejection 50 dB",
        "common mode return loss 20 dB",
        "TCL is graded where the balance beats its limit by 20 dB",
    ]
    assert told["balance of the baluns"][4].endswith("from memory, to be verified")
    told = facts_of(shipped("fixture-halves"))
    assert told["taken away by computation"] == [
        "places 1, 2, 3, 4, 5, 6, 7, 8: the measured half halves/coupled-lines.s4p"
    ]


ODD = """
name = "bench </bdi>"
kind = "wires"
standing = "hearsay"
[termination]
touchstone = "t.s2p"
coupling_ohm = 100
[[termination.leg]]
label = "A:12.1"
resistance_ohm = 49.5
[[terminator]]
name = "T1"
resistance_ohm = [49.9, 50.1]
capacitance_pf = 0.15
[[terminator]]
name = "T2"
differential_ohm = 100
common_ohm = 75
[[deembed]]
slot = 2
two_x_thru = "pair.s4p"
side = "right"
[[deembed]]
slot = 3
touchstone = "b.s4p"
inner = "legs"
[balance]
common_mode_rejection_db = 45
[[balance.point]]
frequency_mhz = 1
output_signal_balance_db = 60
[[balance.point]]
frequency_mhz = 100
output_signal_balance_db = 40
[[balance.slot]]
slot = 2
"""


def test_everything_that_a_fixture_can_say() -> None:
    told = facts_of(fixture_of(ODD, TEXTS))
    assert told["kind"] == ["wires"]
    assert told["what is not attached sits on"] == [
        "100 ohm from leg to leg, the measured block t.s2p",
        "A:12.1: 49.5 ohm to ground",
    ]
    assert told["terminators with a name"] == [
        "T1: 49.9, 50.1 ohm to ground, 0.15 pF to ground",
        "T2: 100 ohm differential, 75 ohm common mode",
    ]
    assert told["taken away by computation"] == [
        "place 2: the right half of pair.s4p, split by IEEE 370-2020",
        "place 3: the measured half b.s4p, legs",
    ]
    assert told["balance of the baluns"] == [
        "output signal balance 40 .. 60 dB",
        "common mode rejection 45 dB",
        "place 2 has figures of its own",
    ]
    assert told["source"] == ["hearsay"]


@pytest.mark.parametrize(
    "toml",
    [
        "no toml [",
        "name = 3\nslot = 4\ntermination = 'x'\ndeembed = [1]\nbalance = 2\nconsistency = 1",
        "[consistency]\nlargest_db = true\n[termination]\nresistance_ohm = 'much'\nleg = [2]\n",
        "[balance]\noutput_signal_balance_db = 'x'\npoint = [{output_signal_balance_db = 'y'}]\n",
        "[[deembed]]\n[[terminator]]\n[[slot]]\n",
    ],
)
def test_no_text_in_its_place_breaks_the_report(toml: str) -> None:
    assert facts_of(fixture_of(toml, TEXTS))["fixture"][0] == "unnamed"


def test_no_fixture_is_said(item: ReportItem) -> None:
    without = replace(item, measurement=replace(item.measurement, fixture_toml=""))
    assert "No fixture definition is kept" in text_of(fixture_section([without], TEXTS))
    assert facts_of(fixture_section([item], TEXTS))["fixture"] == ["contacts"]


def test_no_words_of_ours_but_from_the_catalogue(item: ReportItem, tmp_path: Path) -> None:
    texts = load_texts(pseudo_language(tmp_path))
    known = with_calibration(item, residuals_db=RESIDUALS, standard_terms=(term("load"),))
    without = replace(item, measurement=replace(item.measurement, calibration=None))
    sections = [calibration_section([one], texts) for one in (known, without)]
    sections += [fixture_of(text, texts) for text in (ODD, "", fixture_text(FIXTURES / "baluns.toml"))]
    for section in sections:
        assert not re.search("[A-Za-z]{2}", outside_marks(ours(section)).replace(" dB", ""))


def test_hostile_names_stay_those_of_others(item: ReportItem) -> None:
    calibration = item.measurement.calibration
    assert isinstance(calibration, Calibration)
    bad = with_calibration(
        item,
        identifier=HOSTILE,
        created_at=HOSTILE,
        kit=HOSTILE,
        method=HOSTILE,
        idn=HOSTILE,
        reached=HOSTILE,
        residuals_db={HOSTILE: -1.0, f"{HOSTILE} port 2": -2.0, f"{HOSTILE} 1-2 {HOSTILE}": -3.0},
        standard_terms=(term(HOSTILE),),
    )
    bad = replace(bad, measurement=replace(bad.measurement, verification=HOSTILE))
    section = calibration_section([bad], TEXTS)
    assert "script" in text_of(section)
    assert "script" not in ours(section)
    name = "</bdi><script>"
    toml = ODD
    for word in ("bench </bdi>", "wires", "hearsay", "t.s2p", "A:12.1", "T1", "pair.s4p", "right", "legs"):
        toml = toml.replace(f'"{word}"', f'"{name}"')
    section = fixture_of(toml.replace("49.5", f'"{name}"').replace("slot = 3", f'slot = "{name}"'), TEXTS)
    assert text_of(section).count("script") >= 10
    assert "script" not in ours(section)
