"""Numbers and texts of the SCPI error queue, and the exception that carries one to it.

Source: SCPI-1999 volume 2, SYSTem:ERRor, from memory.
"""

from __future__ import annotations

__all__ = ["ERROR_TEXTS", "ScpiFault"]

ERROR_TEXTS: dict[int, str] = {
    -100: "Command error",
    -101: "Invalid character",
    -102: "Syntax error",
    -103: "Invalid separator",
    -104: "Data type error",
    -108: "Parameter not allowed",
    -109: "Missing parameter",
    -112: "Program mnemonic too long",
    -113: "Undefined header",
    -114: "Header suffix out of range",
    -121: "Invalid character in number",
    -123: "Exponent too large",
    -124: "Too many digits",
    -128: "Numeric data not allowed",
    -131: "Invalid suffix",
    -138: "Suffix not allowed",
    -141: "Invalid character data",
    -144: "Character data too long",
    -148: "Character data not allowed",
    -151: "Invalid string data",
    -158: "String data not allowed",
    -161: "Invalid block data",
    -168: "Block data not allowed",
    -171: "Invalid expression",
    -178: "Expression data not allowed",
    -200: "Execution error",
    -211: "Trigger ignored",
    -213: "Init ignored",
    -221: "Settings conflict",
    -222: "Data out of range",
    -224: "Illegal parameter value",
    -230: "Data corrupt or stale",
    -241: "Hardware missing",
    -300: "Device-specific error",
    -310: "System error",
    -350: "Queue overflow",
    -363: "Input buffer overrun",
    -410: "Query INTERRUPTED",
    -420: "Query UNTERMINATED",
    -430: "Query DEADLOCKED",
    -440: "Query UNTERMINATED after indefinite response",
}


class ScpiFault(Exception):
    """An entry for the instrument's error queue.

    Parameters
    ----------
    number
        A key of `ERROR_TEXTS`. -100 to -199 ends the message, the others let it go on.
    detail
        Device-dependent text behind the standard one; may be empty.
    """

    def __init__(self, number: int, detail: str = "") -> None:
        super().__init__(f"{number} {detail}")
        self.number = number
        self.detail = detail

    @property
    def is_command_error(self) -> bool:
        """True for the class -1xx, after which the rest of a message is dropped."""
        return -200 < self.number <= -100
