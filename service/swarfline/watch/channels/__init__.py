"""The kinds of channel; each is one file that sends one message or raises.

``send`` raises Later or Refused of ``deliver``, and nothing else for what a receiver or a network does; what it
returns is a remark to be kept, empty in most cases. No error names a secret.
"""

from __future__ import annotations

from pathlib import Path
from typing import Protocol

from swarfline.messages import Message
from swarfline.plant.channels import ChannelTable
from swarfline.watch.channels import mail, other, webhook


class Channel(Protocol):
    """Where messages are sent."""

    def send(self, message: Message, now_us: int) -> str:
        """Send a message, once; raises Later or Refused."""


def channel_of(table: ChannelTable, beside: Path) -> Channel:
    """The channel of a checked table; files that it names lie ``beside`` the plant file."""
    if table.webhook is not None:
        return webhook.Webhook(table.webhook, beside, table.timeout_s)
    if table.mail is not None:
        return mail.Mail(table.mail, beside, table.timeout_s)
    assert table.other is not None
    return other.Other(table.other, beside)
