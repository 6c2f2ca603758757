from __future__ import annotations

from collections.abc import Mapping

__all__ = ["visa_libraries"]


def visa_libraries() -> Mapping[str, str]:
    """Return each VISA library pyvisa can find on this machine and its state, for error reports.

    Keys are what a station file's ``backend`` takes: ``@py`` (pyvisa-py) and ``@ivi`` (a native library).
    """
    import pyvisa

    states: dict[str, str] = {}
    for backend in ("@py", "@ivi"):
        try:
            manager = pyvisa.ResourceManager(backend)
        except Exception as error:  # noqa: BLE001 - each back end fails in its own way; the report wants its words
            first = str(error).strip().splitlines()
            states[backend] = f"not usable: {first[0] if first else type(error).__name__}"
            continue
        states[backend] = str(manager.visalib)
        manager.close()
    return states
