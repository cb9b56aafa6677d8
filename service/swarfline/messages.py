"""The messages: what is to be told to somebody outside, and how its delivery stands. Standard library only.

A message is for one channel of the plant file. Its ``key`` says what it is about: the same one is never queued
twice for a channel, and every attempt to deliver it carries it, so that a receiver can tell a repetition.
"""

from __future__ import annotations

from dataclasses import dataclass, field

ALERT, REPORT, TEST, JOINED = "alert", "report", "test", "joined"
KINDS = (ALERT, REPORT, TEST, JOINED)
"""What messages are about; JOINED: several messages about alerts in one."""

WAITING, SENT, REFUSED, GIVEN_UP, IN_ANOTHER = "waiting", "sent", "refused", "given_up", "in_another"
STATES = (WAITING, SENT, REFUSED, GIVEN_UP, IN_ANOTHER)
"""How a delivery stands: refused by the receiver for good; given up for its age; sent as a part of another."""

LONGEST_KEY, LONGEST_SUBJECT, LONGEST_TEXT = 80, 200, 20_000
"""Characters; more of a subject or text is cut off."""


@dataclass(frozen=True, slots=True)
class Attachment:
    """A file that goes with a message; ``media_type`` such as ``application/pdf``."""

    name: str
    media_type: str
    content: bytes = field(repr=False)


@dataclass(frozen=True, slots=True)
class Message:
    """What to tell on one channel.

    ``key`` is of visible ASCII characters, at most LONGEST_KEY; ``data`` is what a webhook sends as JSON;
    ``html`` and ``attachments`` are for mail. ``created_us`` is when it was made, ``not_before_us`` when it may be
    sent (µs UTC); 0: at once.
    """

    channel: str
    key: str
    subject: str
    text: str
    created_us: int
    kind: str = ALERT
    html: str | None = None
    attachments: tuple[Attachment, ...] = ()
    data: dict[str, object] = field(default_factory=dict)
    not_before_us: int = 0

    def __post_init__(self) -> None:
        if not (0 < len(self.key) <= LONGEST_KEY and all("!" <= sign <= "~" for sign in self.key)):
            raise ValueError(
                f"message key {self.key!r}: must be 1 to {LONGEST_KEY} visible ASCII characters without spaces"
            )

    @property
    def held(self) -> bool:
        """Whether it had to wait: for the end of quiet hours, or for others to go with."""
        return self.not_before_us > self.created_us


@dataclass(frozen=True, slots=True)
class Delivery:
    """How a message stands. ``number`` counts from 1 in the order of queueing; times are µs UTC.

    ``attempts`` counts those begun, ``next_us`` is when the next one is due while it waits, ``problem`` what the
    last one that failed met with. ``inside`` is the number of the message that it went with.
    """

    number: int
    message: Message
    state: str = WAITING
    attempts: int = 0
    tried_us: int | None = None
    next_us: int | None = None
    settled_us: int | None = None
    problem: str = ""
    inside: int | None = None
