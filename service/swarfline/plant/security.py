"""Checks of [servers.security]: what belongs together, and passwords that others could read."""

from __future__ import annotations

from collections.abc import Iterator

from swarfline.plant.model import Plant, SecurityTable
from swarfline.plant.secrets import password_errors


def security_errors(plant: Plant) -> Iterator[str]:
    """One line per error."""
    for server in plant.servers:
        for found in _errors(server.security):
            yield f"[[servers]] {server.id!r}: [servers.security]: {found}"


def _errors(table: SecurityTable) -> Iterator[str]:
    yield from password_errors(table)
    if (table.certificate is None) != (table.key is None):
        there, missing = ("certificate", "key") if table.key is None else ("key", "certificate")
        yield f"key {there!r}: is of no use without {missing!r}"
    if table.user is not None and table.certificate is not None:
        yield "keys 'user' and 'certificate': we can come as one of them only"
    if table.certificate is not None and table.policy == "None":
        yield "key 'certificate': needs a 'policy' other than \"None\""
    encrypted = table.policy != "None" and table.mode == "SignAndEncrypt"
    if table.user is not None and not encrypted and not table.password_in_clear:
        yield (
            "key 'user': its password could be read on the network; choose a 'policy' other than \"None\" with "
            'mode "SignAndEncrypt", or write password_in_clear = true if the server offers nothing better'
        )
