"""[[channels]]: where alerts and reports are sent, which ones, and when. Secrets stand elsewhere."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, StringConstraints

from swarfline.plant.base import Id, Table, Text
from swarfline.plant.times import DAYS, WallTime, Weekday

MAIL_PATTERN = r"^[A-Za-z0-9.!#$%&'*+/=?^_`{|}~-]+@[A-Za-z0-9]([A-Za-z0-9.-]*[A-Za-z0-9])?$"
HOST_PATTERN = r"^[A-Za-z0-9]([A-Za-z0-9.:-]*[A-Za-z0-9])?$"
VARIABLE_PATTERN = r"^[A-Za-z_][A-Za-z0-9_]*$"

Variable = Annotated[str, StringConstraints(pattern=VARIABLE_PATTERN)]
MailAddress = Annotated[str, StringConstraints(pattern=MAIL_PATTERN, max_length=200)]
Severity = Literal["information", "warning", "urgent"]
SEVERITIES: tuple[Severity, ...] = ("information", "warning", "urgent")

PORTS = {"starttls": 587, "tls": 465, "none": 25}
"""Registered ports for handing in mail: RFC 6409, RFC 8314, RFC 5321."""


class WebhookTable(Table):
    """[channels.webhook]: an HTTP POST with a JSON body."""

    url: Text | None = Field(default=None, description="http or https address that takes the POST")
    url_env: Variable | None = Field(default=None, description="environment variable that holds the address")
    secret_env: Variable | None = Field(default=None, description="environment variable with the signing secret")
    secret_file: Text | None = Field(default=None, description="file whose first line is the signing secret")
    ca_file: Text | None = Field(default=None, description="certificates (PEM) to trust in place of the system's")


class MailTable(Table):
    """[channels.mail]: mail by SMTP."""

    host: Annotated[str, StringConstraints(pattern=HOST_PATTERN)] = Field(description="name of the mail server")
    port: int | None = Field(default=None, ge=1, le=65535, description="by default the one of the encryption")
    encryption: Literal["starttls", "tls", "none"] = Field(default="starttls", description="of the connection")
    user: Text | None = Field(default=None, description="user name at the mail server")
    password_env: Variable | None = Field(default=None, description="environment variable with the password")
    password_file: Text | None = Field(default=None, description="file whose first line is the password")
    ca_file: Text | None = Field(default=None, description="certificates (PEM) to trust in place of the system's")
    sender: MailAddress = Field(description="address that the mails come from")
    recipients: tuple[MailAddress, ...] = Field(min_length=1, description="addresses that the mails go to")

    @property
    def at_port(self) -> int:
        """Where the server listens."""
        return PORTS[self.encryption] if self.port is None else self.port


class OtherTable(Table):
    """[channels.other]: any service that the library behind the extra `notify` knows, by its URL."""

    url_env: Variable | None = Field(default=None, description="environment variable that holds the service's URL")
    url_file: Text | None = Field(default=None, description="file whose first line is the service's URL")


class QuietTable(Table):
    """[channels.quiet]: hours in which a channel is silent; what comes then is told at their end."""

    start: WallTime
    end: WallTime = Field(description="at or before start: on the next day")
    days: tuple[Weekday, ...] = Field(default=DAYS, min_length=1, description="days on which they begin")


class ChannelTable(Table):
    """[[channels]]"""

    id: Id
    webhook: WebhookTable | None = None
    mail: MailTable | None = None
    other: OtherTable | None = None
    alerts: bool = Field(default=True, description="false: only what escalates to it, reports and tests")
    severities: tuple[Severity, ...] = Field(default=SEVERITIES, min_length=1, description="of the alerts told")
    rules: tuple[Text, ...] = Field(default=(), description="rules whose alerts are told; empty: every rule")
    machines: tuple[Id, ...] = Field(default=(), description="with cells empty too: every machine")
    cells: tuple[Id, ...] = ()
    tell_cleared: bool = Field(default=True, description="also tell when an alert is over")
    quiet: QuietTable | None = None
    collect_min: float | None = Field(
        default=None, ge=1, le=1440, description="collect alerts for so many minutes into one message"
    )
    daily_at: WallTime | None = Field(default=None, description="collect alerts into one message a day, sent then")
    urgent_at_once: bool = Field(
        default=True, description="urgent alerts wait neither for quiet hours nor for a collection"
    )
    escalate_to: Id | None = Field(default=None, description="channel that is told what nobody acknowledges")
    escalate_after_min: float = Field(default=15, ge=1, le=10_080, description="minutes before it is told")
    most_at_once: int = Field(
        default=10, ge=1, le=1000, description="single messages in 10 minutes; beyond them they are joined"
    )
    language: Literal["en", "de"] = Field(default="en", description="of what is told of alerts, and of tests")
    timeout_s: float = Field(default=10, ge=0.2, le=60, description="longest time of one attempt")
    give_up_after_h: float = Field(default=48, ge=0.01, le=720, description="age at which attempts end")

    @property
    def kinds(self) -> tuple[str, ...]:
        """By what it sends; exactly one in a checked file."""
        return tuple(kind for kind in ("webhook", "mail", "other") if getattr(self, kind) is not None)
