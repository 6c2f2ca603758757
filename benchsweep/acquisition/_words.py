"""What a person is told to move, in numbered steps."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping

from benchsweep.records import (
    BalancedPort,
    Hookup,
    Leg,
    ModePort,
    balanced_ports_among,
    parse_leg,
    parse_mode,
)

__all__ = ["describe", "name_ports"]

_SAFETY = (
    "Before you touch a port: the specimen must be disconnected from live equipment; confirm that no voltage "
    "is present on it."
)


def describe(hookup: Hookup, before: Mapping[int, str] | None, *, total: int, check: bool = False) -> str:
    """Return what a person has to do for `hookup`, in numbered steps.

    Parameters
    ----------
    hookup
        What must be connected.
    before
        What is connected now; None when that is not known.
    total
        How many hookups there are in all.
    check
        The person may have moved something already: say also what must stand in the end.
    """
    now = hookup.connections
    known = {} if before is None else before
    thru = _thru_move(known, now)
    if thru is not None:
        steps = [thru]
    else:
        off = {port: target for port, target in known.items() if now.get(port) != target}
        on = {port: target for port, target in now.items() if known.get(port) != target}
        steps = []
        if before is None:
            steps.append("Take everything off the analyzer ports.")
        steps += _steps(off, _take_off) + _steps(on, _put_on)
        if not on:
            steps.append("Leave the connections as they are.")
    if check:
        steps.append(f"Check that these and no others stand: {'; '.join(_steps(now, _stands))}.")
    specimen = any(_leg(target) or _mode(target) for target in now.values())
    bundle = _cables(now)
    if hookup.terminations:
        each = ", ".join(f"{name} on {port}" for port, name in hookup.terminations.items())
        steps.append(f"Put or leave these terminators: {each}.")
    elif bundle:
        steps.append(
            "Every contact of the bundle without an analyzer port carries its termination, at both ends of "
            "every cable."
        )
    elif specimen:
        steps.append("Every contact of the specimen without an analyzer port carries its termination.")
    words = [f"Hookup {hookup.number} of {total}{f': {bundle}' if bundle else ''}"]
    if specimen and before is None:
        words.append(_SAFETY)
    words += [f"  {number}. {step}" for number, step in enumerate(steps, start=1)]
    return "\n".join(words)


def _end(port: BalancedPort) -> str:
    return f"end {port.end} of disturbing cable {port.cable}" if port.cable else f"end {port.end}"


def _cables(connections: Mapping[int, str]) -> str:
    """Return which ends of which cables of a bundle are attached; empty when no disturbing cable is."""
    ports = balanced_ports_among(connections.values())
    if not any(port.cable for port in ports):
        return ""
    ends: dict[int, list[str]] = {}
    for port in ports:
        known = ends.setdefault(port.cable, [])
        if port.end not in known:
            known.append(port.end)
    return ", ".join(
        f"end{'s' if len(which) > 1 else ''} {' and '.join(which)} of "
        f"{f'disturbing cable {cable}' if cable else 'the disturbed cable'}"
        for cable, which in ends.items()
    )


def _steps(changes: Mapping[int, str], words: Callable[[str, Mapping[int, str]], str]) -> list[str]:
    """Return one step for each thing that is attached: a pair of the specimen, a standard, a thru."""
    groups: dict[str, dict[int, str]] = {}
    for port, target in changes.items():
        leg = _leg(target)
        if leg is not None:
            key = str(leg.port)
        elif (mode := _mode(target)) is not None:
            key = str(mode.port)
        elif target.startswith("check "):
            key = target.rpartition(" ")[0]
        elif " " in target:
            key = f"{target.partition(' ')[0]} between"
        else:
            key = target
        groups.setdefault(key, {})[port] = target
    return [words(key, ports) for key, ports in groups.items()]


def _take_off(what: str, ports: Mapping[int, str]) -> str:
    if ":" in what:
        return f"Take {name_ports(ports)} off {what} and put the terminations on {what}."
    return f"Take the {_thing(what)} off {name_ports(ports)}."


def _put_on(what: str, ports: Mapping[int, str]) -> str:
    legs = [(port, leg) for port, target in ports.items() if (leg := _leg(target)) is not None]
    if legs:
        each = " and ".join(f"analyzer port {port} to contact {leg.contact}" for port, leg in legs)
        return f"Attach {each} of {what} ({_end(legs[0][1].port)}), in place of the terminations there."
    modes = [(port, mode) for port, target in ports.items() if (mode := _mode(target)) is not None]
    if modes:
        return (
            f"Attach the balun of {name_ports(ports)} to {what} ({_end(modes[0][1].port)}), in place of the "
            "terminations there."
        )
    if what.startswith("check "):
        each = " and ".join(f"{name_ports([port])} to {target.split()[-1]}" for port, target in ports.items())
        return f"Attach the {_thing(what)}: {each}."
    if what.startswith("exchange "):
        return f"Put the exchange standard (one leg short, one leg open) on the balun of {name_ports(ports)}."
    if " " in what and len(ports) > 2:  # behind baluns with taps both modes are joined at once
        return f"Join the balanced terminals of {name_ports(ports)} by the {_thing(what)}."
    if " " in what:
        return f"Connect {name_ports(ports)} with the {_thing(what)}."
    return f"Put the {_thing(what)} on {name_ports(ports)}."


def _stands(what: str, ports: Mapping[int, str]) -> str:
    legs = [(port, leg) for port, target in ports.items() if (leg := _leg(target)) is not None]
    if legs:
        each = " and ".join(f"port {port} on contact {leg.contact}" for port, leg in legs)
        return f"{each} of {what}"
    if ":" in what:
        return f"the balun of {name_ports(ports)} on {what}"
    if what.startswith("check "):
        each = " and ".join(f"port {port} on {target.split()[-1]}" for port, target in ports.items())
        return f"{each} of the {_thing(what)}"
    if " " in what:
        return f"the {_thing(what)} between {name_ports(ports)}"
    return f"the {_thing(what)} on {name_ports(ports)}"


def _thing(what: str) -> str:
    """Return what a person takes into the hand."""
    if what.startswith("check "):
        return f"check standard {what.removeprefix('check ')}"
    return what.split()[0] if " " in what else f"{what} standard"


def _thru_move(before: Mapping[int, str], now: Mapping[int, str]) -> str | None:
    """Return the one step when a thru keeps one end and moves the other."""
    both = (*before.values(), *now.values())
    if not before or len(before) != 2 or len(now) != 2 or not all(t.startswith("thru ") for t in both):
        return None
    kept = set(before) & set(now)
    if len(kept) != 1:
        return None
    (old,), (new,), (stays,) = set(before) - kept, set(now) - kept, kept
    return f"Move the end of the thru from port {old} to port {new}; its other end stays on port {stays}."


def _leg(target: str) -> Leg | None:
    try:
        return parse_leg(target)
    except ValueError:
        return None


def _mode(target: str) -> ModePort | None:
    try:
        return parse_mode(target)
    except ValueError:
        return None


def name_ports(ports: Iterable[int]) -> str:
    """Return ports in words, three and more in a row as a range."""
    numbers = sorted(ports)
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    parts = []
    for run in runs:
        parts += [f"{run[0]} to {run[-1]}"] if len(run) > 2 else list(map(str, run))
    listed = parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"
    return f"analyzer port{'s' if len(numbers) > 1 else ''} {listed}"
