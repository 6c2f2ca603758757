"""Faults named and located on lines made of chain matrices, where every figure is known in closed form.

Chain matrices of uncoupled pairs (conftest) share nothing with the simulated specimens, which have plugs and
structure; `tests/journeys/test_faults.py` looks at those.
"""

from __future__ import annotations

import re

import numpy as np
import pytest

from benchsweep.cabling import locate_faults
from benchsweep.cabling._losses import ModeLosses
from benchsweep.cabling.faults._along import Along, look_along
from benchsweep.cabling.faults._plugs import lumped_crosstalk
from benchsweep.errors import UsageError
from benchsweep.records import Fault

MHZ = 1e6
F = np.arange(1, 401) * 1.25 * MHZ
LENGTH_M = 6.0
FORMS = ("contacts", "tapped", "differential")


def line(rig, length_m, f=F, **kinds):
    return rig.line(f, length_m, **{"loss": 0.02, "z_c": 30.0, **kinds})


def faults(rig, *parts, f=F, form="contacts", length_m=LENGTH_M, **how) -> tuple[Fault, ...]:
    whole = rig.to_s(f, *parts)
    mixed = rig.to_mixed(whole)
    if form == "differential":
        mixed = rig.part_of(mixed, lambda label: label.endswith("/d"))
    return locate_faults(whole if form == "contacts" else mixed, mixed, length_m=length_m, **how)


def only(found: tuple[Fault, ...]) -> Fault:
    assert len(found) == 1, found
    assert found[0].evidence
    return found[0]


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("length_m", [1.0, 6.0])
def test_a_good_line_has_no_fault(rig, form, length_m):
    assert faults(rig, line(rig, length_m), form=form, length_m=length_m) == ()


@pytest.mark.parametrize("z_d", [95.0, 105.0])
def test_a_line_of_another_impedance_all_along_has_no_fault(rig, z_d):
    assert faults(rig, line(rig, LENGTH_M, z_d=z_d)) == ()


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("at_m", [0.9, 3.0, 5.2])
def test_an_open_pair_is_found_where_it_is(rig, form, at_m):
    parts = line(rig, at_m), rig.broken(F, 4, 5), line(rig, LENGTH_M - at_m)
    fault = only(faults(rig, *parts, form=form))
    assert (fault.kind, fault.pairs, fault.end) == ("open", ("45",), None)
    assert fault.from_m == pytest.approx(at_m, abs=0.1)
    assert f"about {at_m:.1f} m from end A" in fault.words


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("at_m", [0.9, 5.2])
def test_a_shorted_pair_is_no_open_one(rig, form, at_m):
    parts = line(rig, at_m), rig.shunt(F, 3, 6, 0.5), line(rig, LENGTH_M - at_m)
    fault = only(faults(rig, *parts, form=form))
    assert (fault.kind, fault.pairs, fault.end) == ("short", ("36",), None)
    assert fault.from_m == pytest.approx(at_m, abs=0.1)


@pytest.mark.parametrize("form", FORMS)
def test_two_pairs_that_touch_are_no_split_pair(rig, form):
    # NEXT of a touch is 12 dB at any frequency, as bad as that of a split pair.
    parts = line(rig, 2.0), rig.shunt(F, 3, 4, 0.5), line(rig, 4.0)
    fault = only(faults(rig, *parts, form=form))
    assert (fault.kind, fault.pairs) == ("short", ("36", "45"))
    assert fault.from_m == pytest.approx(2.0, abs=0.1)
    if form != "differential":
        assert fault.contacts == (3, 4)


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize(("end", "contact"), [("A", 7), ("B", 8)])
def test_an_open_leg_at_a_plug(rig, form, end, contact):
    parts = [rig.broken(F, contact), line(rig, LENGTH_M)]
    fault = only(faults(rig, *(parts if end == "A" else parts[::-1]), form=form))
    assert (fault.kind, fault.pairs, fault.end) == ("open", ("78",), end)
    assert f"at the plug of end {end}" in fault.words
    assert fault.contacts == (() if form == "differential" else (contact,))


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("at_m", [0.0, 2.0, 6.0])
@pytest.mark.parametrize("contact", [3, 6])
def test_resistance_in_one_conductor(rig, form, at_m, contact):
    # R = 4 ohm: S_dd = (R/2 + 100)/(R + 100), S_cd/S_dd = R/(R + 200), 34.2 dB.
    parts = [rig.series(F, {contact: 4.0})]
    parts = [*([line(rig, at_m)] if at_m else []), *parts, *([line(rig, 6.0 - at_m)] if at_m < 6.0 else [])]
    fault = only(faults(rig, *parts, form=form))
    assert (fault.kind, fault.pairs) == ("contact", ("36",))
    assert fault.end == {0.0: "A", 6.0: "B"}.get(at_m)
    assert fault.from_m == pytest.approx(at_m, abs=0.15)
    ohm = float(fault.words.split(":")[1].split()[0])
    assert ohm == pytest.approx(4.0, rel=0.1)
    assert fault.contacts == (() if form == "differential" else (contact,))


def test_balance_finds_a_bad_contact_long_before_loss_does(rig):
    # 1.2 ohm: 0.05 dB; and 3 % of the loop of 6 m are 0.034 ohm, so 0.2 ohm is what a good one may have.
    parts = rig.series(F, {4: 1.2}), line(rig, LENGTH_M, loss=0.03)
    assert only(faults(rig, *parts)).kind == "contact"
    little = rig.series(F, {4: 0.2}), line(rig, LENGTH_M)
    assert faults(rig, *little) == ()
    assert faults(rig, *little, form="differential") == ()


def test_without_time_domain_a_bad_contact_is_found_and_placed_all_the_same(rig):
    f = np.geomspace(0.5e6, 500e6, 200)
    parts = line(rig, LENGTH_M, f), rig.series(f, {1: 3.0})
    fault = only(faults(rig, *parts, f=f))
    assert (fault.kind, fault.contacts, fault.end) == ("contact", (1,), "B")


def test_without_time_domain_an_open_is_named_and_its_place_is_not_made_up(rig):
    f = np.geomspace(0.5e6, 500e6, 200)
    fault = only(faults(rig, line(rig, 2.5, f), rig.broken(f, 4, 5), line(rig, 3.5, f), f=f))
    assert fault.kind == "open"
    assert (fault.from_m, fault.to_m) == (None, None)
    assert "cannot be told" in " ".join(fault.evidence)


@pytest.mark.parametrize("form", FORMS)
def test_a_short_dip_of_all_pairs_is_a_crush(rig, form):
    parts = line(rig, 1.4), line(rig, 0.2, z_d=82.0), line(rig, 4.4)
    fault = only(faults(rig, *parts, form=form))
    assert (fault.kind, fault.pairs) == ("crush", ("12", "36", "45", "78"))
    assert (fault.from_m, fault.to_m) == (pytest.approx(1.4, abs=0.1), pytest.approx(1.6, abs=0.1))


def test_a_dip_at_a_plug_is_told_by_the_other_plug_that_has_none(rig):
    parts = line(rig, 5.75), line(rig, 0.2, z_d=80.0), line(rig, 0.05)
    fault = only(faults(rig, *parts))
    assert (fault.kind, fault.end) == ("crush", "B")


def test_a_long_stretch_without_more_loss_is_another_cable_and_with_it_water(rig):
    dry = line(rig, 2.0), line(rig, 1.5, z_d=91.0), line(rig, 2.5)
    fault = only(faults(rig, *dry))
    assert (fault.kind, fault.from_m, fault.to_m) == (
        "impedance",
        pytest.approx(2.0, abs=0.12),
        pytest.approx(3.5, abs=0.12),
    )
    # A loss tangent of 0.012 over 1.5 m: 8.686 pi f t tan(delta) (Pozar, section 2.7).
    whole = rig.to_s(F, *dry)
    wet = np.exp(-np.pi * F * 5.1e-9 * 0.012 * 1.5)[:, None, None]
    through = np.kron([[0, 1], [1, 0]], np.ones((8, 8)))
    s = np.where(through > 0, whole.s * wet, whole.s)
    lossy = type(whole)(F, s, whole.ports, whole.z0_ohm)
    fault = only(locate_faults(lossy, rig.to_mixed(lossy), length_m=LENGTH_M))
    assert fault.kind == "water"
    assert fault.from_m == pytest.approx(2.0, abs=0.12)
    assert fault.words.startswith("water in the cable between 2.0 and 3.5 m from end A")


def test_one_pair_alone_is_no_crush(rig):
    parts = line(rig, 3.0), line(rig, 0.2, z_d=np.array([100.0, 80.0, 100.0, 100.0])), line(rig, 2.8)
    fault = only(faults(rig, *parts))
    assert (fault.kind, fault.pairs) == ("impedance", ("36",))
    assert fault.from_m == pytest.approx(3.1, abs=0.1)
    assert "balance does not suffer" in fault.evidence[0]


@pytest.mark.parametrize("swapped", [(3, 4), (6, 5)])
def test_an_exchanged_conductor_is_at_the_end_from_which_crosstalk_begins(rig, swapped):
    # Seen from the other end the twist is right up to the exchange; the wave that goes wrong there ends on
    # its termination.
    order = list(range(1, 9))
    i, k = swapped
    order[i - 1], order[k - 1] = k, i
    swap = rig.permute(F, order)
    found = faults(rig, line(rig, LENGTH_M), swap)
    assert [(fault.kind, fault.end) for fault in found] == [("miswired", "B")]
    found = faults(rig, swap, line(rig, LENGTH_M))
    assert [(fault.kind, fault.end) for fault in found] == [("miswired", "A")]


def test_what_couples_at_a_plug_is_measured_in_seconds(rig):
    # S = j w T exp(-2 gamma x) for NEXT 36-45: T comes back with its sign.
    mixed = rig.to_mixed(rig.to_s(F, line(rig, LENGTH_M)))
    s = mixed.s.copy()
    i, k = mixed.ports.index("A:36/d"), mixed.ports.index("A:45/d")
    s[:, i, k] = s[:, k, i] = -2j * np.pi * F * 20e-12 * np.exp(-4j * np.pi * F * 5.1e-9 * 0.03)
    along = look_along(ModeLosses(type(mixed)(F, s, mixed.ports, mixed.z0_ohm)), LENGTH_M, None)
    assert isinstance(along, Along)
    lumps = lumped_crosstalk(along, "A")
    assert lumps["36", "45"][0] == pytest.approx(-20e-12, rel=0.02)
    assert lumps["36", "45"][1] == pytest.approx(0.03, abs=0.01)
    assert abs(lumps["12", "36"][0]) < 1e-13


def test_a_given_velocity_moves_the_places(rig):
    parts = line(rig, 3.0), rig.broken(F, 4, 5), line(rig, 3.0)
    own = only(faults(rig, *parts)).from_m
    slow = only(faults(rig, *parts, velocity=0.6)).from_m
    assert own == pytest.approx(3.0, abs=0.05)
    # The delay is 5.1 ns/m, 0.654 of the velocity of light.
    assert slow == pytest.approx(3.0 * 0.6 * 5.1e-9 * 299_792_458.0, abs=0.05)
    with pytest.raises(UsageError, match="velocity"):
        faults(rig, *parts, velocity=1.4)


def test_one_end_alone_says_what_was_not_measured(rig):
    whole = rig.to_s(F, line(rig, LENGTH_M))
    near = rig.part_of(whole, lambda label: label.startswith("A:"))
    found = locate_faults(near, rig.to_mixed(near), length_m=LENGTH_M)
    assert [fault.kind for fault in found] == ["unclear"]
    assert "end B was not measured" in found[0].words


def test_water_all_along_leaves_no_edge_and_is_told_by_the_loss(rig):
    f = np.arange(1, 1001) * 0.25 * MHZ
    whole = rig.to_s(f, line(rig, 60.0, f))
    damp = np.exp(-np.pi * f * 5.1e-9 * 0.006 * 60.0)[:, None, None]
    wet = type(whole)(f, whole.s * damp, whole.ports, whole.z0_ohm)
    fault = only(locate_faults(wet, rig.to_mixed(wet), length_m=60.0))
    assert (fault.kind, fault.from_m, fault.to_m) == ("water", 0.0, 60.0)
    assert locate_faults(whole, rig.to_mixed(whole), length_m=60.0) == ()


def test_a_reversed_pair_is_evidenced_by_the_levels_of_its_contacts(rig):
    fault = only(faults(rig, line(rig, LENGTH_M), rig.permute(F, [1, 2, 3, 5, 4, 6, 7, 8])))
    assert (fault.kind, fault.pairs) == ("reversed", ("45",))
    # 0.02 dB per metre at 1 MHz: 0.13 dB at 1.25 MHz, and nothing couples to the other conductor but what
    # modes of unlike speed leave.
    first, second = fault.evidence
    assert first.startswith("contact 4 of end A: -0.1 dB to contact 5 of end B and -")
    assert second.startswith("contact 5 of end A: -0.1 dB to contact 4 of end B and -")
    assert all(said.endswith("at 1.25 MHz") and fault.words not in said for said in fault.evidence)


def test_behind_baluns_a_reversed_pair_is_evidenced_by_its_phase(rig):
    parts = line(rig, LENGTH_M), rig.permute(F, [1, 2, 3, 5, 4, 6, 7, 8])
    (said,) = only(faults(rig, *parts, form="differential")).evidence
    # Lossy lines of this rig have a real impedance: the phase is half a turn but for the loss.
    found = re.fullmatch(
        r"the phase through pair 4-5, less the delay of the cable, is (\d+) degrees at 1.25 MHz; "
        r"a straight pair has 0",
        said,
    )
    assert found, said
    assert float(found[1]) == pytest.approx(180.0, abs=3.0)


def test_behind_baluns_crossed_pairs_are_evidenced_by_the_levels_of_pairs(rig):
    parts = line(rig, LENGTH_M), rig.permute(F, [3, 6, 1, 4, 5, 2, 7, 8])
    fault = only(faults(rig, *parts, form="differential"))
    assert (fault.kind, fault.pairs) == ("crossed", ("12", "36"))
    assert fault.evidence == (
        "pair 1-2 of end A: nothing to pair 1-2 and -0.1 dB to pair 3-6 of end B, at 1.25 MHz",
        "pair 3-6 of end A: -0.1 dB to pair 1-2 and nothing to pair 3-6 of end B, at 1.25 MHz",
    )


def test_a_split_pair_has_one_figure_of_next(rig):
    """Averaged in power the worst frequencies count most; a mean of decibels is some dB better."""
    swap = rig.permute(F, [1, 2, 5, 4, 3, 6, 7, 8])
    fault = only(faults(rig, swap, line(rig, LENGTH_M, z_c=80.0), swap))
    assert fault.kind == "split"
    found = re.search(r"NEXT about (\d+) dB near 100 MHz", fault.words)
    assert found
    assert fault.evidence[0] == f"NEXT of 36-45 is {found[1]} dB near 100 MHz, good above 30 dB"


def test_without_places_only_wiring_is_told(rig):
    parts = line(rig, 2.0), rig.broken(F, 4, 5), rig.shunt(F, 3, 6, 0.5), line(rig, 4.0, z_d=80.0)
    found = faults(rig, *parts, places=False)
    assert {(fault.kind, fault.pairs) for fault in found} == {("open", ("45",)), ("short", ("36",))}
    assert all(fault.from_m is None and not fault.evidence for fault in found)
