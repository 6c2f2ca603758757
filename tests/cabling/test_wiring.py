"""The wiring check on synthetic specimens with one fault each, and on data that cannot tell all."""

from __future__ import annotations

import numpy as np
import pytest

from benchsweep.cabling import check_wiring
from benchsweep.mixedmode import to_mixed_mode
from benchsweep.records import SMatrix

MHZ = 1e6
F = np.arange(1, 501) * MHZ
STRAIGHT = tuple(range(1, 9))
PAIRS = ("12", "36", "45", "78")


def cord(rig, f=F, length_m=2.0, **kinds):
    return rig.line(f, length_m, **{"loss": 0.02, "z_c": 40.0, **kinds})


def report(rig, f, *parts, length_m=None, balanced=False):
    whole = rig.to_s(f, *parts)
    mixed = rig.to_mixed(whole)
    if balanced:
        return check_wiring(None, rig.part_of(mixed, lambda label: label.endswith("/d")), length_m=length_m)
    return check_wiring(whole, mixed, length_m=length_m)


def only(found):
    assert len(found.findings) == 1, found.findings
    return found.findings[0]


@pytest.mark.parametrize("length_m", [0.5, 2.0, 10.0, 50.0, 90.0])
@pytest.mark.parametrize("told", [True, False])
@pytest.mark.parametrize("balanced", [True, False])
def test_right_wiring(rig, length_m, told, balanced):
    f = np.arange(2, 500) * 0.5 * MHZ
    found = report(rig, f, cord(rig, f, length_m), length_m=length_m if told else None, balanced=balanced)
    assert found.findings == ()
    assert found.right
    assert found.contact_at_b == STRAIGHT


@pytest.mark.parametrize("balanced", [True, False])
@pytest.mark.parametrize("pair", ["12", "36", "45", "78"])
def test_a_reversed_pair(rig, pair, balanced):
    order = list(STRAIGHT)
    i, k = int(pair[0]), int(pair[1])
    order[i - 1], order[k - 1] = k, i
    found = report(rig, F, cord(rig), rig.permute(F, order), balanced=balanced)
    finding = only(found)
    assert (finding.kind, finding.pairs, finding.contacts) == ("reversed", (pair,), (i, k))
    assert f"reversed pair {i}-{k}" in finding.words
    assert found.contact_at_b == tuple(order)
    assert found.checked
    assert not found.right


@pytest.mark.parametrize("balanced", [True, False])
def test_crossed_pairs(rig, balanced):
    order = [3, 6, 1, 4, 5, 2, 7, 8]
    found = report(rig, F, cord(rig), rig.permute(F, order), balanced=balanced)
    finding = only(found)
    assert (finding.kind, finding.pairs, finding.contacts) == ("crossed", ("12", "36"), (1, 2, 3, 6))
    assert "crossed pairs 1-2 and 3-6" in finding.words
    assert found.contact_at_b == tuple(order)


def test_three_pairs_crossed_in_a_ring_and_one_of_them_turned(rig):
    order = [3, 6, 5, 7, 8, 4, 1, 2]  # 12 -> 36 -> 54 (turned) and 45 -> 78 -> 12: a ring of four
    finding = only(report(rig, F, cord(rig), rig.permute(F, order)))
    assert (finding.kind, finding.pairs) == ("crossed", ("12", "36", "45", "78"))
    assert "pair 3-6 of end A leads to pair 4-5 of end B with its conductors exchanged" in finding.words


def test_two_faults_are_both_named(rig):
    order = [2, 1, 3, 7, 8, 6, 4, 5]
    found = report(rig, F, cord(rig), rig.permute(F, order))
    assert [(x.kind, x.pairs) for x in found.findings] == [
        ("reversed", ("12",)),
        ("crossed", ("45", "78")),
    ]


@pytest.mark.parametrize("length_m", [2.0, 90.0])
def test_single_conductors_exchanged_at_one_end(rig, length_m):
    order = [1, 3, 2, 4, 5, 6, 7, 8]
    found = report(rig, F, cord(rig, length_m=length_m), rig.permute(F, order), length_m=length_m)
    finding = only(found)
    assert (finding.kind, finding.pairs, finding.contacts) == ("miswired", ("12", "36"), (2, 3))
    assert "contact 2 at end A leads to contact 3 at end B" in finding.words
    assert found.contact_at_b == tuple(order)


def test_single_conductors_exchanged_seen_through_differential_data(rig):
    found = report(rig, F, cord(rig), rig.permute(F, [1, 3, 2, 4, 5, 6, 7, 8]), balanced=True)
    finding = only(found)
    assert (finding.kind, finding.pairs) == ("miswired", ("12", "36"))
    assert found.contact_at_b[:3] == (None, None, None)


@pytest.mark.parametrize(
    ("where", "end"),
    [
        ((0.0, 2.0), "A"),
        ((2.0, 0.0), "B"),
        ((1.0, 1.0), None),
        ((0.0, 20.0), "A"),
        ((0.0, 70.0), "A"),
        ((95.0, 5.0), None),  # 1 MHz steps are too coarse to tell where in 100 m
    ],
)
@pytest.mark.parametrize("contact", [1, 4, 6])
def test_an_open_conductor_and_at_which_end(rig, where, end, contact):
    parts = [cord(rig, length_m=where[0]), rig.broken(F, contact), cord(rig, length_m=where[1])]
    found = report(rig, F, *parts, length_m=sum(where))
    finding = only(found)
    assert (finding.kind, finding.contacts, finding.end) == ("open", (contact,), end)
    assert f"contact {contact}" in finding.words
    if end:
        assert f"plug of end {end}" in finding.words
    assert found.contact_at_b[contact - 1] is None
    assert sum(contact is not None for contact in found.contact_at_b) == 7


def test_an_open_pair_in_a_long_link(rig):
    f = np.arange(2, 500) * 0.5 * MHZ
    parts = [cord(rig, f, 30.0), rig.broken(f, 4, 5), cord(rig, f, 60.0)]
    found = report(rig, f, *parts, length_m=90.0)
    assert [(x.kind, x.contacts, x.end) for x in found.findings] == [
        ("open", (4,), None),
        ("open", (5,), None),
    ]


def test_an_open_pair_in_differential_data(rig):
    found = report(rig, F, cord(rig), rig.broken(F, 4, 5), balanced=True)
    finding = only(found)
    assert (finding.kind, finding.pairs) == ("open", ("45",))
    assert found.contact_at_b == (1, 2, 3, None, None, 6, 7, 8)


def test_nothing_connected_is_one_finding(rig):
    finding = only(report(rig, F, cord(rig), rig.broken(F, *STRAIGHT), length_m=2.0))
    assert (finding.kind, finding.contacts) == ("open", STRAIGHT)
    assert "both ends" in finding.words


@pytest.mark.parametrize(("where", "end"), [((0.0, 2.0), "A"), ((2.0, 0.0), "B"), ((1.0, 1.0), None)])
@pytest.mark.parametrize("contacts", [(4, 5), (3, 4), (2, 3)])
def test_a_short_and_at_which_end(rig, where, end, contacts):
    parts = [cord(rig, length_m=where[0]), rig.shunt(F, *contacts, 0.5), cord(rig, length_m=where[1])]
    found = report(rig, F, *parts)
    finding = only(found)
    assert (finding.kind, finding.contacts, finding.end) == ("short", contacts, end)
    assert f"contact {contacts[0]}" in finding.words
    assert f"contact {contacts[1]}" in finding.words
    assert all(found.contact_at_b[c - 1] is None for c in contacts)
    assert sum(contact is not None for contact in found.contact_at_b) == 6


def test_three_conductors_shorted_are_one_short(rig):
    parts = [
        cord(rig, length_m=1.0),
        rig.shunt(F, 3, 4, 0.5),
        rig.shunt(F, 4, 5, 0.5),
        cord(rig, length_m=1.0),
    ]
    finding = only(report(rig, F, *parts))
    assert (finding.kind, finding.contacts) == ("short", (3, 4, 5))


@pytest.mark.parametrize("length_m", [0.5, 2.0, 5.0, 90.0])
@pytest.mark.parametrize("balanced", [True, False])
def test_split_pairs_have_a_clean_map_and_are_called(rig, length_m, balanced):
    f = np.arange(2, 500) * 0.5 * MHZ
    swap = rig.permute(f, [1, 2, 5, 4, 3, 6, 7, 8])
    parts = [swap, cord(rig, f, length_m, z_c=80.0), swap]
    found = report(rig, f, *parts, length_m=length_m, balanced=balanced)
    finding = only(found)
    assert (finding.kind, finding.pairs, finding.contacts) == ("split", ("36", "45"), (3, 4, 5, 6))
    assert "split pairs 3-6 and 4-5" in finding.words
    assert found.contact_at_b == STRAIGHT


def test_strong_coupling_in_one_place_is_not_a_split_pair(rig):
    """A capacitor at the plug: NEXT of 21 dB at 100 MHz, but rising by 20 dB per decade."""
    across = np.zeros((F.size, 8, 8), dtype=np.complex128)
    y = 2j * np.pi * F * 12e-12
    for i, k in ((3, 4), (6, 5)):
        across[:, i - 1, i - 1] += y
        across[:, k - 1, k - 1] += y
        across[:, i - 1, k - 1] -= y
        across[:, k - 1, i - 1] -= y
    eye = np.broadcast_to(np.eye(8, dtype=complex), across.shape)
    lump = np.concatenate(
        [np.concatenate([eye, 0 * eye], axis=2), np.concatenate([across, eye], axis=2)], axis=1
    )
    whole = rig.to_s(F, lump, cord(rig))
    mixed = rig.to_mixed(whole)
    at_100 = -20 * np.log10(abs(mixed.at(out="A:36/d", into="A:45/d")[99]))
    assert at_100 < 25.0
    assert check_wiring(whole, mixed).right


def test_strong_coupling_along_a_well_matched_cord_is_not_a_split_pair(rig):
    """Bad crosstalk is left to its limit: a split pair also spoils the return loss of both pairs."""
    through = {(f"B:{p}/d", f"A:{p}/d"): 0.98 * np.exp(-2j * np.pi * F * 10e-9) for p in PAIRS}
    for own_reflection, kinds in ((0.0, []), (0.12, ["split"])):
        entries = through | {(f"{e}:36/d", f"{e}:45/d"): 0.06 for e in "AB"}
        entries |= {(f"{e}:{p}/d", f"{e}:{p}/d"): own_reflection for e in "AB" for p in ("36", "45")}
        found = check_wiring(None, rig.mixed_of(F, entries, modes="d"))
        assert [x.kind for x in found.findings] == kinds
    one_pair_only = entries | {(f"{e}:45/d", f"{e}:45/d"): 0.0 for e in "AB"}
    assert check_wiring(None, rig.mixed_of(F, one_pair_only, modes="d")).right


def test_modes_far_apart_do_not_look_like_a_short_or_an_exchange(rig):
    """100 m at 1 MHz with modes 1.1 ns/m apart: the neighbour in the pair gets a third of the wave."""
    f = np.arange(2, 500) * 0.5 * MHZ
    parts = cord(rig, f, 100.0, delay_d=5.4e-9, delay_c=4.3e-9)
    whole = rig.to_s(f, parts)
    assert abs(whole.at(out="B:12.2", into="A:12.1")[0]) > 0.2
    assert check_wiring(whole, rig.to_mixed(whole), length_m=100.0).right


def test_a_conductor_with_a_rival_is_unclear(rig):
    """0.55 to its own contact and 0.45 to another: neither connected nor anything else that has a name."""
    s = rig.to_s(F, cord(rig)).s.copy()
    whole = rig.to_s(F, cord(rig))
    i, k = (whole.ports.index(label) for label in ("A:12.1", "B:12.1"))
    rival = whole.ports.index("B:36.3")
    s[0, k, i], s[0, rival, i] = 0.55, 0.45
    found = check_wiring(SMatrix(F, s, whole.ports, whole.z0_ohm), rig.to_mixed(whole))
    finding = only(found)
    assert (finding.kind, finding.contacts) == ("unclear", (1,))
    assert found.contact_at_b == (None, 2, 3, 4, 5, 6, 7, 8)


@pytest.mark.parametrize("z_c", [25.0, 80.0, 300.0])
@pytest.mark.parametrize("part", [0.0, 0.25, 0.5, 0.75, 1.0])
def test_an_open_in_a_long_link_leaves_its_neighbour_alone(rig, z_c, part):
    """Half of the pair's wave goes astray and comes out at the open conductor's far end or is lost."""
    f = np.arange(2, 500) * 0.5 * MHZ
    first, second = (cord(rig, f, 90.0 * x, z_c=z_c, delay_c=4.4e-9) for x in (part, 1.0 - part))
    found = report(rig, f, first, rig.broken(f, 4), second, length_m=90.0)
    finding = only(found)
    assert (finding.kind, finding.contacts) == ("open", (4,))
    assert finding.end == {0.0: "A", 1.0: "B", 0.5: None}.get(part, finding.end)
    assert found.contact_at_b == (1, 2, 3, None, 5, 6, 7, 8)


def test_a_sweep_that_begins_too_high_for_the_length_says_so(rig):
    f = np.arange(20, 500) * 0.5 * MHZ
    found = report(rig, f, cord(rig, f, 100.0), length_m=100.0)
    finding = only(found)
    assert finding.kind == "unclear"
    assert "10 MHz" in finding.words
    assert "1 MHz or lower" in finding.words
    assert not found.checked
    assert not found.right
    assert found.contact_at_b == STRAIGHT  # the pairs and their polarity can still be told


def test_a_length_that_is_not_given_is_found_from_the_delay(rig):
    f = np.arange(20, 500) * 0.5 * MHZ
    long = report(rig, f, cord(rig, f, 100.0))
    assert (only(long).kind, long.checked) == ("unclear", False)
    short = report(rig, f, cord(rig, f, 2.0))
    assert short.right


def test_too_high_for_conductors_still_shows_a_reversed_and_a_crossed_pair(rig):
    f = np.arange(20, 500) * 0.5 * MHZ
    found = report(rig, f, cord(rig, f, 100.0), rig.permute(f, [2, 1, 3, 7, 8, 6, 4, 5]), length_m=100.0)
    assert [x.kind for x in found.findings] == ["reversed", "crossed", "unclear"]
    assert not found.checked


def test_polarity_that_cannot_be_told_is_unclear_not_reversed(rig):
    f = np.arange(1, 101) * 5.0 * MHZ
    found = report(rig, f, cord(rig, f, 90.0), balanced=True)
    assert {x.kind for x in found.findings} == {"unclear"}
    assert "polarity" in found.findings[0].words
    assert found.contact_at_b == (None,) * 8
    assert not found.checked


@pytest.mark.parametrize("end", ["A", "B"])
def test_one_end_alone_cannot_tell(rig, end):
    whole = rig.to_s(F, cord(rig))
    part = rig.part_of(whole, lambda label: label.startswith(end))
    found = check_wiring(part, rig.to_mixed(part))
    assert not found.checked
    assert only(found).kind == "unclear"
    assert found.contact_at_b == (None,) * 8


def test_two_pairs_alone_are_checked_and_the_rest_is_named(rig):
    whole = rig.to_s(F, cord(rig), rig.permute(F, [1, 2, 3, 4, 5, 6, 8, 7]))
    part = rig.part_of(whole, lambda label: ":12." in label or ":78." in label)
    found = check_wiring(part, rig.to_mixed(part))
    assert [x.kind for x in found.findings] == ["reversed", "unclear"]
    assert found.findings[0].pairs == ("78",)
    assert found.findings[1].pairs == ("36", "45")
    assert found.contact_at_b == (1, 2, None, None, None, None, 8, 7)
    assert not found.checked


def test_a_conductor_that_leaves_the_measured_part_is_not_called_open(rig):
    whole = rig.to_s(F, cord(rig), rig.permute(F, [1, 3, 2, 4, 5, 6, 7, 8]))
    part = rig.part_of(whole, lambda label: ":12." in label)
    found = check_wiring(part, rig.to_mixed(part))
    assert {x.kind for x in found.findings} == {"unclear"}
    assert "none of the measured contacts" in found.findings[0].words


def test_a_poor_contact_is_unclear_and_named(rig):
    found = report(rig, F, cord(rig, length_m=1.0), rig.series(F, {4: 150.0}), cord(rig, length_m=1.0))
    finding = only(found)
    assert (finding.kind, finding.contacts) == ("unclear", (4,))
    assert "poor contact" in finding.words


def test_noise_does_not_disturb_the_map(rig):
    whole = rig.to_s(F, cord(rig), rig.permute(F, [1, 2, 3, 5, 4, 6, 7, 8]))
    rng = np.random.default_rng(11)
    noise = 10 ** (-60 / 20) * (rng.normal(size=whole.s.shape) + 1j * rng.normal(size=whole.s.shape))
    noisy = SMatrix(F, whole.s + noise, whole.ports, whole.z0_ohm)
    found = check_wiring(noisy, rig.to_mixed(noisy))
    assert [x.kind for x in found.findings] == ["reversed"]


def test_parts_of_a_specimen_that_do_not_match_end_for_end_are_no_error():
    """Whole pairs at one end only; contacts that look joined at A, one of them not measured at B."""
    f = np.arange(1, 6) * MHZ
    one_end = ("A:12.1", "A:12.2", "A:36.3", "A:36.6", "B:12.1", "B:45.4")
    silent = SMatrix(f + 60.0 * MHZ, np.zeros((5, 6, 6)), one_end, (50.0,) * 6)
    assert not check_wiring(silent, to_mixed_mode(silent), length_m=2.0).right
    ports = ("A:12.1", "A:36.6", "A:78.7", "A:78.8", "B:12.1", "B:45.5", "B:78.7", "B:78.8")
    for seed in range(10):  # numbers that no specimen has, among them some like a short of 1 and 6
        s = np.random.default_rng(seed).normal(size=(5, 8, 8)) + 0j
        partial = SMatrix(f, s, ports, (50.0,) * 8)
        assert not check_wiring(partial, to_mixed_mode(partial), length_m=2.0).right
