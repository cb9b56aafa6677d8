"""Mail by SMTP (RFC 5321): one message to all recipients of a channel, marked as generated (RFC 3834)."""

from __future__ import annotations

import email.policy
import email.utils
import hashlib
import re
import smtplib
import socket
import ssl
from collections.abc import Sequence
from dataclasses import replace
from email.message import EmailMessage
from pathlib import Path
from typing import Any

from swarfline.calendar import from_us
from swarfline.messages import Message
from swarfline.plant.channels import MailTable
from swarfline.plant.secrets import NoSecret, secret
from swarfline.watch.channels.deadline import Deadline, describe, trust
from swarfline.watch.deliver import Later, Refused

_CONTROLS = re.compile(r"[\x00-\x1f\x7f-\x9f\u2028\u2029\ud800-\udfff]+")
_MEDIA_TYPE = re.compile(r"[a-z0-9!#$&^_.+-]+/[a-z0-9!#$&^_.+-]+")
_FINAL = range(500, 600)


class Mail:
    """Sends messages to the recipients of one channel."""

    def __init__(self, table: MailTable, beside: Path, timeout_s: float) -> None:
        self._table = table
        self._beside = beside
        self._timeout_s = timeout_s

    def send(self, message: Message, now_us: int) -> str:
        """Hand a mail to the mail server; raises Later or Refused.

        Returns who was refused for good, while others got it.
        """
        table, where = self._table, f"mail server {self._table.host}"
        written = mail_of(message, table.sender, table.recipients).as_bytes(policy=email.policy.SMTP)
        with Deadline(self._timeout_s) as deadline:
            try:
                return self._deliver(written, where, deadline)
            except (OSError, smtplib.SMTPException, ValueError) as problem:
                raise self._outcome(problem, where, deadline) from None
            except NoSecret as problem:
                raise Later(str(problem)) from None

    def _outcome(self, problem: Exception, where: str, deadline: Deadline) -> Exception:
        if deadline.passed:
            # the connection was cut, and what had come of an answer looks whole
            return deadline.failed(where, problem)
        if isinstance(problem, smtplib.SMTPAuthenticationError):
            return Later(f"{where} does not let user {self._table.user} in: {_said(problem)}")
        if isinstance(problem, smtplib.SMTPResponseException):
            return _refusal(f"{where} answers {problem.smtp_code}: {_said(problem)}", problem.smtp_code)
        if isinstance(problem, smtplib.SMTPNotSupportedError):
            return Later(f"{where} {self._lacking(problem)}")
        return deadline.failed(where, problem)

    def _lacking(self, problem: smtplib.SMTPNotSupportedError) -> str:
        """What the server does not offer, and what to choose instead."""
        if "STARTTLS" in str(problem):
            return (
                'offers no STARTTLS; set encryption = "tls" if it speaks TLS from the first byte, or '
                'encryption = "none" if the network to it is trusted'
            )
        if self._table.user is None:
            return f"lacks what is needed: {describe(problem).rstrip('.')}"
        if self._table.encryption == "none":
            return 'lets nobody sign in without encryption; set encryption = "starttls" or "tls"'
        return f"lets nobody sign in; leave out the user {self._table.user} and the password"

    def _deliver(self, written: bytes, where: str, deadline: Deadline) -> str:
        table = self._table
        client = self._client(deadline)
        try:
            if table.encryption == "starttls":
                client.starttls(context=trust(table.ca_file, self._beside))
                assert client.sock is not None
                deadline.watch(client.sock)
            if table.user is not None:
                what = f"the password of mail user {table.user}"
                client.login(table.user, secret(table.password_env, table.password_file, self._beside, what))
            remark = self._envelope(client, where)
            code, said = client.data(written)
            if code != 250:
                raise smtplib.SMTPResponseException(code, said)
            return remark
        finally:
            client.close()

    def _client(self, deadline: Deadline) -> smtplib.SMTP:
        if self._table.encryption != "tls":
            return _Plain(deadline, self._table, self._timeout_s)
        return _Tls(deadline, self._table, self._timeout_s, trust(self._table.ca_file, self._beside))

    def _envelope(self, client: smtplib.SMTP, where: str) -> str:
        """Sender and recipients; all of them are asked for before anything is sent, so that none gets it twice."""
        client.ehlo_or_helo_if_needed()
        code, said = client.mail(self._table.sender)
        if code != 250:
            raise smtplib.SMTPResponseException(code, said)
        answers = [(recipient, *client.rcpt(recipient)) for recipient in self._table.recipients]
        refused = [(recipient, code, _text(said)) for recipient, code, said in answers if code not in (250, 251)]
        told = "; ".join(f"{recipient}: {code} {said}" for recipient, code, said in refused)
        for_now = [code for _, code, _ in refused if code not in _FINAL]
        if for_now or len(refused) == len(answers):
            raise _refusal(f"{where} refuses {told}", for_now[0] if for_now else 550)
        return f"{where} refuses {told}; the others got it" if refused else ""


class _Plain(smtplib.SMTP):
    """Shows its connection to a deadline before the first word of the server."""

    def __init__(self, deadline: Deadline, table: MailTable, timeout_s: float) -> None:
        self._deadline = deadline
        super().__init__(table.host, table.at_port, timeout=timeout_s)

    def _get_socket(self, host: str, port: int, timeout: float) -> socket.socket:
        made = socket.create_connection((host, port), timeout)
        self._deadline.watch(made)
        return made


class _Tls(smtplib.SMTP_SSL):
    """The same over TLS from the first byte."""

    def __init__(self, deadline: Deadline, table: MailTable, timeout_s: float, context: ssl.SSLContext) -> None:
        self._deadline = deadline
        super().__init__(table.host, table.at_port, timeout=timeout_s, context=context)

    def _get_socket(self, host: str, port: int, timeout: float) -> ssl.SSLSocket:
        plain = socket.create_connection((host, port), timeout)
        self._deadline.watch(plain)
        made = self.context.wrap_socket(plain, server_hostname=host)
        self._deadline.watch(made)
        return made


def _refusal(problem: str, code: int) -> Exception:
    """By the first digit of a reply (RFC 5321, section 4.2.1): 5 is for good."""
    return Refused(problem) if code in _FINAL else Later(problem)


def _said(problem: smtplib.SMTPResponseException) -> str:
    return _text(problem.smtp_error)


def _text(said: Any) -> str:
    text = said.decode("utf-8", "replace") if isinstance(said, bytes) else str(said)
    return " ".join(_CONTROLS.sub(" ", text).split())[:200]


def mail_of(message: Message, sender: str, recipients: Sequence[str]) -> EmailMessage:
    """The mail of a message: the same at every attempt, by its Message-ID too (RFC 5322, section 3.6.4)."""
    mail = EmailMessage()
    mail["From"] = sender
    mail["To"] = ", ".join(recipients)
    mail["Subject"] = _CONTROLS.sub(" ", message.subject)
    mail["Date"] = email.utils.format_datetime(from_us(message.created_us).replace(microsecond=0))
    mail["Message-ID"] = message_id(message, sender)
    story = message.data.get("story")
    if isinstance(story, str) and story != message.key:
        # beside the mail that told first of the same alert (RFC 5322, section 3.6.4)
        mail["In-Reply-To"] = mail["References"] = message_id(replace(message, key=story), sender)
    mail["Auto-Submitted"] = "auto-generated"
    mail.set_content(_printable(message.text))
    if message.html is not None:
        mail.add_alternative(_printable(message.html), subtype="html")
    for file in message.attachments:
        kind = file.media_type if _MEDIA_TYPE.fullmatch(file.media_type) else "application/octet-stream"
        main, _, sub = kind.partition("/")
        mail.add_attachment(file.content, main, sub, filename=_CONTROLS.sub(" ", file.name))
    return mail


def message_id(message: Message, sender: str) -> str:
    """Unique and always the same for a message."""
    digest = hashlib.sha256(f"{message.channel}\n{message.key}".encode()).hexdigest()[:32]
    return f"<{digest}@{sender.rpartition('@')[2]}>"


def _printable(text: str) -> str:
    return text.encode("utf-8", "replace").decode("utf-8")
