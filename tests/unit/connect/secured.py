"""A secured OPC UA server, and certificates made for tests."""

from __future__ import annotations

import logging
from datetime import UTC, datetime, timedelta
from functools import cache
from ipaddress import ip_address
from pathlib import Path
from typing import Any

from asyncua import Server, ua
from asyncua.crypto.permission_rules import User, UserRole
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import rsa
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

URI = "urn:test:line"
NOW = datetime.now(UTC)
USER, PASSWORD = "monitor", "Ganz-geheim-4711"


@cache
def key_of(which: str, bits: int) -> rsa.RSAPrivateKey:
    """A key, made once per name."""
    return rsa.generate_private_key(public_exponent=65537, key_size=bits)


def certificate(
    which: str = "server",
    *,
    uri: str = URI,
    host: str = "127.0.0.1",
    begin: datetime = NOW - timedelta(days=1),
    end: datetime = NOW + timedelta(days=30),
    bits: int = 2048,
) -> bytes:
    """A certificate signed by itself, as DER."""
    key = key_of(which, bits)
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, which)])
    try:
        where: x509.GeneralName = x509.IPAddress(ip_address(host))
    except ValueError:
        where = x509.DNSName(host)
    purposes = [ExtendedKeyUsageOID.SERVER_AUTH, ExtendedKeyUsageOID.CLIENT_AUTH]
    usage = x509.KeyUsage(True, True, True, True, False, True, False, False, False)
    made = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(begin)
        .not_valid_after(end)
        .add_extension(x509.SubjectAlternativeName([x509.UniformResourceIdentifier(uri), where]), False)
        .add_extension(usage, True)
        .add_extension(x509.ExtendedKeyUsage(purposes), False)
        .sign(key, hashes.SHA256())
    )
    return made.public_bytes(serialization.Encoding.DER)


def write_pair(folder: Path, which: str, der: bytes) -> tuple[Path, Path]:
    """Certificate (DER) and key (PEM) as files."""
    paths = folder / f"{which}.der", folder / f"{which}.pem"
    paths[0].write_bytes(der)
    paths[1].write_bytes(
        key_of(which, 2048).private_bytes(
            serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
        )
    )
    return paths


class OneUser:
    """Lets in one user by name and password or by certificate, nobody else."""

    def __init__(self, user_certificate: bytes | None = None) -> None:
        self._certificate = user_certificate

    def get_user(
        self, iserver: Any, username: Any = None, password: Any = None, certificate: Any = None
    ) -> User | None:
        if self._certificate is not None and certificate == self._certificate:
            return User(role=UserRole.User)
        return User(role=UserRole.User) if (username, password) == (USER, PASSWORD) else None


class Secured:
    """A server with a counter; every policy and mode but None unless told otherwise."""

    def __init__(
        self, port: int, folder: Path, der: bytes, which: str = "server", user_manager: Any = None
    ) -> None:
        self.url = f"opc.tcp://127.0.0.1:{port}/line"
        self._files = write_pair(folder, which, der)
        self.server = Server(user_manager=user_manager)
        self._user_manager = user_manager

    async def __aenter__(self) -> Secured:
        logging.getLogger("asyncua").setLevel(logging.CRITICAL)
        await self.server.init()
        await self.server.set_application_uri(URI)
        self.server.set_endpoint(self.url)
        self.server.set_security_policy(
            [
                getattr(ua.SecurityPolicyType, f"{policy}_{mode}")
                for policy in ("Basic256Sha256", "Aes128Sha256RsaOaep", "Aes256Sha256RsaPss")
                for mode in ("Sign", "SignAndEncrypt")
            ]
        )
        if self._user_manager is not None:
            self.server.set_identity_tokens([ua.UserNameIdentityToken, ua.X509IdentityToken])
        await self.server.load_certificate(str(self._files[0]))
        await self.server.load_private_key(str(self._files[1]))
        index = await self.server.register_namespace(URI)
        place = await self.server.nodes.objects.add_object(index, "N1")
        self.state = await place.add_variable(index, "State", 3)
        self.count = await place.add_variable(index, "Count", 0, ua.VariantType.UInt32)
        await self.server.start()
        return self

    async def __aexit__(self, *_: object) -> None:
        await self.server.stop()


def plant_table(url: str, **security: Any) -> dict[str, Any]:
    """The raw plant file for it."""
    return {
        "plant": {"name": "Works", "time_zone": "UTC"},
        "namespaces": {"line": URI},
        "servers": [
            {
                "id": "line",
                "endpoint": url,
                "publishing_ms": 50,
                "timeout_s": 1.5,
                "sampling_ms": 20,
                "security": security,
                "machines": [
                    {
                        "id": "N1",
                        "root": "line:N1",
                        "signals": {
                            "state": {"node": "line:State", "values": {"3": "executing"}},
                            "part_count": "line:Count",
                        },
                    }
                ],
            }
        ],
    }
