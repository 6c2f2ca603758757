"""A whole qualification through the relay matrix of the simulated bench, from the shipped example station."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pytest

from benchsweep.archive import list_calibrations, read_calibration, read_record
from benchsweep.errors import LinkLost, SwitchError, UsageError
from benchsweep.instrument import open_link
from benchsweep.qualification import (
    Bench,
    Qualified,
    Station,
    check_specimen,
    confirmed_cautions,
    load_requirements,
    load_station,
    open_bench,
    qualify,
    usable_calibration,
)
from benchsweep.simulator import BenchOptions, RunningBench, running_bench

REQUIREMENTS = load_requirements(["tia-6a-cord"])
SAFETY = confirmed_cautions("R. Example")


def quiet(_: str) -> None:
    """Take a progress line."""


@contextmanager
def served(*, relays: bool, seed: int = 1) -> Iterator[RunningBench]:
    with running_bench(BenchOptions(ports=4, noiseless=True, relays=relays, seed=seed)) as bench:
        yield bench


def station(name: str, bench: RunningBench, **switch: object) -> Station:
    loaded = load_station(name).at_address(bench.address)
    if name == "relays-example":
        loaded = loaded.at_switch_address(bench.addresses["relays"])
        changed = loaded.switch.model_copy(update={"settle_s": 0.0, **switch})
        loaded = loaded.model_copy(update={"switch": changed})
    sweep = load_station("relays-example").sweep.model_copy(update={"start_mhz": 10.0, "points": 50})
    return loaded.model_copy(update={"sweep": sweep})


def measure(bench: Bench, folder: Path) -> Qualified:
    solved = usable_calibration(bench, folder=None, progress=quiet)
    part = check_specimen("T118-03", 2.0)
    return qualify(bench, part, REQUIREMENTS, solved=solved, folder=folder, progress=quiet)


def test_through_relays_and_without_them_the_cord_is_the_same(tmp_path: Path) -> None:
    """All paths of the simulated matrix are equal, so a calibration through it takes them out altogether."""
    with served(relays=False) as bench, open_bench(station("simulated", bench), prompt=None) as direct:
        one = read_record(measure(direct, tmp_path / "one").record)
    with served(relays=True) as bench:
        with open_bench(station("relays-example", bench), prompt=None, safety=SAFETY) as through:
            other = read_record(measure(through, tmp_path / "other").record)
            assert through.relays.startswith("relay matrix Simulated works,relay matrix 4 by 21")
    assert len(other.hookups) == 28
    assert np.max(np.abs(one.corrected.s - other.corrected.s)) < 1e-9
    assert other.safety == SAFETY
    assert other.calibration is not None
    assert other.calibration.reached == through.reached
    assert (one.safety, other.incidents) == (None, ())


def test_a_changed_map_calibrates_again(tmp_path: Path) -> None:
    with served(relays=True) as bench:
        for rails in ((20, 21), (20, 21), (21, 20)):
            loaded = station("relays-example", bench)
            columns = {**loaded.switch.columns, "thru": rails}
            with open_bench(station("relays-example", bench, columns=columns), prompt=None) as opened:
                usable_calibration(opened, folder=None, progress=quiet)
        stored = list_calibrations(loaded.calibration_folder())
    assert len({read_calibration(path).reached for path in stored}) == len(stored) == 2


def test_a_relay_that_fails_during_the_sweeps_ends_the_run_and_it_goes_on_later(tmp_path: Path) -> None:
    with served(relays=True) as bench:
        with open_bench(station("relays-example", bench), prompt=None) as opened:
            usable_calibration(opened, folder=None, progress=quiet)
            with open_link(bench.addresses["relays"]) as link:
                link.write_checked('BENCh:FAULt "relay-stuck-open",60', doing="arming a fault")
            with pytest.raises(SwitchError, match="told to close, read back open") as caught:
                measure(opened, tmp_path)
            assert caught.value.messages
        kept = len(list(tmp_path.rglob("hookup-*.h5")))
        assert 0 < kept < 28
        with open_link(bench.addresses["relays"]) as link:
            link.write_checked('BENCh:FAULt "none"', doing="repairing")
        with open_bench(station("relays-example", bench), prompt=None) as opened:
            lines: list[str] = []
            solved = usable_calibration(opened, folder=None, progress=quiet)
            part = check_specimen("T118-03", 2.0)
            qualify(opened, part, REQUIREMENTS, solved=solved, folder=tmp_path, progress=lines.append)
    assert lines[0].startswith(f"continuing an interrupted run: {kept} of 28 hookups are kept")


def test_a_matrix_that_is_not_there_is_said_at_once() -> None:
    with served(relays=True) as bench:
        loaded = station("relays-example", bench)
        with (
            pytest.raises(LinkLost),
            open_bench(loaded.at_switch_address("TCPIP::127.0.0.1::9::SOCKET"), prompt=None),
        ):
            pass
        nowhere = loaded.model_copy(update={"switch": loaded.switch.model_copy(update={"address": ""})})
        with pytest.raises(UsageError, match="no address of the relay matrix") as caught:
            with open_bench(nowhere, prompt=None):
                pass
        assert "--switch-address" in caught.value.hint


def test_one_matrix_serves_one_run_at_a_time() -> None:
    with served(relays=True) as bench, served(relays=True, seed=2) as other:
        with open_bench(station("relays-example", bench), prompt=None):
            second = station("relays-example", other).at_switch_address(bench.addresses["relays"])
            with (
                pytest.raises(UsageError, match="is using the relay matrix at"),
                open_bench(second, prompt=None),
            ):
                pass
