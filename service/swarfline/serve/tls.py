"""Certificate and key of the pages' TLS, as the plant file's [listen] names them."""

from __future__ import annotations

import ssl
from pathlib import Path

from swarfline.plant import Plant


def files(plant: Plant) -> tuple[Path, Path] | None:
    """Certificate and key, relative ones beside the plant file; None where TLS is not asked for."""
    listen = plant.listen
    if listen.certificate is None or listen.key is None:
        return None
    beside = Path(plant.path).parent
    return beside / listen.certificate, beside / listen.key


def problem(plant: Plant) -> str | None:
    """Why certificate and key cannot be used, with what to do; None: they can, or none are named."""
    found = files(plant)
    if found is None:
        return None
    certificate, key = found
    for name, file in (("certificate", certificate), ("key", key)):
        try:
            with file.open("rb"):
                pass
        except OSError as trouble:
            return f"[listen]: key {name!r}: {file} cannot be read: {trouble.strerror}"
    if key.stat().st_mode & 0o007:
        return f"[listen]: key 'key': {key} is open to every user of this computer; take that away: chmod o= {key}"
    try:
        ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER).load_cert_chain(certificate, key, password=_no_password)
    except (ssl.SSLError, ValueError) as trouble:
        reason = getattr(trouble, "reason", None) or str(trouble)
        return (
            f"[listen]: keys 'certificate' and 'key': {certificate} and {key} are no certificate and its key "
            f"without a password, in PEM ({reason})"
        )
    return None


def _no_password() -> str:
    """Else OpenSSL would ask on the terminal."""
    raise ValueError("the key is locked by a password")
