"""Open a link to a VISA address, so that a wrong or dead address is told at once and by its right name."""

from __future__ import annotations

import errno
import math
import os
import socket
from contextlib import suppress
from typing import Any

import pyvisa
from pyvisa import constants, rname
from pyvisa.resources import MessageBasedResource

from benchsweep.errors import InstrumentError, LinkLost, UsageError
from benchsweep.instrument._link import Link
from benchsweep.instrument._translate import translate
from benchsweep.instrument._transport import SocketTransport, VisaTransport, session_socket

__all__ = ["open_link"]

_EXAMPLE = "An address looks like TCPIP::192.0.2.10::5025::SOCKET or TCPIP::192.0.2.10::hislip0::INSTR."
_LONGEST_OPEN_S = 5.0
_LARGE_READ = 1 << 18


def open_link(address: str, *, backend: str = "@py", timeout_s: float = 10.0) -> Link:
    """Open a link.

    Parameters
    ----------
    address
        VISA resource name.
    backend
        VISA library as pyvisa names it; ``@py`` is the pure Python one.
    timeout_s
        How long an answer may take; finite.

    Raises
    ------
    UsageError
        Not a VISA address, no such backend, or a time-out that is none.
    LinkLost
        Nobody answers there.
    InstrumentError
        The VISA library refuses for another reason.
    """
    if not (math.isfinite(timeout_s) and timeout_s > 0.0):
        raise UsageError(f"time-out of {timeout_s} s: give a positive, finite time", hint="For example 10.")
    _check_address(address, pure_python=backend.endswith("@py"))
    resource = _open_resource(address, backend, timeout_s)
    try:
        return Link(address, _prepare(address, resource, timeout_s), timeout_s)
    except InstrumentError:
        _close_quietly(resource)
        raise
    except (pyvisa.errors.Error, OSError) as error:
        _close_quietly(resource)
        raise translate(error, address=address, doing="setting the link up") from error


def _check_address(address: str, *, pure_python: bool) -> None:
    try:
        parsed = rname.ResourceName.from_string(address)
    except rname.InvalidResourceName as error:
        if not pure_python:
            return  # a native VISA library may know it as an alias
        raise UsageError(f"not a VISA address: {address!r}", hint=_EXAMPLE) from error
    if isinstance(parsed, rname.TCPIPSocket):
        if not parsed.port.isdigit() or not 0 < int(parsed.port) < 65536:
            raise UsageError(f"{address}: {parsed.port} is no TCP port (1 to 65535)", hint=_EXAMPLE)
        if pure_python:
            _check_host(address, parsed.host_address)


def _check_host(address: str, host: str) -> None:
    try:
        socket.getaddrinfo(host, None, socket.AF_INET, socket.SOCK_STREAM)
    except (OSError, UnicodeError) as error:
        raise LinkLost(
            f"{address}: no host {host!r} ({error})", hint="Check the name; or give the IPv4 address."
        ) from error


def _open_resource(address: str, backend: str, timeout_s: float) -> MessageBasedResource:
    try:
        manager = pyvisa.ResourceManager(backend)
    except (ValueError, OSError, ImportError) as error:
        raise UsageError(
            f"VISA backend {backend!r} cannot be loaded: {' '.join(str(error).split())}",
            hint="Use @py, which needs no VISA library, or install the library that you name.",
        ) from error
    try:
        resource = manager.open_resource(
            address, open_timeout=int(1000 * min(timeout_s, _LONGEST_OPEN_S)) or 1
        )
    except rname.InvalidResourceName as error:
        raise UsageError(f"not a VISA address: {address!r}", hint=_EXAMPLE) from error
    except pyvisa.errors.VisaIOError as error:
        if error.error_code == constants.StatusCode.error_invalid_resource_name:
            raise UsageError(f"not a VISA address: {address!r}", hint=_EXAMPLE) from error
        raise _unreachable(address, error) from error
    except ValueError as error:
        raise UsageError(
            f"{address}: VISA backend {backend!r} cannot open this kind of resource: {_flat(error)}",
            hint="A package that it needs may be missing; pyvisa-info lists them.",
        ) from error
    except Exception as error:  # the border: the pure Python backend raises plain Exception
        raise _unreachable(address, error) from error
    if not isinstance(resource, MessageBasedResource):
        resource.close()
        raise UsageError(f"{address}: not an address to which messages can be sent", hint=_EXAMPLE)
    return resource


def _prepare(
    address: str, resource: MessageBasedResource, timeout_s: float
) -> SocketTransport | VisaTransport:
    """Set terminations, time-out and socket options; find out whether anybody is there."""
    resource.timeout = timeout_s * 1000.0
    resource.write_termination = "\n"
    resource.read_termination = "\n"
    sock = session_socket(resource)
    if sock is not None:
        _refuse_dead(address, sock)
        sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        sock.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
        return SocketTransport(resource, sock)
    transport = VisaTransport(resource)
    if transport.stream:
        _tune_stream(resource)
        # A refused port opens without complaint on some backends: only a question shows it.
        Link(address, transport, timeout_s).query("*IDN?")
    return transport


def _tune_stream(resource: MessageBasedResource) -> None:
    with suppress(pyvisa.errors.Error, NotImplementedError, AttributeError, ValueError):
        resource.set_visa_attribute(constants.ResourceAttribute.tcpip_keepalive, True)
    session: Any = getattr(resource.visalib, "sessions", {}).get(resource.session)
    if hasattr(session, "max_recv_size"):
        session.max_recv_size = _LARGE_READ


def _refuse_dead(address: str, sock: socket.socket) -> None:
    """Raise LinkLost when the connection was refused; the backend opens a refused port without a word."""
    code = sock.getsockopt(socket.SOL_SOCKET, socket.SO_ERROR)
    if code == 0:
        try:
            sock.getpeername()
        except OSError as error:
            code = error.errno or errno.ENOTCONN
    if code:
        raise _unreachable(address, OSError(code, os.strerror(code)))


def _unreachable(address: str, error: Exception) -> InstrumentError:
    silent = (constants.StatusCode.error_timeout, constants.StatusCode.error_resource_not_found)
    if isinstance(error, pyvisa.errors.VisaIOError) and error.error_code not in silent:
        return translate(error, address=address, doing="opening the link")
    hint = "Check that the instrument is on and in the network, and that address and port are right."
    if address.upper().startswith("TCPIP") and not address.upper().endswith("SOCKET"):
        hint += " A raw TCP port is written TCPIP::host::port::SOCKET."
    return LinkLost(f"{address}: nobody answers ({_flat(error)})", hint=hint)


def _flat(error: Exception) -> str:
    return " ".join(str(error).split()) or type(error).__name__


def _close_quietly(resource: MessageBasedResource) -> None:
    with suppress(pyvisa.errors.Error, OSError):
        resource.close()
