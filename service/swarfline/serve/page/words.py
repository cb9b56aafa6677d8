"""How figures, times and lengths are written on the page. What is not known is a dash, never a zero."""

from __future__ import annotations

import re
from datetime import date
from zoneinfo import ZoneInfo

from babel.dates import format_date, format_datetime
from babel.numbers import get_decimal_symbol

from swarfline.calendar import from_us
from swarfline.figures import Exact
from swarfline.sentence import Sentence, Tongue
from swarfline.serve.tongue import LANGUAGES, OURS, locale, ngettext, speaking
from swarfline.serve.tongue import gettext as _
from swarfline.units import LIFE_UNITS, lasting

UNKNOWN = "–"
_SECOND = 1_000_000


def number(value: Exact | None, digits: int = 0) -> str:
    """1 234.5; a thin space parts thousands (ISO 80000-1), the decimal sign is the language's."""
    if value is None:
        return UNKNOWN
    text = f"{float(value):,.{digits}f}".replace(",", "\u202f").replace("-", "−")
    text = text.removeprefix("−") if not text.strip("−0.\u202f") else text
    return text.replace(".", get_decimal_symbol(locale()))


def say(said: str | Sentence) -> str:
    """A sentence, or a text without places, in the reader's language."""
    return _(said) if isinstance(said, str) else said.told(_, number)


def percent(ratio: Exact | None, digits: int = 1) -> str:
    """84.2 %"""
    return UNKNOWN if ratio is None else f"{number(ratio * 100, digits)} %"


def share(ratio: Exact | None) -> str:
    """A share that is not whole, and never looks so: 99.96 % is written "< 100 %"."""
    if ratio is not None and ratio < 1 and round(float(ratio) * 100, 1) >= 100:
        return "< 100 %"
    return percent(ratio)


def observed(coverage_pct: float) -> str:
    """observed: 91.2 %"""
    return _("observed: %(share)s") % {"share": share(coverage_pct / 100)}


def signed(value: Exact | None) -> str:
    """ "12 ahead", "3 behind" or "on plan"."""
    if value is None:
        return UNKNOWN
    whole = round(value)
    if whole == 0:
        return _("on plan")
    return (_("%s ahead") if whole > 0 else _("%s behind")) % number(abs(whole))


def length(us: Exact | None) -> str:
    """42 s, 12 min, 3 h 05 min, 2 d 4 h: two units at most."""
    if us is None:
        return UNKNOWN
    if us < 0:
        return "−" + length(-us)
    return lasting(round(us / _SECOND))


def stopwatch(us: int) -> str:
    """2:05 or 1:02:05"""
    whole = max(0, us) // _SECOND
    hours, rest = divmod(whole, 3600)
    minutes = f"{rest // 60}:{rest % 60:02d}"
    return f"{hours}:{rest // 60:02d}:{rest % 60:02d}" if hours else minutes


def seconds(value: float | None, digits: int = 1) -> str:
    """182.4 s"""
    return UNKNOWN if value is None else f"{number(value, digits)} s"


def clock(us: int | None, zone: ZoneInfo, now_us: int | None = None) -> str:
    """14:05; with ``now_us`` the day stands before it where it is another one: Tue 14:05, 3 Mar 14:05."""
    if us is None:
        return UNKNOWN
    moment = from_us(us, zone)
    text = f"{moment:%H:%M}"
    if now_us is None:
        return text
    days = (moment.date() - from_us(now_us, zone).date()).days
    if days == 0:
        return text
    pattern = "EEE HH:mm" if 0 < days < 7 else _("d MMM HH:mm")
    return format_datetime(moment, pattern, locale=locale())


def moment(us: int, zone: ZoneInfo) -> str:
    """Tue 10 Mar 2026, 14:05:09"""
    when = from_us(us, zone)
    return f"{day(when.date())}, {when:%H:%M:%S}"


def minute(us: int, zone: ZoneInfo) -> str:
    """Tue 10 Mar 2026, 14:05"""
    when = from_us(us, zone)
    return f"{day(when.date())}, {when:%H:%M}"


def day(when: date) -> str:
    """Tue 10 Mar 2026"""
    return format_date(when, _("EEE d MMM y"), locale=locale())


def weekday(when: date) -> str:
    """Tue 10"""
    return format_date(when, _("EEE d"), locale=locale())


def life(value: float | None, basis: str) -> str:
    """What a tool life counts, by its basis: 95, 4 h 34 min, 187.2 m."""
    if value is None:
        return UNKNOWN
    if basis == "time":
        return length(value * _SECOND)
    return f"{number(value, 1)} m" if LIFE_UNITS.get(basis) == "m" else number(value)


def tool(number: str, name: str = "") -> str:
    """T7 Face mill 50; a tool that is named by a word keeps it as it is."""
    return f"{'T' if number.isdecimal() else ''}{number} {name}".strip()


def life_end(reason: str) -> str:
    """Why a tool life ended, in words."""
    told = {
        "reset": _("life set back at the machine: tool changed, or counted anew"),
        "replaced": _("another tool was put into the pot"),
    }
    return told.get(reason, reason) or UNKNOWN


def ending(how: str, used: float, limit: float | None) -> str:
    """How a tool life ended (measure.lives.ending), in words; near its limit is not yet at it."""
    if how == "at_limit" and limit and used < limit:
        return _("near its limit")
    told = {
        "at_limit": _("at its limit"),
        "failed": _("broken, or locked before its limit"),
        "early": _("set back before its limit"),
        "removed": _("taken out before its limit"),
        "unknown": _("its limit is not known"),
    }
    return told.get(how, UNKNOWN)


def natural(text: str) -> tuple[tuple[str, int], ...]:
    """Key that sorts text as people count: numbers inside compare as numbers, so 2 comes before 10."""
    return tuple((word.casefold(), int(digits or -1)) for word, digits in re.findall(r"([^0-9]*)([0-9]*)", text))


def gap(reason: str) -> str:
    """Why readings did not reach us, in words."""
    return {"connection": _("connection")}.get(reason, reason) or UNKNOWN


def condition(name: str) -> str:
    """A condition's name as words."""
    told = {
        "producing": _("producing"),
        "setup": _("setup"),
        "held": _("held"),
        "waiting": _("waiting"),
        "fault": _("fault"),
        "out_of_service": _("out of service"),
        "off": _("off"),
        "unobserved": _("unobserved"),
    }
    return told.get(name) or name.replace("_", " ")


def cycles(count: int) -> str:
    """1 cycle, 12 cycles"""
    return ngettext("%(num)s cycle", "%(num)s cycles", count) % {"num": number(count)}


def _tongue(code: str) -> Tongue:
    """One language, whatever is spoken where it is used."""

    def translate(text: str) -> str:
        with speaking(code):
            return _(text)

    def written(value: float, digits: int) -> str:
        with speaking(code):
            return number(value, digits)

    return Tongue(translate, written)


TONGUES = {code: _tongue(code) for code in LANGUAGES if code != OURS}
"""For messages, which are told to no page: each language but the one that their texts are written in."""
