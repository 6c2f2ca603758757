"""What each defect does, against mode algebra and closed forms; and specimen files that are wrong."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import linear_sum_assignment

from benchsweep.errors import BenchsweepError, DefinitionError, UnknownName
from benchsweep.simulator.specimen import _cable_types, _profiles, _sections, load_specimen
from benchsweep.simulator.specimen._assembly import assemble
from benchsweep.simulator.specimen._description import SpecimenDescription

PAIRS = ((1, 2), (3, 6), (4, 5), (7, 8))
P12, P36, P45, P78 = range(4)
FAR, COMMON = 8, 4
CORD = 'schema = 1\nname = "cord"\nkind = "cord"\ncategory = "6a"\nlength_m = 2.0\nseed = 177\n'
CABLE = 'schema = 1\nname = "reel"\nkind = "cable"\ncategory = "6a"\nlength_m = 60.0\nseed = 5\n'
LOW = np.array([0.2e6])
MHZ = np.linspace(1e6, 500e6, 500)


def mixed(s: np.ndarray) -> np.ndarray:
    """Conductors -> (a - b)/√2 and (a + b)/√2 of each pair at both ends (Bockelman and Eisenstadt, 1995)."""
    end = np.zeros((8, 8))
    for p, (one, other) in enumerate(PAIRS):
        end[p, one - 1], end[p, other - 1] = np.sqrt(0.5), -np.sqrt(0.5)
        end[4 + p, one - 1] = end[4 + p, other - 1] = np.sqrt(0.5)
    both = np.kron(np.eye(2), end)
    return both @ s @ both.T


def loss_db(values: np.ndarray) -> np.ndarray:
    return -20.0 * np.log10(np.abs(values))


def near(value_hz: float) -> int:
    return int(np.argmin(np.abs(MHZ - value_hz)))


def scatter(folder: Path, condition: str, f: np.ndarray = MHZ, base: str = CORD) -> np.ndarray:
    path = folder / "specimen.toml"
    tables = "".join(f"\n[[condition]]\n{one}\n" for one in condition.split("\n\n") if one)
    path.write_text(base + tables, encoding="utf-8")
    return load_specimen(str(path), seed=1).scatter(f)


def wire_map(s: np.ndarray) -> list[int]:
    """Far contact that each near contact leads to, by best assignment of |S| at the lowest frequency."""
    rows, columns = linear_sum_assignment(-np.abs(s[0, 8:, :8]).T)
    assert rows.tolist() == list(range(8))
    return (columns + 1).tolist()


REVERSED = 'kind = "reversed-pair"\nposition = "far plug"\npair = "45"'
CROSSED = 'kind = "crossed-pairs"\nposition = "far plug"\npairs = ["12", "36"]'
SWAPPED = 'kind = "swapped-conductors"\nposition = "near plug"\nconductors = [2, 3]'
SPLIT = 'kind = "split-pair"\nconductors = [3, 5]'


@pytest.mark.parametrize(
    ("condition", "expected"),
    [
        ("", [1, 2, 3, 4, 5, 6, 7, 8]),
        (REVERSED, [1, 2, 3, 5, 4, 6, 7, 8]),
        (CROSSED, [3, 6, 1, 4, 5, 2, 7, 8]),
        (SWAPPED, [1, 3, 2, 4, 5, 6, 7, 8]),
        (SPLIT, [1, 2, 3, 4, 5, 6, 7, 8]),
        (REVERSED + "\n\n" + CROSSED, [3, 6, 1, 5, 4, 2, 7, 8]),
    ],
)
def test_wire_map(tmp_path: Path, condition: str, expected: list[int]) -> None:
    assert wire_map(scatter(tmp_path, condition, LOW)) == expected


def test_a_reversed_pair_turns_the_sign_and_hardly_anything_else(tmp_path: Path) -> None:
    good, bad = mixed(scatter(tmp_path, "", LOW)), mixed(scatter(tmp_path, REVERSED, LOW))
    assert bad[0, FAR + P45, P45] == pytest.approx(-good[0, FAR + P45, P45], abs=1e-4)
    assert bad[0, FAR + P12, P12] == pytest.approx(good[0, FAR + P12, P12], abs=1e-4)


def test_crossed_pairs_send_the_signal_into_the_other_pair(tmp_path: Path) -> None:
    t = mixed(scatter(tmp_path, CROSSED, LOW))
    assert loss_db(t[0, FAR + P36, P12]) < 0.1
    assert loss_db(t[0, FAR + P12, P12]) > 60.0


def test_one_swapped_conductor_halves_the_wave(tmp_path: Path) -> None:
    # One leg of two arrives: S_dd = 1/2, and half of it goes into the other pair and as much into common
    # mode.
    t = mixed(scatter(tmp_path, SWAPPED, LOW))
    assert np.abs(t[0, FAR + P12, P12]) == pytest.approx(0.5, abs=0.01)
    assert np.abs(t[0, FAR + P36, P12]) == pytest.approx(0.5, abs=0.01)
    assert loss_db(t[0, FAR + COMMON + P12, P12]) == pytest.approx(6.0, abs=0.2)


def test_a_split_pair_has_a_clean_map_and_crosstalk_near_twenty_decibels(tmp_path: Path) -> None:
    # Each split pair takes one conductor of either twisted pair: about a quarter of its power runs in modes
    # of the wrong velocity and impedance, so NEXT and return loss fall together, from the first metres on.
    good, bad = mixed(scatter(tmp_path, "")), mixed(scatter(tmp_path, SPLIT))
    at = slice(near(80e6), near(120e6))
    assert 16.0 < np.mean(loss_db(bad[at, P36, P45])) < 26.0
    assert np.mean(loss_db(good[at, P36, P45])) > 50.0
    for pair in (P36, P45):
        worst = np.min(loss_db(bad[at, pair, pair]))
        assert worst < np.min(loss_db(good[at, pair, pair])) - 6.0
    assert np.max(np.abs(loss_db(bad[at, P12, P12]) - loss_db(good[at, P12, P12]))) < 1.0


@pytest.mark.parametrize("place", ['"near plug"', '"far plug"', "0.7"])
def test_an_open_leg_halves_the_wave_and_a_short_takes_it(tmp_path: Path, place: str) -> None:
    # One leg left: S_dd = 1/2. Shunt of 0.5 ohm across 100: S_dd = 2/(2 + 200) = 0.0099 (Pozar, table 4.1).
    leg = scatter(tmp_path, f'kind = "open"\nposition = {place}\nconductors = [4]', LOW)
    assert np.abs(mixed(leg)[0, FAR + P45, P45]) == pytest.approx(0.5, abs=0.01)
    assert np.abs(leg[0, FAR + 3, 3]) < 0.02
    short = scatter(tmp_path, f'kind = "short"\nposition = {place}\nconductors = [4, 5]', LOW)
    assert np.abs(mixed(short)[0, FAR + P45, P45]) == pytest.approx(2 / 202, abs=0.002)
    assert np.abs(short[0, 8:, 3:5][[3, 4]]) == pytest.approx(np.full((2, 2), 0.5), abs=0.02)


def test_an_open_end_is_seen_where_it_is(tmp_path: Path) -> None:
    # Step of the reflection at 2 τ x; pair 45 of lay 11.9 mm: 4.83 √(1 + (π 1.12/11.9)²) ns/m.
    f = np.arange(1, 1025) * 0.5e6
    t = mixed(scatter(tmp_path, 'kind = "open"\nposition = 30.0\nconductors = [4, 5]', f, CABLE))
    pulse = np.fft.irfft(np.concatenate([[0.0], t[:, P45, P45] * np.hanning(2049)[1025:]]))
    delay = np.argmax(np.abs(pulse)) / (len(pulse) * 0.5e6)
    tau = 4.83e-9 * np.sqrt(1 + (np.pi * 1.12 / 11.9) ** 2)
    assert delay / (2 * tau) == pytest.approx(30.0, abs=0.3)


@pytest.mark.parametrize("ohm", [0.5, 2.0, 10.0])
def test_a_worn_contact_shows_in_balance_before_it_shows_in_loss(tmp_path: Path, ohm: float) -> None:
    # Series z = R/50 in one leg: S_dd = (1 + 2/(z+2))/2 and S_cd = (1 - 2/(z+2))/2.
    worn = f'kind = "worn-contact"\nposition = "near plug"\nconductors = [4]\nresistance_ohm = {ohm}'
    good, bad = mixed(scatter(tmp_path, "", LOW)), mixed(scatter(tmp_path, worn, LOW))
    through = 2 / (ohm / 50 + 2)
    more = loss_db(bad[0, FAR + P45, P45]) - loss_db(good[0, FAR + P45, P45])
    assert more == pytest.approx(loss_db(np.array((1 + through) / 2)), abs=0.01)
    assert np.abs(bad[0, FAR + COMMON + P45, P45]) == pytest.approx((1 - through) / 2, rel=0.1)
    assert loss_db(good[0, FAR + COMMON + P45, P45]) > loss_db(bad[0, FAR + COMMON + P45, P45]) + 10


def test_a_crush_reflects_like_a_short_line_of_lower_impedance() -> None:
    # Line of length l and impedance Z in a line of Z0: Γ = j (Z/Z0 - Z0/Z)/2 tan(βl)/(1 + …) (Pozar, sec.
    # 2.3); here inductance × 0.85 and capacitance × 1.15 over 0.2 m of a cable that is perfect otherwise.
    description = SpecimenDescription.model_validate(
        {
            "schema": 1,
            "name": "x",
            "kind": "cable",
            "category": "6a",
            "length_m": 2.0,
            "quality_db": 40.0,
            "condition": [{"kind": "crush", "position": 1.0, "length_m": 0.2, "impedance_drop": 0.15}],
        }
    )
    f = np.linspace(20e6, 400e6, 39)
    constants = _profiles.draw_propagation(
        _cable_types.load_cable_type("6a"), stranded=False, seed=(7, 10, 0)
    )
    gamma, zc = constants.line_constants(f)
    t = mixed(assemble(description, 7).scatter(f))
    ratio = np.sqrt(0.85 / 1.15)
    theta = 2 * np.pi * f * constants.delay_s_per_m[P12] * np.sqrt(0.85 * 1.15) * 0.2
    gap = 1j * (ratio - 1 / ratio) * np.tan(theta)
    expected = np.abs(gap / (2 + 1j * (ratio + 1 / ratio) * np.tan(theta)))
    # Seen from the cable's own impedance and without the loss of the metre in front.
    p, q = (zc + 50) / (2 * np.sqrt(zc * 50)), (50 - zc) / (2 * np.sqrt(zc * 50))
    seen = t[:, P12, P12]
    inner = (q[:, P12] + p[:, P12] * seen) / (p[:, P12] + q[:, P12] * seen)
    got = np.abs(inner) * np.exp(2 * gamma[:, P12].real * 1.1)
    assert np.max(np.abs(got - expected)) < 0.02
    assert np.max(expected) > 0.13


def test_a_kink_spoils_balance_and_return_loss_of_its_pair(tmp_path: Path) -> None:
    kink = 'kind = "kink"\nposition = 1.0\npair = "12"'
    good, bad = mixed(scatter(tmp_path, "")), mixed(scatter(tmp_path, kink))
    at = slice(near(150e6), near(350e6))

    def rms_db(t: np.ndarray, row: int, column: int) -> float:
        return float(-10 * np.log10(np.mean(np.abs(t[at, row, column]) ** 2)))

    assert rms_db(good, COMMON + P12, P12) - rms_db(bad, COMMON + P12, P12) > 3.0
    # First order of a deviation ζ over d: |Γ| = ωτ ζ d; seen through the head, there and back.
    reflection = 2 * np.pi * MHZ[at] * 5.14e-9 * 0.08 * 0.05
    more = np.abs(bad[at, P12, P12] - good[at, P12, P12])
    assert np.mean(more / reflection) == pytest.approx(0.88, abs=0.12)
    assert rms_db(bad, P78, P78) == pytest.approx(rms_db(good, P78, P78), abs=0.2)


def test_water_adds_loss_in_proportion_to_frequency_and_delay(tmp_path: Path) -> None:
    # Dielectric loss 8.686 π f τ tan δ dB/m (Pozar, sec. 2.7), delay with the root of the permittivity.
    wet = 'kind = "wet-section"\nposition = 20.0\nlength_m = 12.0\n'
    wet += "permittivity_ratio = 1.2\nloss_tangent = 0.012"
    f = np.linspace(20e6, 300e6, 141)
    good, bad = (mixed(scatter(tmp_path, one, f, CABLE))[:, FAR + P45, P45] for one in ("", wet))
    tau = 4.83e-9 * np.sqrt(1 + (np.pi * 1.12 / 11.9) ** 2)
    more = loss_db(bad) - loss_db(good)
    dielectric = 8.686 * np.pi * f * tau * (np.sqrt(1.2) * 0.012 - 6.5e-4) * 12
    # The conductors' own loss grows too: the same resistance in an impedance lower by √1.2.
    conductor = 0.0166 * np.sqrt(f / 1e6) * 12 * (np.sqrt(1.2) - 1)
    assert np.mean((more - dielectric - conductor)[100:]) == pytest.approx(0.0, abs=0.15)
    slope = np.polyfit(2 * np.pi * f, np.unwrap(np.angle(bad / good)), 1)[0]
    # A constant loss angle δ lets the permittivity fall as f^(-2δ/π) (Kramers and Kronig), nominal at 100
    # MHz: group delay falls by δ/π (1 + ln(f/100 MHz)), here at the middle of the band.
    falls = (0.012 * np.sqrt(1.2) - 6.5e-4) / np.pi * (1 + np.log(1.6))
    assert -slope == pytest.approx(12 * tau * (np.sqrt(1.2) - 1 - falls), rel=0.02)


@pytest.mark.parametrize("length_m", [0.015, 0.040])
def test_untwist_behind_a_plug_brings_crosstalk_back_at_that_end(tmp_path: Path, length_m: float) -> None:
    # Short coupled stretches add: length / 5 mm × 0.30 × the coupling of a plug (37.4 dB at 100 MHz for
    # 36-45).
    t = mixed(scatter(tmp_path, f'kind = "untwist"\nposition = "far plug"\nlength_m = {length_m}'))
    at = near(100e6)
    expected = 37.4 - 20 * np.log10(0.30 * length_m / 0.005)
    assert loss_db(t[at, FAR + P36, FAR + P45]) == pytest.approx(expected, abs=1.0)
    # From the other end it is seen through two metres of cord, there and back.
    assert loss_db(t[near(500e6), P36, P45]) > loss_db(t[near(500e6), FAR + P36, FAR + P45])


@pytest.mark.parametrize(("scale", "end"), [(1.5, "near"), (0.7, "far")])
def test_a_plug_out_of_window_is_seen_from_its_end(tmp_path: Path, scale: float, end: str) -> None:
    t = mixed(scatter(tmp_path, f'kind = "plug-out-of-window"\nposition = "{end} plug"\nscale = {scale}'))
    port = 0 if end == "near" else FAR
    # |scale - 1| of the plug's 37.4 dB at 100 MHz is not taken back by the jack.
    expected = 37.4 - 20 * np.log10(abs(scale - 1))
    assert loss_db(t[near(100e6), port + P36, port + P45]) == pytest.approx(expected, abs=2.0)


def test_a_condition_leaves_the_rest_of_the_specimen_as_it_was(tmp_path: Path) -> None:
    # The cable and the plugs come from the seed alone; a touch of 1 megohm is next to no touch.
    good = scatter(tmp_path, "", MHZ[::50])
    touch = scatter(
        tmp_path,
        'kind = "short"\nposition = "far plug"\nconductors = [1, 8]\nresistance_ohm = 1e6',
        MHZ[::50],
    )
    assert np.max(np.abs(good - touch)) < 1e-4
    # In the middle of the cable the sections are cut anew, which makes a slightly different cable of it.
    cut = scatter(
        tmp_path, 'kind = "short"\nposition = 0.7\nconductors = [1, 8]\nresistance_ohm = 1e6', MHZ[::50]
    )
    assert np.max(np.abs(good - cut)) < 5e-3


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('colour = "red"', "colour: unknown key"),
        ("quality_db = 'good'", "quality_db: input should be a valid number"),
        (
            '[[condition]]\nkind = "opened"',
            r"condition\[0\].kind: 'opened' is none of open, .*reversed-pair.*; did you mean open\?",
        ),
        (
            '[[condition]]\nkind = "open"\nposition = "middle"\nconductors = [4]',
            r"condition\[0\].position: .*'middle' is neither 'near plug' nor 'far plug' nor metres",
        ),
        (
            '[[condition]]\nkind = "open"\nposition = 2.5\nconductors = [4]',
            r"condition\[0\].position: 2.5 m is beyond the 2 m",
        ),
        (
            '[[condition]]\nkind = "open"\nposition = 1\nconductors = [9]',
            r"condition\[0\].conductors\[0\]",
        ),
        ('[[condition]]\nkind = "open"\nposition = 1\nconductors = [4, 4]', "the same one is named twice"),
        ('[[condition]]\nkind = "split-pair"\nconductors = [4, 5]', "must belong to different pairs"),
        (
            '[[condition]]\nkind = "short"\nposition = 1\nconductors = [4, 5]\nohm = 3',
            r"condition\[0\].ohm: unknown key; did you mean resistance_ohm\?",
        ),
        ("[[piece]]\nlength_m = 3.0", "either length_m or"),
        (
            '[[condition]]\nkind = "wet-section"\nposition = 1.0\nlength_m = 3.0',
            r"condition\[0\].position: 1 m and 3 m more is beyond the 2 m",
        ),
        ('[[condition]]\nkind = "crush"\nposition = 2.0', r"condition\[0\].position"),
        (
            '[[condition]]\nkind = "plug-out-of-window"\nposition = "near plug"\nscale = 1.0',
            "scale 1.0 is the nominal plug",
        ),
        ("[[condition", "not valid TOML"),
    ],
)
def test_a_wrong_file_is_an_error_that_names_file_and_key(tmp_path: Path, text: str, words: str) -> None:
    path = tmp_path / "wrong.toml"
    path.write_text(CORD + text + "\n", encoding="utf-8")
    with pytest.raises(DefinitionError, match=words) as caught:
        load_specimen(str(path), seed=1)
    assert str(path) in caught.value.message
    assert "\n" not in caught.value.message


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('kind = "cable"\ncategory = "6a"', "either length_m or"),
        ('kind = "cable"\ncategory = "8"\nlength_m = 2', "category"),
        ('kind = "cable"\ncategory = "6a"\nlength_m = nan', "length_m"),
        ('kind = "cord"\ncategory = "6a"\n' + "[[piece]]\nlength_m = 1\n" * 2, "a cord is one piece"),
        ('kind = "channel"\ncategory = "6a"\nstranded = true\n[[piece]]\nlength_m = 1', "each piece says it"),
        ('kind = "channel"\ncategory = "6a"\n' + "[[piece]]\nlength_m = 300\n" * 2, "600 m together"),
        (
            'kind = "cable"\ncategory = "6a"\nlength_m = 9\n'
            '[[condition]]\nkind = "untwist"\nposition = "near plug"\nlength_m = 0.01',
            "has no plug",
        ),
    ],
)
def test_a_specimen_that_cannot_be_is_refused(tmp_path: Path, text: str, words: str) -> None:
    path = tmp_path / "wrong.toml"
    path.write_text('schema = 1\nname = "x"\n' + text + "\n", encoding="utf-8")
    with pytest.raises(DefinitionError, match=words):
        load_specimen(str(path), seed=1)


def test_an_unknown_name_lists_what_there_is() -> None:
    with pytest.raises(UnknownName, match=r"cord-3m.*channel-100m.*cord-2m"):
        load_specimen("cord-3m", seed=1)
    with pytest.raises(UnknownName, match="no such file"):
        load_specimen("nowhere/cord.toml", seed=1)


def test_conditions_count_metres_through_the_pieces_of_a_channel(tmp_path: Path) -> None:
    channel = (
        'schema = 1\nname = "c"\nkind = "channel"\ncategory = "6a"\nseed = 3\n'
        "[[piece]]\nlength_m = 5\nstranded = true\n"
        "[[piece]]\nlength_m = 30\n"
        "[[piece]]\nlength_m = 5\nstranded = true\n"
    )
    f = np.arange(1, 513) * 1e6
    tau = 4.83e-9 * np.sqrt(1 + (np.pi * 1.12 / 11.9) ** 2)
    for metres in (3.0, 20.0, 38.0):
        t = mixed(scatter(tmp_path, f'kind = "open"\nposition = {metres}\nconductors = [4, 5]', f, channel))
        pulse = np.fft.irfft(np.concatenate([[0.0], t[:, P45, P45] * np.hanning(1025)[513:]]))
        # A mated connection is worth some centimetres.
        found = np.argmax(np.abs(pulse)) / (len(pulse) * 1e6) / (2 * tau)
        assert found == pytest.approx(metres, abs=0.35)


def test_every_kind_of_condition_stays_passive_and_reciprocal(tmp_path: Path) -> None:
    everything = "\n\n".join(
        [
            REVERSED,
            CROSSED,
            SWAPPED,
            SPLIT,
            'kind = "open"\nposition = 0.3\nconductors = [8]',
            'kind = "short"\nposition = 0.5\nconductors = [3, 4]',
            'kind = "worn-contact"\nposition = "far plug"\nconductors = [1, 7]\nresistance_ohm = 3',
            'kind = "crush"\nposition = 1.0\nlength_m = 0.3\nimpedance_drop = 0.3',
            'kind = "kink"\nposition = 1.5\npair = "78"',
            'kind = "untwist"\nposition = "near plug"\nlength_m = 0.013\npairs = ["12", "45"]',
            'kind = "wet-section"\nposition = 0.6\nlength_m = 1.2',
            'kind = "plug-out-of-window"\nposition = "far plug"\nscale = 1.5',
        ]
    )
    s = scatter(tmp_path, everything, MHZ[::10])
    assert np.max(np.linalg.svd(s, compute_uv=False)) <= 1 + 1e-9
    assert np.max(np.abs(s - s.swapaxes(1, 2))) < 1e-12


def test_errors_of_specimens_have_the_exit_code_of_a_file_that_is_wrong() -> None:
    with pytest.raises(BenchsweepError) as caught:
        load_specimen("cord-3m", seed=1)
    assert caught.value.exit_code == 2


def test_a_profile_is_cut_where_it_is_told_to() -> None:
    assert _sections.section_bounds(40, 0.05) == (0, 20, 40)
    assert _sections.section_bounds(40, 0.05, (14, 0, 40)) == (0, 14, 20, 40)
    assert len(_sections.section_bounds(2000, 0.05)) == 17
