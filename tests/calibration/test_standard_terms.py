"""What standards that deviate leave behind: against closed forms and against scikit-rf's own solutions.

The reference is an analyzer written out as linear equations (conftest): one standard deviates a little from
its definition at all ports, the calibration is solved as always, through scikit-rf, and known specimens are
corrected.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from benchsweep.calibration import Kit, apply, load_kit, needed_standards, solve
from benchsweep.definitions import validate_model
from benchsweep.records import Calibration, Hookup, RawHookup, StandardTerm

F = np.linspace(150e6, 850e6, 9)
STEP = 1e-5
EXPECTED = {
    "short-open-load": {"open", "short", "load"},
    "short-open-load-thru": {"open", "short", "load", "thru"},
    "unknown-thru": {"open", "short", "load"},
    "line-reflect-match": {"load", "thru"},
    "thru-reflect-line": {"thru", "line-1"},
    "multiline": {"thru", "line-1", "line-2"},
}
GENERIC = "{ real = { constant = 1e-3 }, imaginary = { constant = 2e-3, per_ghz = 1e-3 } }"
KIT = f"""
schema = 1
name = "test"
source = "test"
standing = "from-memory"
[open]
capacitance_farad = [80e-15]
uncertainty = {GENERIC}
[short]
inductance_henry = [70e-12]
uncertainty = {GENERIC}
[load]
resistance_ohm = 48.0
inductance_henry = [40e-12]
uncertainty = {GENERIC}
[thru]
offset = {{ delay_ps = 60.0 }}
uncertainty = {GENERIC}
[reflect]
[line.1]
offset = {{ delay_ps = 560.0 }}
uncertainty = {GENERIC}
[line.2]
offset = {{ delay_ps = 1560.0 }}
uncertainty = {GENERIC}
"""


def doubtful(term: StandardTerm) -> bool:
    """Tell whether the kit states an uncertainty; terms without one are there for what connections do."""
    return bool(np.any(term.real) or np.any(term.imaginary))


def truth(f: np.ndarray) -> dict[str, np.ndarray]:
    """The standards as the kit defines them, from impedances."""
    w = 2j * np.pi * f

    def gamma(z: np.ndarray) -> np.ndarray:
        return (z - 50.0) / (z + 50.0)

    known = {
        "open": gamma(1.0 / (w * 80e-15)),
        "short": gamma(w * 70e-12),
        "load": gamma(48.0 + w * 40e-12),
        "reflect": -0.95 + 0.0 * w,
    }
    for name, delay_ps in (("thru", 60.0), ("line-1", 560.0), ("line-2", 1560.0)):
        s = np.zeros((f.size, 2, 2), dtype=complex)
        s[:, 0, 1] = s[:, 1, 0] = np.exp(-w * delay_ps * 1e-12)
        known[name] = s
    return known


def measured(
    model: Any, kit: Kit, method: Any, known: dict[str, np.ndarray], grid: np.ndarray = F
) -> tuple[Any, Calibration]:
    """A calibration with the true standards `known`; nothing comes back from undriven ports."""
    needed = needed_standards(kit, method)
    # How well switch terms are derived hangs on the analyzer, too: the terms are defined for an ideal one.
    scale = 0.0 if method == "short-open-load-thru" else 0.05
    bench = model.Bench.random(2, 0, seed=5, scale=scale, grid=grid)
    bench.switch[:] = 0.0
    pairs = {} if method == "short-open-load" else {(1, 2): needed.two_port}
    if pairs:
        hookups = model.hookups_of(bench, known, needed.one_port, pairs, ratios=True)
    else:
        sweeps = [(name, bench.sweep(model.diagonal(known[name], 1), (1,))) for name in needed.one_port]
        hookups = [RawHookup(Hookup(n, {1: name}), sweep) for n, (name, sweep) in enumerate(sweeps, start=1)]
    return bench, solve(kit, hookups, method=method, settings=model.settings, **model.meta)


def moved(
    known: dict[str, np.ndarray], standard: str, quantity: str, by: np.ndarray
) -> dict[str, np.ndarray]:
    changed = known[standard].copy()
    if changed.ndim == 1:
        changed = changed + by
    else:
        at = ([0, 1], [0, 1]) if quantity == "reflection" else ([0, 1], [1, 0])
        changed[:, at[0], at[1]] += by[:, None]
    return {**known, standard: changed}


def errors(model: Any, bench: Any, solved: Calibration) -> dict[str, np.ndarray]:
    """Residual terms, read off the errors of some corrected specimens by the definition in `StandardTerm`."""
    n = len(solved.terms.analyzer_ports)

    def error(s: np.ndarray) -> np.ndarray:
        s = np.broadcast_to(s.astype(complex), (bench.frequency_hz.size, n, n)).copy()
        return apply(solved.terms, bench.sweep(s, (1, 2)[:n])) - s

    nothing, plus, minus = (error(gamma * np.eye(n))[:, 0, 0] for gamma in (0.0, 0.5, -0.5))
    found = {
        "directivity": nothing,
        "reflection_tracking": plus - minus,
        "source_match": 2.0 * (plus + minus - 2.0 * nothing),
    }
    if n == 2:
        through = error(np.array([[0.0, 0.5], [0.5, 0.0]]))
        found["load_match"] = 4.0 * (through[:, 0, 0] - nothing)
        found["transmission_tracking"] = 2.0 * through[:, 1, 0]
    return found


def residual(
    model: Any,
    kit: Kit,
    method: str,
    plus: dict[str, np.ndarray],
    minus: dict[str, np.ndarray],
    grid: Any = F,
) -> dict[str, np.ndarray]:
    """Residual terms by central difference through scikit-rf, between two sets of true standards."""
    above, below = (errors(model, *measured(model, kit, method, known, grid)) for known in (plus, minus))
    return {name: (above[name] - below[name]) / 2.0 for name in above}


@pytest.mark.parametrize("angle", [0.0, 1.0])
@pytest.mark.parametrize(
    "method",
    [
        "short-open-load",
        "short-open-load-thru",
        "unknown-thru",
        "line-reflect-match",
        "thru-reflect-line",
        "multiline",
    ],
)
def test_residual_terms_equal_those_of_scikit_rf(model: Any, method: str, angle: float) -> None:
    kit = validate_model(KIT, Kit, where="test")
    known = truth(F)
    terms = measured(model, kit, method, known)[1].standard_terms
    assert {term.standard for term in terms} == EXPECTED[method]
    by = STEP * np.exp(1j * angle) * np.ones(F.size)
    for term in terms:
        plus, minus = (moved(known, term.standard, term.quantity, sign * by) for sign in (1.0, -1.0))
        for name, value in residual(model, kit, method, plus, minus).items():
            found = getattr(term, name) * by
            message = f"{term.standard} {term.quantity} {name}"
            np.testing.assert_allclose(found, value, atol=2e-4 * STEP, err_msg=message)


def test_of_three_reflections_the_error_is_the_quadratic_through_minus_their_deviations(model: Any) -> None:
    """Closed form: the error of correction e(G) = D + R G + M G^2 is -x at each standard (Lagrange)."""
    kit = validate_model(KIT, Kit, where="test")
    known = truth(F)
    names = ("open", "short", "load")
    terms = {term.standard: term for term in measured(model, kit, "short-open-load", known)[1].standard_terms}
    for gamma in (0.3 - 0.2j, -0.8 + 0.1j, 1.0 + 0.0j):
        for name in names:
            one, two = (known[other] for other in names if other != name)
            lagrange = (gamma - one) * (gamma - two) / ((known[name] - one) * (known[name] - two))
            term = terms[name]
            found = term.directivity + term.reflection_tracking * gamma + term.source_match * gamma**2
            np.testing.assert_allclose(found, -lagrange, rtol=1e-10)


def test_a_load_off_by_one_per_cent_leaves_its_deviation_as_directivity(model: Any) -> None:
    """Ideal kit: D = -x, M = x, R = 0 for the load; R = -1/2, M = -1/2 for the open (by hand)."""
    kit = load_kit("ideal")
    given = {"load": {"resistance_ohm": 0.5}, "open": {"capacitance_farad": 2e-15}}
    for name, uncertainty in given.items():
        standard = getattr(kit, name)
        kind = type(standard.uncertainty)
        changed = standard.model_copy(update={"uncertainty": kind(**uncertainty)})
        kit = kit.model_copy(update={name: changed})
    known = {**truth(F), **model.standards(F, ideal=True)}
    terms = measured(model, kit, "short-open-load-thru", known)[1].standard_terms
    load, opened = sorted(filter(doubtful, terms), key=lambda t: t.standard)
    np.testing.assert_allclose(load.real, 0.5 / 100.0, rtol=1e-4)  # d((R - 50)/(R + 50)) = dR / 100
    np.testing.assert_allclose(load.imaginary, 0.0, atol=1e-12)
    np.testing.assert_allclose(load.directivity, -1.0, atol=1e-9)
    np.testing.assert_allclose(load.source_match, 1.0, atol=1e-9)
    np.testing.assert_allclose(load.reflection_tracking, 0.0, atol=1e-9)
    np.testing.assert_allclose(load.load_match, 1.0, atol=1e-9)  # flush thru: D + L = 0
    np.testing.assert_allclose(opened.imaginary, 2.0 * np.pi * F * 2e-15 * 100.0, rtol=1e-3)  # 2 w C z0
    np.testing.assert_allclose(opened.real, 0.0, atol=1e-6)
    np.testing.assert_allclose(opened.reflection_tracking, -0.5, atol=1e-9)
    np.testing.assert_allclose(opened.transmission_tracking, -0.5, atol=1e-9)
    np.testing.assert_allclose(opened.source_match, -0.5, atol=1e-9)
    assert load.same_piece


@pytest.mark.parametrize(
    ("standard", "quantity"), [("load", "reflection"), ("thru", "transmission"), ("open", "reflection")]
)
def test_lrrm_answers_to_real_deviations_as_scikit_rf_does(model: Any, standard: str, quantity: str) -> None:
    """It fits one inductance for all frequencies, so the shape over frequency matters: parameters deviate."""
    method = "line-reflect-reflect-match"
    grid = np.linspace(100e6, 2e9, 15)
    kit = validate_model(KIT, Kit, where="test")
    given = {
        "load": {"resistance_ohm": 0.05, "inductance_henry": 5e-12},
        "thru": {"delay_ps": 0.2},
        "open": {"real": {"constant": 1e-3}},
    }
    for name, uncertainty in given.items():
        one = getattr(kit, name)
        kind = type(one.uncertainty)
        kit = kit.model_copy(update={name: one.model_copy(update={"uncertainty": kind(**uncertainty)})})
    known = truth(grid)
    terms = {
        (term.standard, term.quantity): term
        for term in measured(model, kit, method, known, grid)[1].standard_terms
        if doubtful(term)
    }
    assert set(terms) == {("load", "reflection"), ("thru", "transmission"), ("open", "reflection")}
    term = terms[standard, quantity]
    w = 2j * np.pi * grid

    def load(ohm: float) -> np.ndarray:
        return (ohm + w * 40e-12 - 50.0) / (ohm + w * 40e-12 + 50.0)

    sets = []
    for sign in (1.0, -1.0):
        changed = {name: value.copy() for name, value in known.items()}
        if standard == "load":
            changed["load"] = load(48.0 + 0.05 * sign)
        elif standard == "thru":
            changed["thru"][:, [0, 1], [1, 0]] *= np.exp(-w * 0.2e-12 * sign)[:, None]
        else:
            changed["open"] = known["open"] + 1e-3 * sign
        sets.append(changed)
    by = {
        "load": (load(48.05) - load(47.95)) / 2.0,
        "thru": -w * 0.2e-12 * known["thru"][:, 1, 0],
        "open": 1e-3 * np.ones(grid.size),
    }[standard]
    np.testing.assert_allclose(term.real, np.abs(by.real), rtol=1e-3, atol=1e-9)
    expected = residual(model, kit, method, sets[0], sets[1], grid)
    scale = max(float(np.max(np.abs(value))) for value in expected.values())
    for name, value in expected.items():
        np.testing.assert_allclose(getattr(term, name) * by, value, atol=3e-3 * scale, err_msg=name)


def test_an_inductance_that_lrrm_solves_leaves_nothing(model: Any) -> None:
    kit = load_kit("simulated-reflect")
    f = np.linspace(10e6, 500e6, 9)
    known = model.more_standards(f)
    known["load"] = (51.0 + 2j * np.pi * f * 80e-12 - 50.0) / (51.0 + 2j * np.pi * f * 80e-12 + 50.0)
    bench, solved = measured(model, kit, "line-reflect-reflect-match", known, f)
    for value in errors(model, bench, solved).values():
        np.testing.assert_allclose(value, 0.0, atol=1e-8)
    # The same load solved as one that is known leaves its deviation as directivity.
    known_load = errors(model, *measured(model, kit, "line-reflect-match", known, f))["directivity"]
    np.testing.assert_allclose(np.abs(known_load), 2.0 * np.pi * f * 50e-12 / 100.0, rtol=0.05)


def test_standards_without_uncertainty_say_what_their_connection_leaves(model: Any) -> None:
    """A contact that changes acts through a standard whether or not its definition is in doubt."""
    known = {**truth(F), **model.standards(F, ideal=True)}
    terms = measured(model, load_kit("ideal"), "short-open-load-thru", known)[1].standard_terms
    assert {"open", "short", "load"} <= {term.standard for term in terms}
    for term in terms:
        assert not doubtful(term)
    load = next(term for term in terms if term.standard == "load")
    np.testing.assert_allclose(load.directivity, -1.0, atol=1e-12)
