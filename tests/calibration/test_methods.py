"""Every method against an analyzer written out as linear equations (conftest), and against scikit-rf."""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np
import pytest
import skrf
from skrf.calibration.calibration import LRM, MultiportCal, UnknownThru

from benchsweep.calibration import Kit, apply, load_kit, needed_standards, solve
from benchsweep.definitions import validate_model
from benchsweep.errors import CalibrationError, DefinitionError
from benchsweep.records import Hookup, RawHookup, RawSweep

GRIDS = {
    "thru-reflect-line": np.linspace(150e6, 850e6, 7),
    "multiline": np.linspace(50e6, 850e6, 7),
}
KITS = {
    "short-open-load-thru": "simulated-contacts",
    "unknown-thru": "simulated-reciprocal",
    "line-reflect-match": "simulated-reflect",
    "line-reflect-reflect-match": "simulated-reflect",
    "thru-reflect-line": "simulated-lines",
    "multiline": "simulated-lines",
}
METHODS = tuple(KITS)


def star(n: int, common: int = 1) -> list[tuple[int, int]]:
    return [(min(common, port), max(common, port)) for port in range(1, n + 1) if port != common]


def prepared(
    model: Any, method: str, pairs: list[tuple[int, int]], *, seed: int = 1, ratios: bool = True
) -> tuple[Any, list[RawHookup]]:
    grid = GRIDS.get(method, np.linspace(1e6, 500e6, 7))
    bench = model.Bench.random(max(max(pair) for pair in pairs), grid.size, seed, grid=grid)
    needed = needed_standards(load_kit(KITS[method]), method)
    known = model.more_standards(grid)
    two_port = dict.fromkeys(pairs, needed.two_port)
    return bench, model.hookups_of(bench, known, needed.one_port, two_port, ratios=ratios)


def solved(model: Any, method: str, hookups: list[RawHookup], kit: Kit | None = None) -> Any:
    kit = kit or load_kit(KITS[method])
    return solve(kit, hookups, method=method, settings=model.settings, **model.meta)


def error(model: Any, bench: Any, terms: Any) -> float:
    ports = terms.analyzer_ports
    truth = model.random_specimen(bench.frequency_hz.size, len(ports), seed=7)
    return float(np.max(np.abs(apply(terms, bench.sweep(truth, ports)) - truth)))


@pytest.mark.parametrize("n_ports", [2, 3, 8])
@pytest.mark.parametrize("method", METHODS)
def test_a_random_specimen_comes_back_to_1e_9(model: Any, method: str, n_ports: int) -> None:
    bench, hookups = prepared(model, method, star(n_ports), seed=n_ports)
    calibration = solved(model, method, hookups)
    assert error(model, bench, calibration.terms) < 1e-9
    assert calibration.terms.analyzer_ports == tuple(range(1, n_ports + 1))


def multiport_by_scikit_rf(model: Any, method: str, hookups: list[RawHookup], n: int) -> Any:
    """The same star as plain scikit-rf calls, for the methods whose planes and reference are ours at once."""
    f = hookups[0].sweep.frequency_hz
    frequency = skrf.Frequency.from_f(f, unit="hz")
    known = model.more_standards(f)

    def network(s: np.ndarray) -> Any:
        return skrf.Network(frequency=frequency, s=s.copy(), z0=50.0)

    arguments = {}
    for port in range(2, n + 1):
        read: dict[str, np.ndarray] = {}
        for item in hookups:
            words = item.hookup.connections[1].split()
            at = (
                [item.sweep.analyzer_ports.index(1), item.sweep.analyzer_ports.index(port)]
                if (port in item.sweep.analyzer_ports)
                else None
            )
            if at is not None:
                read[words[0]] = item.sweep.s[:, at][:, :, at]
                terms = item.sweep.switch_terms
        names = [name for name in read if known[name].ndim == 1]
        if method == "unknown-thru":
            names = [*names, "reciprocal-1"]
            kind = UnknownThru
        else:
            names = ["thru", *names]
            kind = LRM
        ideals = [known[name] if known[name].ndim == 3 else model.diagonal(known[name], 2) for name in names]
        arguments[0, port - 1] = {
            "method": kind,
            "measured": [network(read[name]) for name in names],
            "ideals": [network(s) for s in ideals],
            "switch_terms": (network(terms[:, 1:, :1]), network(terms[:, :1, 1:])),
        }
    calibration = MultiportCal(arguments)
    calibration.run()
    return lambda s: calibration.apply_cal(network(s)).s


@pytest.mark.parametrize("method", ["unknown-thru", "line-reflect-match"])
def test_any_raw_matrix_is_corrected_as_scikit_rf_does_it(model: Any, method: str) -> None:
    bench, hookups = prepared(model, method, star(4), seed=3)
    terms = solved(model, method, hookups).terms
    raw = model.random_specimen(bench.frequency_hz.size, 4, seed=11)  # need be no specimen's
    sweep = RawSweep(bench.frequency_hz, raw, (1, 2, 3, 4), "2026-01-05T08:00:00+00:00", 0.1)
    expected = multiport_by_scikit_rf(model, method, hookups, 4)(raw)
    np.testing.assert_allclose(apply(terms, sweep), expected, atol=1e-8)


@pytest.mark.parametrize(
    "pairs",
    [
        [(1, 3), (1, 2), (3, 4)],  # a tree
        [(1, 2), (2, 3), (3, 4), (1, 4)],  # a ring: one pair is redundant
        [(2, 3), (1, 3), (1, 4), (2, 4), (1, 2)],
    ],
)
@pytest.mark.parametrize("method", METHODS)
def test_pairs_may_connect_the_ports_in_any_way(
    model: Any, method: str, pairs: list[tuple[int, int]]
) -> None:
    bench, hookups = prepared(model, method, pairs, seed=9)
    calibration = solved(model, method, hookups)
    assert error(model, bench, calibration.terms) < 1e-9
    assert f"{len(pairs)} " in calibration.method


def test_ports_that_nothing_connects_are_named(model: Any) -> None:
    _, hookups = prepared(model, "multiline", [(1, 2), (3, 4)], seed=9)
    with pytest.raises(CalibrationError, match=r"the through connection 1-3, 1-4 was not measured"):
        solved(model, "multiline", hookups)
    bench, hookups = prepared(model, "multiline", star(3), seed=9)
    lacking = [item for item in hookups if item.hookup.connections.get(3) != "line-2 1"]
    with pytest.raises(CalibrationError, match=r"the line-2 1-3 was not measured"):
        solved(model, "multiline", lacking)
    # Thru-reflect-line needs one of the lines only.
    grid = np.linspace(150e6, 850e6, 7)
    bench = model.Bench.random(3, 7, 1, grid=grid)
    known = model.more_standards(grid)
    two_port = dict.fromkeys(star(3), ("thru", "line-1"))
    hookups = model.hookups_of(bench, known, ("reflect",), two_port, ratios=True)
    assert error(model, bench, solved(model, "thru-reflect-line", hookups).terms) < 1e-9


@pytest.mark.parametrize("method", ["short-open-load-thru", "unknown-thru"])
def test_tapped_baluns_are_joined_by_the_exchange(model: Any, method: str) -> None:
    """Ports 1 and 3 differential, 2 and 4 their common modes: thru 1-3 (and 2-4), exchange 1-2 and 3-4."""
    f = np.linspace(1e6, 500e6, 7)
    bench = model.Bench.random(4, 7, seed=2, grid=f)
    known = model.more_standards(f)
    kit = load_kit("simulated-balanced")
    assert needed_standards(kit, method).two_port == ("thru", "exchange")
    one_port = needed_standards(kit, method).one_port
    pairs = {(1, 3): ("thru",), (1, 2): ("exchange",), (3, 4): ("exchange",)}
    for extra in ({}, {(2, 4): ("thru",)}):
        hookups = model.hookups_of(bench, known, one_port, {**pairs, **extra}, ratios=True)
        calibration = solved(model, method, hookups, kit)
        assert error(model, bench, calibration.terms) < 1e-9
        assert calibration.residuals_db["exchange 1-2 transmission"] < -250.0
    # Both thrus come in one hookup on the bench: leg with leg.
    both = np.zeros((7, 4, 4), dtype=complex)
    for low, high in ((0, 2), (1, 3)):
        both[:, [low, high], [high, low]] = known["thru"][:, [0, 1], [1, 0]]
    together = Hookup(9, {1: "thru 3", 3: "thru 1", 2: "thru 4", 4: "thru 2"})
    hookups = [item for item in hookups if "thru 3" not in item.hookup.connections.values()]
    hookups = [item for item in hookups if "thru 4" not in item.hookup.connections.values()]
    hookups.append(RawHookup(together, bench.sweep(both, (1, 2, 3, 4), ratios=True)))
    assert error(model, bench, solved(model, method, hookups, kit).terms) < 1e-9


def test_a_wrong_leg_at_the_only_exchange_turns_the_sign_of_conversion(model: Any) -> None:
    """The open on the positive leg: what was 180 degrees out is in phase."""
    f = np.linspace(1e6, 500e6, 31)
    bench = model.Bench.random(2, 31, seed=2, grid=f)
    known = model.more_standards(f)
    known["exchange"] = known["exchange"] * np.array([[1.0, -1.0], [-1.0, 1.0]])
    pairs = {(1, 2): ("exchange",)}
    hookups = model.hookups_of(bench, known, ("open", "short", "load"), pairs, ratios=True)
    calibration = solved(model, "short-open-load-thru", hookups, load_kit("simulated-balanced"))
    # It contradicts nothing: all conversion comes out with the other sign, which turns no magnitude.
    truth = model.random_specimen(31, 2, seed=7)
    found = apply(calibration.terms, bench.sweep(truth, (1, 2)))
    np.testing.assert_allclose(found[:, 1, 0], -truth[:, 1, 0], atol=1e-9)
    np.testing.assert_allclose(found[:, 0, 0], truth[:, 0, 0], atol=1e-9)


def test_switch_terms_come_from_three_reciprocal_two_ports_when_they_were_not_measured(model: Any) -> None:
    bench, hookups = prepared(model, "unknown-thru", star(3), seed=4, ratios=False)
    assert hookups[-1].sweep.switch_terms is None
    assert error(model, bench, solved(model, "unknown-thru", hookups).terms) < 1e-9


@pytest.mark.parametrize("method", ["line-reflect-match", "line-reflect-reflect-match", "thru-reflect-line"])
def test_without_switch_terms_it_is_said_what_to_do(model: Any, method: str) -> None:
    _, hookups = prepared(model, method, star(2), ratios=False)
    with pytest.raises(CalibrationError, match=r"needs the switch terms of ports 1-2") as caught:
        solved(model, method, hookups)
    assert "short-open-load-thru" in caught.value.hint


def test_lines_alone_are_too_much_alike_to_tell_switch_terms(model: Any) -> None:
    _, hookups = prepared(model, "multiline", star(2), ratios=False)
    with pytest.raises(CalibrationError, match=r"\(thru, line-1, line-2\) are too much alike .* MHz"):
        solved(model, "multiline", hookups)


def test_a_line_kit_of_another_impedance_is_referred_to_50_ohm(model: Any) -> None:
    """53 ohm lines with loss, whose reflections at 50 ohm are written out from chain matrices."""
    f = np.linspace(150e6, 850e6, 6)
    kit = load_kit("simulated-lines")
    loss = 3.0

    def offset(part: Any) -> Any:
        changed = part.offset.model_copy(update={"z0_ohm": 53.0, "loss_gohm_per_s": loss})
        return part.model_copy(update={"offset": changed})

    kit = kit.model_copy(
        update={"thru": offset(kit.thru), "line": {name: offset(part) for name, part in kit.line.items()}}
    )
    w = 2.0 * np.pi * f
    root = loss * 1e9 * np.sqrt(f / 1e9)
    z = 53.0 + (1.0 - 1.0j) * root / (2.0 * w)
    known = model.more_standards(f)
    for name, delay in (("thru", 30e-12), ("line-1", 530e-12), ("line-2", 1530e-12)):
        a = delay * root / (2.0 * 53.0)
        gamma = a + 1j * (w * delay + a)
        chain = np.array([[np.cosh(gamma), z * np.sinh(gamma)], [np.sinh(gamma) / z, np.cosh(gamma)]])
        known[name] = skrf.network.a2s(chain.transpose(2, 0, 1), z0=50.0)
    assert np.max(np.abs(known["line-1"][:, 0, 0])) > 0.04
    for method in ("thru-reflect-line", "multiline"):
        bench = model.Bench.random(3, 6, seed=8, grid=f)
        pairs = dict.fromkeys(star(3), ("thru", "line-1", "line-2"))
        hookups = model.hookups_of(bench, known, ("reflect",), pairs, ratios=True)
        assert error(model, bench, solved(model, method, hookups, kit).terms) < 1e-9


def test_a_quarter_wave_is_where_a_line_serves_best(model: Any) -> None:
    """Exactly 90 degrees against the thru, where two roots have equal squares; with noise too."""
    f = np.array([490e6, 497e6, 500e6, 503e6, 510e6])
    known = model.more_standards(f)
    for seed in range(6):
        bench = model.Bench.random(2, 5, seed=seed, grid=f)
        hookups = model.hookups_of(bench, known, ("reflect",), {(1, 2): ("thru", "line-1")}, ratios=True)
        assert error(model, bench, solved(model, "thru-reflect-line", hookups).terms) < 1e-9
        rng = np.random.default_rng(seed)
        noisy = []
        for item in hookups:
            noise = 1e-4 * rng.normal(size=(*item.sweep.s.shape, 2)) @ [1.0, 1.0j]
            noisy.append(RawHookup(item.hookup, dataclasses.replace(item.sweep, s=item.sweep.s + noise)))
        assert error(model, bench, solved(model, "thru-reflect-line", noisy).terms) < 5e-3


def test_line_reflect_reflect_match_takes_any_thru(model: Any) -> None:
    """A mismatched thru (54 ohm) of the kit."""
    f = np.linspace(100e6, 3e9, 15)
    kit = load_kit("simulated-reflect")
    offset = kit.thru.offset.model_copy(update={"z0_ohm": 54.0, "delay_ps": 40.0})
    kit = kit.model_copy(update={"thru": kit.thru.model_copy(update={"offset": offset})})
    theta = 2.0 * np.pi * f * 40e-12
    chain = np.array(
        [[np.cos(theta), 54.0j * np.sin(theta)], [1j * np.sin(theta) / 54.0, np.cos(theta)]], dtype=complex
    )
    known = model.more_standards(f) | {"thru": skrf.network.a2s(chain.transpose(2, 0, 1), z0=50.0)}
    for method in ("line-reflect-match", "line-reflect-reflect-match"):
        bench = model.Bench.random(2, 15, seed=8, grid=f)
        one_port = needed_standards(kit, method).one_port
        hookups = model.hookups_of(bench, known, one_port, {(1, 2): ("thru",)}, ratios=True)
        assert error(model, bench, solved(model, method, hookups, kit).terms) < 1e-8


def test_what_a_method_needs_is_told_in_the_order_of_measuring() -> None:
    def needed(kit: str, method: Any = None) -> tuple[tuple[str, ...], tuple[str, ...]]:
        found = needed_standards(load_kit(kit), method)
        return found.one_port, found.two_port

    three = ("open", "short", "load")
    assert needed("ideal") == (three, ("thru",))
    assert needed("ideal", "short-open-load") == (three, ())
    assert needed("ideal", "unknown-thru") == (three, ("thru",))
    assert needed("ideal", "line-reflect-match") == (("short", "load"), ("thru",))
    assert needed("ideal", "line-reflect-reflect-match") == (("short", "open", "load"), ("thru",))
    assert needed("simulated-balanced") == (three, ("thru", "exchange"))
    assert needed("simulated-reciprocal") == (three, ("reciprocal-1", "reciprocal-2", "reciprocal-3"))
    assert needed("simulated-reflect") == (("reflect", "load"), ("thru",))
    assert needed("simulated-reflect", "line-reflect-reflect-match")[0] == ("reflect", "open", "load")
    assert needed("simulated-lines") == (("reflect",), ("thru", "line-1", "line-2"))
    assert needed("simulated-lines", "thru-reflect-line") == (("reflect",), ("thru", "line-1"))
    with pytest.raises(DefinitionError, match="needs line-1, which the kit does not have"):
        needed_standards(load_kit("ideal"), "thru-reflect-line")
    with pytest.raises(DefinitionError, match="needs reflect, thru, line-1, which the kit does not have"):
        validate_model(BARE, Kit, where="x")


BARE = """
schema = 1
name = "bare"
source = "test"
standing = "from-memory"
method = "thru-reflect-line"
"""


@pytest.mark.parametrize("method", METHODS)
def test_noise_makes_no_method_take_the_wrong_root(model: Any, method: str) -> None:
    """Noise of -80 dB comes out at -60 dB or better at every point; a wrong root would be at 0 dB."""
    grid = {
        "thru-reflect-line": np.linspace(130e6, 870e6, 75),
        "multiline": np.linspace(40e6, 860e6, 42),
    }.get(method, np.linspace(1e6, 500e6, 60))
    kit = load_kit(KITS[method])
    needed = needed_standards(kit, method)
    rng = np.random.default_rng(5)
    bench = model.Bench.random(3, 0, seed=6, grid=grid)
    pairs = dict.fromkeys(star(3), needed.two_port)
    noisy = []
    for item in model.hookups_of(bench, model.more_standards(grid), needed.one_port, pairs, ratios=True):
        noise = 1e-4 / np.sqrt(2.0) * rng.normal(size=(*item.sweep.s.shape, 2)) @ [1.0, 1.0j]
        noisy.append(RawHookup(item.hookup, dataclasses.replace(item.sweep, s=item.sweep.s + noise)))
    assert 1e-5 < error(model, bench, solved(model, method, noisy).terms) < 2e-3
