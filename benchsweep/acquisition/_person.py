"""A person as the switch: told what to move, and answered when something else is wanted."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping

from benchsweep.acquisition._switch import Again, Back, Done, Move
from benchsweep.acquisition._words import describe
from benchsweep.records import Hookup

__all__ = ["PersonSwitch"]

_BACK = re.compile(r"back\s+(?:to\s+)?(?:hookup\s+)?([0-9]{1,6})")
_HELP = ("?", "help", "h")
_READY = ("y", "yes", "ok", "done", "ready", "go", "enter", "next")
_LEAVE = ("quit", "exit", "q", "no", "n", "end")


class PersonSwitch:
    """A person who is told, in numbered steps, what to change since the hookup before.

    The person answers with the Enter key alone when it is done, or with ``again``, ``back`` and a number, or
    ``stop``; anything else is asked again, with the list of what may be answered.

    Parameters
    ----------
    prompt
        Shows the words and returns what the person typed.
    note
        One more sentence for the first hookup that the person is told, for example where the ports are.
    """

    def __init__(self, prompt: Callable[[str], str], *, note: str = "") -> None:
        self._prompt = prompt
        self._note = note
        self._before: Mapping[int, str] | None = None
        self._last: int | None = None
        # Hookups below this number are swept: one of them can be gone back to.
        self._reached = 0
        self._check = False

    def connect(self, hookup: Hookup, *, total: int) -> Move:
        """Tell the person what to do and return what the answer means.

        Raises
        ------
        KeyboardInterrupt
            The person stops.
        """
        self._reached = max(self._reached, hookup.number)
        words = describe(hookup, self._before, total=total, check=self._check)
        if self._note and self._before is None:
            words = f"{words}\n{self._note}"
        # Unknown until the person is done: an interrupt may leave half of it changed.
        before, self._before = self._before, None
        move = self._ask(words, "the connections stand: sweep")
        if isinstance(move, Done):
            self._before, self._last, self._check = hookup.connections, hookup.number, False
        else:
            # Most likely nothing was moved yet; if something was, the next words let it be found.
            self._before, self._check = before, True
        return move

    def remind(self, note: str) -> None:
        """Say one more sentence with the first hookup, and again wherever the person starts anew."""
        self._note = f"{self._note}\n{note}".strip()

    def restore(self, hookup: Hookup) -> None:
        """Leave the person alone: what was connected by hand still is."""

    def confirm(self, hookup: Hookup) -> None:
        """Leave the person alone: nothing can be asked but what was answered already."""

    def finished(self, *, total: int) -> Move:
        """Ask whether a hookup is wanted once more before the run ends; not after a single one.

        Raises
        ------
        KeyboardInterrupt
            The person stops, before anything is made of the sweeps.
        """
        if total < 2:
            return Done()
        self._reached = total + 1
        self._last = self._last or total
        self._check = True
        return self._ask(f"All {total} hookups are swept.", "it is good so: finish")

    def tell(self, words: str) -> None:
        """Tell the person something that is no hookup and wait until it is done.

        Raises
        ------
        KeyboardInterrupt
            The person stops.
        """
        self._before = None
        answer = self._prompt(words).strip().lower()
        while answer:
            if answer == "stop":
                raise KeyboardInterrupt
            answer = self._prompt(
                f"{words}\nPress Enter alone when that is done, or type stop to end here."
            ).strip().lower()  # fmt: skip

    def _ask(self, words: str, enter: str) -> Move:
        answer = self._prompt(words)
        while (move := self._understood(answer)) is None:
            answer = self._prompt(self._why_not(answer) + self._answers(enter))
        return move

    def _why_not(self, answer: str) -> str:
        """Return what is wrong with an answer, as a line; empty where the list of answers says all."""
        words = answer.strip().lower()
        upto = self._reached - 1
        back = _BACK.fullmatch(words)
        if words in _HELP:
            return ""
        if words in _READY:
            return "When it is done, press Enter alone.\n"
        if words in _LEAVE:
            return "To end here, type stop.\n"
        if upto < 1 and (words == "again" or words.startswith("back")):
            return "Nothing has been swept yet, so there is nothing to go back to.\n"
        if back is not None:
            swept = "hookup 1" if upto == 1 else f"hookups 1 to {upto}"
            return f"Hookup {int(back[1])} is none that has been swept: {swept}.\n"
        if words == "back":
            return f"Back to which hookup? Type back and its number, such as back {upto}.\n"
        return f"Not understood: {answer.strip()[:40]!r}\n"

    def _understood(self, answer: str) -> Move | None:
        words = answer.strip().lower()
        if not words:
            return Done()
        if words == "stop":
            raise KeyboardInterrupt
        if words == "again" and self._last_swept():
            return Again()
        back = _BACK.fullmatch(words)
        if back is not None and 1 <= int(back[1]) < self._reached:
            return Back(int(back[1]))
        return None

    def _last_swept(self) -> int:
        return self._last or self._reached - 1

    def _answers(self, enter: str) -> str:
        lines = ["You may answer:", f"  Enter alone: {enter}"]
        if self._last_swept():
            lines.append(
                f"  again: sweep hookup {self._last_swept()} once more first, in place of its old sweep"
            )
        if self._reached > 1:
            upto = self._reached - 1
            which = "hookup 1" if upto == 1 else f"one of the hookups 1 to {upto}"
            lines.append(
                f"  back and a number, such as back {upto}: go back to {which}; the new sweep replaces it"
            )
        lines.append("  stop: end here; the same command continues later")
        return "\n".join(lines)
