"""Names of S-parameters: how a family writes them with ten ports and more; and of ratios of receivers.

``S0109`` with two digits each is seen in manuals; ``S10_9`` is from memory. A family has one of the two for
its answers. A lone third digit (``S109``) is an error everywhere: it cannot be told what it means.

A ratio names two receivers, ``A`` the reference and ``B`` the test receiver of a port, and the port that is
driven: ``A2/B2,1`` (as in a public driver; port 1 when none is named), or with it in either name,
``A2D1/B2D1`` (from memory). Catalogues write ``A2/B2_1``, because they are lists (from memory).
"""

from __future__ import annotations

import re
from typing import Literal

from benchsweep.simulator.analyzer import Measured, Receiver, WaveRatio
from benchsweep.simulator.scpi import ScpiFault

__all__ = [
    "ParameterStyle", "RatioStyle", "measured_text", "parameter_text", "parse_measured", "parse_parameter",
    "parse_ports",
]  # fmt: skip

ParameterStyle = Literal["equal-digits", "underscore"]
RatioStyle = Literal["comma", "drive"]

_PARAMETER = re.compile(r"S(\d+)(?:_(\d+))?")
_FIRST_TWO_DIGIT_PORT = 10
_RATIO: dict[RatioStyle, re.Pattern[str]] = {
    "comma": re.compile(r"([AB])(\d{1,2})/([AB])(\d{1,2})(?: *, *(\d{1,2}))?"),
    "drive": re.compile(r"([AB])(\d{1,2})D(\d{1,2})/([AB])(\d{1,2})D\3"),
}


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


def parse_measured(text: str, ports: int, style: RatioStyle, *, underscore: bool = False) -> Measured:
    """Return the S-parameter or the ratio that `text` names, in capitals.

    Raises
    ------
    ScpiFault
        -224: no such parameter, or no such port.
    """
    if "/" not in text:
        return parse_parameter(text, ports, underscore=underscore)
    found = _RATIO[style].fullmatch(text)
    if found is None:
        raise ScpiFault(-224, f"{text[:20]}: no such parameter")
    if style == "comma":
        over, at_over, under, at_under, source = found.groups("1")
    else:
        over, at_over, source, under, at_under = found.groups()
    numbers = [int(number) for number in (at_over, at_under, source)]
    if not all(1 <= number <= ports for number in numbers):
        raise ScpiFault(-224, f"{text}: there are ports 1 to {ports}")
    return WaveRatio(_receiver(over, numbers[0]), _receiver(under, numbers[1]), numbers[2])


def _receiver(wave: str, port: int) -> Receiver:
    return Receiver("A" if wave == "A" else "B", port)


def measured_text(
    measured: Measured, style: ParameterStyle = "equal-digits", ratios: str = "{o}/{u},{s}"
) -> str:
    """Return the name that answers carry.

    Parameters
    ----------
    ratios
        How a ratio is written: receivers ``o`` over ``u`` with source ``s``.
    """
    if not isinstance(measured, WaveRatio):
        return parameter_text(*measured, style)
    over, under = (f"{one.wave}{one.port}" for one in (measured.over, measured.under))
    return ratios.format(o=over, u=under, s=measured.source)


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
