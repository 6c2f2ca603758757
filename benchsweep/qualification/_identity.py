"""Who answers at an address or a host, and which command families there are."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from benchsweep.definitions import list_definitions
from benchsweep.errors import DefinitionError, InstrumentError, LinkLost, UnknownFamily, UsageError
from benchsweep.instrument import (
    Candidate,
    address_candidates,
    identify,
    load_family,
    open_link,
)
from benchsweep.qualification._set_up import answer_on, note_power, worth_repeating
from benchsweep.records import AnalyzerIdentity, Probe

__all__ = ["Identified", "Tried", "identify_address", "list_family_files", "who_answers"]

_HOST_AND_PORT = re.compile(r"([A-Za-z0-9][A-Za-z0-9_.-]*):([0-9]{1,5})")
_AS_GIVEN = "The address as it was given."
_ALIAS = "The VISA library may know it as an alias."


@dataclass(frozen=True, slots=True)
class Tried:
    """An address that was tried.

    Parameters
    ----------
    address
        VISA resource name.
    reason
        Why it was tried at that place of the order.
    came
        What came: ``answered``, or the error in words.
    """

    address: str
    reason: str
    came: str


@dataclass(frozen=True, slots=True)
class Identified:
    """Who answers.

    Parameters
    ----------
    address
        The address that answered.
    idn, evidence
        What it answered to ``*IDN?`` and to every question, in the order asked.
    identity
        None when no command family fits.
    title, standing, source
        Of the family file; empty when no family fits.
    tried
        Every address that was tried, in the order; the last one answered.
    unknown
        The error to end with when no family fits.
    """

    address: str
    idn: str
    evidence: tuple[Probe, ...]
    tried: tuple[Tried, ...]
    identity: AnalyzerIdentity | None = None
    title: str = ""
    standing: str = ""
    source: str = ""
    unknown: UnknownFamily | None = None


def identify_address(
    address: str, *, family: str | None, backend: str, timeout_s: float, ports: int | None = None
) -> AnalyzerIdentity:
    """Ask who answers at a VISA address; `ports` is for an analyzer that cannot tell how many it has.

    Once it has answered at all, it is asked once more on a fresh link after a fault that may pass.

    Raises
    ------
    LinkLost, InstrumentTimeout, UnknownFamily, UsageError
    """
    attempts = 2
    while True:
        attempts -= 1
        with open_link(address, backend=backend, timeout_s=timeout_s) as link:
            idn = None
            try:
                identity = identify(link, family, ports)
                idn = identity.idn
                return identity
            except InstrumentError as error:
                if not attempts or answer_on(link, "*IDN?") is None or not worth_repeating(error):
                    raise
            finally:
                note_power(link, idn)


def who_answers(
    where: str, *, family: str | None, backend: str, timeout_s: float, ports: int | None = None
) -> Identified:
    """Ask who answers at an address or a host; an instrument of no known family is an answer as well.

    Parameters
    ----------
    where
        VISA address; ``host:port`` of a raw TCP port; or a host name or IPv4 address, at which the usual
        addresses are tried in turn until one answers.
    family
        Name or path of a command family that overrides detection.
    backend, timeout_s
        See `open_link`.
    ports
        Number of ports, for an analyzer that cannot tell it.

    Raises
    ------
    LinkLost
        Nobody answers at any of the addresses; says what came from each.
    InstrumentError
        What came from the one address that was given.
    UsageError, DefinitionError
        No address, no such backend, no such family.
    """
    if family is not None:
        load_family(family)  # a wrong name must not show after three addresses
    if not where.strip():
        raise UsageError(
            "the address is empty",
            hint="Give a VISA address such as TCPIP::192.0.2.10::5025::SOCKET, or a host name.",
        )
    candidates = _candidates(where.strip(), pure_python=backend.endswith("@py"))
    tried: list[Tried] = []
    errors: list[InstrumentError | UsageError] = []
    for candidate in candidates:
        try:
            identity = identify_address(
                candidate.address, family=family, backend=backend, timeout_s=timeout_s, ports=ports
            )
        except UnknownFamily as error:
            tried.append(Tried(candidate.address, candidate.reason, "answered"))
            evidence = tuple(Probe(*pair) for pair in error.evidence)
            return Identified(candidate.address, error.idn, evidence, tuple(tried), unknown=error)
        except (InstrumentError, UsageError) as error:
            if len(candidates) == 1:
                raise
            tried.append(Tried(candidate.address, candidate.reason, _short(error, candidate.address)))
            errors.append(error)
            continue
        tried.append(Tried(candidate.address, candidate.reason, "answered"))
        known = load_family(family or identity.family)
        return Identified(
            address=candidate.address,
            idn=identity.idn,
            evidence=identity.evidence,
            tried=tuple(tried),
            identity=identity,
            title=known.title,
            standing=known.standing,
            source=known.source,
        )
    raise _nobody(where, tried, errors)


def _candidates(where: str, *, pure_python: bool) -> tuple[Candidate, ...]:
    if "::" in where:
        return (Candidate(where, _AS_GIVEN),)
    socket = _HOST_AND_PORT.fullmatch(where)
    if socket:
        return (Candidate(f"TCPIP::{socket[1]}::{socket[2]}::SOCKET", "A host and a port: a raw TCP port."),)
    hosts = address_candidates(where)
    return hosts if pure_python else (Candidate(where, _ALIAS), *hosts)


def _short(error: InstrumentError | UsageError, address: str) -> str:
    """Return the message without the address that stands beside it anyway."""
    return error.message.removeprefix(f"{address}: ")


def _nobody(
    where: str, tried: Sequence[Tried], errors: Sequence[InstrumentError | UsageError]
) -> InstrumentError | UsageError:
    if all(isinstance(error, UsageError) for error in errors):
        return errors[0]
    if len({item.came for item in tried}) == 1:
        listed = f"{tried[0].came}: tried {', '.join(item.address for item in tried)}"
    else:
        listed = "tried " + "; ".join(f"{item.address}: {item.came}" for item in tried)
    return LinkLost(
        f"{where}: no analyzer found: {listed}",
        hint="Check that the instrument is on and in the network and that its LAN interface is switched on. "
        "Where it listens elsewhere, give the whole address, e.g. TCPIP::192.0.2.10::5024::SOCKET.",
    )


def list_family_files() -> list[dict[str, Any]]:
    """Return name, title, standing and file of every command family in force, in the order of detection.

    A file that cannot be used is listed with its ``error`` instead: it must not hide the others.
    """
    good: list[tuple[int, dict[str, Any]]] = []
    bad: list[dict[str, Any]] = []
    for name, path in list_definitions("families").items():
        try:
            family = load_family(name)
        except DefinitionError as error:
            bad.append({"name": name, "file": str(path), "error": error.message})
            continue
        entry = {
            "name": name,
            "title": family.title,
            "standing": family.standing,
            "lacks": list(family.lacks),
            "file": str(path),
        }
        good.append((family.detection_order, entry))
    return [entry for _, entry in sorted(good, key=lambda pair: pair[0])] + bad
