"""Reels of a simulated production: always the same, different from each other, drifting as the file says."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from benchsweep.errors import DefinitionError, UnknownName
from benchsweep.simulator.specimen import is_reel, list_specimens, load_specimen
from benchsweep.simulator.specimen._assembly import assemble
from benchsweep.simulator.specimen._description import SpecimenDescription
from benchsweep.simulator.specimen._production import reel_of

from .conftest import Client, matrix, take

GRID = np.linspace(1e6, 250e6, 25)
STEADY = """
schema = 1
name = "steady"
category = "6"
length_m = 30.0
seed = 3
"""
CHANCE = "[mean]\nquality_db = 1.0\n[spread]\nquality_db = 0.5\nimpedance_ohm = 2.0\n"
CRUSH = 'condition = { kind = "crush", position = 0.0 }\n'

Write = Callable[[str], None]


@pytest.fixture
def write(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Write:
    """Write the production ``steady`` of the working folder."""
    monkeypatch.chdir(tmp_path)

    def _write(text: str) -> None:
        (tmp_path / "productions").mkdir(exist_ok=True)
        (tmp_path / "productions" / "steady.toml").write_text(text, encoding="utf-8")

    return _write


def test_names_of_reels() -> None:
    assert is_reel("tollmoor-6-0001")
    assert is_reel("sallowfield-6-12")
    for name in ("tollmoor-6", "tollmoor-6-", "tollmoor-6-x", "cord-2m", "nowhere-0001", ""):
        assert not is_reel(name)
    assert not any(map(is_reel, list_specimens()))
    with pytest.raises(UnknownName):
        load_specimen("nowhere-0001", seed=1)


def test_a_reel_is_always_the_same_and_its_number_alone_tells_it() -> None:
    first = load_specimen("tollmoor-6-0007", seed=1).scatter(GRID)
    assert np.array_equal(first, load_specimen("tollmoor-6-7", seed=2).scatter(GRID))
    assert not np.allclose(first, load_specimen("tollmoor-6-0008", seed=1).scatter(GRID))


def test_reels_are_passive_and_reciprocal() -> None:
    # Physics: no wave leaves with more power than came in, and both ways are alike.
    s = load_specimen("sallowfield-6-0003", seed=1).scatter(GRID)
    assert np.linalg.norm(s, ord=2, axis=(1, 2)).max() <= 1.0 + 1e-9
    assert np.allclose(s, s.swapaxes(1, 2), atol=1e-12)


def test_spread_and_drift_are_those_of_the_file(write: Write) -> None:
    write(STEADY + CHANCE)
    reels = [reel_of(f"steady-{number}") for number in range(1, 801)]
    quality = np.array([reel.quality_db for reel in reels])
    # Four standard deviations of a mean and of a standard deviation of 800 values.
    assert quality.mean() == pytest.approx(1.0, abs=4 * 0.5 / 800**0.5)
    assert quality.std(ddof=1) == pytest.approx(0.5, abs=4 * 0.5 / 1600**0.5)
    assert np.std([reel.impedance_shift_ohm for reel in reels]) == pytest.approx(2.0, rel=0.1)
    assert {reel.loss_percent for reel in reels} == {0.0}
    assert len({reel.seed for reel in reels}) == 800
    write(STEADY + CHANCE + "[drift]\nquality_db = -2.0\n[[step]]\nfrom_reel = 500\nquality_db = -1.0\n")
    later = np.array([reel_of(f"steady-{number}").quality_db for number in range(1, 801)])
    number = np.arange(1, 801)
    # The same chance, so the difference is what was added, to the last digits.
    assert later - quality == pytest.approx(-2.0 * number / 1000.0 - 1.0 * (number >= 500), abs=1e-12)


def test_defects_strike_their_share_at_any_place(write: Write) -> None:
    write(STEADY + "[[defect]]\nshare = 0.2\n" + CRUSH)
    reels = [reel_of(f"steady-{number}") for number in range(1, 801)]
    struck = [reel.condition[0] for reel in reels if reel.condition]
    assert len(struck) / 800 == pytest.approx(0.2, abs=4 * (0.16 / 800) ** 0.5)
    places = np.array([float(one.position) for one in struck])  # type: ignore[union-attr, arg-type]
    assert places.min() >= 1.0
    assert places.max() <= 29.0
    assert places.std() == pytest.approx(28.0 / 12**0.5, rel=0.15)  # uniform over 28 m


def scattered(**shift: float) -> np.ndarray:
    whole = {"schema": 1, "name": "x", "kind": "cable", "category": "6", "length_m": 20.0, "seed": 5, **shift}
    return assemble(SpecimenDescription.model_validate(whole), 5).scatter(GRID)


def test_loss_and_impedance_do_what_they_say() -> None:
    plain = scattered()
    assert np.array_equal(plain, scattered(loss_percent=0.0, impedance_shift_ohm=0.0))

    def loss_db(s: np.ndarray) -> float:
        # Differential transmission of pair 12: contacts 1 and 2 of A are 0 and 1, those of B 8 and 9.
        through = 0.5 * (s[-1, 8, 0] - s[-1, 9, 0] - s[-1, 8, 1] + s[-1, 9, 1])
        return float(-20.0 * np.log10(abs(through)))

    # At 250 MHz nearly all of the loss is that of the conductors.
    assert loss_db(scattered(loss_percent=10.0)) / loss_db(plain) == pytest.approx(1.09, abs=0.015)
    assert abs(scattered(impedance_shift_ohm=8.0) - plain).max() > 0.01


def test_skew_is_spread_and_drawn_last(write: Write) -> None:
    write(STEADY + CHANCE + "[[defect]]\nshare = 0.2\n" + CRUSH)
    before = [reel_of(f"steady-{number}") for number in range(1, 401)]
    assert {reel.skew_percent for reel in before} == {0.0}
    wider = CHANCE.replace("[spread]\n", "[spread]\nskew_percent = 5.0\n")
    write(STEADY + wider + "[[defect]]\nshare = 0.2\n" + CRUSH)
    after = [reel_of(f"steady-{number}") for number in range(1, 401)]
    skew = np.array([reel.skew_percent for reel in after])
    # Four standard deviations of a standard deviation of 400 values.
    assert skew.std(ddof=1) == pytest.approx(5.0, abs=4 * 5.0 / 800**0.5)
    # Nothing else of any reel moved.
    assert [reel.model_copy(update={"skew_percent": 0.0}) for reel in after] == before


def test_skew_does_what_it_says() -> None:
    frequency = np.linspace(20e6, 30e6, 21)  # 20 m turn by some 18 degrees from one to the next

    def skew_s(**shift: float) -> float:
        whole = {"schema": 1, "name": "x", "kind": "cable", "category": "6", "length_m": 20.0, "seed": 5}
        s = assemble(SpecimenDescription.model_validate(whole | shift), 5).scatter(frequency)
        delays = []
        for one, other in ((0, 1), (2, 5), (3, 4), (6, 7)):  # pairs 12, 36, 45, 78
            near, far = (one, other), (8 + one, 8 + other)
            through = (
                s[:, far[0], near[0]] - s[:, far[1], near[0]] - s[:, far[0], near[1]] + s[:, far[1], near[1]]
            )
            slope = np.polyfit(frequency, np.unwrap(np.angle(through)), 1)[0]
            delays.append(-slope / (2.0 * np.pi))
        return float(max(delays) - min(delays))

    # A lay of length l lengthens a pair of spacing d by sqrt(1 + (pi d / l)^2): for the longest and shortest
    # of category 6 half more of what it adds makes the difference 1.472 times as large.
    assert skew_s(skew_percent=50.0) / skew_s() == pytest.approx(1.472, rel=0.03)


def test_the_bench_takes_a_reel_by_its_name(ready: Client) -> None:
    take(ready)
    cord = matrix(ready)
    ready.write("BENC:SPEC 'tollmoor-6-0007'")
    assert ready.errors() == []
    assert ready.ask("BENC:SPEC?") == '"tollmoor-6-0007"'
    take(ready)
    reel = matrix(ready)
    assert np.abs(reel - cord).max() > 0.01
    ready.write("BENC:SPEC 'tollmoor-6-0008'")
    take(ready)
    assert np.abs(matrix(ready) - reel).max() > 0.01
    ready.write("BENC:SPEC 'tollmoor-6'")  # a production is no reel
    assert ready.errors() != []
    assert ready.ask("BENC:SPEC?") == '"tollmoor-6-0008"'
    ready.write("BENC:SPEC 'cord-2m'")


@pytest.mark.parametrize(
    "wrong",
    [
        "colour = 1\n",
        "[mean]\nnext_db = 1.0\n",
        "[[defect]]\nshare = 2.0\n" + CRUSH,
        '[[defect]]\nshare = 0.1\ncondition = { kind = "split-pair", pairs = ["12", "36"] }\n',
        "[[step]]\nfrom_reel = 0\n",
    ],
)
def test_a_wrong_file_is_named(write: Write, wrong: str) -> None:
    write(STEADY + wrong)
    with pytest.raises(DefinitionError, match=r"steady\.toml"):
        reel_of("steady-0001")
