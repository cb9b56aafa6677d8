"""Failures in plain words."""

from __future__ import annotations

import errno
import socket

from asyncua import ua

_STATUS_WORDS = {
    "BadTooManySessions": "the server has no session left for us; it frees abandoned ones after a while",
    "BadTooManySubscriptions": "the server has no subscription left for us; it frees abandoned ones after a while",
    "BadMaxConnectionsReached": "the server has no connection left for us; it frees abandoned ones after a while",
    "BadTcpNotEnoughResources": "the server has no connection left for us; it frees abandoned ones after a while",
    "BadUserAccessDenied": "the server refuses this user: are user name, password and rights as on the machine?",
    "BadIdentityTokenRejected": "the server does not accept this user; who may come stands in [servers.security]",
    "BadIdentityTokenInvalid": "the server does not accept this kind of user; see [servers.security]",
    "BadSecurityChecksFailed": "the server does not trust our certificate yet: see swarfline trust FILE --own",
    "BadCertificateUntrusted": "the server does not trust our certificate yet: see swarfline trust FILE --own",
    "BadServerTooBusy": "the server is too busy",
    "BadNodeIdUnknown": "the server does not know this node",
    "BadNodeIdInvalid": "the server cannot read this NodeId",
    "BadNoMatch": "no node at this browse path",
    "BadNotReadable": "the node cannot be read",
    "BadNotSupported": "the server does not support this",
    "BadServiceUnsupported": 'the server does not offer this service; try access = "read"',
    "BadTcpEndpointUrlInvalid": "the server does not know this endpoint path",
}
FULL = (
    ua.uaerrors.BadTooManySessions,
    ua.uaerrors.BadTooManySubscriptions,
    ua.uaerrors.BadMaxConnectionsReached,
    ua.uaerrors.BadTcpNotEnoughResources,
)
"""How a server says that its places are taken, perhaps by a session of ours that broke."""
_ERRNO_WORDS = {
    errno.ECONNREFUSED: "connection refused: is the server running and the port right?",
    errno.EHOSTUNREACH: "no route to the host: is the address right and the network up?",
    errno.ENETUNREACH: "the network is unreachable",
    errno.ECONNRESET: "the server closed the connection",
    errno.EPIPE: "the server closed the connection",
}


class Ended(Exception):
    """A session is over, for the reason given as text."""


def status_words(code: int) -> str:
    """A status code as words and its name."""
    name = ua.StatusCode(code & 0xFFFF0000).name
    return f"{_STATUS_WORDS[name]} ({name})" if name in _STATUS_WORDS else name


def plain(problem: BaseException, timeout_s: float) -> str:
    """What failed, for a person who looks after machines."""
    if isinstance(problem, Ended):
        return str(problem)
    if isinstance(problem, socket.gaierror):
        return "the host name cannot be resolved: is it spelled right?"
    if isinstance(problem, TimeoutError):
        return f"no answer within {timeout_s:g} s: is the address right, and does an OPC UA server live there?"
    if isinstance(problem, ua.UaStatusCodeError):
        return status_words(problem.code)
    if isinstance(problem, OSError):
        return _system_words(problem)
    if isinstance(problem, ua.UaError) and "No matching endpoints" in str(problem):
        return "the server offers no endpoint without security: set 'policy' in [servers.security]"
    return f"{type(problem).__name__}: {problem}" if str(problem) else type(problem).__name__


def _system_words(problem: OSError) -> str:
    if isinstance(problem, ConnectionRefusedError) or "Connect call failed" in str(problem):
        return _ERRNO_WORDS.get(problem.errno or errno.ECONNREFUSED, _ERRNO_WORDS[errno.ECONNREFUSED])
    if problem.errno in _ERRNO_WORDS:
        return _ERRNO_WORDS[problem.errno]
    if isinstance(problem, ConnectionError):
        return "the connection was closed"
    return problem.strerror or str(problem) or type(problem).__name__
