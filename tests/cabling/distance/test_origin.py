"""Where a failing return loss or NEXT comes from: lines with one mismatch or coupling at a place."""

from __future__ import annotations

import math

import numpy as np
import pytest

from benchsweep.cabling import trace_origins
from benchsweep.records import FOUR_PAIRS, Parameter, SMatrix
from tests.cabling.distance.lines import TAU, mixed, two_port

F = 5e6 * np.arange(1, 101)
RL, NEXT, PS_NEXT = Parameter.RETURN_LOSS, Parameter.NEXT, Parameter.PS_NEXT


def coupled(f, length_m, lumps: dict[tuple[str, str], list[tuple[float, float]]]) -> SMatrix:
    """A matched line, its pairs coupled at metres from end A with seconds: S = j w T, the way undone."""
    plain = mixed(f, dict.fromkeys(FOUR_PAIRS, two_port(f, [(length_m, 100.0)])))
    s = np.array(plain.s)
    way = s[:, plain.ports.index("B:12/d"), plain.ports.index("A:12/d")] ** (2.0 / length_m)
    way = np.abs(way) * np.exp(-2j * np.pi * f * 2.0 * TAU)  # there and back over one metre
    for (p, q), places in lumps.items():
        for metres, seconds in places:
            for end, distance in (("A", metres), ("B", length_m - metres)):
                wave = 2j * np.pi * f * seconds * np.exp(distance * np.log(np.abs(way)))
                wave = wave * np.exp(-2j * np.pi * f * 2.0 * TAU * distance)
                i, k = plain.ports.index(f"{end}:{p}/d"), plain.ports.index(f"{end}:{q}/d")
                s[:, i, k] += wave
                s[:, k, i] += wave
    return SMatrix(f, s, plain.ports, plain.z0_ohm)


@pytest.mark.parametrize("at_hz", [20e6, 100e6, 300e6, 490e6])
@pytest.mark.parametrize("end", ["A", "B"])
def test_next_of_a_plug_is_told_from_both_ends(at_hz, end):
    cord = coupled(F, 3.0, {("36", "45"): [(2.95, 8e-12)], ("12", "36"): [(0.03, 8e-12)]})
    far, near = trace_origins(
        cord, [(NEXT, end, ("36", "45"), at_hz), (NEXT, end, ("12", "36"), at_hz)], length_m=3.0
    )
    assert (far.at_end, near.at_end) == ("B", "A")
    assert far.share > 0.85
    assert near.share > 0.85
    assert 2.0 < far.from_m < far.to_m == 3.0
    assert far.words.endswith(f"comes from the {far.to_m - far.from_m:.1f} m at end B")
    assert far.band_hz[0] <= at_hz <= far.band_hz[1]


def test_a_place_in_the_middle_is_told_in_metres_from_end_a():
    cable = coupled(2e6 * np.arange(1, 251), 30.0, {("12", "78"): [(12.0, 4e-12)]})
    for end in ("A", "B"):
        (origin,) = trace_origins(cable, [(NEXT, end, ("12", "78"), 200e6)], length_m=30.0)
        assert origin.at_end is None
        assert origin.from_m < 12.0 < origin.to_m
        assert origin.to_m - origin.from_m < 1.5


def test_coupling_all_along_is_told_as_such():
    rng = np.random.default_rng(7)
    places = [(float(x), float(t)) for x, t in zip(np.arange(0.1, 10.0, 0.1), rng.normal(0, 2e-12, 99),
                                                   strict=True)]  # fmt: skip
    (origin,) = trace_origins(coupled(F, 10.0, {("12", "78"): places}), [(NEXT, "A", ("12", "78"), 100e6)],
                              length_m=10.0)  # fmt: skip
    assert (origin.at_end, origin.from_m, origin.share) == (None, None, 1.0)
    assert "all along" in origin.words


def test_two_ends_alike_are_not_one_of_them():
    cord = coupled(F, 3.0, {("12", "78"): [(0.03, 8e-12), (2.97, 8.3e-12)]})
    (origin,) = trace_origins(cord, [(NEXT, "A", ("12", "78"), 100e6)], length_m=3.0)
    assert origin.at_end is None


def test_the_larger_part_of_a_power_sum_decides():
    cord = coupled(F, 3.0, {("36", "45"): [(2.97, 8e-12)], ("12", "36"): [(0.03, 2e-12)]})
    (origin,) = trace_origins(cord, [(PS_NEXT, "A", ("36",), 100e6)], length_m=3.0)
    assert origin.at_end == "B"
    # Energies as 16 to 1, less a little loss on the way back.
    assert origin.share == pytest.approx(16.0 / 17.0, abs=0.02)


def test_reflection_of_a_mismatch():
    odd = two_port(F, [(1.2, 100.0), (0.3, 80.0), (8.5, 100.0)])
    line = mixed(F, dict.fromkeys(FOUR_PAIRS, two_port(F, [(10.0, 100.0)])) | {"45": odd})
    for end in ("A", "B"):
        (origin,) = trace_origins(line, [(RL, end, ("45",), 300e6)], length_m=10.0)
        assert origin.from_m < 1.35 < origin.to_m
        assert origin.to_m - origin.from_m < 1.0


def test_what_cannot_be_told_says_why():
    cord = coupled(F, 3.0, {("36", "45"): [(2.95, 8e-12)]})
    asked = [(NEXT, "A", ("36", "45"), 100e6)]
    assert trace_origins(cord, [(Parameter.ACR_F, "A", ("36", "45"), 100e6)], length_m=3.0) == ()
    log = np.geomspace(1e6, 500e6, 100)
    (uneven,) = trace_origins(coupled(log, 3.0, {}), asked, length_m=3.0)
    assert "not evenly spaced" in uneven.words
    assert uneven.share is None
    (coarse,) = trace_origins(coupled(F, 40.0, {}), asked, length_m=40.0)
    assert "too coarse" in coarse.words
    narrow = F[:20]
    (few,) = trace_origins(coupled(narrow, 1.0, {}), asked, length_m=1.0)
    assert "too narrow" in few.words
    (silent,) = trace_origins(coupled(F, 3.0, {}), asked, length_m=3.0)
    assert "no signal" in silent.words
    one_end = mixed(F, dict.fromkeys(FOUR_PAIRS, two_port(F, [(3.0, 100.0)])), ends="A")
    (unknown,) = trace_origins(one_end, asked)
    assert "no length is known" in unknown.words
    assert math.isnan(unknown.band_hz[0])
