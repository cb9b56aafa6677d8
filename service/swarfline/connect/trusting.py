"""A person looks at the certificate of a server, and approves it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from swarfline.connect import pins
from swarfline.connect.certificates import Described, Own, defects, describe, fingerprint, folder_of, own
from swarfline.connect.client import attempt_s
from swarfline.connect.reasons import Ended, plain
from swarfline.connect.secure import host_of, now, offered
from swarfline.connect.tasks import within
from swarfline.plant.model import Server

NEVER_ACCEPTED = ("key", "signature")


class Refused(Exception):
    """The certificate cannot be had, or must not be approved; the text says why and what to do."""


@dataclass(frozen=True, slots=True)
class Seen:
    """What a server shows: its certificate (DER), described, its defects by kind, and what was approved before."""

    server: str
    certificate: bytes
    described: Described
    defects: tuple[tuple[str, str], ...]
    before: str | None
    """Fingerprint of another certificate that was approved."""
    is_approved: bool


async def look(server: Server, plant_path: str) -> Seen:
    """The certificate that the server shows now; raises Refused."""
    if server.security.policy == "None":
        raise Refused(
            "the plant file asks for no security there: set 'policy' in [servers.security] first (swarfline check "
            "--online shows what the server offers)"
        )
    try:
        async with within(attempt_s(server)):
            offer = await offered(server)
        described = describe(offer.certificate)
        pin = pins.read(folder_of(plant_path), server.id)
    except Exception as problem:
        raise Refused(plain(problem, server.timeout_s)) from None
    same = pin is not None and pin.certificate == offer.certificate
    before = fingerprint(pin.certificate) if pin is not None and not same else None
    found = tuple(defects(described, now(), host_of(server), offer.uri))
    return Seen(server.id, offer.certificate, described, found, before, same)


def approve(seen: Seen, plant_path: str, accepted: Sequence[str], expected: str | None = None) -> Path:
    """Keep it as the approved one; where it is kept. ``expected``: its fingerprint as known from elsewhere.

    Raises Refused where it is another one, or has defects that were not ``accepted`` or never can be.
    """
    if expected is not None and expected.replace(":", "").replace(" ", "").lower() != seen.described.fingerprint:
        raise Refused(f"the SHA-256 is {seen.described.fingerprint}, not the one given; nothing was changed")
    for kind, text in seen.defects:
        if kind in NEVER_ACCEPTED:
            raise Refused(f"{text}; nothing was changed")
        if kind not in accepted:
            raise Refused(f"{text}; if it is to be used all the same, add --accept {kind}; nothing was changed")
    kinds = tuple(kind for kind in dict.fromkeys(accepted) if kind in {found for found, _ in seen.defects})
    try:
        return pins.keep(folder_of(plant_path), seen.server, pins.Pin(seen.certificate, kinds))
    except Ended as problem:
        raise Refused(str(problem)) from None


def approved(server: Server, plant_path: str) -> str | None:
    """Fingerprint of the approved certificate of a server; raises Refused where it cannot be read."""
    try:
        pin = pins.read(folder_of(plant_path), server.id)
    except Ended as problem:
        raise Refused(str(problem)) from None
    return None if pin is None else fingerprint(pin.certificate)


def forget(server: Server, plant_path: str) -> bool:
    """Approve a server no longer; False where it was not."""
    return pins.forget(folder_of(plant_path), server.id)


def our_own(plant_path: str) -> Own:
    """Our certificate, made where there is none; raises Refused."""
    try:
        return own(folder_of(plant_path), now())
    except Ended as problem:
        raise Refused(str(problem)) from None
