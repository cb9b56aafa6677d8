"""How messages are delivered: what an attempt may come to, when the next one is due, what goes together. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from swarfline.alerts import SEVERITIES
from swarfline.messages import ALERT, JOINED, LONGEST_SUBJECT, TEST, Delivery, Message
from swarfline.sentence import ENGLISH, N_, Tongue
from swarfline.watch.notices import CAUTION, key_of

LISTED, DATED = 100, 200
"""Of a joined message: how many messages its text lists, and how many its data holds."""
BURST_US = 600_000_000
"""Single messages are counted over so long."""
JOINED_REST_US = 60_000_000
"""Beyond the number of single messages, joined ones go out at most so often."""
LONGEST_LATER_S = 3600.0
"""A receiver that asks for more patience than this is asked again all the same."""


class Later(Exception):
    """An attempt failed and may be repeated; ``after_s`` is how long the receiver asks to wait, if it does."""

    def __init__(self, problem: str, after_s: float | None = None) -> None:
        super().__init__(problem)
        self.after_s = after_s


class Refused(Exception):
    """The receiver will never take this message."""


@dataclass(frozen=True, slots=True)
class Pace:
    """Seconds between attempts: ``first_s``, doubled each time up to ``longest_s``, less up to half by chance."""

    first_s: float = 5.0
    longest_s: float = 600.0

    def wait_us(self, failures: int, chance: float, asked_s: float | None = None) -> int:
        """How long to wait after so many failures in a row; ``chance``, 0 to 1, parts those who failed together.

        A receiver that asks for a longer time gets it, up to LONGEST_LATER_S.
        """
        longest = min(self.first_s * 2.0 ** min(failures - 1, 30), self.longest_s)
        asked = 0.0 if asked_s is None else min(asked_s, LONGEST_LATER_S)
        return round(max(longest * (1 - chance / 2), asked) * 1_000_000)


@dataclass(frozen=True, slots=True)
class Plan:
    """What to do with the messages of a channel that are due: join some, attempt some; the rest waits."""

    join: tuple[Delivery, ...] = ()
    attempt: tuple[Delivery, ...] = ()


def plan(due: Sequence[Delivery], sent_lately: int, most: int, joined_lately: bool) -> Plan:
    """What to do with ``due`` messages, where ``sent_lately`` went out within BURST_US and ``most`` may.

    Messages about alerts that had to wait are told together, and so are all when there are more than may go out
    singly; ``joined_lately``: within JOINED_REST_US. Whatever was attempted before is attempted again as it was.
    """
    fresh = [one for one in due if one.message.kind == ALERT and one.attempts == 0]
    if len(fresh) > max(0, most - sent_lately):
        together = [] if joined_lately else fresh
        left_out = set() if together else {one.number for one in fresh}
    else:
        together, left_out = [one for one in fresh if one.message.held], set()
    if len(together) < 2:
        together = []
    inside = left_out | {one.number for one in together}
    return Plan(tuple(together), tuple(one for one in _in_order(due) if one.number not in inside))


def _in_order(due: Sequence[Delivery]) -> list[Delivery]:
    """What failed least comes first: a message that no receiver takes must not hold up the others."""
    return sorted(due, key=lambda one: (one.attempts, one.number))


def joined(parts: Sequence[Delivery], plant: str, now_us: int, tongue: Tongue = ENGLISH) -> Message:
    """Several messages about alerts as one: the most severe first, then in the order in which they came."""
    messages = sorted((part.message for part in parts), key=lambda message: -_rank(message))
    counts = [(name, sum(1 for m in messages if m.data.get("severity") == name)) for name in reversed(SEVERITIES)]
    say = tongue.translate
    counted = ", ".join(f"{count} {say(name)}" for name, count in counts if count)
    head = say(N_("{count} messages about alerts ({counted})")).format(count=len(messages), counted=counted)
    lines = [f"- {_without_plant(message, plant)}" for message in messages[:LISTED]]
    if len(messages) > LISTED:
        more = say(N_("… and {count} more, on the page of alerts"))
        lines.append(more.format(count=len(messages) - LISTED))
    return Message(
        messages[0].channel,
        key_of(JOINED, [message.key for message in messages]),
        f"{plant}: {head}"[:LONGEST_SUBJECT],
        "\n".join([head, "", *lines, "", say(CAUTION), ""]),
        now_us,
        JOINED,
        data={
            "event": JOINED,
            "plant": plant,
            "count": len(messages),
            "messages": [{"key": m.key, **m.data} for m in messages[:DATED]],
        },
    )


def _rank(message: Message) -> int:
    severity = message.data.get("severity")
    return SEVERITIES.index(severity) if isinstance(severity, str) and severity in SEVERITIES else -1


def _without_plant(message: Message, plant: str) -> str:
    """The subject, and when: the plant stands above all of them."""
    raised = message.data.get("cleared") or message.data.get("raised")
    when = f"{raised[:19].replace('T', ' ')}  " if isinstance(raised, str) else ""
    return when + message.subject.removeprefix(f"{plant}: ")


def trial(channel: str, plant: str, now_us: int, tongue: Tongue = ENGLISH) -> Message:
    """A message that says that it only tries the channel."""
    say = tongue.translate
    what = say(N_("This is a test of the channel {channel} of {plant}. Nothing has happened."))
    text = f"{what.format(channel=channel, plant=plant)}\n\n{say(CAUTION)}\n"
    subject = say(N_("test of the channel {channel}")).format(channel=channel)
    key = key_of(TEST, [plant, channel, now_us])
    return Message(channel, key, f"{plant}: {subject}", text, now_us, TEST, data={"plant": plant})
