"""Solving and correcting, against an analyzer written out as linear equations (conftest) and scikit-rf."""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np
import pytest
import skrf
from hypothesis import given, settings
from hypothesis import strategies as st
from skrf.calibration.calibration import SOLT, MultiportCal

from benchsweep.calibration import apply, load_kit, solve
from benchsweep.errors import CalibrationError, CalibrationMismatch
from benchsweep.records import Hookup, RawHookup, RawSweep


def solved(model: Any, hookups: list[RawHookup], kit: str = "simulated-contacts") -> Any:
    return solve(load_kit(kit), hookups, settings=model.settings, **model.meta)


@pytest.mark.parametrize("n_ports", [1, 2, 3, 4, 8, 16])
@pytest.mark.parametrize("kit", ["simulated-contacts", "ideal"])
def test_a_specimen_comes_back_exactly(model: Any, n_ports: int, kit: str) -> None:
    ports = tuple(range(1, n_ports + 1))
    bench = model.Bench.random(n_ports, 3, seed=n_ports)
    hookups = model.calibration_hookups(bench, ports, ideal=kit == "ideal")
    calibration = solved(model, hookups, kit)
    truth = model.random_specimen(3, n_ports, seed=7)
    raw = bench.sweep(truth, ports)
    assert np.max(np.abs(raw.s - truth)) > 0.3  # uncorrected it is far off
    np.testing.assert_allclose(apply(calibration.terms, raw), truth, atol=1e-12)
    assert calibration.kit == kit
    assert calibration.terms.analyzer_ports == ports


@pytest.mark.parametrize("common", [1, 3, 7])
def test_any_port_may_be_the_common_one_and_ports_need_not_be_consecutive(model: Any, common: int) -> None:
    ports = (1, 3, 4, 7)
    bench = model.Bench.random(8, 3, seed=common)
    calibration = solved(model, model.calibration_hookups(bench, ports, common=common))
    truth = model.random_specimen(3, 4, seed=1)
    np.testing.assert_allclose(apply(calibration.terms, bench.sweep(truth, ports)), truth, atol=1e-12)


@pytest.mark.parametrize("common", [2, 5])
def test_two_ports_in_either_order(model: Any, common: int) -> None:
    bench = model.Bench.random(5, 3, seed=2)
    calibration = solved(model, model.calibration_hookups(bench, (2, 5), common=common))
    truth = model.random_specimen(3, 2, seed=1)
    np.testing.assert_allclose(apply(calibration.terms, bench.sweep(truth, (2, 5))), truth, atol=1e-12)


def test_some_of_the_calibrated_ports_may_be_swept(model: Any) -> None:
    bench = model.Bench.random(6, 3, seed=4)
    calibration = solved(model, model.calibration_hookups(bench, (1, 2, 3, 4, 5, 6)))
    for ports in [(2, 5), (1, 4, 6), (3,)]:
        truth = model.random_specimen(3, len(ports), seed=9)
        np.testing.assert_allclose(apply(calibration.terms, bench.sweep(truth, ports)), truth, atol=1e-12)


def test_hookups_may_come_in_any_order_and_a_repeated_standard_replaces_the_first(model: Any) -> None:
    bench = model.Bench.random(3, 3, seed=5)
    good = model.calibration_hookups(bench, (1, 2, 3))
    first_load = RawHookup(good[2].hookup, dataclasses.replace(good[2].sweep, s=good[2].sweep.s + 0.1))
    shuffled = [first_load, good[4], good[2], good[0], good[3], good[1]]
    expected, found = solved(model, good).terms, solved(model, shuffled).terms
    np.testing.assert_array_equal(found.transmission_tracking, expected.transmission_tracking)
    np.testing.assert_array_equal(found.directivity, expected.directivity)


def multiport_by_scikit_rf(model: Any, hookups: list[RawHookup]) -> Any:
    """The same calibration as plain scikit-rf calls."""
    f = hookups[0].sweep.frequency_hz
    known = model.standards(f)
    frequency = skrf.Frequency.from_f(f, unit="hz")

    def network(s: np.ndarray) -> Any:
        return skrf.Network(frequency=frequency, s=s, z0=50.0)

    pairs = {}
    for item in hookups[3:]:
        one, two = item.sweep.analyzer_ports
        at = [hookups[0].sweep.analyzer_ports.index(port) for port in (one, two)]
        measured = [network(h.sweep.s[:, at][:, :, at]) for h in hookups[:3]] + [network(item.sweep.s)]
        ideals = [network(model.diagonal(known[name], 2)) for name in ("open", "short", "load")]
        ideals.append(network(known["thru"]))
        pairs[at[0], at[1]] = {"method": SOLT, "measured": measured, "ideals": ideals, "n_thrus": 1}
    if len(pairs) == 1:
        (arguments,) = pairs.values()
        calibration = SOLT(arguments["measured"], arguments["ideals"], n_thrus=1)
    else:
        calibration = MultiportCal(pairs)
    calibration.run()
    return lambda s: calibration.apply_cal(network(s)).s


@settings(max_examples=12, deadline=None)
@given(n_ports=st.integers(2, 6), seed=st.integers(0, 2**31), scale=st.floats(0.0, 0.12))
def test_correction_equals_that_of_scikit_rf(model: Any, n_ports: int, seed: int, scale: float) -> None:
    """Also with noisy standards, where both must make the same compromise, and any raw matrix."""
    ports = tuple(range(1, n_ports + 1))
    bench = model.Bench.random(n_ports, 2, seed, scale)
    rng = np.random.default_rng(seed)
    hookups = []
    for item in model.calibration_hookups(bench, ports):
        noise = 1e-4 * rng.normal(size=(*item.sweep.s.shape, 2)) @ [1.0, 1.0j]
        hookups.append(RawHookup(item.hookup, dataclasses.replace(item.sweep, s=item.sweep.s + noise)))
    raw = bench.sweep(model.random_specimen(2, n_ports, seed), ports)
    expected = multiport_by_scikit_rf(model, hookups)(raw.s)
    # Of two ports alone scikit-rf keeps both ways of the thru apart, which noise makes differ by itself.
    tolerance = 2e-3 if n_ports == 2 else 1e-9
    np.testing.assert_allclose(apply(solved(model, hookups).terms, raw), expected, atol=tolerance)
    exact = model.calibration_hookups(bench, ports)
    found = apply(solved(model, exact).terms, raw)
    np.testing.assert_allclose(found, multiport_by_scikit_rf(model, exact)(raw.s), atol=1e-11)


def test_residuals_are_named_in_words_and_show_the_noise_of_the_standards(model: Any) -> None:
    ports = (1, 2, 3)
    bench = model.Bench.random(3, 201, seed=11)
    exact = solved(model, model.calibration_hookups(bench, ports)).residuals_db
    assert set(exact) == {
        *(f"{name} port {port}" for name in ("open", "short", "load") for port in ports),
        *(f"thru 1-{port} {word}" for port in (2, 3) for word in ("transmission", "reflection")),
    }
    assert max(exact.values()) < -270.0
    rng = np.random.default_rng(1)
    noisy = []
    for item in model.calibration_hookups(bench, ports):
        noise = 1e-4 / np.sqrt(2.0) * rng.normal(size=(*item.sweep.s.shape, 2)) @ [1.0, 1.0j]
        noisy.append(RawHookup(item.hookup, dataclasses.replace(item.sweep, s=item.sweep.s + noise)))
    found = solved(model, noisy).residuals_db
    # Three standards and three terms: no contradiction is possible. Two ways through a thru: noise must show.
    assert max(value for name, value in found.items() if "port" in name) < -270.0
    assert -80.0 < found["thru 1-2 transmission"] < -60.0
    assert -80.0 < found["thru 1-3 transmission"] < -60.0
    assert -80.0 < found["thru 1-2 reflection"] < -55.0


def test_a_wrong_kit_shows_in_no_one_port_residual_but_in_a_known_specimen(model: Any) -> None:
    """51 ohm taken for 50 ohm leaves a directivity of 1/101: closed form (R - 50) / (R + 50)."""
    f = np.linspace(1e6, 10e6, 3)
    bench = model.Bench.random(1, 3, seed=1)
    bench.frequency_hz = f
    known = model.standards(f, ideal=True)
    hookups = model.calibration_hookups(bench, (1,), ideal=True)
    real_load = bench.sweep(model.diagonal(np.full(3, 1.0 / 101.0 + 0j), 1), (1,))
    hookups[2] = RawHookup(hookups[2].hookup, real_load)
    terms = solved(model, hookups, "ideal").terms
    matched = apply(terms, bench.sweep(model.diagonal(known["load"], 1), (1,)))
    np.testing.assert_allclose(matched, -1.0 / 101.0, atol=1e-4)


def without(hookups: list[RawHookup], target: str) -> list[RawHookup]:
    return [item for item in hookups if target not in item.hookup.connections.values()]


@pytest.mark.parametrize(
    ("missing", "words"),
    [
        ("open", "the open was not measured at port 1, 2, 3"),
        ("load", "the load was not measured at port 1, 2, 3"),
        ("thru 3", "the through connection 1-3 was not measured"),
    ],
)
def test_a_missing_standard_is_named_with_its_port(model: Any, missing: str, words: str) -> None:
    hookups = model.calibration_hookups(model.Bench.random(3, 3, seed=1), (1, 2, 3))
    with pytest.raises(CalibrationError, match=words) as caught:
        solved(model, without(hookups, missing))
    assert "calibrat" in caught.value.hint


def replaced(hookups: list[RawHookup], at: int, sweep: RawSweep) -> list[RawHookup]:
    return [RawHookup(item.hookup, sweep) if n == at else item for n, item in enumerate(hookups)]


def test_a_standard_that_was_forgotten_or_exchanged_is_found_at_its_port(model: Any) -> None:
    """The person leaves the open on port 2 when the short is due; or exchanges load and short there."""
    bench = model.Bench.random(3, 31, seed=3)
    hookups = model.calibration_hookups(bench, (1, 2, 3))
    known = model.standards(bench.frequency_hz)
    for wrong in ("open", "load"):
        s = model.diagonal(known["short"], 3)
        s[:, 1, 1] = known[wrong]
        wrong_set = replaced(hookups, 1, bench.sweep(s, (1, 2, 3)))
        if wrong == "load":
            s = model.diagonal(known["load"], 3)
            s[:, 1, 1] = known["short"]
            wrong_set = replaced(wrong_set, 2, bench.sweep(s, (1, 2, 3)))
        with pytest.raises(CalibrationError, match=r"open and short too much alike at port 2$"):
            solved(model, wrong_set)


def test_nothing_connected_at_all_is_found(model: Any) -> None:
    bench = model.Bench.random(2, 31, seed=3)
    hookups = model.calibration_hookups(bench, (1, 2))
    s = model.diagonal(model.standards(bench.frequency_hz)["open"], 2)
    rng = np.random.default_rng(0)
    for at in range(3):
        sweep = bench.sweep(s, (1, 2))
        noise = 1e-5 * rng.normal(size=(*sweep.s.shape, 2)) @ [1.0, 1.0j]
        hookups = replaced(hookups, at, dataclasses.replace(sweep, s=sweep.s + noise))
    with pytest.raises(CalibrationError, match="too much alike at port 1"):
        solved(model, hookups)


@pytest.mark.parametrize("n_ports", [2, 4])
def test_open_and_short_exchanged_at_one_port_is_found_by_the_thru(model: Any, n_ports: int) -> None:
    """Exchanged open and short turn the sign of the reflection tracking, which only the thru contradicts."""
    ports = tuple(range(1, n_ports + 1))
    bench = model.Bench.random(n_ports, 31, seed=6)
    hookups = model.calibration_hookups(bench, ports)
    known = model.standards(bench.frequency_hz)
    for at, name, other in ((0, "open", "short"), (1, "short", "open")):
        s = model.diagonal(known[name], n_ports)
        s[:, 1, 1] = known[other]
        hookups = replaced(hookups, at, bench.sweep(s, ports))
    with pytest.raises(CalibrationError, match="thru 1-2: does not come back") as caught:
        solved(model, hookups)
    assert "open and short" in caught.value.hint


def test_a_thru_that_was_not_connected_is_found(model: Any) -> None:
    bench = model.Bench.random(3, 31, seed=6)
    hookups = model.calibration_hookups(bench, (1, 2, 3))
    s = model.diagonal(model.standards(bench.frequency_hz)["open"], 2)
    with pytest.raises(CalibrationError, match="thru 1-3: nothing comes through"):
        solved(model, replaced(hookups, 4, bench.sweep(s, (1, 3))))


@pytest.mark.parametrize(
    ("connections", "words"),
    [
        ({1: "A:12.1", 2: "open"}, "hookup 9, port 1: 'A:12.1' is no calibration standard"),
        (
            {1: "thru 2", 2: "open"},
            "hookup 9, port 1: a through connection to port 2 that does not come back",
        ),
        ({1: "thru 1"}, "does not come back"),
        ({1: "thru x"}, "no calibration standard"),
        ({1: "open", 9: "open"}, "hookup 9: port 9 was connected but not swept"),
    ],
)
def test_connections_that_are_no_standards_are_refused(model: Any, connections: dict, words: str) -> None:
    bench = model.Bench.random(2, 3, seed=1)
    hookups = model.calibration_hookups(bench, (1, 2))
    sweep = hookups[0].sweep
    with pytest.raises(CalibrationError, match=words):
        solved(model, [*hookups, RawHookup(Hookup(9, connections), sweep)])


def test_unusable_readings_are_refused_in_words(model: Any) -> None:
    hookups = model.calibration_hookups(model.Bench.random(2, 3, seed=1), (1, 2))
    bad = hookups[2].sweep.s.copy()
    bad[1, 0, 0] = np.nan
    with pytest.raises(CalibrationError, match="hookup 3: the sweep holds values that are no numbers"):
        solved(model, replaced(hookups, 2, dataclasses.replace(hookups[2].sweep, s=bad)))
    grid = hookups[1].sweep.frequency_hz * 1.01
    with pytest.raises(CalibrationError, match="hookup 2: its frequency grid differs"):
        solved(model, replaced(hookups, 1, dataclasses.replace(hookups[1].sweep, frequency_hz=grid)))
    dead = [RawHookup(h.hookup, dataclasses.replace(h.sweep, s=0 * h.sweep.s)) for h in hookups]
    with pytest.raises(CalibrationError, match="too much alike"):
        solved(model, dead)
    silent = replaced(hookups, 3, dataclasses.replace(hookups[3].sweep, s=0 * hookups[3].sweep.s))
    with pytest.raises(CalibrationError, match="thru 1-2: nothing comes through"):
        solved(model, silent)
    with pytest.raises(CalibrationError, match="no standard"):
        solved(model, [])


def test_a_kit_whose_standards_are_the_same_is_refused(model: Any) -> None:
    kit = load_kit("ideal")
    same = kit.model_copy(update={"load": kit.load.model_copy(update={"resistance_ohm": 1e12})})
    hookups = model.calibration_hookups(model.Bench.random(2, 3, seed=1), (1, 2), ideal=True)
    with pytest.raises(CalibrationError, match="kit ideal: its open and load are the same"):
        solve(same, hookups, settings=model.settings, **model.meta)


def test_a_sweep_on_other_ports_or_another_grid_is_refused(model: Any) -> None:
    bench = model.Bench.random(4, 3, seed=1)
    terms = solved(model, model.calibration_hookups(bench, (1, 2, 3))).terms
    sweep = bench.sweep(model.random_specimen(3, 2, 1), (2, 4))
    with pytest.raises(CalibrationMismatch, match="port 4 is not calibrated; calibrated are 1, 2, 3"):
        apply(terms, sweep)
    sweep = bench.sweep(model.random_specimen(3, 2, 1), (1, 2))
    moved = dataclasses.replace(sweep, frequency_hz=sweep.frequency_hz * (1 + 1e-6))
    with pytest.raises(
        CalibrationMismatch, match=r"calibrated 3 points from 1 to 500 MHz, measured 3 points"
    ):
        apply(terms, moved)
    fewer = RawSweep(sweep.frequency_hz[:2], sweep.s[:2], (1, 2), sweep.taken_at, 0.1)
    with pytest.raises(CalibrationMismatch, match="measured 2 points from 1 to 250"):
        apply(terms, fewer)
    bad = sweep.s.copy()
    bad[0, 1, 0] = np.inf
    with pytest.raises(CalibrationMismatch, match="no numbers"), np.errstate(all="ignore"):
        apply(terms, dataclasses.replace(sweep, s=bad))
