"""The works of the serve tests with users who sign in, and a clock that the test moves."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import httpx
from fastapi import FastAPI
from sqlalchemy import delete, insert

from swarfline.passwords import hashed
from swarfline.plant import load
from swarfline.serve import create_app
from swarfline.serve.signing import digest_of, new_secret
from swarfline.serve.verifying import Verifier
from swarfline.store import Store, tables
from swarfline.users import ROLES, TOKEN, SignIn, key_of

from .client import Client
from .works import NOW, PLANT, fill

PASSWORD = "lathe mill drill saw"
NAMES = {"viewer": "Vera", "operator": "Otto", "engineer": "Enid"}
HOUR_US = 3_600_000_000


@cache
def _kept() -> str:
    return hashed(PASSWORD)


class Clock:
    """Our own clock, moved by hand."""

    def __init__(self) -> None:
        self.us = NOW

    def __call__(self) -> int:
        return self.us


class Signed(Client):
    """Requests by somebody signed in, by cookie or token."""

    def __init__(self, app: FastAPI, secret: str | None = None, token: str | None = None) -> None:
        super().__init__(app)
        self.headers = {"accept": "text/html"} if token is None else {}
        if secret is not None:
            self.headers["cookie"] = f"swarfline={secret}"
        if token is not None:
            self.headers["authorization"] = f"Bearer {token}"

    def request(self, method: str, path: str, **more: Any) -> httpx.Response:
        headers = {**self.headers, **more.pop("headers", {})}
        return super().request(method, path, headers=headers, **more)

    def form(self, path: str, headers: dict[str, str] | None = None, **fields: str) -> httpx.Response:
        """POST a form as a page of ours does."""
        sent = {"origin": "http://plant", "content-type": "application/x-www-form-urlencoded", **(headers or {})}
        return self.post(path, content=urlencode(fields), headers=sent)

    def enter(self, path: str, **body: object) -> httpx.Response:
        """POST JSON below /api/v1."""
        return self.post(f"/api/v1/{path}", json=body)


class Works:
    """A plant with a user of each role; Hall has no password."""

    def __init__(self, folder: Path, listen: str = "users = true") -> None:
        path = folder / "plant.toml"
        path.write_text(f"listen = {{ {listen} }}\n{PLANT}", encoding="utf-8")
        self.plant = load(path)
        self.store = Store.open(f"sqlite:///{folder / 'works.db'}")
        fill(self.store)
        self.clock = Clock()
        self.renew()
        self.begin_anew()

    def renew(self) -> None:
        """An application of its own: one whose server was stopped opens no more streams."""
        self.app = create_app(self.plant, self.store, clock_us=self.clock)

    def begin_anew(self) -> None:
        """The users as at first, nobody signed in, no failure remembered, the clock set back."""
        with self.store.engine.begin() as connection:
            for table in (tables.sign_ins, tables.users, tables.entries):
                connection.execute(delete(table))
            for name, role in [*((name, role) for role, name in NAMES.items()), ("Hall", "viewer")]:
                kept = None if name == "Hall" else _kept()
                row = {"key": key_of(name), "name": name, "role": role, "password": kept, "made_us": NOW}
                connection.execute(insert(tables.users), row)
        self.clock.us = NOW
        self.app.state.verifier = Verifier(self.app.state.signing)

    def nobody(self) -> Signed:
        """A browser that is not signed in."""
        return Signed(self.app)

    def by_session(self, role: str) -> Signed:
        """A browser of the user of a role."""
        name = NAMES[role]
        return Signed(self.app, self.app.state.signing.begin(name, self.role(role), "a test"))

    def by_token(self, role: str, user: str | None = None, hours: float = 24) -> Signed:
        """A program with a token."""
        return Signed(self.app, token=self.token(role, user, hours))

    def token(self, role: str, user: str | None = None, hours: float = 24) -> str:
        """A new token."""
        secret, now_us = new_secret(), self.clock.us
        ends_us = now_us + round(hours * HOUR_US)
        one = SignIn(digest_of(secret), user or NAMES[role], self.role(role), TOKEN, now_us, now_us, ends_us)
        self.store.users.begin(one, now_us)
        return secret

    @staticmethod
    def role(name: str) -> Any:
        """A role by its name."""
        return ROLES[ROLES.index(name)]  # type: ignore[arg-type]
