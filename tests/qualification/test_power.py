"""A power cut voids every calibration made before it, whoever is the first to notice."""

from __future__ import annotations

import contextlib
import socket
import time
from pathlib import Path

import numpy as np
import pytest

from benchsweep.errors import CalibrationExpired, PowerCycled
from benchsweep.qualification import (
    Station,
    calibrate,
    load_station,
    open_bench,
    usable_calibration,
    who_answers,
)
from benchsweep.records import Hookup
from benchsweep.simulator import BenchOptions, running_bench


def silent(_: str) -> None:
    return None


def station(address: str, folder: Path) -> Station:
    path = folder / "station.toml"
    path.write_text(
        f'schema = 1\nname = "power"\n[analyzer]\naddress = "{address}"\nwait_for_link_s = 5.0\n'
        "[sweep]\nstart_mhz = 10.0\nstop_mhz = 100.0\npoints = 11\nif_bandwidth_hz = 10000.0\n"
        '[switch]\nkind = "simulated"\n[fixture]\nname = "contacts"\n'
        '[calibration]\nkit = "simulated-contacts"\nmax_age_hours = 1.0\n',
        encoding="utf-8",
    )
    return load_station(str(path))


def cut_the_power(address: str) -> None:
    _, host, port, _ = address.split("::")
    with socket.create_connection((host, int(port)), timeout=5.0) as client:
        client.sendall(b'BENCh:FAULt "power-cycle"\n*ESR?\n')
        assert client.recv(100) == b""


def wait_for(address: str) -> None:
    _, host, port, _ = address.split("::")
    until = time.monotonic() + 10.0
    while True:
        with contextlib.suppress(OSError):
            with socket.create_connection((host, int(port)), timeout=5.0) as client:
                client.sendall(b"BENCh:FAULt?\n")
                if client.recv(100):
                    return
        assert time.monotonic() < until, "the bench does not come back"
        time.sleep(0.05)


def find(ready: Station) -> None:
    with open_bench(ready, prompt=None) as bench:
        usable_calibration(bench, folder=None, progress=silent)


def test_a_calibration_does_not_survive_a_power_cut(tmp_path: Path) -> None:
    with running_bench(BenchOptions(ports=4, noiseless=True)) as served:
        ready = station(served.address, tmp_path)
        with open_bench(ready, prompt=None) as bench:
            calibrate(bench, progress=silent)
        find(ready)
        cut_the_power(served.address)
        wait_for(served.address)
        # Somebody asks first, which clears the bit: it is remembered all the same.
        found = who_answers(served.address, family=None, backend="@py", timeout_s=5.0)
        assert found.identity is not None
        assert found.identity.was_switched_on
        with pytest.raises(CalibrationExpired, match="switched on since") as refused:
            find(ready)
        assert "benchsweep calibrate" in refused.value.hint
        with open_bench(ready, prompt=None) as bench:
            calibrate(bench, progress=silent)
        find(ready)


def test_a_power_cut_while_measuring_is_remembered(tmp_path: Path) -> None:
    with running_bench(BenchOptions(ports=4, noiseless=True)) as served:
        ready = station(served.address, tmp_path)
        with open_bench(ready, prompt=None) as bench:
            calibrate(bench, progress=silent)

        def measure() -> None:
            with open_bench(ready, prompt=None) as bench:
                bench.switch.connect(Hookup(1, {1: "A:12.1", 2: "A:12.2"}), total=1)
                assert np.isfinite(bench.analyzer.sweep((1, 2)).s).all()
                cut_the_power(served.address)
                wait_for(served.address)
                bench.analyzer.restore()

        with pytest.raises(PowerCycled):
            measure()
        with pytest.raises(CalibrationExpired, match="switched on since"):
            find(ready)
