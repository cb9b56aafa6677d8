"""A bound for what the library holds of a piece of a message that has not come whole."""

from __future__ import annotations

import asyncio
import logging

from asyncua import Client

LARGEST_CHUNK = 1_000_000
"""Bytes; we tell the server that we take 65 535 in one chunk (OPC 10000-6, Hello), few send more."""

log = logging.getLogger("swarfline.connect")


def bound_chunks(client: Client, server: str) -> None:
    """Have the connection closed by a chunk that is too large.

    The library believes any length that a header states, and copies what it holds with all that comes: a server
    that sends without end would take our memory, and the time of all the others.
    """
    make = client.uaclient._make_protocol

    def make_bounded() -> asyncio.Protocol:
        protocol: asyncio.Protocol = make()
        take = protocol.data_received

        def data_received(data: bytes) -> None:
            take(data)
            held: bytes | None = protocol.receive_buffer  # type: ignore[attr-defined]
            if held is not None and len(held) > LARGEST_CHUNK:
                log.warning("server %s: a chunk of more than %d bytes: connection closed", server, LARGEST_CHUNK)
                protocol.transport.abort()  # type: ignore[attr-defined]

        protocol.data_received = data_received  # type: ignore[method-assign]
        return protocol

    client.uaclient._make_protocol = make_bounded
