"""Read a definite-length block (IEEE 488.2, definite length arbitrary block response data)."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from benchsweep.errors import BadAnswer
from benchsweep.instrument.links._transport import Stalled, Transport

__all__ = ["read_block"]


def read_block(
    transport: Transport, timeout_s: float, *, what: str, tail: Callable[[], str]
) -> NDArray[np.uint8]:
    """Read one block and the end of line behind it.

    Parameters
    ----------
    transport
        Where it comes from.
    timeout_s
        How long no byte may come.
    what
        Address and question, for messages.
    tail
        Gives the last messages of the link, for hints.

    Raises
    ------
    BadAnswer
        No block, one of indefinite length, a short one, or one that ends otherwise than announced.
    """
    head = transport.read_header(2, timeout_s)
    if head[:1] != b"#" or not head[1:].isdigit():
        shown = (head + transport.glance())[:64]
        raise BadAnswer(
            f"{what}: the answer is no binary block, it begins with {shown.hex(' ')}",
            hint=f"As text: {shown.decode('ascii', 'replace')!r}. Is the data format set? " + tail(),
        )
    digits = int(head[1:])
    if digits == 0:
        raise BadAnswer(
            f"{what}: the answer is a block of indefinite length (#0)",
            hint="Its end cannot be told from its data; set the instrument to definite-length blocks.",
        )
    length = transport.read_header(digits, timeout_s)
    if not length.isdigit() or len(length) != digits:
        raise BadAnswer(f"{what}: bad block length {length!r}", hint=tail())
    return _read_body(transport, timeout_s, int(length), what=what, tail=tail)


def _read_body(
    transport: Transport, timeout_s: float, size: int, *, what: str, tail: Callable[[], str]
) -> NDArray[np.uint8]:
    try:
        data, end = transport.read_body(size, timeout_s)
    except Stalled as stalled:
        if stalled.closed:
            raise
        got = "fewer" if stalled.received is None else str(min(stalled.received, size))
        then = "the end of the message" if stalled.ended else f"nothing for {timeout_s:g} s"
        raise BadAnswer(
            f"{what}: block of {size} bytes announced, {got} received, then {then}",
            hint="The block was cut short; measure again. " + tail(),
        ) from stalled
    if end not in (b"\n", b"\r\n"):
        raise BadAnswer(
            f"{what}: the block of {size} bytes is followed by {end.hex(' ')}, not by the end of line",
            hint="The announced length is wrong; measure again. " + tail(),
        )
    return data
