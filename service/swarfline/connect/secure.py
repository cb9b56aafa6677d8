"""Secured channels, to servers whose certificate a person has approved; and as whom we come."""

from __future__ import annotations

import asyncio
import logging
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from urllib.parse import urlsplit

from asyncua import Client, ua
from asyncua.crypto import security_policies

from swarfline import clock
from swarfline.connect.certificates import Own, defects, describe, fingerprint, folder_of, own
from swarfline.connect.pins import Pin, read
from swarfline.connect.reasons import Ended
from swarfline.plant.model import SecurityTable, Server
from swarfline.plant.secrets import NoSecret, secret

log = logging.getLogger("swarfline.connect")

_POLICIES = {
    "Basic256Sha256": security_policies.SecurityPolicyBasic256Sha256,
    "Aes128Sha256RsaOaep": security_policies.SecurityPolicyAes128Sha256RsaOaep,
    "Aes256Sha256RsaPss": security_policies.SecurityPolicyAes256Sha256RsaPss,
}


@dataclass(frozen=True, slots=True)
class Offer:
    """What a server shows at the endpoint that we want: its certificate (DER) and its application URI."""

    certificate: bytes
    uri: str | None


def now() -> datetime:
    """The present, for the validity of certificates."""
    return datetime.fromtimestamp(clock.now_us() / 1e6, UTC)


async def offered(server: Server) -> Offer:
    """Ask the server for its endpoints, and take the one with our policy and mode; raises Ended.

    What comes is not authentic: whoever is on the way could have written it. The channel shows whether the server
    holds the key of the certificate.
    """
    client = Client(server.endpoint, timeout=server.timeout_s)
    endpoints = await client.connect_and_get_server_endpoints()
    wanted = (server.security.mode, _POLICIES[server.security.policy].URI)
    for endpoint in endpoints:
        if (endpoint.SecurityMode.name, endpoint.SecurityPolicyUri) == wanted:
            uri = endpoint.Server.ApplicationUri if endpoint.Server is not None else None
            return Offer(_first(bytes(endpoint.ServerCertificate or b"")), uri)
    told = ", ".join(dict.fromkeys(_words(e.SecurityPolicyUri, e.SecurityMode.name) for e in endpoints))
    raise Ended(
        f"the server offers no endpoint with {server.security.channel}; it offers {told or 'none'}: choose one of "
        "these in [servers.security]"
    )


def _words(uri: str | None, mode: str) -> str:
    policy = str(uri).rpartition("#")[2][:40].replace("_", "")
    return policy if policy == "None" else f"{policy}, {mode}"


def _first(chain: bytes) -> bytes:
    """The first of a chain of DER certificates; its length stands in bytes 2 and 3 (ITU-T X.690, from memory)."""
    return chain[: 4 + int.from_bytes(chain[2:4], "big")] if chain[:2] == b"\x30\x82" else chain


async def secure(client: Client, server: Server, plant_path: str) -> None:
    """Make ``client`` come as the plant file says, over a channel as it says. Raises Ended.

    Certificates, pins and passwords are read anew for each session. What takes long runs beside the event loop.
    """
    table = server.security
    client.secure_channel_timeout = table.channel_lifetime_s * 1000
    await _come_as(client, table, folder_of(plant_path).parent)
    if table.policy != "None":
        folder = folder_of(plant_path)
        # first what the server offers: where that is not what is asked for, there is nothing to approve
        offer = await offered(server)
        pin = await asyncio.to_thread(read, folder, server.id)
        if pin is None:
            command = _command(server, plant_path)
            raise Ended(f"its certificate is not approved yet: see it and approve it with {command}")
        check(offer, pin, server, plant_path)
        ours = await asyncio.to_thread(_own, folder)
        client.application_uri = ours.uri
        mode = ua.MessageSecurityMode[table.mode]
        await client.set_security(_POLICIES[table.policy], ours.certificate, ours.key, None, pin.certificate, mode)


def _own(folder: Path) -> Own:
    before = (folder / "own.der").read_bytes() if (folder / "own.der").exists() else b""
    ours = own(folder, now())
    if ours.certificate.read_bytes() != before:
        log.warning(
            "our own certificate is new: %s, SHA-256 %s, until %s; machines have to trust it",
            ours.certificate, ours.described.fingerprint, f"{ours.described.end:%Y-%m-%d}",
        )  # fmt: skip
    return ours


def _command(server: Server, plant_path: str) -> str:
    return f"swarfline trust {Path(plant_path).name} {server.id}"


def check(offer: Offer, pin: Pin, server: Server, plant_path: str) -> None:
    """Raises Ended where the server shows another certificate than the approved one, or an unfit one."""
    if offer.certificate != pin.certificate:
        raise Ended(
            "the server shows another certificate than the approved one: approved SHA-256 "
            f"{fingerprint(pin.certificate)}, shown {fingerprint(offer.certificate)}; find out why before you "
            f"approve it with {_command(server, plant_path)}"
        )
    for kind, text in defects(describe(pin.certificate), now(), host_of(server), offer.uri):
        if kind not in pin.accepted:
            raise Ended(f"the server's certificate: {text} ({_command(server, plant_path)} tells more)")


def host_of(server: Server) -> str:
    """The host in a server's endpoint."""
    return urlsplit(server.endpoint).hostname or ""


async def _come_as(client: Client, table: SecurityTable, beside: Path) -> None:
    if table.user is not None:
        client.set_user(table.user)
        client.set_password(_password(table, beside))
    elif table.certificate is not None and table.key is not None:
        try:
            await client.load_client_certificate(str(beside / table.certificate))
            await client.load_private_key(beside / table.key)
        except OSError as problem:
            raise Ended(f"user certificate: {problem.filename}: {problem.strerror}") from None
        except (ValueError, TypeError):
            raise Ended(
                f"user certificate: {table.certificate} or {table.key} is no certificate or key in PEM or DER "
                "(name files by .pem or .der; a key must not be locked by a password)"
            ) from None


def _password(table: SecurityTable, beside: Path) -> str:
    try:
        return secret(table.password_env, table.password_file, beside, f"the password of user {table.user}")
    except NoSecret as problem:
        raise Ended(str(problem)) from None
