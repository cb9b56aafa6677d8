"""Checks of [listen]: what others can reach needs users, and passwords do not go over a network in clear."""

from __future__ import annotations

import ipaddress
from collections.abc import Iterator

from swarfline.plant.model import Listen, Plant


def is_loopback(host: str) -> bool:
    """Whether nobody outside this machine can reach what listens there."""
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def listen_errors(plant: Plant) -> Iterator[str]:
    """One line per error."""
    listen = plant.listen
    yield from _reachable(listen)
    if (listen.certificate is None) != (listen.key is None):
        there, missing = ("certificate", "key") if listen.key is None else ("key", "certificate")
        yield f"[listen]: key {there!r}: is of no use without {missing!r}"
    for number, entry in enumerate(listen.proxy, 1):
        problem = _proxy_problem(entry)
        if problem is not None:
            yield f"[listen.proxy]: entry {number} = {entry!r}: {problem}"


def _reachable(listen: Listen) -> Iterator[str]:
    if is_loopback(listen.host):
        return
    where = f"[listen]: key 'host' = {listen.host!r}: others can reach this address;"
    if not listen.users:
        yield f"{where} write users = true, and make the first one by 'swarfline user add'"
    if listen.certificate is None and listen.key is None and not listen.proxy:
        yield (
            f"{where} name the 'certificate' and 'key' of TLS, or the 'proxy' that encrypts in front, or "
            "passwords could be read on the network"
        )


def _proxy_problem(entry: str) -> str | None:
    try:
        network = ipaddress.ip_network(entry)
    except ValueError:
        return "must be an IP address or network, such as '192.0.2.10' or '192.0.2.8/29'"
    if network.prefixlen == 0:
        return "would believe everybody; name the proxy's own address"
    return None
