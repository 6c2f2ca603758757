"""Give the errors of VISA and of the operating system our names."""

from __future__ import annotations

import pyvisa
from pyvisa.constants import StatusCode

from benchsweep.errors import InstrumentError, InstrumentTimeout, LinkLost
from benchsweep.instrument.links._transport import Broken, gone

__all__ = ["translate"]

# Status codes that mean: there is nobody there (any more).
_GONE = frozenset(
    {
        StatusCode.error_connection_lost,
        StatusCode.error_io,
        StatusCode.error_resource_not_found,
        StatusCode.error_closing_failed,
        StatusCode.error_invalid_object,
        StatusCode.error_no_listeners,
        StatusCode.error_machine_not_available,
        StatusCode.error_system_error,
    }
)
_BUSY = frozenset(
    {StatusCode.error_resource_busy, StatusCode.error_resource_locked, StatusCode.error_session_not_locked}
)
# What a backend says in words only, in plain exceptions without a code.
_GONE_WORDS = (
    "connection was dropped",
    "could not connect",
    "connection refused",
    "closed",
    "protocol synchronization error",
    "message type",
)


def translate(error: Exception, *, address: str, doing: str, hint: str = "") -> InstrumentError:
    """Return our error for what pyvisa, its backend or the operating system raised.

    Parameters
    ----------
    error
        Any exception from the transport.
    address, doing
        Where it happened, and during what.
    hint
        Put behind the advice of the error.
    """
    words = " ".join(str(error).split()) or type(error).__name__
    where = f"{address}: {doing}: "
    if isinstance(error, pyvisa.errors.VisaIOError):
        return _from_status(error, where, hint)
    if isinstance(error, pyvisa.errors.InvalidSession):
        return LinkLost(f"{where}the link is closed", hint=_join("Open the link again.", hint))
    if isinstance(error, pyvisa.errors.Error):
        return InstrumentError(f"{where}{words}", hint=_join("Check the VISA installation.", hint))
    if isinstance(error, Broken):
        return LinkLost(f"{where}{words}", hint=_join("Open the link again.", hint))
    if isinstance(error, TimeoutError) and not gone(error):
        return InstrumentTimeout(f"{where}no answer in time", hint=_join("Is the instrument busy?", hint))
    if isinstance(error, (OSError, EOFError)):
        return LinkLost(f"{where}connection lost ({words})", hint=_join(_CHECK, hint))
    if any(gone in words.lower() for gone in _GONE_WORDS):
        return LinkLost(f"{where}{words}", hint=_join(_CHECK, hint))
    return InstrumentError(f"{where}{words} ({type(error).__name__})", hint=hint)


_CHECK = "Check that the instrument is on, the cable is in and the address is right; then start again."


def _from_status(error: pyvisa.errors.VisaIOError, where: str, hint: str) -> InstrumentError:
    text = f"{error.description} ({error.abbreviation})"
    if error.error_code == StatusCode.error_timeout:
        return InstrumentTimeout(f"{where}no answer in time", hint=_join("Is the instrument busy?", hint))
    if error.error_code in _GONE:
        return LinkLost(f"{where}{text}", hint=_join(_CHECK, hint))
    if error.error_code in _BUSY:
        return InstrumentError(
            f"{where}{text}", hint=_join("Another program holds the instrument; close it.", hint)
        )
    return InstrumentError(f"{where}{text}", hint=_join("Check the address and the VISA backend.", hint))


def _join(first: str, second: str) -> str:
    return f"{first} {second}".strip()
