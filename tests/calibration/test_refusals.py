"""Standards that cannot have been what the plan said: what is refused, and what no reading can tell.

The spoiled readings come from an analyzer written out as linear equations (conftest), with noise of -90 dB
on 1 to 500 MHz. Contacts that loosen are a resistance and an inductance in series.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
import skrf

from benchsweep.calibration import Acceptance, Kit, OffsetLine, apply, load_kit, quality, solve
from benchsweep.errors import CalibrationError
from benchsweep.records import Calibration, Hookup, RawHookup

F = np.linspace(1e6, 500e6, 60)
W = 2j * np.pi * F
ONE_PORT = ("open", "short", "load")


# As kits are by default; the simulated bench moves its cables, and its kit warns later.
CAREFUL = load_kit("simulated-contacts").model_copy(update={"acceptance": Acceptance()})


def gamma(ohm: np.ndarray) -> np.ndarray:
    return (ohm - 50.0) / (ohm + 50.0)


def contact(ohm: float, henry: float) -> Any:
    """A series impedance by its chain matrix."""
    z = ohm + W * henry
    chain = np.array([[np.ones_like(z), z], [np.zeros_like(z), np.ones_like(z)]]).transpose(2, 0, 1)
    return skrf.Network(f=F, f_unit="hz", s=skrf.network.a2s(chain, z0=50.0), z0=50.0)


def spoiled(
    model: Any,
    n: int,
    *,
    reflections: dict[tuple[str, int], np.ndarray] | None = None,
    thru: Callable[[np.ndarray, int], np.ndarray] | None = None,
    ratios: bool = False,
    noise: float = 3e-5,
) -> tuple[Any, list[RawHookup]]:
    """Readings where some reflections are others than meant, and thrus to some ports changed."""
    bench = model.Bench.random(n, 0, seed=1, grid=F)
    known = model.standards(F)
    ports = tuple(range(1, n + 1))
    rng = np.random.default_rng(3)
    taken = []
    for name in ONE_PORT:
        s = model.diagonal(known[name], n)
        for port in ports:
            s[:, port - 1, port - 1] = (reflections or {}).get((name, port), known[name])
        taken.append((dict.fromkeys(ports, name), bench.sweep(s, ports)))
    for port in ports[1:]:
        s = thru(known["thru"], port) if thru else known["thru"]
        taken.append(({1: f"thru {port}", port: "thru 1"}, bench.sweep(s, (1, port), ratios=ratios)))
    hookups = []
    for number, (connections, sweep) in enumerate(taken, start=1):
        added = noise / np.sqrt(2.0) * rng.normal(size=(*sweep.s.shape, 2)) @ [1.0, 1.0j]
        hookups.append(RawHookup(Hookup(number, connections), dataclasses.replace(sweep, s=sweep.s + added)))
    return bench, hookups


def solved(model: Any, hookups: list[RawHookup], kit: Kit | None = None, method: Any = None) -> Calibration:
    kit = kit or load_kit("simulated-contacts")
    return solve(kit, hookups, method=method, settings=model.settings, **model.meta)


def worst_thru(calibration: Calibration) -> float:
    return max(value for name, value in calibration.residuals_db.items() if name.startswith("thru"))


@pytest.mark.parametrize("n", [2, 4])
def test_open_and_short_exchanged_at_all_ports_is_found_by_the_sign_at_low_frequencies(
    model: Any, n: int
) -> None:
    known = model.standards(F)
    wrong = {("open", port): known["short"] for port in range(1, n + 1)}
    wrong |= {("short", port): known["open"] for port in range(1, n + 1)}
    _, hookups = spoiled(model, n, reflections=wrong)
    with pytest.raises(CalibrationError, match="wrong sign: open, short, load read as if") as caught:
        solved(model, hookups)
    assert "exchanged" in caught.value.hint
    # Bridges that invert give the same readings: nothing else contradicts, and the person decides.
    kit = load_kit("simulated-contacts")
    acceptance = kit.acceptance.model_copy(update={"open_reads_positive": False})
    assert worst_thru(solved(model, hookups, kit.model_copy(update={"acceptance": acceptance}))) < -45.0


def test_a_cable_of_ten_metres_is_taken_for_no_inversion(model: Any) -> None:
    _, hookups = spoiled(model, 2)
    turn = np.exp(-W * 45e-9)
    longer = []
    for item in hookups:
        longer.append(
            RawHookup(item.hookup, dataclasses.replace(item.sweep, s=item.sweep.s * turn[:, None, None] ** 2))
        )
    assert worst_thru(solved(model, longer)) < -60.0


@pytest.mark.parametrize("n", [2, 4])
def test_a_thru_of_another_delay_is_refused_from_20_ps_on(model: Any, n: int) -> None:
    def longer(picoseconds: float) -> Callable[[np.ndarray, int], np.ndarray]:
        return lambda s, port: s * np.exp(-W * picoseconds * 1e-12)[:, None, None]

    with pytest.raises(CalibrationError, match="thru 1-2: does not come back to its definition"):
        solved(model, spoiled(model, n, thru=longer(20.0))[1])
    _, hookups = spoiled(model, n, thru=longer(5.0))
    taken = solved(model, hookups)
    # Half of the contradiction, 2 w dt / 2: closed form.
    np.testing.assert_allclose(worst_thru(taken), 20 * np.log10(2 * np.pi * 500e6 * 5e-12), atol=0.5)
    warnings = quality(CAREFUL, hookups, taken).warnings
    assert any("thru 1-2 transmission" in text for text in warnings)


@pytest.mark.parametrize("n", [2, 4])
def test_open_and_short_of_another_connector_are_refused_from_10_ps_on(model: Any, n: int) -> None:
    kit = load_kit("simulated-contacts")
    offset = OffsetLine(delay_ps=10.0)
    kit = kit.model_copy(
        update={name: getattr(kit, name).model_copy(update={"offset": offset}) for name in ("open", "short")}
    )
    with pytest.raises(CalibrationError, match="does not come back"):
        solved(model, spoiled(model, n)[1], kit)


@pytest.mark.parametrize("where", ["specimen port", "common port"])
@pytest.mark.parametrize("n", [2, 4])
def test_a_contact_that_loosens_between_load_and_thru_is_refused(model: Any, n: int, where: str) -> None:
    def loose(ohm: float, henry: float) -> Callable[[np.ndarray, int], np.ndarray]:
        def change(s: np.ndarray, port: int) -> np.ndarray:
            if port != n:
                return s
            thru = skrf.Network(f=F, f_unit="hz", s=s, z0=50.0)
            bad = contact(ohm, henry)
            return (bad**thru if where == "common port" else thru**bad).s

        return change

    with pytest.raises(CalibrationError, match="does not come back"):
        solved(model, spoiled(model, n, thru=loose(1.5, 1.5e-9))[1])
    _, hookups = spoiled(model, n, thru=loose(0.1, 0.3e-9))
    taken = solved(model, hookups)
    assert worst_thru(taken) > -45.0
    assert quality(CAREFUL, hookups, taken).warnings


def test_a_wrong_load_at_one_of_two_ports_shows_where_switch_terms_were_measured(model: Any) -> None:
    """Without them, two ports with a wrong load at one contradict nothing to first order."""
    wrong = {("load", 2): gamma(55.0 + W * 30e-12)}
    bench, hookups = spoiled(model, 2, reflections=wrong)
    blind = solved(model, hookups)
    assert worst_thru(blind) < -45.0
    truth = 0.1 * model.random_specimen(F.size, 2, seed=7)
    assert np.max(np.abs(apply(blind.terms, bench.sweep(truth, (1, 2))) - truth)) > 0.03
    with pytest.raises(CalibrationError, match="thru 1-2: does not come back"):
        solved(model, spoiled(model, 2, reflections=wrong, ratios=True)[1])
    good = solved(model, spoiled(model, 2, ratios=True)[1])
    assert good.residuals_db["thru 1-2 load match"] < -60.0


def test_a_wrong_load_at_one_of_four_ports_shows_in_the_load_match_of_the_common_port(model: Any) -> None:
    with pytest.raises(CalibrationError, match="thru 1-2: does not come back"):
        solved(model, spoiled(model, 4, reflections={("load", 2): gamma(55.0 + W * 30e-12)})[1])


def test_one_wrong_load_at_all_ports_cannot_be_told_from_its_readings(model: Any) -> None:
    """It is another reference impedance; a short thru is the same at any. a check standard tells."""
    wrong = {("load", port): gamma(55.0 + W * 30e-12) for port in range(1, 5)}
    bench, hookups = spoiled(model, 4, reflections=wrong)
    taken = solved(model, hookups)
    assert worst_thru(taken) < -45.0
    matched = np.zeros((F.size, 4, 4), dtype=complex)
    found = apply(taken.terms, bench.sweep(matched, (1, 2, 3, 4)))[:, 0, 0]
    # 50 ohm read as 50 * 51 / 55 ohm: closed form.
    np.testing.assert_allclose(found[0], gamma(np.array([50.0 * 51.0 / 55.0]))[0], atol=2e-3)


def test_an_unknown_thru_far_from_its_estimate_is_refused(model: Any) -> None:
    def longer(s: np.ndarray, port: int) -> np.ndarray:
        return s * np.exp(-W * 450e-12)[:, None, None]

    _, hookups = spoiled(model, 2, thru=longer, ratios=True)
    kit = load_kit("simulated-contacts")
    with pytest.raises(CalibrationError, match=r"thru 1-2: its phase is up to \d+ degrees .* MHz"):
        solved(model, hookups, kit, "unknown-thru")

    def better(s: np.ndarray, port: int) -> np.ndarray:
        return s * np.exp(-W * 300e-12)[:, None, None]

    bench, hookups = spoiled(model, 2, thru=better, ratios=True, noise=0.0)
    truth = model.random_specimen(F.size, 2, seed=7)
    terms = solved(model, hookups, kit, "unknown-thru").terms
    np.testing.assert_allclose(apply(terms, bench.sweep(truth, (1, 2))), truth, atol=1e-9)


def test_a_reflect_that_is_an_open_is_refused(model: Any) -> None:
    f = np.linspace(1e6, 500e6, 31)
    bench = model.Bench.random(2, 0, seed=5, grid=f)
    known = model.more_standards(f)
    known["reflect"] = known["open"]
    hookups = model.hookups_of(bench, known, ("reflect", "load"), {(1, 2): ("thru",)}, ratios=True)
    with pytest.raises(CalibrationError, match="wrong sign"):
        solved(model, hookups, load_kit("simulated-reflect"))
    # At a single port it is not the same at both.
    known = model.more_standards(f)
    hookups = model.hookups_of(bench, known, ("reflect", "load"), {(1, 2): ("thru",)}, ratios=True)
    s = model.diagonal(known["reflect"], 2)
    s[:, 1, 1] = known["load"]
    hookups[0] = RawHookup(hookups[0].hookup, bench.sweep(s, (1, 2)))
    with pytest.raises(CalibrationError, match="too much alike at port 2"):
        solved(model, hookups, load_kit("simulated-reflect"))


def test_frequencies_where_lines_serve_badly_are_named(model: Any) -> None:
    """500 ps against the thru: 20 degrees at 111 MHz, 160 at 889 MHz, 200 at 1111 MHz.

    With 1500 ps as well: 520 and 560 degrees at 963 and 1037 MHz.
    """
    f = np.arange(50e6, 1.3e9, 10e6)
    bench = model.Bench.random(2, 0, seed=5, grid=f)
    known = model.more_standards(f)
    kit = load_kit("simulated-lines")
    hookups = model.hookups_of(bench, known, ("reflect",), {(1, 2): ("thru", "line-1")}, ratios=True)
    with pytest.raises(CalibrationError, match=r"at 50 to 110 MHz, 890 to 1110 MHz") as caught:
        solved(model, hookups, kit, "thru-reflect-line")
    assert "another length" in caught.value.hint
    hookups = model.hookups_of(
        bench, known, ("reflect",), {(1, 2): ("thru", "line-1", "line-2")}, ratios=True
    )
    with pytest.raises(CalibrationError, match=r"within 20 degrees .* at 970 to 1030 MHz"):
        solved(model, hookups, kit, "multiline")


def test_a_single_port_needs_no_thru_and_several_do(model: Any) -> None:
    bench, hookups = spoiled(model, 1, noise=0.0)
    truth = model.random_specimen(F.size, 1, seed=7)
    for method in (None, "short-open-load"):
        taken = solved(model, hookups, method=method)
        assert taken.method == "short-open-load"
        np.testing.assert_allclose(apply(taken.terms, bench.sweep(truth, (1,))), truth, atol=1e-9)
    with pytest.raises(CalibrationError, match="calibrates a single port; measured were 2"):
        solved(model, spoiled(model, 2)[1], method="short-open-load")


def test_quality_of_a_good_kit_and_of_one_whose_standards_come_together(model: Any) -> None:
    kit = load_kit("simulated-contacts")
    _, hookups = spoiled(model, 3)
    good = quality(kit, hookups, solved(model, hookups))
    assert set(good.condition) == {1, 2, 3}
    assert all(1.0 < value < 4.0 for value in good.condition.values())
    assert good.separation_deg["open and short"] > 160.0
    assert 55.0 < good.separation_deg["open and load"] < 65.0  # a chord of 1 spans 60 degrees
    words = ("transmission", "reflection")
    assert set(good.redundancy_db) == {f"thru 1-{n} {word}" for n in (2, 3) for word in words}
    assert good.warnings == ()
    # An open behind a quarter wave at 470 MHz looks like a short there: chord 2 sin(phase / 2).
    offset = OffsetLine(delay_ps=1e12 / (4.0 * 470e6))
    far = kit.model_copy(update={"open": kit.open.model_copy(update={"offset": offset})})
    known = model.standards(F)
    moved = known["open"] * np.exp(-2.0 * W * offset.delay_ps * 1e-12)
    _, hookups = spoiled(model, 3, reflections={("open", port): moved for port in (1, 2, 3)})
    poor = quality(far, hookups, solved(model, hookups, far))
    assert poor.separation_deg["open and short"] < 5.0
    assert any("open and short are less than 20 degrees apart at 4" in text for text in poor.warnings)
    assert any("badly conditioned" in text for text in poor.warnings)


def unknown_thrus(model: Any, change: Callable[[str, np.ndarray], np.ndarray]) -> list[RawHookup]:
    """Readings for the kit of reciprocal pads, with the raw matrices of two-ports changed."""
    bench = model.Bench.random(2, 0, seed=5, grid=F)
    kit_names = ("reciprocal-1", "reciprocal-2", "reciprocal-3")
    known = model.more_standards(F)
    hookups = model.hookups_of(bench, known, ONE_PORT, {(1, 2): kit_names}, ratios=True)
    return [
        RawHookup(
            item.hookup, dataclasses.replace(item.sweep, s=change(item.hookup.connections[1], item.sweep.s))
        )
        for item in hookups
    ]


def test_a_receiver_that_changes_between_two_pads_is_found_by_reciprocity(model: Any) -> None:
    kit = load_kit("simulated-reciprocal")
    good = solved(model, unknown_thrus(model, lambda name, s: s), kit)
    assert max(value for name, value in good.residuals_db.items() if "reciprocity" in name) < -250.0
    gain = np.array([[1.0, 1.0], [1.1, 1.1]])  # receiver of port 2, 0.8 dB
    changed = unknown_thrus(model, lambda name, s: s * gain if name == "reciprocal-2 2" else s)
    with pytest.raises(CalibrationError, match=r"reciprocal-\d 1-2: is not reciprocal \(-\d+"):
        solved(model, changed, kit)


def test_an_unknown_thru_with_gain_is_refused(model: Any) -> None:
    _, hookups = spoiled(model, 2, thru=lambda s, port: 1.3 * s, ratios=True)
    with pytest.raises(CalibrationError, match=r"thru 1-2: comes out with 1\.\d+ times the power"):
        solved(model, hookups, method="unknown-thru")


def test_definitions_that_a_method_cannot_use_are_refused(model: Any) -> None:
    f = np.linspace(150e6, 850e6, 7)
    bench = model.Bench.random(2, 0, seed=5, grid=f)
    known = model.more_standards(f)

    def refused(
        kit: Kit, method: str, one_port: tuple[str, ...], two_port: tuple[str, ...], words: str
    ) -> None:
        hookups = model.hookups_of(bench, known, one_port, {(1, 2): two_port}, ratios=True)
        with pytest.raises(CalibrationError, match=words) as caught:
            solved(model, hookups, kit, method)
        assert "another method" in caught.value.hint

    lines, reflects = load_kit("simulated-lines"), load_kit("simulated-reflect")
    other = lines.thru.model_copy(update={"offset": OffsetLine(delay_ps=530.0, z0_ohm=52.0)})
    mixed = lines.model_copy(update={"line": {**lines.line, "1": other}})
    refused(mixed, "multiline", ("reflect",), ("thru", "line-1", "line-2"), "line-1 must have the impedance")
    behind = reflects.load.model_copy(update={"offset": OffsetLine(delay_ps=5.0)})
    offset = reflects.model_copy(update={"load": behind})
    names = ("reflect", "open", "load")
    refused(
        offset, "line-reflect-reflect-match", names, ("thru",), "load must be a resistance and a constant"
    )


def test_one_exchange_with_its_legs_swapped_contradicts_the_ring_of_tapped_baluns(model: Any) -> None:
    """Ports 1, 3 differential and 2, 4 common: two exchanges and two thrus, one more than is needed."""
    bench = model.Bench.random(4, 0, seed=2, grid=F)
    known = model.more_standards(F)
    known["swapped"] = known["exchange"] * np.array([[1.0, -1.0], [-1.0, 1.0]])
    pairs = {(1, 3): ("thru",), (2, 4): ("thru",), (1, 2): ("exchange",), (3, 4): ("exchange",)}
    hookups = model.hookups_of(bench, known, ONE_PORT, pairs, ratios=True)
    kit = load_kit("simulated-balanced")
    assert max(solved(model, hookups, kit).residuals_db.values()) < -250.0
    for at, item in enumerate(hookups):
        if item.hookup.connections.get(3) == "exchange 4":
            hookups[at] = RawHookup(item.hookup, bench.sweep(known["swapped"], (3, 4), ratios=True))
    with pytest.raises(CalibrationError, match=r"\d-4: does not come back to its definition \(6\.0 dB"):
        solved(model, hookups, kit)
