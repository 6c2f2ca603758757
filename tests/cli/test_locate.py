"""`locate`: words, JSON and exit codes, on records made of lines that are known in closed form."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from benchsweep import archive
from benchsweep.qualification import evaluate, failing_origins, locate
from benchsweep.records import (
    Measurement,
    Outcome,
    Parameter,
    SMatrix,
    Specimen,
    Verdict,
    VerdictRow,
    balanced_ports,
)

GRID = np.arange(1, 201) * 2.5e6
DELAY_S_PER_M = 5.1e-9


def cord(
    f: np.ndarray = GRID,
    *,
    length_m: float = 4.0,
    open_at_m: float | None = None,
    told: bool = True,
    leads_to: dict[int, int] | None = None,
) -> Measurement:
    """Eight matched conductors; with an open of both of pair 4-5 on the way, which sends all back.

    `leads_to`: contact of end A -> contact of end B, where it is not the same.
    """
    to = leads_to or {}
    contacts = [leg.contact for leg in [leg for port in balanced_ports() for leg in port.legs][:8]]
    legs = [leg for port in balanced_ports() for leg in port.legs]
    s = np.zeros((f.size, 16, 16), complex)

    def way(metres: float) -> np.ndarray:
        loss = 10 ** (-0.02 * metres * np.sqrt(f / 1e6) / 20.0)
        return np.asarray(loss * np.exp(-2j * np.pi * f * DELAY_S_PER_M * metres))

    for k in range(8):
        if open_at_m is not None and legs[k].contact in (4, 5):
            s[:, k, k], s[:, k + 8, k + 8] = way(2 * open_at_m), way(2 * (length_m - open_at_m))
        else:
            far = 8 + contacts.index(to.get(contacts[k], contacts[k]))
            s[:, far, k] = s[:, k, far] = way(length_m)
    return Measurement(
        specimen=Specimen("cord 7", length_m if told else None),
        created_at="2026-01-01T00:00:00+00:00",
        origin="touchstone",
        station="",
        operator="",
        corrected=SMatrix(f, s, tuple(map(str, legs)), (50.0,) * 16),
    )


def store(measurement: Measurement) -> Path:
    Path("archive").mkdir(exist_ok=True)
    return archive.write_record(measurement, Path("archive"))


def test_an_open_in_words_and_json(run, own_home):
    record = store(cord(open_at_m=1.5))
    answer = run("locate", record)
    assert answer.code == 1
    assert "1. open: both conductors of pair 4-5 are interrupted about 1.5 m from end A" in answer.out
    # All comes back; the loss of the way, 0.6 dB at 100 MHz, is undone.
    found = re.search(r"reflection of ([+-][0-9.]+) ", answer.out)
    assert found
    assert float(found[1]) == pytest.approx(1.0, abs=0.15)
    document = run("locate", record, "--json").json
    assert document["schema"] == "benchsweep.location/1"
    (fault,) = document["faults"]
    assert (fault["kind"], fault["end"], fault["pairs"], fault["contacts"]) == ("open", None, ["45"], [4, 5])
    assert fault["from_m"] == pytest.approx(1.5, abs=0.05)
    assert fault["evidence"]
    assert document["why_no_time_domain"] == ""
    # 1/(5.1 ns/m) over the velocity of light.
    assert document["velocity"]["12"] == {"fraction": pytest.approx(0.654, abs=0.001), "standing": "measured"}
    assert document["electrical_length_m"] == pytest.approx(4.0 * 0.67 / 0.654, abs=0.01)
    constants = {(each["end"], each["pair"]): each for each in document["cable_constants"]}
    assert constants["A", "12"]["mean_impedance_ohm"] == pytest.approx(100.0, abs=0.5)
    # C = delay over impedance: 5.1 ns/m over 100 ohm.
    assert constants["A", "12"]["capacitance_nf_per_100m"] == pytest.approx(5.1, abs=0.05)


def test_a_good_cord_has_no_fault_and_the_exit_code_says_so(run, own_home):
    answer = run("locate", store(cord()))
    assert answer.code == 0
    assert "no fault found\n" in answer.out


def test_without_a_fit_grid_it_says_so_and_nothing_found_is_undecided(run, own_home):
    coarse = np.geomspace(1e6, 500e6, 150)
    answer = run("locate", store(cord(coarse)))
    assert answer.code == 3
    assert "no time domain: the frequencies are not evenly spaced" in answer.out
    assert "no fault found, as far as frequencies alone tell" in answer.out
    broken = run("locate", store(cord(coarse, open_at_m=1.5)), "--json")
    assert broken.code == 1
    (fault,) = broken.json["faults"]
    assert (fault["kind"], fault["from_m"], fault["to_m"]) == ("open", None, None)
    assert broken.json["why_no_time_domain"]


def test_length_and_velocity_from_a_person(run, own_home):
    record = store(cord(open_at_m=1.5, told=False))
    # Without a length 0.67 makes the distances: 1.5 m at 0.654 are 1.54 m.
    guessed = run("locate", record, "--json").json
    assert guessed["velocity"]["12"] == {"fraction": 0.67, "standing": "common-practice"}
    assert guessed["faults"][0]["from_m"] == pytest.approx(1.5 * 0.67 / 0.654, abs=0.04)
    told = run("locate", record, "--velocity", "0.6", "--json").json
    assert told["velocity"]["45"] == {"fraction": 0.6, "standing": "given"}
    assert told["faults"][0]["from_m"] == pytest.approx(1.5 * 0.6 / 0.654, abs=0.04)
    assert told["electrical_length_m"] == pytest.approx(4.0 * 0.6 / 0.654, abs=0.01)
    with_length = run("locate", record, "--length-m", "4", "--json").json
    assert with_length["faults"][0]["from_m"] == pytest.approx(1.5, abs=0.04)


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--velocity", "1.3"), "a velocity of 1.3 makes no sense"),
        (("--velocity", "0"), "a velocity of 0 makes no sense"),
        (("--velocity", "nan"), "a velocity of nan makes no sense"),
        (("--length-m", "-2"), "--length-m: -2 m is no length"),
        (("--length-m", "inf"), "--length-m: inf m is no length"),
    ],
)
def test_a_length_or_velocity_that_is_none(run, own_home, options, words):
    answer = run("locate", store(cord()), *options)
    assert answer.code == 2
    assert words in answer.err
    assert answer.out == ""


@pytest.mark.parametrize("told_m", ["1", "30", "80", "200"])
def test_a_length_that_the_delay_contradicts_places_nothing(run, own_home, told_m):
    """20.4 ns; 80 m at 5.1 ns/m are 408 ns, one turn of the step of 2.5 MHz more."""
    record = store(cord())
    answer = run("locate", record, "--length-m", told_m)
    assert answer.code == 3
    first = " ".join(answer.out.split("record ")[0].split())
    assert first.startswith(
        f"the length of {told_m} m does not fit the measured delay of 20.4 ns, which belongs"
    )
    assert first.endswith("to 3.1 to 5.1 m of cable: check the length")
    assert "nothing can be placed until the length fits" in answer.out
    assert "no fault found" not in answer.out
    assert "velocity over" not in answer.out
    assert "impedance" not in answer.out
    document = run("locate", record, "--length-m", told_m, "--json").json
    assert document["doubt"] == first
    assert (document["velocity"], document["cable_constants"]) == ({}, [])
    assert document["electrical_length_m"] == pytest.approx(4.0 * 0.67 / 0.654, abs=0.01)
    assert run("locate", record, "--json").json["doubt"] == ""
    found = locate(evaluate(cord(), length_m=float(told_m)))
    assert found.profiles == ()


def test_a_wrong_length_says_from_nowhere_what_fails():
    f = GRID
    measurement = cord(f)
    s = measurement.corrected.s.copy()
    for k in range(8):  # an echo of one hundredth from 1.5 m
        s[:, k, k] = 0.01 * np.exp(-2j * np.pi * f * DELAY_S_PER_M * 3.0)
    corrected = replace(measurement.corrected, s=s)
    measurement = replace(measurement, corrected=corrected)
    row = VerdictRow(
        Parameter.RETURN_LOSS, "A", ("12",), -1.0, 250e6, 40.0, 41.0, None, Outcome.FAIL, "published"
    )
    verdict = Verdict("", "cord 7", "r", "simple", 4.0, Outcome.FAIL, (row,))
    assert failing_origins(evaluate(measurement), [verdict])
    assert failing_origins(evaluate(measurement, length_m=200.0), [verdict]) == ()


def test_what_a_wrong_length_leaves_of_an_open_has_no_distance(run, own_home):
    answer = run("locate", store(cord(open_at_m=1.5)), "--length-m", "30", "--json")
    assert answer.code == 1
    (fault,) = answer.json["faults"]
    assert (fault["kind"], fault["contacts"]) == ("open", [4, 5])
    assert (fault["from_m"], fault["to_m"], fault["evidence"]) == (None, None, [])
    # A velocity told makes the distances by itself.
    placed = run(
        "locate", store(cord(open_at_m=1.5)), "--length-m", "30", "--velocity", "0.654", "--json"
    ).json
    assert placed["doubt"]
    assert placed["faults"][0]["from_m"] == pytest.approx(1.5, abs=0.05)


def test_a_short_length_of_a_long_cable_is_doubted_though_its_turns_cannot_be_counted(run, own_home):
    """100 m at steps of 1 MHz: 510 ns look like -490 ns, which no length of 2 m has."""
    long = cord(np.arange(1, 201) * 1e6, length_m=100.0)
    answer = run("locate", store(long), "--length-m", "2")
    assert answer.code == 3
    assert answer.out.startswith("frequency steps of 1 MHz give no delay that fits 2 m: check the length\n")
    assert run("locate", store(long), "--length-m", "100", "--json").json["doubt"] == ""


def test_fitted_impedance_and_structural_return_loss_of_whole_pairs_only(run, own_home):
    """A matched line: K0 is 100 ohm; its structure is that of rounding, far above 60 dB."""
    swapped = {1: 3, 2: 6, 3: 1, 6: 2}
    record = store(cord(leads_to=swapped))
    answer = run("locate", record)
    assert answer.code == 1
    rows = [line.split() for line in answer.out.splitlines() if re.match(r"[AB]   \d\d ", line)]
    assert [row[:2] for row in rows] == [["A", "45"], ["A", "78"], ["B", "45"], ["B", "78"]]
    assert all(float(row[3]) == pytest.approx(100.0, abs=0.5) for row in rows)
    assert all(float(row[7]) > 60.0 for row in rows)
    assert "pair 12 is left out: crossed" in answer.out
    assert "pair 36 is left out: crossed" in answer.out
    document = run("locate", record, "--json").json
    assert set(document["velocity"]) == {"45", "78"}
    assert set(document["left_out"]) == {"12", "36"}
    (fault,) = document["faults"]
    # 4 m lose 0.08 dB at 1 MHz, 0.13 dB at the first frequency.
    assert fault["evidence"][0] == (
        "contact 1 of end A: -0.1 dB to contact 3 of end B and nothing to contact 1, at 2.5 MHz"
    )
    assert len(fault["evidence"]) == 4


def test_conductors_exchanged_between_pairs_make_no_constants_of_one_pair(run, own_home):
    document = run("locate", store(cord(leads_to={2: 3, 3: 2})), "--json").json
    assert [fault["kind"] for fault in document["faults"]] == ["miswired"]
    assert set(document["velocity"]) == {"45", "78"}
    assert {each["pair"] for each in document["cable_constants"]} == {"45", "78"}


def test_no_such_record(run, own_home):
    answer = run("locate", "nothing.h5")
    assert answer.code == 2
    assert "nothing.h5" in answer.err


def test_profiles_are_made_when_asked_for():
    found = locate(evaluate(cord(open_at_m=1.5)))
    kinds = {trace.kind for trace in found.profiles}
    assert kinds == {"reflection", "crosstalk", "impedance"}
    far = max(
        (trace for trace in found.profiles if trace.kind == "reflection" and trace.pairs == ("45",)),
        key=lambda trace: float(np.max(np.abs(trace.value))),
    )
    assert float(far.distance_m[np.argmax(np.abs(far.value))]) == pytest.approx(1.5, abs=0.06)
