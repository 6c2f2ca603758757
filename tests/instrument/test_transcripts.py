"""The driver against recorded conversations: it says what is recorded, and understands what it is told.

``python tests/instrument/transcripts.py`` records them anew; whoever does so reads the difference first.
"""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest

from benchsweep.errors import BenchsweepError
from benchsweep.instrument import list_families
from benchsweep.records import RawSweep


def _load() -> ModuleType:
    spec = importlib.util.spec_from_file_location("transcripts", Path(__file__).parent / "transcripts.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


TRANSCRIPTS = _load()
FILES = sorted(TRANSCRIPTS.FOLDER.glob("*.txt"))


def family_and_ports(path: Path) -> tuple[str, int]:
    family, _, ports = path.stem.rpartition("-")
    return family, int(ports)


def play(scripted: Any, exchanges: list[Any], family: str, ports: int) -> tuple[Any, list[RawSweep]]:
    player = TRANSCRIPTS.Player(exchanges)
    sweeps: list[RawSweep] = []
    try:
        sweeps = TRANSCRIPTS.session(scripted(player).address, family, ports)
    except BenchsweepError as error:
        player.parted = player.parted or error.message
    return player, sweeps


def test_every_family_is_recorded() -> None:
    recorded = {family_and_ports(path) for path in FILES}
    for family in list_families():
        assert (family.name, 2) in recorded
        assert (family.name, 4) in recorded or family.name == "single-channel"
    for path in FILES:
        head = path.read_text(encoding="utf-8")[:400]
        assert "simulated instrument" in head
        assert "not from hardware" in head


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_the_driver_says_what_is_recorded(path: Path, scripted: Any) -> None:
    family, ports = family_and_ports(path)
    player, sweeps = play(scripted, TRANSCRIPTS.read_transcript(path), family, ports)
    assert player.parted == ""
    assert player.left == 0
    assert len(sweeps) in (3, 5)
    assert sweeps[0].s.shape == (3, ports, ports)


@pytest.mark.parametrize("ports", [2, 4])
def test_what_is_recorded_means_the_same_in_every_family(ports: int, scripted: Any) -> None:
    """All were recorded from one noiseless specimen, so layouts and byte orders must be understood alike."""
    found = {}
    for path in FILES:
        family, recorded_ports = family_and_ports(path)
        if recorded_ports == ports:
            found[family] = play(scripted, TRANSCRIPTS.read_transcript(path), family, ports)[1]
    first = found["named-measurement"]
    assert np.min(np.abs(first[0].s)) > 1e-6
    assert np.max(np.abs(first[0].s - first[0].s.transpose(0, 2, 1))) > 1e-6
    with_terms = {name for name, sweeps in found.items() if sweeps[-1].switch_terms is not None}
    assert with_terms == {"named-measurement", "numbered-measurement", "quoted-parameter"}
    for name in with_terms:
        terms = found[name][-1].switch_terms
        assert np.all(np.abs(terms[:, [0, 1], [1, 0]]) > 1e-3)
        np.testing.assert_allclose(terms, first[-1].switch_terms, rtol=0, atol=1e-9)
    for sweeps in found.values():
        np.testing.assert_allclose(sweeps[0].s, first[0].s, rtol=0, atol=1e-9)
        np.testing.assert_allclose(sweeps[-1].s, first[-1].s, rtol=0, atol=1e-9)
        if len(sweeps) == len(first):
            for one, other in zip(sweeps, first, strict=True):
                np.testing.assert_allclose(one.s, other.s, rtol=0, atol=1e-9)
                np.testing.assert_allclose(one.frequency_hz, other.frequency_hz, rtol=0, atol=1.0)


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_the_first_other_word_is_noticed(path: Path, scripted: Any) -> None:
    """The test above can fail: with one recorded command in the middle spelled otherwise it does."""
    family, ports = family_and_ports(path)
    exchanges = TRANSCRIPTS.read_transcript(path)
    middle = next(k for k in range(len(exchanges) // 2, len(exchanges)) if "BWID" in exchanges[k].sent)
    recorded = exchanges[middle].sent
    exchanges[middle] = TRANSCRIPTS.Exchange(recorded.replace("BWID", "BAND"), ())
    player, _ = play(scripted, exchanges, family, ports)
    assert player.parted.startswith(f"message {middle + 1}: {recorded!r} was sent")


def test_a_damaged_block_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "damaged.txt"
    lines = FILES[0].read_text(encoding="utf-8").splitlines()
    at = next(k for k, line in enumerate(lines) if line.startswith("= "))
    lines[at] = lines[at][:-8] + "AAAA" + lines[at][-4:]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    with pytest.raises(ValueError, match="damaged block"):
        TRANSCRIPTS.read_transcript(path)
