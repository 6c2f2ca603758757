"""What every test stands on: a home of its own, an empty working folder, no network but the loopback."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from itertools import count
from pathlib import Path
from typing import Any

import pytest

from benchsweep.cli import main
from benchsweep.definitions import list_definitions


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--thorough",
        action="store_true",
        help="long forms: 200 kills, 5 000 runs with faults, 100 000 fuzzed answers, 10 000 recorded sweeps",
    )


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Begin with the longest tests: at the end one would keep one process busy and the others idle."""
    items.sort(key=lambda item: item.get_closest_marker("campaign") is None)


REPOSITORY = Path(__file__).resolve().parent.parent


HOMES = count()


@pytest.fixture(autouse=True)
def own_home(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Point the person's folders and the working folder into an empty place."""
    # Counted here: pytest would read the names of all homes before to find the next number.
    home = tmp_path_factory.mktemp(f"home-{next(HOMES)}", numbered=False)
    monkeypatch.setenv("HOME", str(home))
    for name in ("XDG_DATA_HOME", "XDG_CONFIG_HOME", "XDG_STATE_HOME", "XDG_CACHE_HOME"):
        monkeypatch.setenv(name, str(home / name.lower()))
    monkeypatch.chdir(home)
    return home


@pytest.fixture
def coarse_station(tmp_path: Path) -> Callable[[int], Path]:
    """Write the simulated station with so many points from 1 to 500 MHz instead of 500."""

    def write(points: int) -> Path:
        text = list_definitions("stations")["simulated"].read_text(encoding="utf-8")
        assert text.count("[sweep]\n") == 1
        path = tmp_path / f"coarse-{points}.toml"
        grid = f"start_mhz = 1.0\nstop_mhz = 500.0\npoints = {points}\n"
        path.write_text(text.replace("[sweep]\n", f"[sweep]\n{grid}"), encoding="utf-8")
        return path

    return write


@dataclass(frozen=True)
class Answer:
    """What a command gave back."""

    code: int
    out: str
    err: str

    @property
    def json(self) -> Any:
        return json.loads(self.out)


Run = Callable[..., Answer]


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Run:
    """Run a command line in this process, through the real entry point."""

    def call(*arguments: object) -> Answer:
        monkeypatch.setattr("sys.argv", ["benchsweep", *map(str, arguments)])
        capsys.readouterr()
        with pytest.raises(SystemExit) as stop:
            main()
        captured = capsys.readouterr()
        code = stop.value.code
        return Answer(code if isinstance(code, int) else 0, captured.out, captured.err)

    return call
