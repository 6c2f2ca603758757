"""Mixed-mode Touchstone files: one made by hand, what we write, what cannot be said or read.

The layout follows the Touchstone File Format Specification 2.0 (IBIS Open Forum) from memory: its text was
not at hand. What scikit-rf 2.2 reads is the second witness, where it can be one.
"""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import skrf
from hypothesis import example, given, settings
from hypothesis import strategies as st

from benchsweep.errors import BenchsweepError, DataFileError, UsageError
from benchsweep.mixedmode import is_mixed_mode, mixed_mode_legs, mixed_mode_text, to_mixed_mode
from benchsweep.records import SMatrix, balanced_ports

WHERE = Path("cord.s4p")
ONE_PAIR = ("A:12.1", "A:12.2", "B:12.1", "B:12.2")
LEGS = tuple(str(leg) for port in balanced_ports() for leg in port.legs)

# By hand. Two wires between 50 ohm ports, 1 to 3 and 2 to 4; in the first a resistor of 50 ohm in series, in
# the second nothing. A resistor R in series has S11 = R/(100 + R) and S21 = 100/(100 + R): wire one 1/3 and
# 2/3, wire two 0 and 1. From D = (a1 - a2)/sqrt 2, C = (a1 + a2)/sqrt 2 follow
#   Sdd11 = Scc11 = (1/3 + 0)/2 = 1/6    Sdc11 = Scd11 = (1/3 - 0)/2 = 1/6
#   Sdd21 = Scc21 = (2/3 + 1)/2 = 5/6    Sdc21 = Scd21 = (2/3 - 1)/2 = -1/6
# In the file D1,2 D3,4 C1,2 C3,4; [Reference] is that of the ports, so D is at 100 and C at 25 ohm.
BY_HAND = """\
! two wires, 50 ohm in series with the first
[Version] 2.0
# MHz S RI R 50
[Number of Ports] 4
[Number of Frequencies] 2   ! resistors are the same everywhere
[Reference] 50 50
50 50
[Begin Information]
[Anything] may stand here, 1 2 3
# GHz Z MA R 1
[End Information]
[Matrix Format] Full
[Mixed-Mode Order] D1,2 D3,4 C1,2 C3,4
[Network Data]
1    0.166666666667 0  0.833333333333 0  0.166666666667 0 -0.166666666667 0
     0.833333333333 0  0.166666666667 0 -0.166666666667 0  0.166666666667 0
     0.166666666667 0 -0.166666666667 0  0.166666666667 0  0.833333333333 0
    -0.166666666667 0  0.166666666667 0  0.833333333333 0  0.166666666667 0
10   0.166666666667 0  0.833333333333 0  0.166666666667 0 -0.166666666667 0
     0.833333333333 0  0.166666666667 0 -0.166666666667 0  0.166666666667 0
     0.166666666667 0 -0.166666666667 0  0.166666666667 0  0.833333333333 0
    -0.166666666667 0  0.166666666667 0  0.833333333333 0  0.166666666667 0
[End]
"""
# The same network, the differential mode of the first end called D2,1: its row and its column change sign.
REVERSED = (
    BY_HAND.replace("D1,2", "D2,1")
    .replace(
        " 0.166666666667 0  0.833333333333 0  0.166666666667 0 -0.166666666667 0\n     0.83",
        " 0.166666666667 0 -0.833333333333 0 -0.166666666667 0  0.166666666667 0\n    -0.83",
    )
    .replace(
        "     0.166666666667 0 -0.166666666667 0  0.166666666667 0  0.83",
        "    -0.166666666667 0 -0.166666666667 0  0.166666666667 0  0.83",
    )
    .replace(
        "\n    -0.166666666667 0  0.166666666667 0  0.83", "\n     0.166666666667 0  0.166666666667 0  0.83"
    )
)
WIRES = np.array([[1 / 3, 0, 2 / 3, 0], [0, 0, 0, 1], [2 / 3, 0, 1 / 3, 0], [0, 1, 0, 0]], dtype=complex)


def legs_of(text: str, legs: tuple[str, ...] = ONE_PAIR) -> SMatrix:
    return mixed_mode_legs(WHERE, text, legs)


def specimen(ports: tuple[str, ...] = LEGS, points: int = 5, z0: float = 50.0) -> SMatrix:
    rng = np.random.default_rng(8)
    n = len(ports)
    s = 0.3 / n**0.5 * (rng.normal(size=(points, n, n, 2)) @ [1.0, 1.0j])
    return SMatrix(np.sort(rng.uniform(1e5, 5e8, points)), s, ports, (z0,) * n)


@pytest.mark.parametrize("text", [BY_HAND, REVERSED], ids=["as usual", "polarity reversed"])
def test_a_file_made_by_hand_is_read_right_in_either_polarity(text: str) -> None:
    found = legs_of(text)
    np.testing.assert_allclose(found.s, [WIRES, WIRES], atol=1e-12)
    assert found.frequency_hz.tolist() == [1e6, 10e6]
    assert found.ports == ONE_PAIR
    assert found.z0_ohm == (50.0,) * 4
    assert is_mixed_mode(text)


def test_the_numbers_with_the_other_polarity_are_another_network() -> None:
    """So the test above finds a reader that drops the order of D2,1."""
    assert REVERSED.count("-0.833333333333") == 4
    found = legs_of(REVERSED.replace("D2,1", "D1,2"))
    assert np.max(np.abs(found.s - WIRES)) > 0.8


@pytest.mark.parametrize(
    ("order", "permutation", "signs"),
    [
        ("C1,2 C3,4 D1,2 D3,4", [2, 3, 0, 1], [1, 1, 1, 1]),
        ("D1,2 C1,2 D3,4 C3,4", [0, 2, 1, 3], [1, 1, 1, 1]),
        ("c4,3 d2,1 C2,1 D4,3", [3, 0, 2, 1], [1, -1, 1, -1]),
        ("D1 , 2\nC1,2 ! of end A\n D3,4 C3,4", [0, 2, 1, 3], [1, 1, 1, 1]),
    ],
)
def test_any_order_of_modes(order: str, permutation: list[int], signs: list[int]) -> None:
    """A random network, which unlike the wires is alike in no two modes, its modes put in order by hand."""
    legs = specimen(ONE_PAIR)
    modes = to_mixed_mode(legs)
    s = modes.s[:, permutation][:, :, permutation] * np.outer(signs, signs)
    rows = [
        f"{f!r} " + "\n".join(" ".join(f"{v.real!r} {v.imag!r}" for v in row) for row in point.tolist())
        for f, point in zip(legs.frequency_hz.tolist(), s, strict=True)
    ]
    text = (
        "[Version] 2.1\n# Hz S RI R 50\n[Number of Ports] 4\n[Number of Frequencies] 5\n"
        f"[Mixed-Mode Order] {order}\n[Network Data]\n" + "\n".join(rows) + "\n[END]\n"
    )
    np.testing.assert_allclose(legs_of(text).s, legs.s, atol=1e-15)


@pytest.mark.parametrize("unit", ["Hz", "kHz", "MHz", "GHz"])
@pytest.mark.parametrize("form", ["RI", "MA", "DB"])
def test_units_and_number_formats(unit: str, form: str) -> None:
    scale = {"Hz": 1.0, "kHz": 1e3, "MHz": 1e6, "GHz": 1e9}[unit]
    legs = specimen(ONE_PAIR)
    rows = []
    for f, point in zip(legs.frequency_hz, to_mixed_mode(legs).s, strict=True):
        size, angle = np.abs(point), np.rad2deg(np.angle(point))
        first = {"RI": point.real, "MA": size, "DB": 20.0 * np.log10(size)}[form]
        second = point.imag if form == "RI" else angle
        words = [f"{float(a)!r} {float(b)!r}" for a, b in zip(first.ravel(), second.ravel(), strict=True)]
        rows.append(f"{float(f / scale)!r} " + "\n".join(words[:6]) + "\n" + " ".join(words[6:]))
    text = (
        f"[version] 2.0\n# R 50 {form} S {unit}\n[NUMBER OF PORTS] 4\n[Number of Frequencies] 5\n"
        "[Mixed-Mode Order] D1,2 D3,4 C1,2 C3,4\n[Network Data]\n" + "\n".join(rows) + "\n[End]"
    )
    found = legs_of(text)
    np.testing.assert_allclose(found.s, legs.s, atol=1e-14)
    np.testing.assert_allclose(found.frequency_hz, legs.frequency_hz, rtol=1e-15)


@pytest.mark.parametrize("shape", ["Lower", "upper"])
def test_triangular_matrices(shape: str) -> None:
    rows = BY_HAND.split("[Network Data]\n")[1].split("\n")[:8]
    for k, row in enumerate(rows):
        head, words = ([row.split()[0]], row.split()[1:]) if k % 4 == 0 else ([], row.split())
        kept = words[: 2 * (k % 4 + 1)] if shape == "Lower" else words[2 * (k % 4) :]
        rows[k] = " ".join(head + kept)
    text = BY_HAND.split("[Network Data]\n")[0].replace("Full", shape) + "[Network Data]\n" + "\n".join(rows)
    np.testing.assert_allclose(legs_of(text + "\n[End]\n").s, [WIRES, WIRES], atol=1e-12)


@pytest.mark.parametrize(("order", "transposed"), [("12_21", False), ("21_12", True)])
def test_the_two_orders_of_a_two_port(order: str, transposed: bool) -> None:
    """One pair alone: Sdd, Sdc, Scd, Scc. Columns are what goes in, so 12_21 has Sdc second."""
    text = (
        "[Version] 2.0\n# MHz S RI R 50\n[Number of Ports] 2\n"
        f"[Two-Port Data Order] {order}\n[Number of Frequencies] 1\n"
        "[Mixed-Mode Order] D1,2 C1,2\n[Network Data]\n1 0.1 0 0.2 0 0.3 0 0.4 0\n[End]\n"
    )
    found = to_mixed_mode(legs_of(text, ONE_PAIR[:2]))
    d_from_c = found.at(out="A:12/d", into="A:12/c")[0]
    assert abs(d_from_c - (0.3 if transposed else 0.2)) < 1e-15
    with pytest.raises(DataFileError, match="Two-Port Data Order"):
        legs_of(text.replace(f"[Two-Port Data Order] {order}\n", ""), ONE_PAIR[:2])


def test_single_ended_ports_beside_pairs() -> None:
    """A leg without its partner is written as S and read again."""
    matrix = specimen(("B:36.6", "A:12.2", "A:12.1", "A:78.7"))
    text = mixed_mode_text(matrix)
    assert "[Mixed-Mode Order] D3,2 C3,2 S1 S4\n" in text
    found = mixed_mode_legs(Path("x.s4p"), text, matrix.ports)
    np.testing.assert_allclose(found.s, matrix.s, atol=1e-15)


@pytest.mark.parametrize("reference", ["50 50 50 50", "75 75 50 50", "100 100 0.01 0.01"])
def test_references_are_those_of_the_ports(reference: str) -> None:
    """Reference: scikit-rf renormalises the legs that have these impedances by themselves."""
    z0 = np.array([float(word) for word in reference.split()])
    legs = specimen(ONE_PAIR)
    modes = to_mixed_mode(legs)  # the same orthogonal matrix, whatever one Z both legs of a pair have
    text = mixed_mode_text(modes).replace("[Reference] 50.0 50.0 50.0 50.0", f"[Reference] {reference}")
    assert reference in text
    network = skrf.Network(f=legs.frequency_hz, f_unit="hz", s=legs.s, z0=z0)
    network.renormalize(50.0)
    np.testing.assert_allclose(legs_of(text).s, network.s, atol=1e-10)
    at_75 = text.replace(f"[Reference] {reference}\n", "").replace("R 50.0", "R 75")
    network = skrf.Network(f=legs.frequency_hz, f_unit="hz", s=legs.s, z0=75.0)
    network.renormalize(50.0)
    np.testing.assert_allclose(legs_of(at_75).s, network.s, atol=1e-10)


@pytest.mark.parametrize("version", ["2.0", "2.1"])
def test_legs_go_through_a_file_and_back(version: str) -> None:
    legs = specimen()
    text = mixed_mode_text(legs, version=version, comments=["a cord"])
    found = mixed_mode_legs(Path("x.s16p"), text, legs.ports)
    np.testing.assert_allclose(found.s, legs.s, atol=1e-15)
    assert found.frequency_hz.tobytes() == legs.frequency_hz.tobytes()
    again = mixed_mode_text(found, version=version)
    np.testing.assert_allclose(mixed_mode_legs(Path("x.s16p"), again, legs.ports).s, legs.s, atol=1e-15)
    # Modes measured behind baluns are written as they are.
    modes = to_mixed_mode(legs)
    shuffled = np.random.default_rng(1).permutation(16)
    in_disorder = SMatrix(
        modes.frequency_hz,
        modes.s[:, shuffled][:, :, shuffled],
        tuple(modes.ports[k] for k in shuffled),
        tuple(modes.z0_ohm[k] for k in shuffled),
    )
    text = mixed_mode_text(in_disorder, version=version)
    assert "[Mixed-Mode Order] D1,2 D3,6 D4,5 D7,8 D9,10 D11,14 D12,13 D15,16 C1,2 C3,6 C4,5 C7,8 C9" in text
    numbers = text.split("[Network Data]\n")[1].removesuffix("[End]\n").split()
    written = np.array(list(map(float, numbers))).reshape(5, 513)[:, 1:].copy().view(complex)
    assert written.tobytes() == modes.s.tobytes()


def test_a_bundle_goes_through_a_file_and_back() -> None:
    ports = ONE_PAIR[:2] + tuple(f"3.{leg}" for leg in ONE_PAIR[:2])
    legs = specimen(ports)
    np.testing.assert_allclose(mixed_mode_legs(WHERE, mixed_mode_text(legs), ports).s, legs.s, atol=1e-15)


def test_comments_say_what_each_row_is() -> None:
    modes = to_mixed_mode(specimen())
    text = mixed_mode_text(modes)
    told = re.findall(r"^! Mode\[(\d+)\] = (\S+) (differential|common)$", text, re.MULTILINE)
    assert [int(number) for number, _, _ in told] == list(range(1, 17))
    numbers = text.split("[Network Data]\n")[1].removesuffix("[End]\n").split()
    first = np.array(list(map(float, numbers[1:513]))).view(complex).reshape(16, 16)
    labels = [f"{pair}/{mode[0]}" for _, pair, mode in told]
    for row, out in enumerate(labels):
        assert first[row].tolist() == [modes.at(out=out, into=into)[0] for into in labels]
    beside = mixed_mode_text(specimen(("3.B:36.6", "3.A:12.2", "3.A:12.1")))
    assert (
        "! Mode[1] = 3.A:12 differential\n! Mode[2] = 3.A:12 common\n! Mode[3] = 3.B:36.6 single-ended\n"
        in beside
    )


def test_what_another_reader_finds_in_our_file(tmp_path: Path) -> None:
    """scikit-rf 2.2 knows modes and references, and puts D at the lower port of a pair, C at the higher."""
    legs = specimen(ONE_PAIR)
    path = tmp_path / "x.s4p"
    path.write_text(mixed_mode_text(legs))
    other = skrf.Network(str(path))
    assert other.port_modes.tolist() == ["D", "C", "D", "C"]
    assert other.z0[0].real.tolist() == [100.0, 25.0, 100.0, 25.0]
    at = [0, 2, 1, 3]
    np.testing.assert_allclose(other.s, to_mixed_mode(legs).s[:, at][:, :, at], atol=1e-15)


def test_why_that_reader_is_not_ours(tmp_path: Path) -> None:
    """It drops the polarity: D2,1 reads as D1,2, and the network of the reversed file is another one.

    It also stops at an information block, so that is taken out.
    """
    networks = []
    for name, text in (("usual.s4p", BY_HAND), ("reversed.s4p", REVERSED)):
        start, end = text.index("[Begin Information]"), text.index("[Matrix Format]")
        (tmp_path / name).write_text(text[:start] + text[end:])
        networks.append(skrf.Network(str(tmp_path / name)))
    assert networks[0].port_modes.tolist() == networks[1].port_modes.tolist()
    np.testing.assert_array_equal(networks[0].z0, networks[1].z0)
    # Both files describe one network; nothing it read tells that the second has another sign.
    assert np.max(np.abs(networks[0].s - networks[1].s)) > 1.6


def test_what_the_format_cannot_say_is_refused() -> None:
    modes = to_mixed_mode(specimen(ONE_PAIR))
    differential = SMatrix(modes.frequency_hz, modes.s[:, :2, :2], modes.ports[:2], modes.z0_ohm[:2])
    with pytest.raises(UsageError, match="A:12/c was not measured"):
        mixed_mode_text(differential)
    with pytest.raises(UsageError, match="100 and 50 ohm"):
        mixed_mode_text(to_mixed_mode(specimen(ONE_PAIR), z_common_ohm=50.0))
    with pytest.raises(UsageError, match="no pair has both its legs"):
        mixed_mode_text(specimen(("A:12.1", "B:12.2")))
    with pytest.raises(UsageError, match="different references"):
        mixed_mode_text(replace(specimen(ONE_PAIR), z0_ohm=(50.0, 75.0, 50.0, 50.0)))
    with pytest.raises(UsageError, match="legs and modes are mixed"):
        mixed_mode_text(specimen(("A:12/d", "A:12/c", "A:12.1")))
    with pytest.raises(UsageError, match=r"version 2\.0 or 2\.1, not 1\.0"):
        mixed_mode_text(modes, version="1.0")
    for comment in ("a\nb", "Ü", "a!b"):
        with pytest.raises(ValueError, match="printable ASCII"):
            mixed_mode_text(modes, comments=[comment])


def edited(*edits: tuple[str, str]) -> str:
    text = BY_HAND
    for old, new in edits:
        assert old in text
        text = text.replace(old, new)
    return text


ORDER = "D1,2 D3,4 C1,2 C3,4"
REFUSED = {
    "version 1": (edited(("[Version] 2.0\n", "")), r"does not begin with \[Version\]"),
    "version 3": (edited(("[Version] 2.0", "[Version] 3.0")), "is of version '3.0'"),
    "option line first": (
        edited(("[Version] 2.0\n# MHz S RI R 50\n", "# MHz S RI R 50\n[Version] 2.0\n")),
        "begin",
    ),
    "unknown keyword": (
        edited(("[Matrix Format] Full", "[Matrix Shape] Full")),
        "unknown keyword .Matrix Shape",
    ),
    "keyword twice": (
        edited(("[Matrix Format]", "[Version] 2.0\n[Matrix Format]")),
        "has the keyword .Version. twice",
    ),
    "no end": (edited(("[End]\n", "")), "cut off"),
    "goes on": (edited(("[End]\n", "[End]\n20 1 2 3\n")), "goes on after"),
    "no end of information": (edited(("[End Information]\n", "")), r"\[End Information\] is missing"),
    "end before begin": (edited(("[Begin Information]\n", "[End Information]\n")), "wrong place"),
    "words before data": (
        edited(("[Matrix Format] Full\n", "[Matrix Format] Full\n1 2 3\n")),
        "outside of any",
    ),
    "no option line": (edited(("# MHz S RI R 50\n", "")), "has 0 option lines"),
    "two option lines": (edited(("# MHz S RI R 50\n", "# MHz S RI R 50\n" * 2)), "has 2 option lines"),
    "impedances": (edited(("MHz S", "MHz Z")), "holds Z-parameters"),
    "unknown option": (edited(("MHz S", "THz S")), "unknown word 'thz'"),
    "no reference": (edited(("R 50\n", "R x\n")), "is no finite number"),
    "ports": (edited(("Ports] 4", "Ports] 6")), "says 6 ports inside"),
    "no ports": (edited(("Ports] 4", "Ports] four")), "is no count"),
    "no points": (edited(("Frequencies] 2", "Frequencies] 0")), "is no count"),
    "other points": (edited(("Frequencies] 2", "Frequencies] 3")), "announces 3 points and holds 2"),
    "references lost": (edited(("\n50 50\n", "\n50\n")), "has 3 impedances for 4 ports"),
    "reference zero": (edited(("\n50 50\n", "\n0 0\n")), "not positive"),
    "reference no number": (edited(("\n50 50\n", "\n5_0 50\n")), "is no finite number"),
    "pair at two references": (edited(("\n50 50\n", "\n50 75\n")), "D3,4 joins ports at 50 and 75 ohm"),
    "matrix format": (edited(("Full", "Diagonal")), "none of Full, Lower, Upper"),
    "two-port order of four": (
        edited(("[Matrix F", "[Two-Port Data Order] 12_21\n[Matrix F")),
        "others none",
    ),
    "order too short": (edited((ORDER, "D1,2 C1,2")), "has 2 modes for 4 ports"),
    "differential twice": (edited((ORDER, "D1,2 D2,1 C3,4 C4,3")), "has D, D of the ports of D1,2"),
    "no common mode": (edited((ORDER, "D1,2 S1 S2 D3,4")), "port 1 in more than one pair"),
    "differential alone": (edited((ORDER, "D1,2 S3 S4 S3")), "has D of the ports of D1,2"),
    "port in two pairs": (edited((ORDER, "D1,2 C1,2 D2,3 C2,3")), "port 2 in more than one pair"),
    "port that there is not": (edited((ORDER, "D1,2 C1,2 D3,5 C3,5")), "D3,5 of 4 ports does not exist"),
    "a port with itself": (edited((ORDER, "D1,1 C1,1 D3,4 C3,4")), "does not exist"),
    "no mode": (edited((ORDER, "D1,2 C1,2 E3,4 C3,4")), "'E3,4' is no mode"),
    "half a mode": (edited((ORDER, "D1,2 C1,2 D3 C3")), "'D3' is no mode"),
    "frequencies fall": (edited(("\n10  ", "\n0.5 ")), "do not rise after 1 MHz"),
    "negative frequency": (edited(("\n1    ", "\n-1   ")), "a frequency is negative"),
    "not a number": (edited(("\n10   0.166666666667", "\n10   nan")), "'nan' among its numbers"),
    "infinite": (edited(("\n10   0.166666666667", "\n10   1e999")), "at 10 MHz is no finite number"),
    "no passive network": (edited(("0.833333333333", "83.3")), "more power than goes in"),
    "number lost": (edited(("\n10   0.166666666667", "\n10  ")), "wrong count of numbers"),
    "row lost": (
        BY_HAND.replace("     0.833333333333 0  0.166666666667", "    ", 1),
        "wrong count of numbers",
    ),
}


@pytest.mark.parametrize("name", REFUSED)
def test_what_cannot_be_read_is_refused_in_one_line_that_names_the_file(name: str) -> None:
    text, words = REFUSED[name]
    with pytest.raises(DataFileError, match=words) as raised:
        legs_of(text)
    assert str(WHERE) in raised.value.message
    assert "\n" not in raised.value.message
    assert raised.value.hint


def test_a_point_at_0_hz_is_left_out() -> None:
    assert legs_of(edited(("\n1    ", "\n0    "))).frequency_hz.tolist() == [10e6]
    alone = (
        BY_HAND.split("10   0.16")[0]
        .replace("Frequencies] 2", "Frequencies] 1")
        .replace("\n1    ", "\n0    ")
    )
    with pytest.raises(DataFileError, match="0 Hz alone"):
        legs_of(alone + "[End]\n")


def test_a_file_cut_off_anywhere_is_refused() -> None:
    for length in range(len(BY_HAND) - 2):
        with pytest.raises(DataFileError):
            legs_of(BY_HAND[:length])


TOKENS = [
    *(
        "\n",
        " ",
        "#",
        "!",
        "[",
        "]",
        ",",
        "D",
        "S1",
        "e",
        "-",
        "nan",
        "1e308",
        "1e-320",
        "_",
        "[End]\n",
        "[Network Data]\n",
    ),
    *(
        "[Noise Data]\n",
        "[Reference] ",
        "[Mixed-Mode Order] ",
        "[Matrix Format] Lower\n",
        "[Begin Information]\n",
    ),
    *(
        "[End Information]\n",
        "[Number of Ports] 9999\n",
        "[Number of Frequencies] 99999999\n",
        "R 1e308",
        "\u0664",
    ),
]
EDITS = st.lists(
    st.tuples(
        st.integers(0, len(BY_HAND)),
        st.integers(0, 30),
        st.one_of(st.text(max_size=5), st.sampled_from(TOKENS)),
    ),
    max_size=5,
)


def test_whatever_is_done_to_a_file_it_is_read_or_refused(pytestconfig: pytest.Config) -> None:
    @settings(
        max_examples=10_000 if pytestconfig.getoption("--thorough") else 150, deadline=None, database=None
    )
    @given(edits=EDITS, text=st.sampled_from([BY_HAND, REVERSED]))
    @example(edits=[(0, 0, "[Number of Ports] 9999\n")], text=BY_HAND)
    def mangled(edits: list[tuple[int, int, str]], text: str) -> None:
        for at, removed, inserted in edits:
            text = text[:at] + inserted + text[at + removed :]
        message = ""
        try:
            found = legs_of(text)
        except BenchsweepError as error:
            message = error.message
        else:
            assert np.all(np.isfinite(found.s))
        assert "\n" not in message

    mangled()
