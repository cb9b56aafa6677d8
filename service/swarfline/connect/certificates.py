"""Certificates: what one says, what is wrong with one, and our own with its key on disk.

All files lie in a folder that only its owner can enter (``private``).
"""

from __future__ import annotations

import secrets
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from ipaddress import ip_address
from pathlib import Path

from cryptography import x509
from cryptography.exceptions import UnsupportedAlgorithm
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import rsa
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from swarfline.connect.inspection import legible
from swarfline.connect.private import FOLDER, alone, secret, write
from swarfline.connect.reasons import Ended

LIFE = timedelta(days=5 * 365)
RENEWED_BEFORE = timedelta(days=30)
KEY_BITS = 2048
"""Least length of RSA keys under the three policies (OPC 10000-7, from memory)."""
_WEAK_HASHES = ("md5", "sha1")
_SHOWN = 200


def folder_of(plant_path: str) -> Path:
    """Where the certificates of a plant lie: beside its file."""
    return Path(plant_path).resolve().parent / FOLDER


def fingerprint(der: bytes) -> str:
    """SHA-256 of a certificate, in hexadecimal digits."""
    digest = hashes.Hash(hashes.SHA256())
    digest.update(der)
    return digest.finalize().hex()


@dataclass(frozen=True, slots=True)
class Described:
    """What a certificate says of itself; texts are cut and printable."""

    subject: str
    uris: tuple[str, ...]
    hosts: tuple[str, ...]
    begin: datetime
    end: datetime
    key_bits: int | None
    """None: no RSA key."""
    hash_name: str
    fingerprint: str


def describe(der: bytes) -> Described:
    """Raises Ended for what is no certificate."""
    try:
        found = x509.load_der_x509_certificate(der)
        key = found.public_key()
        uris, hosts = _names(found)
        algorithm = found.signature_hash_algorithm
    except (ValueError, TypeError, x509.DuplicateExtension):
        raise Ended("the server's certificate cannot be read; the server needs another one") from None
    return Described(
        subject=_printable(found.subject.rfc4514_string()),
        uris=uris,
        hosts=hosts,
        begin=found.not_valid_before_utc,
        end=found.not_valid_after_utc,
        key_bits=key.key_size if isinstance(key, rsa.RSAPublicKey) else None,
        hash_name="unknown" if algorithm is None else algorithm.name,
        fingerprint=fingerprint(der),
    )


def _names(found: x509.Certificate) -> tuple[tuple[str, ...], tuple[str, ...]]:
    try:
        other = found.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    except x509.ExtensionNotFound:
        return (), ()
    uris = other.get_values_for_type(x509.UniformResourceIdentifier)
    addresses = [str(address) for address in other.get_values_for_type(x509.IPAddress)]
    hosts = [*other.get_values_for_type(x509.DNSName), *addresses]
    return tuple(map(_printable, uris)), tuple(map(_printable, hosts))


def _printable(text: str) -> str:
    return legible(text, _SHOWN)


def defects(seen: Described, now: datetime, host: str, uri: str | None) -> Iterator[tuple[str, str]]:
    """(kind, text) of what is wrong with a server's certificate that was reached at ``host``.

    ``uri`` is the application URI that the server gives itself, None where it is not known. Kinds: ``key``,
    ``signature`` (never to be accepted), ``time``, ``host``, ``uri`` (a person may accept them).
    """
    if seen.key_bits is None or seen.key_bits < KEY_BITS:
        bits = "no RSA key" if seen.key_bits is None else f"an RSA key of {seen.key_bits} bits"
        yield "key", f"its key is weak: {bits}; the server needs a certificate with {KEY_BITS} bits or more"
    if seen.hash_name in _WEAK_HASHES:
        yield (
            "signature",
            f"it is signed by way of {seen.hash_name}, which can be forged; a new one is needed",
        )
    if now < seen.begin:
        yield "time", f"it is not valid before {seen.begin:%Y-%m-%d %H:%M} UTC: is our clock right?"
    if now > seen.end:
        yield "time", f"it ended at {seen.end:%Y-%m-%d %H:%M} UTC; the server needs a new one"
    if not any(_same_host(host, named) for named in seen.hosts):
        named_hosts = ", ".join(seen.hosts) or "no host"
        yield "host", f"it is made out for {named_hosts}, not for {host}"
    if uri is not None and uri not in seen.uris:
        uris = ", ".join(seen.uris) or "no application"
        yield "uri", f"it is made out for {uris}, but the server calls itself {_printable(uri)}"


def _same_host(host: str, named: str) -> bool:
    try:
        return ip_address(host) == ip_address(named)
    except ValueError:
        return host.lower().rstrip(".") == named.lower().rstrip(".")


@dataclass(frozen=True, slots=True)
class Own:
    """Our certificate: files (DER, PEM), the application URI in it, and what it says."""

    certificate: Path
    key: Path
    uri: str
    described: Described


def own(folder: Path, now: datetime) -> Own:
    """Our certificate; made where there is none, made anew with the same URI shortly before its end.

    Takes a moment of full work when it makes one. Whoever asks at the same time, thread or process, gets the same:
    machines are to trust one. Raises Ended if the files cannot be used.
    """
    with alone(folder):
        return _own(folder, now)


def _own(folder: Path, now: datetime) -> Own:
    certificate, key = folder / "own.der", folder / "own.key.pem"
    if certificate.exists() != key.exists():
        missing = key if certificate.exists() else certificate
        raise Ended(f"{missing} is missing, which belongs to our own certificate: put it back, or remove both")
    if not certificate.exists():
        _make(certificate, key, f"urn:swarfline:{secrets.token_hex(8)}", now)
    found = _read(certificate, key)
    if found.described.end - now < RENEWED_BEFORE:
        write(folder / f"own-until-{found.described.end:%Y-%m-%d}.der", certificate.read_bytes())
        _make(certificate, key, found.uri, now)
        found = _read(certificate, key)
    return found


def _read(certificate: Path, key: Path) -> Own:
    try:
        described = describe(certificate.read_bytes())
    except Ended:
        raise Ended(f"{certificate} is no certificate; remove it and {key}, and new ones are made") from None
    if not described.uris:
        raise Ended(f"{certificate} names no application URI; remove it and {key}, and new ones are made")
    secret(key)
    if _public_of(key) != x509.load_der_x509_certificate(certificate.read_bytes()).public_key():
        raise Ended(f"{key} does not belong to {certificate}: put the right one back, or remove both")
    return Own(certificate, key, described.uris[0], described)


def _public_of(key: Path) -> object:
    try:
        return serialization.load_pem_private_key(key.read_bytes(), None).public_key()
    except (ValueError, TypeError, UnsupportedAlgorithm):
        raise Ended(f"{key} is no key; put the right one back, or remove it and our own certificate") from None


def _make(certificate: Path, key: Path, uri: str, now: datetime) -> None:
    private = rsa.generate_private_key(public_exponent=65537, key_size=KEY_BITS)
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "Swarfline")])
    # what the certificate of an application has to hold: OPC 10000-6 (from memory)
    usage = x509.KeyUsage(
        digital_signature=True, content_commitment=True, key_encipherment=True, data_encipherment=True,
        key_agreement=False, key_cert_sign=True, crl_sign=False, encipher_only=False, decipher_only=False,
    )  # fmt: skip
    made = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(private.public_key())
        .serial_number(x509.random_serial_number())
        # a server whose clock is behind must not find it not yet valid
        .not_valid_before(now - timedelta(days=1))
        .not_valid_after(now + LIFE)
        .add_extension(x509.SubjectAlternativeName([x509.UniformResourceIdentifier(uri)]), False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), True)
        .add_extension(usage, True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.CLIENT_AUTH]), False)
        .sign(private, hashes.SHA256())
    )
    pem = private.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
    write(key, pem)
    write(certificate, made.public_bytes(serialization.Encoding.DER))
