"""Users, and what they are signed in by. Kept: scrypt of passwords, SHA-256 of sessions and tokens; no secret."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from sqlalchemy import Connection, Engine, Row, Select, bindparam, delete, insert, select, update
from sqlalchemy.exc import DBAPIError, IntegrityError

from swarfline.store import tables
from swarfline.store.engine import StoreError
from swarfline.users import Role, SignIn, SignInKind, User, key_of, lesser

_USERS, _SIGN_INS = tables.users, tables.sign_ins


class UnknownUser(StoreError):
    """There is no user of that name."""


class Users:
    """Read and write access; safe to use from several threads. Writing raises StoreError where it cannot."""

    def __init__(self, engine: Engine) -> None:
        self._engine = engine

    def all(self) -> list[User]:
        """Every user, by name."""
        with self._engine.connect() as connection:
            return [_user(row) for row in connection.execute(select(_USERS).order_by(_USERS.c.key))]

    def find(self, name: str) -> tuple[User, str | None] | None:
        """A user by name, letter case aside, and the password as it is kept; None: there is none."""
        with self._engine.connect() as connection:
            row = connection.execute(select(_USERS).where(_USERS.c.key == key_of(name))).one_or_none()
        return None if row is None else (_user(row), row.password)

    def add(self, name: str, role: Role, password: str | None, now_us: int) -> None:
        """A new user; ``password`` as passwords.hashed gives it. Raises StoreError where the name is taken."""
        row = {"key": key_of(name), "name": name, "role": role, "password": password, "made_us": now_us}
        try:
            with self._writing() as connection:
                connection.execute(insert(_USERS), row)
        except IntegrityError:
            raise StoreError(f"there is a user {name!r} already; nothing was changed") from None

    def set_password(self, name: str, password: str) -> None:
        """Give a user another password, and end whatever they are signed in by."""
        self._change(name, password=password)

    def set_role(self, name: str, role: Role) -> None:
        """Give a user another role, and end whatever they are signed in by."""
        self._change(name, role=role)

    def keep_anew(self, name: str, before: str, password: str) -> None:
        """The same password, kept at another cost; nothing where it was changed meanwhile."""
        same = (_USERS.c.key == key_of(name)) & (_USERS.c.password == before)
        with self._writing() as connection:
            connection.execute(update(_USERS).where(same).values(password=password))

    def remove(self, name: str) -> None:
        """Remove a user, and end whatever they are signed in by."""
        with self._writing() as connection:
            _end_all(connection, name)
            _known(name, connection.execute(delete(_USERS).where(_USERS.c.key == key_of(name))).rowcount)

    def begin(self, one: SignIn, now_us: int) -> None:
        """Keep a new session or token; those that have ended are forgotten."""
        row = {name: getattr(one, name) for name in ("digest", "role", "kind", "made_us", "used_us", "ends_us")}
        with self._writing() as connection:
            connection.execute(delete(_SIGN_INS).where(_SIGN_INS.c.ends_us <= now_us))
            connection.execute(insert(_SIGN_INS), {**row, "user": key_of(one.user), "about": one.about})

    def sign_in(self, digest: str) -> SignIn | None:
        """The session or token of a digest, ended or not; None: there is none."""
        with self._engine.connect() as connection:
            row = connection.execute(_BY_DIGEST, {"wanted": digest}).one_or_none()
        return None if row is None else _sign_in(row)

    def sign_ins(self, name: str | None = None) -> list[SignIn]:
        """Sessions and tokens of one user or of all, the latest first, ended ones too."""
        query = _joined().order_by(_SIGN_INS.c.made_us.desc(), _SIGN_INS.c.digest)
        if name is not None:
            query = query.where(_SIGN_INS.c.user == key_of(name))
        with self._engine.connect() as connection:
            return [_sign_in(row) for row in connection.execute(query)]

    def touch(self, digest: str, used_us: int) -> None:
        """A session or token was used."""
        with self._writing() as connection:
            connection.execute(update(_SIGN_INS).where(_SIGN_INS.c.digest == digest).values(used_us=used_us))

    def end(self, digest: str) -> None:
        """End a session or token, if it has not ended yet."""
        with self._writing() as connection:
            connection.execute(delete(_SIGN_INS).where(_SIGN_INS.c.digest == digest))

    def end_all(self, name: str, kind: SignInKind | None = None) -> int:
        """End what a user is signed in by, or only that of a kind; how many that were."""
        with self._writing() as connection:
            return _end_all(connection, name, kind)

    def _change(self, name: str, **values: str) -> None:
        with self._writing() as connection:
            changed = connection.execute(update(_USERS).where(_USERS.c.key == key_of(name)).values(values))
            _known(name, changed.rowcount)
            _end_all(connection, name)

    @contextmanager
    def _writing(self) -> Iterator[Connection]:
        try:
            with self._engine.begin() as connection:
                yield connection
        except IntegrityError:
            raise
        except DBAPIError as problem:
            raise StoreError(
                f"the database cannot be written now ({problem.orig}); nothing was changed"
            ) from problem


def _known(name: str, rows: int) -> None:
    if rows == 0:
        raise UnknownUser(f"there is no user {name!r}")


def _end_all(connection: Connection, name: str, kind: SignInKind | None = None) -> int:
    mine = _SIGN_INS.c.user == key_of(name)
    chosen = mine if kind is None else mine & (_SIGN_INS.c.kind == kind)
    return connection.execute(delete(_SIGN_INS).where(chosen)).rowcount


def _joined() -> Select[Any]:
    owner = _USERS.c.key == _SIGN_INS.c.user
    return select(_SIGN_INS, _USERS.c.name, _USERS.c.role.label("most")).join_from(_SIGN_INS, _USERS, owner)


_BY_DIGEST = _joined().where(_SIGN_INS.c.digest == bindparam("wanted"))
"""Asked with each request."""


def _user(row: Row[Any]) -> User:
    return User(row.name, row.role, row.password is not None, row.made_us)


def _sign_in(row: Row[Any]) -> SignIn:
    role = lesser(row.role, row.most)
    return SignIn(row.digest, row.name, role, row.kind, row.made_us, row.used_us, row.ends_us, row.about)
