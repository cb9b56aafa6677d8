"""The templates, rendered."""

from __future__ import annotations

from typing import Any

from fastapi import FastAPI
from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape
from starlette.responses import HTMLResponse, Response

from swarfline.facts import CONDITIONS
from swarfline.serve.definitions import CONDITION_MEANINGS
from swarfline.serve.page import reference, ribbon, words
from swarfline.serve.page.choosing import kind_words
from swarfline.serve.page.navigation import navigation
from swarfline.serve.signing import may, signed_in
from swarfline.serve.tongue import LANGUAGES, gettext, in_language, language, ngettext

_PAGE_HEADERS = {"cache-control": "no-cache"}


def environment() -> Environment:
    """The templates beside this file: strict, escaped, in the language that is spoken when they are rendered."""
    made = Environment(
        loader=PackageLoader("swarfline.serve.page"),
        autoescape=select_autoescape(default=True),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        extensions=["jinja2.ext.i18n"],
    )
    made.install_gettext_callables(gettext, ngettext, newstyle=True)  # type: ignore[attr-defined]
    return made


class Pages:
    """Renders the templates."""

    def __init__(self, app: FastAPI) -> None:
        self._environment = environment()
        assets, room = app.state.assets, app.state.room
        self._environment.globals.update(
            asset=assets.url,
            library=assets.library_url,
            plant_name=room.plant.plant.name,
            conditions=CONDITIONS,
            meanings=CONDITION_MEANINGS,
            words=words,
            ribbon=ribbon,
            reference=reference,
            language=language,
            languages=LANGUAGES,
            in_language=in_language,
            navigation=navigation,
            kind_words=kind_words,
            signed_in=signed_in,
            may=may,
        )

    def text(self, template: str, **values: Any) -> str:
        """A page as text."""
        return self._environment.get_template(template).render(values)

    def answer(self, template: str, status: int = 200, **values: Any) -> Response:
        """A page as a response."""
        return HTMLResponse(self.text(template, **values), status, headers=_PAGE_HEADERS)


def pages_of(app: FastAPI) -> Pages:
    """The templates of an application."""
    pages = app.state.pages
    assert isinstance(pages, Pages)
    return pages
