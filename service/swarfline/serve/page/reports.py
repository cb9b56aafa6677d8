"""/reports: a report of any span on the page, and the same as a file to hand over."""

from __future__ import annotations

from typing import Annotated

from fastapi import FastAPI, Path
from starlette.responses import Response

from swarfline.serve.page.choosing import Chosen, InChosen
from swarfline.serve.page.mailed_reports import mail_channel, mailed_reports
from swarfline.serve.page.pages import pages_of
from swarfline.serve.problems import RefusedError
from swarfline.serve.reports import bars
from swarfline.serve.reports.build import build
from swarfline.serve.reports.formats import FORMATS, FormatName
from swarfline.serve.reports.pdf import NoTypesetter, can_set
from swarfline.serve.reports.subject import Subject, subject

Ending = Annotated[FormatName, Path(description="html, pdf or csv")]


def install(app: FastAPI) -> None:
    """Serve the page of reports and its files."""
    pages = pages_of(app)

    @app.get("/reports", include_in_schema=False)
    def reports_page(chosen: InChosen) -> Response:
        made = build(_subject(chosen))
        query = chosen.address().partition("?")[2]
        files = [(name, f"/reports/{name}?{query}") for name in FORMATS if name != "pdf" or can_set()]
        mailed = mailed_reports(chosen.room)
        channel = mail_channel(chosen.room)
        return pages.answer(
            "reports.html", chosen=chosen, report=made, files=files, bars=bars, mailed=mailed, mail_channel=channel
        )

    @app.get("/reports/{ending}", include_in_schema=False)
    def report_file(ending: Ending, chosen: InChosen) -> Response:
        made, (write, media_type) = build(_subject(chosen)), FORMATS[ending]
        try:
            body = write(made)
        except NoTypesetter as problem:
            raise RefusedError(501, str(problem)) from None
        # the name holds only letters, digits and dashes, so it needs no quoting (RFC 6266)
        named = f'attachment; filename="{made.file_name}.{ending}"'
        return Response(body, media_type=media_type, headers={"content-disposition": named})


def _subject(chosen: Chosen) -> Subject:
    return subject(chosen.room, chosen.kind, chosen.asked, chosen.machine, chosen.cell)
