"""What is wrong with lots, as it is told at the command line: damaged files, and what happened afterwards."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.cli.test_lot import FEW, OPEN

Run = Callable[..., Any]


@pytest.fixture
def lots(run: Run, own_home: Path) -> dict[str, Path]:
    """Three lots that are open."""
    for lot in ("26-1", "26-2", "26-3"):
        assert run("lot", "open", lot, *OPEN, *FEW).code == 0
    return {lot: Path(run("lot", "status", lot, "--json").json["path"]) for lot in ("26-1", "26-2", "26-3")}


def test_a_damaged_lot_hides_no_other_one(run: Run, lots: dict[str, Path]) -> None:
    assert run("lot", "list", "--json").json["damaged"] == []
    spoilt, broken = lots["26-2"], lots["26-3"]
    spoilt.write_bytes(spoilt.read_bytes().replace(b"the seed", b"The seed"))
    broken.unlink()
    broken.mkdir()
    listed = run("lot", "list")
    assert listed.code == 6
    assert "26-1" in listed.out
    told = " ".join(listed.err.split())
    assert f"not listed, it cannot be read: {spoilt}: line 2: its checksum" in told
    assert f"{broken}: not a file but a folder" in told
    assert ".h5" not in told
    document = run("lot", "list", "--json")
    assert document.code == 6
    assert [each["lot"] for each in document.json["lots"]] == ["26-1"]
    assert [each["path"] for each in document.json["damaged"]] == [str(spoilt), str(broken)]
    # Nobody knows of which supplier they were.
    assert run("lot", "list", "--supplier", "Another").code == 6
    status = run("lot", "status", "26-1")
    assert status.code == 3
    assert "nobody knows how the next lot is to be inspected" in " ".join(status.out.split())
