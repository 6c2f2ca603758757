"""Open a link to a VISA address, so that a wrong or dead address is told at once and by its right name."""

from __future__ import annotations

import errno
import math
import os
import socket
import threading
import traceback
from collections.abc import Callable, Iterator
from contextlib import suppress
from functools import partial
from typing import Any

import pyvisa
from pyvisa import constants, rname
from pyvisa.resources import MessageBasedResource

from benchsweep.errors import InstrumentError, LinkLost, UsageError
from benchsweep.instrument.links._hislip import HislipTransport, hislip_transport
from benchsweep.instrument.links._link import Link
from benchsweep.instrument.links._translate import translate
from benchsweep.instrument.links._transport import SocketTransport, Transport, VisaTransport, session_socket
from benchsweep.instrument.links._vxi11 import Vxi11Transport, vxi11_transport

__all__ = ["open_link"]

_EXAMPLE = "An address looks like TCPIP::192.0.2.10::5025::SOCKET or TCPIP::192.0.2.10::hislip0::INSTR."
_LONGEST_CONNECT_S = 5.0
# Connecting, greeting, second channel or port mapper: some of these have time limits of their own.
_LONGEST_OPEN_S = 12.0
_LARGE_READ = 1 << 18
# How the pure Python backend tells that a peer speaks the protocol and refuses the name: HiSLIP answers with
# a fatal error, VXI-11 with error 3, "device not accessible".
_NAME_REFUSED = ("'InitializeResponse', received 'FatalError", "error creating link: 3")
# A host that has vanished is noticed after 25 s, also while nothing is expected of it.
_KEEPALIVE = (("TCP_KEEPIDLE", 10), ("TCP_KEEPINTVL", 5), ("TCP_KEEPCNT", 3))


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
        _check_port(address, parsed.port)
        hosts = parsed.host_address
    elif isinstance(parsed, rname.TCPIPInstr) and pure_python:
        # Ports are written as this backend takes them: host,port::inst0 and hislip0,port.
        hosts, comma, port = parsed.host_address.partition(",")
        if parsed.lan_device_name.lower().startswith("hislip"):
            _, comma, port = parsed.lan_device_name.partition(",")
        if comma:
            _check_port(address, port)
    else:
        return
    if pure_python:
        _check_host(address, hosts)


def _check_port(address: str, port: str) -> None:
    if not (port.isascii() and port.isdigit() and 0 < int(port[:9]) < 65536):
        raise UsageError(f"{address}: {port[:20]} is no TCP port (1 to 65535)", hint=_EXAMPLE)


def _check_host(address: str, host: str) -> None:
    try:
        _in_time(partial(socket.getaddrinfo, host, None, socket.AF_INET, socket.SOCK_STREAM))
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
        connect_ms = int(1000 * min(timeout_s, _LONGEST_CONNECT_S)) or 1
        resource = _in_time(partial(manager.open_resource, address, open_timeout=connect_ms))
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


def _in_time(action: Callable[[], Any]) -> Any:
    """Return what `action` returns, or raise TimeoutError: name servers and backends keep no limit of ours.

    HiSLIP and VXI-11 of the pure Python backend connect a second socket without any limit, or wait several
    times in a row; an instrument that only half answers would hold the program for minutes.
    """
    outcome: list[Any] = []
    abandoned = threading.Event()

    def work() -> None:
        try:
            outcome.append(action())
        except BaseException as error:  # noqa: BLE001 - carried to the caller, who sorts it
            _close_leftovers(error)
            outcome.append(error)
        if abandoned.is_set() and isinstance(outcome[0], MessageBasedResource):
            _close_quietly(outcome[0])

    worker = threading.Thread(target=work, name="opening a link", daemon=True)
    worker.start()
    worker.join(_LONGEST_OPEN_S)
    if not outcome:
        abandoned.set()
        raise TimeoutError(f"nothing after {_LONGEST_OPEN_S:g} s")
    if isinstance(outcome[0], BaseException):
        raise outcome[0]
    return outcome[0]


def _prepare(address: str, resource: MessageBasedResource, timeout_s: float) -> Transport:
    """Set terminations, time-out and socket options; find out whether anybody is there."""
    resource.timeout = timeout_s * 1000.0
    resource.write_termination = "\n"
    resource.read_termination = "\n"
    sock = session_socket(resource)
    if sock is not None:
        _refuse_dead(address, sock)
        _set_options(sock)
        return SocketTransport(resource, sock)
    bounded: HislipTransport | Vxi11Transport | None = hislip_transport(resource) or vxi11_transport(resource)
    if bounded is not None:
        for each in bounded.sockets:
            _set_options(each)
        return bounded
    transport = VisaTransport(resource)
    if transport.stream:
        _tune_stream(resource)
        # A refused port opens without complaint on some backends: only a question shows it.
        Link(address, transport, timeout_s).query("*IDN?")
    return transport


def _set_options(sock: socket.socket) -> None:
    sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    sock.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
    for name, value in _KEEPALIVE:
        option = getattr(socket, name, None)  # not every operating system has each
        if option is not None:
            sock.setsockopt(socket.IPPROTO_TCP, option, value)


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
    if any(words in str(each) for each in _chain(error) for words in _NAME_REFUSED):
        return LinkLost(
            f"{address}: an instrument answers there, but not under the name {_device_name(address)}",
            hint="The usual names are hislip0 and inst0; most instruments have no other. An instrument that "
            "takes no further connection may say the same.",
        )
    # The operating system's own words, where the backend hides them behind a code.
    error = next((each for each in _chain(error) if isinstance(each, OSError)), error)
    silent = (constants.StatusCode.error_timeout, constants.StatusCode.error_resource_not_found)
    if isinstance(error, pyvisa.errors.VisaIOError) and error.error_code not in silent:
        return translate(error, address=address, doing="opening the link")
    hint = "Check that the instrument is on and in the network, and that address and port are right."
    if address.upper().startswith("TCPIP") and not address.upper().endswith("SOCKET"):
        hint += (
            " What listens there may not speak this protocol, or another program may hold it. A raw TCP port "
            "is written TCPIP::host::port::SOCKET."
        )
    return LinkLost(f"{address}: nobody answers ({_flat(error)})", hint=hint)


def _device_name(address: str) -> str:
    parsed = rname.ResourceName.from_string(address)
    return parsed.lan_device_name.partition(",")[0] if isinstance(parsed, rname.TCPIPInstr) else "that it has"


def _chain(error: BaseException) -> Iterator[Exception]:
    """Yield the error and what led to it."""
    seen: BaseException | None = error
    while isinstance(seen, Exception):
        yield seen
        seen = seen.__cause__ or seen.__context__


def _close_leftovers(error: BaseException) -> None:
    """Close the sockets that the backend leaves open when opening fails half-way."""
    for each in _chain(error):
        for frame, _ in traceback.walk_tb(each.__traceback__):
            owner = frame.f_locals.get("self")
            for name in ("_sync", "_async", "sock", "interface"):
                left = getattr(owner, name, None)
                left = getattr(left, "sock", left)
                if isinstance(left, socket.socket):
                    left.close()


def _flat(error: Exception) -> str:
    return " ".join(str(error).split()) or type(error).__name__


def _close_quietly(resource: MessageBasedResource) -> None:
    with suppress(pyvisa.errors.Error, OSError):
        resource.close()
