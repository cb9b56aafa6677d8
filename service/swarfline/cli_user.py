"""The commands for users: who may sign in, by what they are signed in, and tokens."""

from __future__ import annotations

import json
import socket
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import urlencode

import click

from swarfline import clock, passwords
from swarfline.arguments import PLANT_FILE, existing_store, fail, plant_of
from swarfline.calendar import from_us
from swarfline.plant import Plant
from swarfline.users import ROLES, TOKEN, VIEWER, Role, SignIn, allows, clean, key_of, name_error

if TYPE_CHECKING:
    from swarfline.store import Users

DAY_US = 86_400_000_000
NAME = click.argument("name")
ROLE = click.Choice(ROLES)
PASSWORD_FILE = click.option(
    "--password-file", type=click.File(encoding="utf-8"),
    help="Its first line is the password; - for standard input. By default it is asked for.",
)  # fmt: skip


@click.group()
def user() -> None:
    """Users of a plant FILE: who may look, enter and do everything.

    Where [listen] in the plant file says users = true, whoever opens a page or asks the API has to sign in. Roles:
    viewer looks; operator also enters, acknowledges and shelves; engineer may do everything. Whoever can run these
    commands needs no role: they write into the database. The service may run meanwhile.
    """


@user.command()
@PLANT_FILE
@NAME
@click.option("--role", type=ROLE, required=True, help="What the user may do.")
@PASSWORD_FILE
@click.option("--no-password", is_flag=True, help="A program or a screen, which signs in by tokens only.")
def add(file: Path, name: str, role: Role, password_file: Iterator[str] | None, no_password: bool) -> None:
    """Add a user. The password is typed, or read from a file; never given in the command."""
    plant, name = plant_of(file), clean(name)
    wrong = name_error(name)
    if wrong is not None:
        fail(f"the name {name!r} {wrong}")
    kept = None if no_password else passwords.hashed(_new_password(name, password_file))
    with _users(plant, file, make=True) as users:
        users.add(name, role, kept, clock.now_us())
    click.echo(f"{name}: added as {role}")
    if not plant.listen.users:
        click.echo(
            "note: nobody needs to sign in yet: [listen] in the plant file does not say users = true", err=True
        )


@user.command("list")
@PLANT_FILE
@click.option("--json", "as_json", is_flag=True, help="Print them for a program to read.")
def list_users(file: Path, as_json: bool) -> None:
    """List the users with their roles."""
    plant = plant_of(file)
    with _users(plant, file) as users:
        rows = [(one, [s for s in users.sign_ins(one.name) if s.ends_us > clock.now_us()]) for one in users.all()]
    if as_json:
        told = [
            {"name": u.name, "role": u.role, "has_password": u.has_password, "added": _moment(u.made_us),
             "sessions": sum(s.kind != TOKEN for s in signs), "tokens": sum(s.kind == TOKEN for s in signs)}
            for u, signs in rows
        ]  # fmt: skip
        click.echo(json.dumps(told, ensure_ascii=False))
        return
    for u, signs in rows:
        tokens = sum(s.kind == TOKEN for s in signs)
        how = "" if u.has_password else ", no password"
        click.echo(f"{u.name:40} {u.role:9} {len(signs) - tokens} session(s), {tokens} token(s){how}")


@user.command("set-password")
@PLANT_FILE
@NAME
@PASSWORD_FILE
def set_password(file: Path, name: str, password_file: Iterator[str] | None) -> None:
    """Give a user another password. Their sessions and tokens end."""
    with _users(plant_of(file), file) as users:
        found = users.find(name)
        if found is None:
            fail(_unknown(name, users))
        users.set_password(name, passwords.hashed(_new_password(found[0].name, password_file)))
        click.echo(f"{found[0].name}: the password is set; sessions and tokens have ended")


@user.command("set-role")
@PLANT_FILE
@NAME
@click.argument("role", type=ROLE)
def set_role(file: Path, name: str, role: Role) -> None:
    """Give a user another role. Their sessions and tokens end."""
    with _users(plant_of(file), file) as users:
        if users.find(name) is None:
            fail(_unknown(name, users))
        users.set_role(name, role)
    click.echo(f"{clean(name)}: {role} from now on; sessions and tokens have ended")


@user.command()
@PLANT_FILE
@NAME
def remove(file: Path, name: str) -> None:
    """Remove a user. Their sessions and tokens end; what they entered stays, with their name."""
    with _users(plant_of(file), file) as users:
        if users.find(name) is None:
            fail(_unknown(name, users))
        users.remove(name)
    click.echo(f"{clean(name)}: removed; sessions and tokens have ended")


@user.command()
@PLANT_FILE
@click.argument("name", required=False)
@click.option("--end", is_flag=True, help="End those of the user NAME, tokens too.")
@click.option("--json", "as_json", is_flag=True, help="Print them for a program to read.")
def sessions(file: Path, name: str | None, end: bool, as_json: bool) -> None:
    """List sessions and tokens, of one user or of all, or end those of one."""
    if end and name is None:
        raise click.UsageError("--end needs a NAME")
    plant = plant_of(file)
    with _users(plant, file) as users:
        if name is not None and users.find(name) is None:
            fail(_unknown(name, users))
        if end and name is not None:
            click.echo(f"{clean(name)}: {users.end_all(name)} session(s) and token(s) ended")
            return
        found = [one for one in users.sign_ins(name) if one.ends_us > clock.now_us()]
    if as_json:
        click.echo(json.dumps([_told(one) for one in found], ensure_ascii=False))
        return
    zone = plant.calendar().zone
    for one in found:
        since, until = (f"{from_us(us, zone):%Y-%m-%d %H:%M}" for us in (one.made_us, one.ends_us))
        click.echo(f"{one.user:20} {one.role:9} {one.kind:8} {since} to {until}  {one.about}")


@user.command()
@PLANT_FILE
@NAME
@click.option("--role", type=ROLE, default=VIEWER, show_default=True, help="No more than the user may do.")
@click.option("--days", type=click.IntRange(1, 3660), required=True, help="After so many days it ends.")
@click.option("--about", default="", help="What it is for; shown in lists.")
@click.option("--page", default="/", show_default=True, help="Page that the link for a screen leads to.")
def token(file: Path, name: str, role: Role, days: int, about: str, page: str) -> None:
    """Make a token for a user NAME: for a program, or for a screen that nobody signs in at.

    It is shown once and kept nowhere. A program sends it as `Authorization: Bearer TOKEN`. A screen opens the
    link, once; only tokens of the role viewer open pages. Treat it as a password.
    """
    from swarfline.serve.signing import digest_of, new_secret, printable

    plant, secret, now_us = plant_of(file), "", clock.now_us()
    with _users(plant, file) as users:
        found = users.find(name)
        if found is None:
            fail(_unknown(name, users))
        if not allows(found[0].role, role):
            fail(f"{found[0].name} is {found[0].role}; a token cannot be {role}")
        secret = new_secret()
        ends_us = now_us + days * DAY_US
        label = printable(about or "made by command")
        one = SignIn(digest_of(secret), found[0].name, role, TOKEN, now_us, now_us, ends_us, label)
        users.begin(one, now_us)
    click.echo(f"token: {secret}")
    if role == VIEWER:
        click.echo(f"link for a screen: {_address(plant)}/sign-in#{urlencode({'token': secret, 'to': page})}")


@contextmanager
def _users(plant: Plant, file: Path, make: bool = False) -> Iterator[Users]:
    """The users in the database of a plant; ends the command with a message where something is in the way."""
    from swarfline.store import Store, StoreError

    try:
        store = Store.open(plant.store.url, file) if make else existing_store(plant, file)
        try:
            yield store.users
        finally:
            store.close()
    except StoreError as problem:
        fail(str(problem))


def _new_password(name: str, source: Iterator[str] | None) -> str:
    if source is None:
        told = click.prompt("Password", hide_input=True, confirmation_prompt="The same again")
    else:
        told = next(iter(source), "").rstrip("\r\n")
    weakness = passwords.weakness(told, name)
    if weakness is not None:
        fail(f"the password {weakness.told()}; nothing was changed")
    return str(told)


def _unknown(name: str, users: Users) -> str:
    known = ", ".join(one.name for one in sorted(users.all(), key=lambda one: key_of(one.name)))
    return f"there is no user {name!r}; there {f'are {known}' if known else 'is none yet'}"


def _told(one: SignIn) -> dict[str, object]:
    """A session or token for a program; without what would find it in the database."""
    fields = {name: value for name, value in asdict(one).items() if not name.endswith("_us") and name != "digest"}
    return {**fields, "begun": _moment(one.made_us), "used": _moment(one.used_us), "ends": _moment(one.ends_us)}


def _moment(us: int) -> str:
    return datetime.fromtimestamp(us / 1_000_000, UTC).isoformat(timespec="seconds")


def _address(plant: Plant) -> str:
    """Where the pages are, as far as the plant file tells."""
    listen = plant.listen
    if listen.origins:
        return listen.origins[0]
    host = socket.gethostname() if listen.host in ("0.0.0.0", "::") else listen.host
    scheme = "http" if listen.certificate is None else "https"
    return f"{scheme}://{f'[{host}]' if ':' in host else host}:{listen.port}"
