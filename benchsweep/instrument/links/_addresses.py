"""Which addresses a network analyzer may have in a network, in the order in which to try them."""

from __future__ import annotations

import re
from dataclasses import dataclass

from benchsweep.errors import UsageError

__all__ = ["Candidate", "address_candidates"]

_HOST = re.compile(r"[A-Za-z0-9](?:[A-Za-z0-9_.-]{0,251}[A-Za-z0-9])?\.?")


@dataclass(frozen=True, slots=True)
class Candidate:
    """An address to try.

    Parameters
    ----------
    address
        VISA resource name.
    reason
        One sentence: why it stands where it stands in the order.
    """

    address: str
    reason: str


def address_candidates(host: str) -> tuple[Candidate, ...]:
    """Return the addresses under which an instrument at `host` may be reached, the best first.

    Parameters
    ----------
    host
        Name or IPv4 address, nothing else.

    Raises
    ------
    UsageError
        Not a host.
    """
    if not _HOST.fullmatch(host):
        raise UsageError(
            f"not a host: {host[:80]!r}",
            hint="Give a name or an IPv4 address, such as 192.0.2.10; a whole address begins with TCPIP::.",
        )
    return (
        Candidate(
            f"TCPIP::{host}::hislip0::INSTR",
            "First: HiSLIP marks where messages end, numbers them so that a late answer is never taken for "
            "the next one, has a device clear and a status byte, and is the fastest.",
        ),
        Candidate(
            f"TCPIP::{host}::5025::SOCKET",
            "Second: a raw TCP port is as fast but has no device clear and no message ends, so that answers "
            "are kept in step by questions; 5025 is the port registered for raw SCPI.",
        ),
        Candidate(
            f"TCPIP::{host}::inst0::INSTR",
            "Last: VXI-11 has message ends, device clear and status byte, but every message is a call that "
            "waits for its reply, and the port mapper that it needs is often blocked in a network.",
        ),
    )
