"""In which language a page speaks: chosen for each request, texts from catalogue files.

English is the language of the templates; every other one has a catalogue (gettext's PO format) in
``page/catalogues``. A text that a catalogue lacks is shown in English.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from functools import cache
from http.cookies import CookieError, SimpleCookie
from importlib import resources
from io import BytesIO
from urllib.parse import parse_qs, parse_qsl, urlencode

from babel import Locale, negotiate_locale
from babel.messages.catalog import Catalog
from babel.messages.pofile import read_po
from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

OURS = "en"
LANGUAGES = {"en": "English", "de": "Deutsch"}
"""Every language of the pages, by its code (RFC 5646), with its own name."""
COOKIE = "language"
_YEAR_S = 365 * 86_400

_chosen: ContextVar[str] = ContextVar("language", default=OURS)
_query: ContextVar[str] = ContextVar("query", default="")


def language() -> str:
    """The code of the language that is spoken now."""
    return _chosen.get()


def in_language(code: str) -> str:
    """Address, relative to the page that is made now, of the same page in another language."""
    kept = [(name, value) for name, value in parse_qsl(_query.get()) if name != "lang"]
    return "?" + urlencode([*kept, ("lang", code)])


@cache
def _locale(code: str) -> Locale:
    return Locale.parse(code)


def locale() -> Locale:
    """How numbers and dates are written in the language that is spoken now."""
    return _locale(language())


@contextmanager
def speaking(code: str) -> Iterator[None]:
    """Speak a language of LANGUAGES within; another code means English."""
    token = _chosen.set(code if code in LANGUAGES else OURS)
    try:
        yield
    finally:
        _chosen.reset(token)


@cache
def catalogue(code: str) -> Catalog:
    """The texts of a language; raises FileNotFoundError where there is no file for it."""
    text = (resources.files("swarfline.serve.page") / "catalogues" / f"{code}.po").read_bytes()
    return read_po(BytesIO(text), locale=code)


@cache
def _plain(code: str) -> dict[str, tuple[str, ...]]:
    """Translations by text; those that translators are not sure of are left out."""
    found: dict[str, tuple[str, ...]] = {}
    for message in catalogue(code):
        told = message.string
        said = [text or "" for text in (told if isinstance(told, tuple | list) else (told,))]
        name = message.id[0] if isinstance(message.id, tuple | list) else message.id
        if name and not message.fuzzy and all(said):
            found[name] = tuple(said)
    return found


def gettext(text: str) -> str:
    """A text in the language that is spoken now."""
    code = language()
    if code == OURS:
        return text
    return _plain(code).get(text, (text,))[0]


def ngettext(one: str, many: str, count: int) -> str:
    """The text for one or for many, by the plural rule of the language."""
    code = language()
    forms = None if code == OURS else _plain(code).get(one)
    if forms is None or len(forms) < 2:
        return one if count == 1 else many
    return forms[0 if _locale(code).plural_form(count) == "one" else 1]


def negotiate(asked: str | None, kept: str | None, accepted: str) -> str:
    """The language: as asked for now, as chosen before, or as the browser prefers (Accept-Language, RFC 9110)."""
    for told in (asked, kept):
        if told in LANGUAGES:
            return str(told)
    return negotiate_locale(_preferred(accepted), list(LANGUAGES), sep="-") or OURS


def _preferred(accepted: str) -> list[str]:
    """Codes of an Accept-Language header, the most wanted first; what cannot be read is passed over."""
    wanted: list[tuple[float, int, str]] = []
    for place, item in enumerate(accepted[:500].split(",")):
        code, _, parameter = item.partition(";")
        try:
            weight = float(parameter.strip().removeprefix("q=")) if parameter.strip() else 1.0
        except ValueError:
            continue
        if code.strip() and weight > 0:
            wanted.append((-weight, place, code.strip()))
    return [code for _, _, code in sorted(wanted)]


class Spoken:
    """ASGI layer: chooses the language of each request; ``?lang=`` is kept in a cookie for the next ones."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        query = scope.get("query_string", b"").decode("latin-1")
        asked = (parse_qs(query).get("lang") or [None])[-1]
        _query.set(query)
        code = negotiate(asked, _kept(headers), headers.get("accept-language", ""))

        async def told(message: Message) -> None:
            if message["type"] == "http.response.start":
                _tell(MutableHeaders(scope=message), code, asked)
            await send(message)

        with speaking(code):
            await self._app(scope, receive, told)


def _kept(headers: Headers) -> str | None:
    try:
        found = SimpleCookie(headers.get("cookie", "")).get(COOKIE)
    except CookieError:
        return None
    return None if found is None else found.value


def _tell(answer: MutableHeaders, code: str, asked: str | None) -> None:
    if not answer.get("content-type", "").startswith("text/html"):
        return
    answer["content-language"] = code
    answer.add_vary_header("Accept-Language")
    answer.add_vary_header("Cookie")
    if asked == code:
        answer.append("set-cookie", f"{COOKIE}={code}; Path=/; Max-Age={_YEAR_S}; SameSite=Lax")
