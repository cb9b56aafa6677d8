"""Checks of [[channels]]: what belongs together, what is named, and secrets that others could read."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

from swarfline.plant.alerts import RuleTable
from swarfline.plant.channels import ChannelTable, MailTable, OtherTable, WebhookTable
from swarfline.plant.secrets import password_errors
from swarfline.plant.wording import unknown

if TYPE_CHECKING:
    from swarfline.plant.model import Plant

LOOPBACK = ("localhost", "127.0.0.1", "::1")


def channel_errors(plant: Plant) -> Iterator[str]:
    """One line per error."""
    for twice, count in Counter(c.id for c in plant.channels).items():
        if count > 1:
            yield f"[[channels]] {twice!r}: key 'id': used by two channels"
    for channel in plant.channels:
        for found in (*_means(channel), *_names(plant, channel), *_times(channel)):
            yield f"[[channels]] {channel.id!r}: {found}"
    yield from _reports(plant)


def _reports(plant: Plant) -> Iterator[str]:
    mails = [c.id for c in plant.channels if c.mail is not None]
    for report in plant.reports:
        if report.channel not in mails:
            yield f"[[reports]] {report.id!r}: key 'channel': {unknown('mail channel', report.channel, mails)}"


def _means(channel: ChannelTable) -> Iterator[str]:
    if len(channel.kinds) != 1:
        there = ", ".join(f"[channels.{kind}]" for kind in channel.kinds) or "none of them"
        yield f"needs one of [channels.webhook], [channels.mail] and [channels.other]; it has {there}"
    if channel.webhook is not None:
        yield from (f"[channels.webhook]: {found}" for found in _webhook(channel.webhook))
    if channel.mail is not None:
        yield from (f"[channels.mail]: {found}" for found in _mail(channel.mail))
    if channel.other is not None:
        yield from (f"[channels.other]: {found}" for found in _other(channel.other))


def _webhook(table: WebhookTable) -> Iterator[str]:
    yield from _one_of(table, "url", "url_env")
    if table.secret_env is not None and table.secret_file is not None:
        yield "keys 'secret_env' and 'secret_file': give one of them"
    problem = None if table.url is None else url_problem(table.url)
    if problem is not None:
        # the text may hold a password, so it is not repeated
        yield f"key 'url': {problem}"


def url_problem(url: str) -> str | None:
    """What is wrong with an address that messages are to be sent to; None: nothing."""
    try:
        parts = urlsplit(url)
        port_is_good = parts.port is None or parts.port > 0
    except ValueError:
        port_is_good, parts = False, urlsplit("")
    if parts.scheme not in ("http", "https") or not parts.hostname or not port_is_good:
        return "must be written https://host/path or http://host:port/path"
    if not url.isascii() or any(sign <= " " for sign in url):
        return "must be ASCII without spaces; write other signs as %XX"
    if parts.username is not None or parts.password is not None:
        return "holds a user name or password; put the whole address into a variable and name it by 'url_env'"
    return "must not end in a fragment ('#…'), which is never sent" if parts.fragment else None


def _mail(table: MailTable) -> Iterator[str]:
    yield from password_errors(table)
    if table.user is not None and table.encryption == "none" and table.host not in LOOPBACK:
        yield "key 'user': its password could be read on the network; choose an 'encryption' other than \"none\""
    if table.ca_file is not None and table.encryption == "none":
        yield "key 'ca_file': is of no use without 'encryption'"


def _other(table: OtherTable) -> Iterator[str]:
    yield from _one_of(table, "url_env", "url_file")


def _one_of(table: WebhookTable | OtherTable, first: str, second: str) -> Iterator[str]:
    given = [key for key in (first, second) if getattr(table, key) is not None]
    if len(given) != 1:
        yield f"keys {first!r} and {second!r}: give one of them" + ("" if given else "; neither is there")


def _names(plant: Plant, channel: ChannelTable) -> Iterator[str]:
    machines, cells = [m.id for m in plant.machines], [c.id for c in plant.cells]
    rules = [table.rule for table in RuleTable.__subclasses__()]
    others = [c.id for c in plant.channels if c.id != channel.id]
    for key, what, names, known in (
        ("rules", "rule", channel.rules, rules),
        ("machines", "machine", channel.machines, machines),
        ("cells", "cell", channel.cells, cells),
        ("escalate_to", "other channel", (channel.escalate_to,), others),
    ):
        for name in names:
            if name is not None and name not in known:
                yield f"key {key!r}: {unknown(what, name, known)}"


def _times(channel: ChannelTable) -> Iterator[str]:
    if channel.collect_min is not None and channel.daily_at is not None:
        yield "keys 'collect_min' and 'daily_at': give one of them"
