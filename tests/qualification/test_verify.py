"""Verifying on the simulated bench: a good calibration is kept, a spoiled one refused with its reason.

The bench computes its check standards, standards and faults with no code of the stages.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from benchsweep import archive
from benchsweep.archive import AppendedFile
from benchsweep.definitions import list_definitions
from benchsweep.errors import (
    CalibrationError,
    CalibrationExpired,
    CalibrationMissing,
    DefinitionError,
    FixtureError,
    RecordDamaged,
    UsageError,
)
from benchsweep.fixture import load_fixture
from benchsweep.qualification import (
    Bench,
    Station,
    Verification,
    _verify_reduce,
    calibrate,
    check_specimen,
    count_matings,
    load_requirements,
    load_station,
    matings_document,
    open_bench,
    qualify,
    refuse_unverified,
    renew,
    usable_calibration,
    verification_document,
    verify,
)
from benchsweep.qualification._places import Places
from benchsweep.qualification._verified import history_file
from benchsweep.qualification._verify_plan import verification_plan
from benchsweep.records import Hookup
from benchsweep.simulator import BenchOptions, running_bench

ARTEFACTS = ("pad", "mismatch-75", "mismatch-133", "imbalance", "crosstalk")


@pytest.fixture(autouse=True)
def draws(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """Fewer draws of the uncertainty, which take nearly all the time, than a person gets.

    Thirty tell a root mean square to 13 %. Where a decision could hang on that the test keeps all of them.
    """
    if request.node.get_closest_marker("all_draws") is None:
        monkeypatch.setattr(_verify_reduce, "_DRAWS", 30)


def quiet(_: str) -> None:
    """Take a progress line."""


def coarse(station: Station, **verification: Any) -> Station:
    sweep = station.sweep.model_copy(update={"start_mhz": 10.0, "stop_mhz": 500.0, "points": 50})
    keys = station.verification.model_copy(update=verification)
    return station.model_copy(update={"sweep": sweep, "verification": keys})


@contextmanager
def opened(tmp_path: Path, *, name: str = "simulated", **options: Any) -> Iterator[Bench]:
    """A bench of its own; its calibrations and history in `tmp_path`."""
    station = load_station(name)
    keys = {"ports": 4, "seed": 3, "bench": station.simulated.bench, **options}
    with running_bench(BenchOptions(**keys)) as served:
        at = coarse(station.at_address(served.address))
        folder = at.calibration.model_copy(update={"folder": str(tmp_path / "cal")})
        with open_bench(at.model_copy(update={"calibration": folder}), prompt=None) as bench:
            yield bench


def tell(bench: Bench, command: str) -> None:
    bench.analyzer.link.write_checked(command, doing=command)


def verified(bench: Bench, *artefacts: str, **options: Any) -> Verification:
    solved = usable_calibration(bench, folder=None, progress=quiet, verified=False)
    return verify(bench, solved=solved, artefacts=artefacts or ARTEFACTS, progress=quiet, **options)


def kinds(found: Verification) -> set[str]:
    return {finding.kind for finding in found.findings}


def test_without_noise_every_artefact_comes_back_to_its_answer(tmp_path: Path) -> None:
    names = (*ARTEFACTS, "floating", "line-load", "line-short")
    with opened(tmp_path, noiseless=True) as bench:
        found = verified(bench, *names)
    assert found.decision == "use"
    assert max(one.largest_difference for one in found.comparisons) < 1e-9
    assert {one.artefact for one in found.comparisons} == {*ARTEFACTS, "floating"}
    assert {one.places for one in found.comparisons} == {(1,), (2,), (1, 2)}
    assert len(found.residuals) == 4
    assert max(max(one.directivity, one.source_match, one.tracking) for one in found.residuals) < 1e-9
    assert found.drift is not None
    assert abs(found.drift.gain_db) < 1e-9
    assert max(one.reciprocity for one in found.thrus) < 1e-9
    assert max(one.reflection for one in found.loads) < 1e-9


@pytest.mark.all_draws
def test_with_noise_a_good_calibration_is_used_and_its_ratios_are_about_one(tmp_path: Path) -> None:
    ratios = []
    for seed in (1, 2, 3):
        with opened(tmp_path / str(seed), seed=seed) as bench:
            found = verified(bench)
        assert found.findings == (), found.words
        ratios += [one.ratio for one in found.comparisons]
        document = verification_document(found)
        assert document["schema"] == "benchsweep.verification/1"
        assert document["uncertainty_from"] == "budget simulated"
    # Largest over 50 frequencies of |error| / (2 u): neither far too small nor too large.
    assert 0.3 < np.median(ratios) < 1.2


@pytest.mark.parametrize("seed", [1, 3, 8])
def test_a_good_calibration_without_a_known_thru_is_used(tmp_path: Path, seed: int) -> None:
    """Undriven ports are known by their source match: a thru feels its error twice, and that is no fault."""
    with opened(tmp_path, ports=8, seed=seed) as bench:
        solved = calibrate(bench, method="unknown-thru", progress=quiet).calibration
        assert verify(bench, solved=solved, artefacts=("pad",), progress=quiet).decision == "use"


def test_the_limits_of_the_station_serve_where_there_is_no_budget(tmp_path: Path) -> None:
    with opened(tmp_path) as bench:
        station = bench.station
        plain = station.model_copy(
            update={"uncertainty": station.uncertainty.model_copy(update={"budget": ""})}
        )
        found = verified(replace(bench, station=plain))
    assert found.decision == "use", found.words
    assert found.against == "limits of the station"
    assert max(one.ratio for one in found.comparisons) > 0.01


class TestSpoiled:
    def test_a_connector_that_loosens_after_the_calibration(self, tmp_path: Path) -> None:
        with opened(tmp_path) as bench:
            usable_calibration(bench, folder=None, progress=quiet)
            tell(bench, 'BENCh:FAULt "loose-connector"')
            found = verified(bench)
        assert found.decision == "refuse"
        # Port 2 is measured together with it and reads wrong as well, which says nothing of port 2.
        assert [(one.kind, one.ports) for one in found.findings] == [("connector", (1,))]
        assert "connector at port 1" in found.words
        assert "loosened since" in found.words

    def test_a_connector_that_was_loose_during_the_calibration(self, tmp_path: Path) -> None:
        with opened(tmp_path) as bench:
            loose = _Meddling(bench, {"load": 'BENCh:FAULt "loose-connector"'}, after='BENCh:FAULt "none"')
            solved = calibrate(loose.bench, progress=quiet).calibration
            found = verify(bench, solved=solved, artefacts=ARTEFACTS, progress=quiet)
        assert found.decision == "refuse"
        assert found.findings[0].ports == (1,)
        assert "loose when a standard was measured" in found.words

    def test_open_and_short_exchanged_at_one_port_are_refused_when_calibrating(self, tmp_path: Path) -> None:
        with opened(tmp_path) as bench:
            tell(bench, 'BENCh:FAULt "swapped-standards"')
            with pytest.raises(CalibrationError, match="thru 1-2"):
                calibrate(bench, progress=quiet)

    def test_open_and_short_exchanged_at_all_ports_are_seen_by_the_check_standards_only(
        self, tmp_path: Path
    ) -> None:
        with opened(tmp_path) as bench:
            swapped = _Swapping(bench, {"open": "short", "short": "open"})
            solved = calibrate(swapped.bench, progress=quiet).calibration
            found = verify(bench, solved=solved, artefacts=ARTEFACTS, progress=quiet)
            blind = verify(bench, solved=solved, artefacts=(), progress=quiet, folder=tmp_path / "x")
        assert found.decision == "refuse"
        assert "standard" in kinds(found)
        assert "open and short were exchanged" in found.words
        assert "open and short" in blind.words  # the station names check standards, so they are measured

    def test_a_kit_that_is_wholly_wrong_is_refused_when_calibrating(self, tmp_path: Path) -> None:
        with opened(tmp_path) as bench, pytest.raises(CalibrationError, match="come back to its definition"):
            calibrate(bench, kit="ideal", progress=quiet)

    def test_a_wrong_kit(self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        text = list_definitions("kits")["simulated-contacts"].read_text(encoding="utf-8")
        wrong = tmp_path / "calibrations" / "kits" / "elder.toml"
        wrong.parent.mkdir(parents=True)
        text = text.replace('name = "simulated-contacts"', 'name = "elder"')
        wrong.write_text(text.replace("[30e-15]", "[150e-15]"), encoding="utf-8")
        monkeypatch.chdir(tmp_path)
        with opened(tmp_path) as bench:
            solved = calibrate(bench, kit="elder", progress=quiet).calibration
            found = verify(bench, solved=solved, artefacts=ARTEFACTS, progress=quiet)
        assert found.decision == "refuse"
        assert "kit" in kinds(found)
        assert "made with kit elder" in found.words

    def test_a_wrong_kit_under_the_right_name(self, tmp_path: Path) -> None:
        text = list_definitions("kits")["simulated-contacts"].read_text(encoding="utf-8")
        assert "resistance_ohm = 51.0" in text
        wrong = tmp_path / "wrong.toml"
        wrong.write_text(text.replace("resistance_ohm = 51.0", "resistance_ohm = 49.0"), encoding="utf-8")
        with opened(tmp_path) as bench:
            keys = bench.station.calibration.model_copy(update={"kit": str(wrong)})
            station = bench.station.model_copy(update={"calibration": keys})
            found = verified(replace(bench, station=station))
        assert found.decision == "refuse"
        assert kinds(found) == {"kit"}
        assert "by the same amount" in found.words

    def test_five_kelvin_of_drift(self, tmp_path: Path) -> None:
        with opened(tmp_path) as bench:
            usable_calibration(bench, folder=None, progress=quiet)
            tell(bench, "BENCh:TEMPerature 5")
            found = verified(bench)
        assert found.decision == "refuse"
        drifts = [finding for finding in found.findings if finding.kind == "drift"]
        assert len(drifts) == 1
        assert "drift since the calibration" in drifts[0].words
        assert found.drift is not None
        assert found.drift.gain_db == pytest.approx(0.05, abs=0.02)

    def test_the_figures_of_a_drift_are_those_of_the_bench(self, tmp_path: Path) -> None:
        with opened(tmp_path, noiseless=True) as bench:
            usable_calibration(bench, folder=None, progress=quiet)
            tell(bench, "BENCh:TEMPerature 5")
            found = verified(bench, "pad")
        assert found.drift is not None
        # The bench's file: 0.01 dB for each kelvin; 50e-6 of 5 ns for each kelvin, way out and back.
        assert found.drift.gain_db == pytest.approx(0.05, abs=1e-3)
        assert found.drift.delay_ps == pytest.approx(2.5, abs=0.05)
        assert "drift" in kinds(found)

    def test_what_the_station_does_not_refuse_for_is_a_warning(self, tmp_path: Path) -> None:
        with opened(tmp_path) as bench:
            usable_calibration(bench, folder=None, progress=quiet)
            tell(bench, "BENCh:TEMPerature 5")
            keys = bench.station.verification.model_copy(update={"refuse_when": ("kit", "connector")})
            lenient = replace(bench, station=bench.station.model_copy(update={"verification": keys}))
            found = verified(lenient, "pad")
        assert found.decision == "use-with-warning"
        assert "drift" in kinds(found)


class _Meddling:
    """A bench on which something is commanded before hookups of a standard, something else before others."""

    def __init__(self, bench: Bench, before: dict[str, str], after: str) -> None:
        self._inner, self._before, self._after = bench.switch, before, after
        self._target = bench
        self.bench = replace(bench, switch=self)

    def connect(self, hookup: Hookup, *, total: int) -> Any:
        words = {target.split()[0] for target in hookup.connections.values()}
        for word, command in self._before.items():
            tell(self._target, command if word in words else self._after)
        return self._inner.connect(hookup, total=total)

    def restore(self, hookup: Hookup) -> None:
        self._inner.restore(hookup)

    def confirm(self, hookup: Hookup) -> None:
        self._inner.confirm(hookup)

    def finished(self, *, total: int) -> Any:
        return self._inner.finished(total=total)


class _Swapping(_Meddling):
    """A person who takes standards for each other."""

    def __init__(self, bench: Bench, instead: dict[str, str]) -> None:
        super().__init__(bench, {}, "")
        self._instead = instead

    def _really(self, hookup: Hookup) -> Hookup:
        words = {port: self._instead.get(word, word) for port, word in hookup.connections.items()}
        return replace(hookup, connections=words)

    def connect(self, hookup: Hookup, *, total: int) -> Any:
        return self._inner.connect(self._really(hookup), total=total)

    def confirm(self, hookup: Hookup) -> None:
        self._inner.confirm(self._really(hookup))


class TestNeeded:
    def test_qualifying_wants_a_verification_that_is_good_and_young(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        with opened(tmp_path) as plain:
            station = plain.station
            keys = station.verification.model_copy(update={"needed": True})
            bench = replace(plain, station=station.model_copy(update={"verification": keys}))
            with pytest.raises(CalibrationMissing, match="not been verified") as missing:
                usable_calibration(bench, folder=None, progress=quiet)
            assert "benchsweep verify --station simulated" in missing.value.hint
            assert missing.value.exit_code == 5
            found = verified(bench, "pad", "mismatch-75")
            solved = usable_calibration(bench, folder=None, progress=quiet)
            record = qualify(
                bench,
                check_specimen("cord", 2.0),
                load_requirements(["tia-6a-cord"]),
                solved=solved,
                folder=tmp_path / "archive",
                progress=quiet,
            ).record
            assert archive.read_record(record).verification == f"{found.created_at} use"
            old = {**_entry(bench), "at": (datetime.now(UTC) - timedelta(hours=13)).isoformat()}
            _history(bench).append(old)
            with pytest.raises(CalibrationExpired, match=r"13\.0 h old"):
                usable_calibration(bench, folder=None, progress=quiet)
            _history(bench).append({**_entry(bench), "decision": "refuse", "words": "refuse: port 3 is off"})
            with pytest.raises(CalibrationError, match="port 3 is off"):
                usable_calibration(bench, folder=None, progress=quiet)
            # A station that does not ask is told all the same.
            lines: list[str] = []
            usable_calibration(plain, folder=None, progress=lines.append)
            assert any("refused this calibration" in line for line in lines)
            # A new calibration has not been verified.
            calibrate(bench, progress=quiet)
            with pytest.raises(CalibrationMissing):
                usable_calibration(bench, folder=None, progress=quiet)

    def test_a_station_that_does_not_ask_gets_no_answer(self, tmp_path: Path) -> None:
        with opened(tmp_path) as bench:
            solved = usable_calibration(bench, folder=None, progress=quiet)
            refuse_unverified(bench.station, solved)


def _history(bench: Bench) -> AppendedFile:
    return AppendedFile(history_file(bench.station.calibration_folder(), bench.station.name))


def _entry(bench: Bench) -> dict[str, Any]:
    return _history(bench).read()[-1]


class TestHistory:
    def test_limits_come_from_the_history_after_six_verifications(self, tmp_path: Path) -> None:
        with opened(tmp_path) as bench:
            for _ in range(6):
                found = verified(bench, "pad")
                assert {one.limits.basis for one in found.followed if one.limits} == {"definition"}
            found = verified(bench, "pad")
        assert len(found.followed) == 9  # three S-parameters, three bands
        assert {one.limits.basis for one in found.followed if one.limits} == {"history"}
        assert found.decision.startswith("use")

    def test_a_damaged_history_is_named_before_anything_is_measured(self, tmp_path: Path) -> None:
        with opened(tmp_path) as bench:
            verified(bench, "pad")
            path = _history(bench).path
            content = bytearray(path.read_bytes())
            content[60] ^= 4
            path.write_bytes(content)
            lines: list[str] = []
            solved = usable_calibration(bench, folder=None, progress=quiet)
            with pytest.raises(RecordDamaged, match="line 2"):
                verify(bench, solved=solved, artefacts=("pad",), progress=lines.append)
            assert not any(line.startswith("hookup") for line in lines)

    def test_an_interrupted_verification_goes_on(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        with opened(tmp_path) as bench:
            solved = usable_calibration(bench, folder=None, progress=quiet)
            connect = bench.switch.connect

            def stopped(hookup: Hookup, *, total: int) -> Any:
                if hookup.number == 4:
                    raise KeyboardInterrupt
                return connect(hookup, total=total)

            with monkeypatch.context() as patch:
                patch.setattr(bench.switch, "connect", stopped)
                with pytest.raises(KeyboardInterrupt):
                    verify(bench, solved=solved, artefacts=("pad",), progress=quiet)
            assert not history_file(bench.station.calibration_folder(), "simulated").exists()
            lines: list[str] = []
            verify(bench, solved=solved, artefacts=("pad",), progress=lines.append)
            assert sum(line.startswith("hookup") for line in lines) == 1
            assert len(_history(bench).read()) == 1


@pytest.mark.parametrize(("name", "ports"), [("simulated-baluns", 4), ("simulated-baluns-tapped", 8)])
def test_behind_baluns_the_artefacts_come_back_within_the_balance(
    tmp_path: Path, name: str, ports: int
) -> None:
    with opened(tmp_path, name=name, ports=ports, noiseless=True) as bench:
        found = verified(bench, "pad", "mismatch-75", "mismatch-133")
    differential = [one for one in found.comparisons if one.out.endswith("/d") and one.into.endswith("/d")]
    assert differential
    # Baluns of 50 dB: what they convert there and back, and no more (balanced artefacts convert nothing).
    assert max(one.largest_difference for one in differential) < 10 ** (-60 / 20)
    assert any(one.out.endswith("/c") for one in found.comparisons) == (name == "simulated-baluns-tapped")


@pytest.mark.parametrize(("name", "ports"), [("simulated-baluns", 4), ("simulated-baluns-tapped", 8)])
def test_behind_baluns_a_good_calibration_is_used_and_a_loose_connector_named(
    tmp_path: Path, name: str, ports: int
) -> None:
    with opened(tmp_path, name=name, ports=ports) as bench:
        good = verified(bench)
        assert good.decision == "use", good.words
        assert max(one.ratio for one in good.comparisons) > 0.3
        tell(bench, 'BENCh:FAULt "loose-connector"')
        found = verified(bench)
    assert found.decision == "refuse"
    assert (found.findings[0].kind, found.findings[0].ports) == ("connector", (1,))


def test_the_plan_meets_every_place_and_leaves_out_what_does_not_fit() -> None:
    station = load_station("simulated")
    from benchsweep.calibration import load_kit

    kit = load_kit("simulated-contacts")
    places = Places(((1, 2), (3, 4), (5, 6)))
    plan = verification_plan(station, places, kit, ["pad", "floating"])
    words = [dict(hookup.connections) for hookup in plan.plan.hookups]
    assert words[0] == dict.fromkeys(range(1, 7), "load")
    assert words[1:4] == [{p: f"thru {p + 1}", p + 1: f"thru {p}"} for p in (1, 3, 5)]
    legs = ("A:12.1", "A:12.2", "B:12.1", "B:12.2")
    assert words[4] == {p: f"check pad {leg}" for p, leg in zip((1, 2, 3, 4), legs, strict=True)}
    # The third place is joined with one that was met before.
    assert words[5] == {p: f"check pad {leg}" for p, leg in zip((5, 6, 1, 2), legs, strict=True)}
    assert [tuple(word) for word in words[6:]] == [(1, 2), (3, 4), (5, 6)]
    single = verification_plan(station, Places(((1, 2),)), kit, ["pad", "floating"])
    assert single.left_out == ("pad: needs 2 places, the bench has 1",)
    tapped = verification_plan(station, Places(((1, 2), (3, 4)), baluns=True), kit, ["mismatch-75"])
    assert [dict(hookup.connections) for hookup in tapped.plan.hookups][-2:] == [
        {1: "check mismatch-75 A:12/d", 2: "check mismatch-75 A:12/c"},
        {3: "check mismatch-75 A:12/d", 4: "check mismatch-75 A:12/c"},
    ]
    with pytest.raises(UsageError, match="place 4"):
        verification_plan(coarse(station, slots=(1, 4)), places, kit, ["pad"])


class TestWear:
    def station(self, **wear: int) -> Station:
        station = load_station("simulated").at_address("TCPIP::192.0.2.1::5025::SOCKET")
        return station.model_copy(update={"wear": station.wear.model_copy(update=wear)})

    def test_what_changes_at_a_port_counts_once(self) -> None:
        station, fixture = self.station(), load_fixture("contacts")
        first = Hookup(1, {1: "A:12.1", 2: "A:12.2", 3: "B:12.1", 4: "B:12.2"})
        second = Hookup(2, {1: "A:12.1", 2: "A:12.2", 3: "B:36.3", 4: "B:36.6"})
        assert count_matings(station, fixture, None, first) == ()
        assert count_matings(station, fixture, first, second) == ()
        assert count_matings(station, fixture, second, second) == ()
        counts = {one["port"]: one["matings"] for one in matings_document(station)["ports"]}
        assert {port: counts[port] for port in (1, 2, 3, 4, 5)} == {1: 1, 2: 1, 3: 2, 4: 2, 5: 0}

    def test_it_warns_then_stops_and_goes_on_after_renewing(self) -> None:
        station, fixture = self.station(warn_at=3, stop_at=5), load_fixture("contacts")
        hookup = Hookup(1, {1: "open"})
        told = [count_matings(station, fixture, None, hookup) for _ in range(5)]
        assert [bool(words) for words in told] == [False, False, True, True, True]
        assert "fixture port 1: up to 3 matings" in told[2][0]
        with pytest.raises(FixtureError, match=r"port 1: 5 matings") as worn:
            count_matings(station, fixture, None, hookup)
        assert "--renewed 1" in worn.value.hint
        assert matings_document(station)["ports"][0]["matings"] == 5  # the refused one was not made
        with pytest.raises(UsageError, match="no such analyzer port"):
            renew(station, ["17"])
        renew(station, ["1"])
        assert count_matings(station, fixture, None, hookup) == ()
        assert matings_document(station)["ports"][0]["renewed_at"]
        renew(station, ["all"])
        assert {one["matings"] for one in matings_document(station)["ports"]} == {0}

    def test_a_bench_of_its_own_is_not_counted(self) -> None:
        station = load_station("simulated").at_own_bench("TCPIP::127.0.0.1::1::SOCKET")
        count_matings(station, load_fixture("contacts"), None, Hookup(1, {1: "open"}))
        assert {one["matings"] for one in matings_document(load_station("simulated"))["ports"]} == {0}

    def test_relays_touch_no_contact(self) -> None:
        station = load_station("relays-example").at_address("TCPIP::192.0.2.1::5025::SOCKET")
        count_matings(station, load_fixture("contacts"), None, Hookup(1, {1: "open", 2: "open"}))
        assert {one["matings"] for one in matings_document(station)["ports"]} == {0}

    def test_calibrating_and_qualifying_count_before_they_sweep(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        with opened(tmp_path, ports=4, noiseless=True) as bench:
            calibrate(bench, progress=quiet)
            counts = {one["port"]: one["matings"] for one in matings_document(bench.station)["ports"]}
            # Open, short, load at each port; a thru from port 1 to each other port.
            assert {port: counts[port] for port in (1, 2, 3, 4)} == {1: 6, 2: 4, 3: 4, 4: 4}
            wear = bench.station.wear.model_copy(update={"warn_at": 6, "stop_at": 6})
            tired = replace(bench, station=bench.station.model_copy(update={"wear": wear}))
            lines: list[str] = []
            with pytest.raises(FixtureError, match="port 1: 6 matings"):
                calibrate(tired, afresh=True, progress=lines.append)
            assert not any(line.startswith("hookup") for line in lines)

            def killed(*_: object, **__: object) -> None:
                raise KeyboardInterrupt

            monkeypatch.setattr(type(bench.analyzer), "sweep", killed)
            with pytest.raises(KeyboardInterrupt):
                calibrate(bench, afresh=True, progress=quiet)
            counts = {one["port"]: one["matings"] for one in matings_document(bench.station)["ports"]}
            assert counts[1] == 7


@pytest.mark.parametrize(
    ("table", "words"),
    [
        ('[verification]\nrefuse_when = ["weather"]\n', "verification.refuse_when[0]"),
        ('[verification]\nartefacts = ["pad", "pad"]\n', "artefacts: each once"),
        ("[verification]\nlargest_ratios = 1.0\n", "verification.largest_ratios: unknown key"),
        ("[verification]\ndirectivity_db = 3.0\n", "verification.directivity_db"),
        ("[wear]\nwarn_at = 800\nstop_at = 750\n", "warn_at must not be above stop_at"),
    ],
)
def test_a_wrong_table_is_refused_by_file_and_key(tmp_path: Path, table: str, words: str) -> None:
    text = list_definitions("stations")["relays-example"].read_text(encoding="utf-8")
    path = tmp_path / "station.toml"
    path.write_text(f"{text}\n{table}", encoding="utf-8")
    with pytest.raises(DefinitionError) as caught:
        load_station(str(path))
    assert words in caught.value.message
    assert os.fspath(path) in caught.value.message
