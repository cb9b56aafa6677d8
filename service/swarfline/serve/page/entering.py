"""What people enter on a machine's page: plain forms, checked and stored as the API's own bodies are.

A form that was taken leads back to its page, which offers to undo it at once; one that was not shows the page anew
with what is wrong beside the field. The name of who enters is kept in the browser.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from urllib.parse import parse_qsl, quote, unquote, urlencode, urlsplit

from fastapi import FastAPI, Request
from pydantic import ValidationError
from starlette.responses import Response

from swarfline.plant import Machine
from swarfline.sentence import N_
from swarfline.serve.entries import Number, Undoing, undo_entry
from swarfline.serve.judgements import JudgementBody, judge
from swarfline.serve.notes import NoteBody, add_note
from swarfline.serve.page import machine as machine_page
from swarfline.serve.page import words
from swarfline.serve.page.choosing import moment
from swarfline.serve.page.forms import Fields, local, said, see_other, whole, why
from swarfline.serve.page.pages import pages_of
from swarfline.serve.problems import RefusedError, missing
from swarfline.serve.room import InRoom, OneMachine, Room
from swarfline.serve.signing import may, signed_in
from swarfline.serve.stop_entries import StopReasonBody, give_reason
from swarfline.serve.targets import TargetBody, set_target
from swarfline.serve.times import show
from swarfline.users import ENGINEER, OPERATOR

WHO = "who"
"""The cookie that keeps the name of who enters."""
_YEAR_S = 365 * 86_400
_LEFT = ("entered", "undone")
_HERE = "#entered"


@dataclass(frozen=True, slots=True)
class Refused:
    """A form that was not taken: which one, what was in it, what is wrong, by field and as a whole."""

    form: str
    fields: dict[str, str]
    detail: str
    errors: dict[str, str] = field(default_factory=dict)

    @classmethod
    def of_problem(cls, form: str, fields: dict[str, str], problem: RefusedError) -> Refused:
        """What is wrong, in the reader's language."""
        errors = {one.parameter: words.say(one.detail) for one in problem.complaints}
        return cls(form, fields, why(problem), errors)

    def of(self, form: str, name: str, otherwise: str = "") -> str:
        """What stood in a field of a form."""
        return self.fields.get(name, otherwise) if form == self.form else otherwise

    def error(self, form: str, name: str) -> str:
        """What is wrong with a field of a form; empty: nothing."""
        return self.errors.get(name, "") if form == self.form else ""


NOT_REFUSED = Refused("", {}, "")


def name_kept(request: Request) -> str:
    """Who is signed in, else the name kept in this browser; empty where none is, or none that may be."""
    signed = signed_in()
    if signed is not None:
        return signed.name
    try:
        return Undoing(who=unquote(request.cookies.get(WHO, ""), errors="strict")).who
    except (ValidationError, UnicodeDecodeError):
        return ""


def _who(request: Request, fields: dict[str, str]) -> str:
    """Who enters: as the form says, else as is kept."""
    return fields.get("who", "").strip() or name_kept(request)


def show_page(app: FastAPI, request: Request, machine: Machine, refused: Refused = NOT_REFUSED) -> Response:
    """A machine's page, after a form too."""
    room = app.state.room
    view = machine_page.view(room, machine, machine_page.chosen_of(request, room, machine))
    return pages_of(app).answer(
        "machine.html",
        422 if refused.form else 200,
        view=view,
        chosen=view.chosen,
        who=name_kept(request),
        rights={"signed": signed_in() is not None, "enter": may(OPERATOR), "aim": may(ENGINEER)},
        refused=refused,
        just=_just(room, machine, request),
    )


@dataclass(frozen=True, slots=True)
class Just:
    """The entry that was made or undone right before."""

    line: machine_page.EntryLine
    undone: bool


def _just(room: Room, machine: Machine, request: Request) -> Just | None:
    """What the address says was just done; None where it says nothing that is true of this machine."""
    for name in _LEFT:
        text = request.query_params.get(name, "")
        if text.isascii() and text.isdigit() and len(text) < 18:
            entry = room.queries.entry(int(text))
            if (
                entry is not None
                and entry.machine == machine.id
                and (entry.undone is not None) == (name == "undone")
            ):
                return Just(machine_page.entry_line(room, entry, room.now_us()), name == "undone")
    return None


def _back(address: str, machine: Machine, **told: str) -> str:
    """The page to go back to, with what was done in its address."""
    parts = urlsplit(local(address, f"/machines/{machine.id}"))
    if parts.path != f"/machines/{machine.id}":
        parts = urlsplit(f"/machines/{machine.id}")
    kept = [(name, value) for name, value in parse_qsl(parts.query) if name not in _LEFT]
    return f"{parts.path}?{urlencode([*kept, *told.items()])}{_HERE}"


def _page_of(request: Request, machine: Machine, fields: dict[str, str]) -> Request:
    """The request for the page that a form stood on."""
    parts = urlsplit(_back(fields.get("back", ""), machine))
    return Request({**request.scope, "method": "GET", "path": parts.path, "query_string": parts.query.encode()})


def keeping(answer: Response, request: Request, who: str) -> Response:
    """The answer, which has the browser keep the name; who is signed in is known without."""
    if not who or signed_in() is not None:
        return answer
    answer.set_cookie(
        WHO, quote(who), _YEAR_S, path="/", secure=request.url.scheme == "https", httponly=True, samesite="strict"
    )
    return answer


def _taken(
    app: FastAPI, request: Request, machine: Machine, form: str, fields: dict[str, str], enter: Callable[[], int]
) -> Response:
    """Enter what a form says and go back to its page; or show the page with what is wrong."""
    try:
        number = enter()
    except RefusedError as problem:
        refused = Refused.of_problem(form, fields, problem)
        return show_page(app, _page_of(request, machine, fields), machine, refused)
    answer = see_other(_back(fields.get("back", ""), machine, entered=str(number)))
    return keeping(answer, request, _who(request, fields))


def _time(room: Room, fields: dict[str, str], name: str) -> dict[str, str]:
    """A field of time as the API takes it; nothing where it is empty."""
    text = fields.get(name, "").strip()
    return {name: show(moment(name, text, room), room.zone)} if text else {}


def install(app: FastAPI) -> None:
    """Take the forms of the machines' pages of ``app``."""

    @app.post("/machines/{machine_id}/stop-reasons", include_in_schema=False)
    def reason_form(request: Request, machine: OneMachine, room: InRoom, fields: Fields) -> Response:
        def enter() -> int:
            # a button of the form gives its reason, or else the one that was typed
            reason = fields.get("reason") or fields.get("other", "")
            body = said(StopReasonBody, {**fields, "reason": reason}, who=_who(request, fields))
            return int(give_reason(machine, room, body).number)

        return _taken(app, request, machine, f"stop {fields.get('stop', '')}", fields, enter)

    @app.post("/machines/{machine_id}/judgements", include_in_schema=False)
    def judgement_form(request: Request, machine: OneMachine, room: InRoom, fields: Fields) -> Response:
        def enter() -> int:
            told = {"time": show(room.now_us() - 1, room.zone), **_time(room, fields, "time")}
            amount = whole(fields, "quantity")
            body = said(JudgementBody, fields, who=_who(request, fields), quantity=amount, **told)
            return int(judge(machine, room, body).number)

        return _taken(app, request, machine, "judgement", fields, enter)

    @app.post("/machines/{machine_id}/notes", include_in_schema=False)
    def note_form(request: Request, machine: OneMachine, room: InRoom, fields: Fields) -> Response:
        def enter() -> int:
            told = {name: value for name in ("time", "to") for name, value in _time(room, fields, name).items()}
            if "to" in told:
                told["from"] = told.pop("time", "")
            body = said(NoteBody, {**fields, "time": "", "to": ""}, who=_who(request, fields), **told)
            return int(add_note(machine, room, body).number)

        return _taken(app, request, machine, "note", fields, enter)

    @app.post("/machines/{machine_id}/targets", include_in_schema=False)
    def target_form(request: Request, machine: OneMachine, room: InRoom, fields: Fields) -> Response:
        def enter() -> int:
            told = {n: v for name in ("from", "to") for n, v in _time(room, fields, name).items()}
            rest = {name: value for name, value in fields.items() if name not in ("from", "to")}
            amount = whole(fields, "quantity")
            body = said(TargetBody, rest, who=_who(request, fields), quantity=amount, **told)
            return int(set_target(machine, room, body).number)

        return _taken(app, request, machine, "target", fields, enter)

    @app.post("/entries/{number}/undo", include_in_schema=False)
    def undo_form(request: Request, number: Number, room: InRoom, fields: Fields) -> Response:
        entry = room.queries.entry(number)
        if entry is None:
            raise missing(N_("entry"), str(number), ["the machines' pages list them"])
        machine = room.machine(entry.machine)
        who = _who(request, fields)
        try:
            undo_entry(number, room, said(Undoing, fields, who=who))
        except RefusedError as problem:
            refused = Refused.of_problem(f"undo {number}", fields, problem)
            return show_page(app, _page_of(request, machine, fields), machine, refused)
        return keeping(see_other(_back(fields.get("back", ""), machine, undone=str(number))), request, who)

    @app.post("/machines/{machine_id}/who", include_in_schema=False)
    def who_form(request: Request, machine: OneMachine, fields: Fields) -> Response:
        try:
            who = said(Undoing, {"who": fields.get("who", "")}).who
        except RefusedError as problem:
            refused = Refused.of_problem("who", fields, problem)
            return show_page(app, _page_of(request, machine, fields), machine, refused)
        return keeping(see_other(_back(fields.get("back", ""), machine)), request, who)
