"""Certificates for tests: self-made, for the loopback."""

from __future__ import annotations

import ipaddress
from datetime import UTC, datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID


def self_made(folder: Path, name: str = "plant", password: bytes | None = None) -> tuple[Path, Path]:
    """Certificate and key in PEM, valid for 127.0.0.1 from yesterday until tomorrow; the key open to its owner."""
    key = ec.generate_private_key(ec.SECP256R1())
    subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, name)])
    now = datetime.now(UTC)
    made = (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(days=1))
        .not_valid_after(now + timedelta(days=1))
        .add_extension(x509.SubjectAlternativeName([x509.IPAddress(ipaddress.ip_address("127.0.0.1"))]), False)
        .sign(key, hashes.SHA256())
    )
    certificate, private = folder / f"{name}.pem", folder / f"{name}.key.pem"
    certificate.write_bytes(made.public_bytes(serialization.Encoding.PEM))
    locked = serialization.BestAvailableEncryption(password) if password else serialization.NoEncryption()
    private.write_bytes(key.private_bytes(serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, locked))
    private.chmod(0o600)
    return certificate, private
