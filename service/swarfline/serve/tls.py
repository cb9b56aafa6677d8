"""Certificate and key of the pages' TLS, as the plant file's [listen] names them."""

from __future__ import annotations

import logging
import ssl
from pathlib import Path

from swarfline.plant import Plant

_log = logging.getLogger(__name__)


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


class Renewal:
    """Takes a renewed certificate while the service runs: whoever connects from then on sees it."""

    def __init__(self, plant: Plant) -> None:
        self._plant = plant
        self._seen = self._stamps()

    def look(self, context: ssl.SSLContext) -> None:
        """Take the files into ``context`` where they have changed; what cannot be used is logged once."""
        stamps = self._stamps()
        found = files(self._plant)
        if stamps == self._seen or found is None:
            return
        self._seen = stamps
        unfit = problem(self._plant)
        if unfit is not None:
            _log.error("the renewed certificate is not taken: %s", unfit)
            return
        context.load_cert_chain(*found)
        _log.info("the renewed certificate %s is in use", found[0])

    def _stamps(self) -> list[int | None]:
        return [_changed(file) for file in files(self._plant) or ()]


def _changed(file: Path) -> int | None:
    try:
        return file.stat().st_mtime_ns
    except OSError:
        return None


def _no_password() -> str:
    """Else OpenSSL would ask on the terminal."""
    raise ValueError("the key is locked by a password")
