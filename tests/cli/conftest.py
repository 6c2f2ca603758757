from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import pytest

from benchsweep.cli import main


@dataclass(frozen=True)
class Answer:
    """What a command gave back."""

    code: int
    out: str
    err: str

    @property
    def json(self) -> Any:
        return json.loads(self.out)


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Callable[..., Answer]:
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
