"""Every method against an analyzer written out as linear equations (conftest), and against scikit-rf."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from benchsweep.calibration import Kit, apply, load_kit, needed_standards, solve
from benchsweep.records import RawHookup

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
