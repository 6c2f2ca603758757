"""Which VISA libraries this machine has."""

from __future__ import annotations

from collections.abc import Mapping

import pyvisa

__all__ = ["visa_libraries"]


def visa_libraries() -> Mapping[str, str]:
    """Return each VISA library pyvisa can find on this machine and its state, for error reports.

    Keys are what a station file's ``backend`` takes: ``@py`` (pyvisa-py) and ``@ivi`` (a native library).
    """
    states: dict[str, str] = {}
    for backend in ("@py", "@ivi"):
        try:
            manager = pyvisa.ResourceManager(backend)
        except Exception as error:  # noqa: BLE001 - each library fails in its own way; the report wants its words
            first = str(error).strip().splitlines()
            states[backend] = f"not usable: {first[0] if first else type(error).__name__}"
            continue
        states[backend] = str(manager.visalib)
        # One manager serves the whole process, and closing it closes every link that is open.
        if not manager.list_opened_resources():
            manager.close()
    return states
