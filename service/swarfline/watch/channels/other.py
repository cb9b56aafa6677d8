"""Any other service, by the URL that the library behind the extra ``notify`` (apprise) knows it by.

The library says yes or no, not why; its own log may hold what belongs to the URL and is kept silent.
"""

from __future__ import annotations

import logging
from pathlib import Path

from swarfline.alerts import INFORMATION, URGENT
from swarfline.messages import Message
from swarfline.plant.channels import OtherTable
from swarfline.plant.secrets import NoSecret, secret
from swarfline.watch.deliver import Later


class Other:
    """Sends messages to one service."""

    def __init__(self, table: OtherTable, beside: Path) -> None:
        self._table = table
        self._beside = beside

    def send(self, message: Message, now_us: int) -> str:
        """Send subject and text; raises Later."""
        try:
            import apprise
        except ImportError:
            raise Later(
                'the library for other services is missing; install it: pip install "swarfline[notify]"'
            ) from None
        logging.getLogger("apprise").setLevel(logging.CRITICAL + 1)
        try:
            url = secret(self._table.url_env, self._table.url_file, self._beside, "the URL of the service")
        except NoSecret as problem:
            raise Later(str(problem)) from None
        service = apprise.Apprise()
        if not service.add(url):
            raise Later("the library does not know a service by this URL; look at its documentation")
        severity = message.data.get("severity")
        kind = {URGENT: apprise.NotifyType.FAILURE, INFORMATION: apprise.NotifyType.INFO}.get(
            str(severity), apprise.NotifyType.WARNING
        )
        if not service.notify(body=_text(message), title=message.subject, notify_type=kind):
            raise Later("the service did not take it, or could not be reached; the library does not say why")
        return "sent without its attachments" if message.attachments else ""


def _text(message: Message) -> str:
    names = ", ".join(file.name for file in message.attachments)
    return f"{message.text}\n(not sent along: {names})" if names else message.text
