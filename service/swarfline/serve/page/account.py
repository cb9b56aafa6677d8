"""/account: what one is signed in by, and another password."""

from __future__ import annotations

from http import HTTPStatus

from fastapi import FastAPI, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import Response

from swarfline import passwords
from swarfline.serve.gate import address_of
from swarfline.serve.page import words
from swarfline.serve.page.forms import Fields, see_other
from swarfline.serve.page.pages import pages_of
from swarfline.serve.page.sign_in import failure, forget, refuse_in_clear, remember, users_only
from swarfline.serve.problems import RefusedError, unwritable
from swarfline.serve.room import InRoom, Room
from swarfline.serve.signing import Signed, signed_in, signing_of
from swarfline.serve.tongue import gettext as _
from swarfline.serve.verifying import Denied
from swarfline.store import StoreError
from swarfline.users import ENGINEER, OPERATOR, SESSION, TOKEN, VIEWER, Role


def role_words() -> dict[Role, str]:
    """What each role may, in words."""
    return {
        VIEWER: _("Viewer: may look."),
        OPERATOR: _("Operator: may look, enter, acknowledge and shelve."),
        ENGINEER: _("Engineer: may look, enter, acknowledge, shelve and set targets."),
    }


def signer_of(request: Request) -> Signed:
    """Who is signed in; ends the request with 404 where nobody signs in."""
    users_only(request)
    signed = signed_in()
    assert signed is not None, "the gate lets nobody else through"
    return signed


def new_password_error(fields: dict[str, str], name: str) -> str | None:
    """Why a new password is not taken; None: it is."""
    if fields.get("new", "") != fields.get("again", ""):
        return _("The two new ones differ.")
    weakness = passwords.weakness(fields.get("new", ""), name)
    return None if weakness is None else _("The new one is not taken: it %(why)s.") % {"why": words.say(weakness)}


def install(app: FastAPI) -> None:
    """Serve the page of ``app``."""

    def page(request: Request, room: Room, done: str = "", error: str = "", status: int = 200) -> Response:
        signing, signer = signing_of(request), signer_of(request)
        found = signing.users.find(signer.name)
        now_us = signing.now_us()
        answer = pages_of(app).answer(
            "account.html",
            status,
            signer=signer,
            rows=[one for one in signing.users.sign_ins(signer.name) if signing.ends_us(one) > now_us],
            ends_us=signing.ends_us,
            role_words=role_words(),
            has_password=signer.kind == SESSION and found is not None and found[0].has_password,
            shortest=passwords.SHORTEST,
            done=done,
            error=error,
            zone=room.zone,
            now_us=now_us,
        )
        answer.headers["cache-control"] = "no-store"
        return answer

    @app.get("/account", include_in_schema=False)
    def account(request: Request, room: InRoom, changed: bool = False) -> Response:
        return page(request, room, done=_("The password is changed.") if changed else "")

    @app.post("/account/end", include_in_schema=False)
    async def end(request: Request, fields: Fields) -> Response:
        signer, users = signer_of(request), signing_of(request).users
        if signer.kind == TOKEN:
            raise RefusedError(HTTPStatus.FORBIDDEN, _("A screen that is signed in by a token ends nothing."))
        chosen = fields.get("digest")
        if chosen is None:
            await run_in_threadpool(users.end_all, signer.name, SESSION)
        elif any(one.digest == chosen for one in await run_in_threadpool(users.sign_ins, signer.name)):
            await run_in_threadpool(users.end, chosen)
        own = chosen in (None, signer.digest)
        return forget(request, see_other("/sign-in")) if own else see_other("/account")

    @app.post("/account/password", include_in_schema=False)
    async def password(request: Request, room: InRoom, fields: Fields) -> Response:
        signer = signer_of(request)
        refuse_in_clear(request)
        error = new_password_error(fields, signer.name)
        status = HTTPStatus.UNPROCESSABLE_ENTITY
        if error is None and signer.kind == SESSION:
            try:
                await app.state.verifier.check(signer.name, fields.get("present", ""), address_of(request))
                await _change(request, signer, fields["new"])
                return await remember(request, see_other("/account?changed=true"), signer.name, signer.role)
            except Denied as denied:
                error, status = failure(denied), denied.status
        return await run_in_threadpool(page, request, room, "", error or "", status)


async def _change(request: Request, signer: Signed, new: str) -> None:
    users = signing_of(request).users
    kept = await run_in_threadpool(passwords.hashed, new)
    try:
        await run_in_threadpool(users.set_password, signer.name, kept)
    except StoreError as problem:
        raise unwritable(problem) from None
