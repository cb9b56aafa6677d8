"""The command that approves certificates of servers."""

from __future__ import annotations

import asyncio
from pathlib import Path
from typing import TYPE_CHECKING

import click

from swarfline.arguments import PLANT_FILE, fail, plant_of
from swarfline.plant import Plant, Server

if TYPE_CHECKING:
    from swarfline.connect.certificates import Own
    from swarfline.connect.trusting import Seen

ACCEPT = click.Choice(["time", "host", "uri"])


@click.command()
@PLANT_FILE
@click.argument("server", required=False)
@click.option("--fingerprint", help="Approve without asking if the SHA-256 is this one.")
@click.option("--accept", multiple=True, type=ACCEPT, help="Approve in spite of this defect; several times.")
@click.option("--list", "show_list", is_flag=True, help="Which servers are approved; connects to none.")
@click.option("--forget", is_flag=True, help="Approve the SERVER no longer.")
@click.option("--own", "show_own", is_flag=True, help="Our own certificate, for the machine to trust.")
def trust(
    file: Path,
    server: str | None,
    fingerprint: str | None,
    accept: tuple[str, ...],
    show_list: bool,
    forget: bool,
    show_own: bool,
) -> None:
    """Look at the certificate of a SERVER of a plant FILE, and approve it.

    Compare the fingerprint with what the machine's own screen or its builder's papers tell, not with what came
    over the same network. Only approved certificates are connected to; a changed one is refused until it is
    approved here. Exit code 0: approved (or told), 1: not approved, 2: wrong use.
    """
    from swarfline.connect import trusting

    plant = plant_of(file)
    try:
        if show_own:
            click.echo(_own_text(trusting.our_own(plant.path)))
            return
        if show_list:
            click.echo("\n".join(_line(one, trusting.approved(one, plant.path)) for one in plant.servers))
            return
        chosen = _chosen(plant, server)
        if forget:
            was = trusting.forget(chosen, plant.path)
            click.echo(f"{chosen.id}: {'approved no longer' if was else 'was not approved'}")
            return
        seen = asyncio.run(trusting.look(chosen, plant.path))
        click.echo(_seen_text(seen))
        if fingerprint is None and not click.confirm("Is this the certificate of that machine?"):
            fail("not approved; nothing was changed")
        click.echo(f"approved: {trusting.approve(seen, plant.path, accept, fingerprint)}")
    except (trusting.Refused, OSError) as problem:
        fail(f"{server or file}: {problem}")


def _chosen(plant: Plant, server: str | None) -> Server:
    secured = [one for one in plant.servers if one.security.policy != "None"]
    if server is None and len(secured) == 1:
        return secured[0]
    for one in plant.servers:
        if one.id == server:
            return one
    ids = ", ".join(one.id for one in plant.servers)
    raise click.UsageError(f"which SERVER? {f'{server!r} is unknown; ' if server else ''}the plant file has {ids}")


def _line(server: Server, approved: str | None) -> str:
    if server.security.policy == "None":
        return f"{server.id}: no security (policy None)"
    state = f"approved, SHA-256 {approved}" if approved else "NOT approved"
    return f"{server.id}: {server.security.channel}: {state}"


def _own_text(ours: Own) -> str:
    return (
        f"certificate: {ours.certificate}\n"
        f"application URI: {ours.uri}\n"
        f"valid until: {ours.described.end:%Y-%m-%d}\n"
        f"SHA-256: {ours.described.fingerprint}"
    )


def _seen_text(seen: Seen) -> str:
    what = seen.described
    key = "no RSA key" if what.key_bits is None else f"RSA, {what.key_bits} bits"
    lines = [
        f"server: {seen.server}",
        f"subject: {what.subject}",
        f"application URI: {', '.join(what.uris) or 'none'}",
        f"hosts: {', '.join(what.hosts) or 'none'}",
        f"valid: {what.begin:%Y-%m-%d} to {what.end:%Y-%m-%d}",
        f"key: {key}; signed with {what.hash_name}",
        f"SHA-256: {what.fingerprint}",
    ]
    lines += [f"defect ({kind}): {text}" for kind, text in seen.defects]
    if seen.is_approved:
        lines.append("this certificate is approved already")
    if seen.before is not None:
        lines.append(f"this REPLACES an approved certificate with SHA-256: {seen.before}")
    return "\n".join(lines)
