"""Simulated specimens, whose defects and lengths are stated in their files; the simulator shares no code."""

from __future__ import annotations

import numpy as np
import pytest

from benchsweep.cabling import (
    cable_constants,
    crosstalk_profile,
    impedance_profile,
    nominal_velocity,
    reflection_profile,
)
from benchsweep.records import FOUR_PAIRS, SMatrix, balanced_ports
from benchsweep.simulator.specimen import load_specimen
from tests.cabling.distance.lines import at, only

F = 8e6 * np.arange(1, 61)


def measured(rig, name) -> SMatrix:
    specimen = load_specimen(name, seed=1)
    legs = [leg for port in balanced_ports() for leg in port.legs]
    order = [specimen.conductors.index(f"{leg.port.end}{leg.contact}") for leg in legs]
    s = specimen.scatter(F)[:, order][:, :, order]
    return rig.to_mixed(SMatrix(F, s, tuple(map(str, legs)), (50.0,) * 16))


@pytest.fixture(scope="module")
def good(rig):
    return measured(rig, "cord-2m")


def test_a_good_cord(good):
    velocity = nominal_velocity(good, 2.0)
    assert all(0.60 < velocity[pair] < 0.70 for pair in FOUR_PAIRS)
    for trace in impedance_profile(good, length_m=2.0):
        # Cable of 100 ohm with a spread of 1.5 ohm between pairs, roughness, and a plug at each end.
        assert np.all(np.abs(at(trace, np.linspace(0.3, 1.7, 15)) - 100.0) < 7.0)
        assert trace.note == ""
    for trace in reflection_profile(good, length_m=2.0):
        largest = trace.distance_m[np.argmax(np.abs(trace.value))]
        assert largest < 0.3 or largest > 1.7  # the plugs
    # Pair 36 is split around 45 in the plug: most crosstalk, and from the plugs.
    near = {t.pairs: t for t in crosstalk_profile(good, length_m=2.0) if t.end == "A"}
    worst = max(near.values(), key=lambda t: t.value.max())
    assert worst.pairs == ("36", "45")
    place = worst.distance_m[np.argmax(worst.value)]
    assert place < 0.3 or place > 1.7


def test_constants_of_a_cord_are_those_of_its_assembly(good):
    for c in cable_constants(good, length_m=2.0):
        assert 90.0 < c.mean_impedance_ohm < 105.0
        assert 4.5 < c.capacitance_nf_per_100m < 6.0
        assert c.low_frequency_capacitance_nf_per_100m == pytest.approx(c.capacitance_nf_per_100m, rel=0.08)


def test_an_open_is_where_its_file_says(rig):
    """Contact 4 open at the plug of end B."""
    opened = measured(rig, "cord-2m-open")
    traces = reflection_profile(opened, length_m=2.0)
    trace = only(traces, "A", "45")
    place = int(np.argmax(np.abs(trace.value)))
    assert trace.value[place] > 0.3
    assert trace.distance_m[place] == pytest.approx(2.0, abs=0.3)
    other = only(traces, "B", "45")
    assert other.distance_m[np.argmax(other.value)] < 0.3
    assert np.abs(only(traces, "A", "78").value).max() < 0.1
    profile = only(impedance_profile(opened, length_m=2.0), "A", "45")
    assert at(profile, 2.1) > 150.0
    assert at(profile, 1.5) == pytest.approx(98.0, abs=7.0)
