"""Names of S-parameters: how a family writes them with ten ports and more.

``S0109`` with two digits each is seen in manuals; ``S10_9`` is from memory. A family has one of the two for
its answers. A lone third digit (``S109``) is an error everywhere: it cannot be told what it means.
"""

from __future__ import annotations

import re
from typing import Literal

from benchsweep.simulator.scpi import ScpiFault

__all__ = ["ParameterStyle", "parameter_text", "parse_parameter", "parse_ports"]

ParameterStyle = Literal["equal-digits", "underscore"]

_PARAMETER = re.compile(r"S(\d+)(?:_(\d+))?")
_FIRST_TWO_DIGIT_PORT = 10


def parse_parameter(text: str, ports: int, *, underscore: bool = False) -> tuple[int, int]:
    """Return (receiving port, driven port) of ``S21``; or of ``S1001``, where there are ten ports.

    Parameters
    ----------
    underscore
        Whether ``S10_1`` is understood too.

    Raises
    ------
    ScpiFault
        -224: odd number of digits, or no such port.
    """
    found = _PARAMETER.fullmatch(text)
    if found is None:
        raise ScpiFault(-224, f"{text[:20]}: no such parameter")
    first, second = found.groups()
    if second is None:
        if len(first) != 2 and not (len(first) == 4 and ports >= _FIRST_TWO_DIGIT_PORT):
            raise ScpiFault(-224, f"{text[:20]}: no such parameter")
        half = len(first) // 2
        first, second = first[:half], first[half:]
    elif not underscore or max(len(first), len(second)) > 2:
        raise ScpiFault(-224, f"{text[:20]}: no such parameter")
    receiver, source = int(first), int(second)
    if not (1 <= receiver <= ports and 1 <= source <= ports):
        raise ScpiFault(-224, f"{text}: there are ports 1 to {ports}")
    return receiver, source


def parameter_text(receiver: int, source: int, style: ParameterStyle = "equal-digits") -> str:
    """Return the name that answers carry."""
    if max(receiver, source) < _FIRST_TWO_DIGIT_PORT:
        return f"S{receiver}{source}"
    return f"S{receiver}_{source}" if style == "underscore" else f"S{receiver:02d}{source:02d}"


def parse_ports(numbers: list[str], ports: int) -> list[int]:
    """Return the ports of a list.

    Raises
    ------
    ScpiFault
        -224: no such port, or one named twice.
    """
    wanted = [part.strip() for part in numbers]
    if not all(part.isascii() and part.isdigit() and 1 <= int(part[:9]) <= ports for part in wanted):
        raise ScpiFault(-224, f"{','.join(wanted)[:40]}: there are ports 1 to {ports}")
    found = [int(part) for part in wanted]
    if len(set(found)) != len(found):
        raise ScpiFault(-224, f"{','.join(wanted)[:40]}: a port named twice")
    return found
