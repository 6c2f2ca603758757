"""What every test stands on: a home of its own, an empty working folder, no network but the loopback."""

from __future__ import annotations

from pathlib import Path

import pytest


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--thorough",
        action="store_true",
        help="long forms: 200 kills, 5 000 runs with faults, 100 000 fuzzed answers, 10 000 recorded sweeps",
    )


REPOSITORY = Path(__file__).resolve().parent.parent


@pytest.fixture(autouse=True)
def own_home(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Point the person's folders and the working folder into an empty place."""
    home = tmp_path_factory.mktemp("home")
    monkeypatch.setenv("HOME", str(home))
    for name in ("XDG_DATA_HOME", "XDG_CONFIG_HOME", "XDG_STATE_HOME", "XDG_CACHE_HOME"):
        monkeypatch.setenv(name, str(home / name.lower()))
    monkeypatch.chdir(home)
    return home
