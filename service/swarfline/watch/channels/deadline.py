"""An end to every attempt, whatever the other side does: time limits of sockets begin anew with each byte."""

from __future__ import annotations

import socket
import ssl
import threading
from contextlib import suppress
from pathlib import Path
from types import TracebackType

from swarfline.watch.deliver import Later


class Deadline:
    """Ends the connection that it was shown last, ``seconds`` after it was entered; ``passed`` tells whether."""

    def __init__(self, seconds: float) -> None:
        self.seconds = seconds
        self.passed = False
        self._socket: socket.socket | None = None
        self._lock = threading.Lock()
        self._timer = threading.Timer(seconds, self._end)
        self._timer.daemon = True

    def __enter__(self) -> Deadline:
        self._timer.start()
        return self

    def __exit__(self, kind: type[BaseException] | None, value: object, trace: TracebackType | None) -> None:
        self._timer.cancel()

    def watch(self, connection: socket.socket) -> None:
        """The connection that is to be ended."""
        with self._lock:
            self._socket = connection
            if self.passed:
                _shut(connection)

    def _end(self) -> None:
        with self._lock:
            self.passed = True
            if self._socket is not None:
                _shut(self._socket)

    def failed(self, what: str, problem: Exception) -> Later:
        """What to raise for an attempt at ``what`` that met with this problem."""
        if self.passed or isinstance(problem, TimeoutError):
            return Later(f"{what}: no answer within {self.seconds:g} s")
        return Later(f"{what}: {describe(problem)}")


def _shut(connection: socket.socket) -> None:
    with suppress(OSError):
        # not the method of a TLS socket, which would take the TLS state away under the thread that reads
        socket.socket.shutdown(connection, socket.SHUT_RDWR)


def describe(problem: Exception) -> str:
    """A problem in one short line."""
    if isinstance(problem, ssl.SSLCertVerificationError):
        return f"its certificate is not trusted: {problem.verify_message}"
    if isinstance(problem, OSError) and problem.strerror:
        return problem.strerror
    return " ".join(str(problem).split())[:200] or type(problem).__name__


def trust(ca_file: str | None, beside: Path) -> ssl.SSLContext:
    """TLS with certificate and name of the server checked; raises Later for a file that cannot be used."""
    try:
        return ssl.create_default_context(cafile=None if ca_file is None else str(beside / ca_file))
    except (OSError, ssl.SSLError) as problem:
        raise Later(f"the certificates to trust cannot be read from {ca_file}: {describe(problem)}") from None
