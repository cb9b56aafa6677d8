"""Certificates for the receivers."""

from __future__ import annotations

import ssl
from pathlib import Path

from connect.secured import certificate, write_pair


def trusted_by(folder: Path, name: str) -> ssl.SSLContext:
    """TLS of a server at 127.0.0.1; who trusts the file ``name`` trusts it."""
    _, key = write_pair(folder, name, der := certificate(name))
    (folder / name).write_text(ssl.DER_cert_to_PEM_cert(der))
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(folder / name, key)
    return context
