"""Secured sessions against asyncua's server: policies, users, approved and changed certificates."""

import asyncio
import logging

import pytest
from asyncua import ua

from swarfline.connect import Supervisor, inspect, pins
from swarfline.connect.certificates import fingerprint, folder_of
from swarfline.connect.trusting import Refused, approve, look
from swarfline.plant.load import check
from swarfline.signals import LINK, LINK_LOST

from .secured import PASSWORD, USER, OneUser, Secured, certificate, plant_table, write_pair

pytestmark = pytest.mark.system


def plant_of(tmp_path, url, **security):
    return check(plant_table(url, **security), str(tmp_path / "plant.toml"))


async def seen(plant):
    """What one look finds: (security, user's last error texts)."""
    found = await inspect(plant.servers[0], plant, plant.machines)
    return found, [f.found for f in found.findings if f.weight == "error"]


def pin(tmp_path, der, *accepted):
    pins.keep(folder_of(str(tmp_path / "plant.toml")), "line", pins.Pin(der, accepted))


@pytest.fixture
def der():
    return certificate()


async def test_every_policy_and_mode(tmp_path, der, free_port):
    pin(tmp_path, der)
    async with Secured(free_port, tmp_path, der) as server:
        for policy in ("Basic256Sha256", "Aes128Sha256RsaOaep", "Aes256Sha256RsaPss"):
            for mode in ("Sign", "SignAndEncrypt"):
                plant = plant_of(tmp_path, server.url, policy=policy, mode=mode)
                found, errors = await seen(plant)
                assert not errors, (policy, mode)
                assert found.is_reached
                assert found.security.replace("_", "") == f"{policy} {mode}"
                assert [shown.value for shown in found.signals] == ["executing", 0]


async def test_nothing_is_trusted_silently(tmp_path, der, free_port):
    async with Secured(free_port, tmp_path, der) as server:
        _, (error,) = await seen(plant_of(tmp_path, server.url, policy="Basic256Sha256"))
        assert "not approved yet" in error
        assert "swarfline trust plant.toml line" in error


async def test_a_changed_certificate_is_refused_with_both_fingerprints(tmp_path, der, free_port):
    other = certificate("other")
    pin(tmp_path, other)
    async with Secured(free_port, tmp_path, der) as server:
        plant = plant_of(tmp_path, server.url, policy="Basic256Sha256")
        supervisor = Supervisor(plant.servers[0], plant, lambda batch: True)
        task = asyncio.create_task(supervisor.run())
        async with asyncio.timeout(60):
            while not supervisor.status.last_error:
                await asyncio.sleep(0.05)
        task.cancel()
        assert fingerprint(der) in supervisor.status.last_error
        assert fingerprint(other) in supervisor.status.last_error


async def test_who_shows_the_approved_certificate_without_its_key_gets_no_session(tmp_path, der, free_port):
    """The list of endpoints is not authentic: a server that shows another's certificate there must fail."""
    approved = certificate("approved")
    pin(tmp_path, approved)
    async with Secured(free_port, tmp_path, der) as server:
        for endpoint in server.server.iserver.endpoints:
            endpoint.ServerCertificate = approved
        plant = plant_of(tmp_path, server.url, policy="Basic256Sha256")
        found, errors = await seen(plant)
        assert errors
        assert not found.is_reached


@pytest.mark.parametrize(("host", "accepted", "fine"), [("192.0.2.7", (), False), ("192.0.2.7", ("host",), True)])
async def test_a_defect_is_refused_unless_it_was_accepted(tmp_path, host, accepted, fine, free_port):
    other = certificate(host=host)
    pin(tmp_path, other, *accepted)
    async with Secured(free_port, tmp_path, other) as server:
        plant = plant_of(tmp_path, server.url, policy="Basic256Sha256")
        _, errors = await seen(plant)
        assert bool(errors) is not fine
        assert fine or "192.0.2.7, not for 127.0.0.1" in errors[0]


async def test_a_policy_that_is_not_offered_names_those_that_are(tmp_path, der, free_port):
    pin(tmp_path, der)
    server = Secured(free_port, tmp_path, der)
    async with server:
        server.server.iserver.endpoints = [
            e for e in server.server.iserver.endpoints if "Aes256" not in e.SecurityPolicyUri
        ]
        plant = plant_of(tmp_path, server.url, policy="Aes256Sha256RsaPss")
        _, (error,) = await seen(plant)
        assert "offers no endpoint with Aes256Sha256RsaPss, SignAndEncrypt" in error
        assert "Basic256Sha256, Sign" in error


async def test_user_by_password_and_by_certificate(tmp_path, der, monkeypatch, free_port):
    pin(tmp_path, der)
    user = certificate("user", uri="urn:test:user")
    write_pair(tmp_path, "user", user)
    (tmp_path / "secret.txt").write_text(PASSWORD + "\n")
    monkeypatch.setenv("LINE_PASSWORD", PASSWORD)
    async with Secured(free_port, tmp_path, der, user_manager=OneUser(user)) as server:
        for come in (
            {"user": USER, "password_env": "LINE_PASSWORD"},
            {"user": USER, "password_file": "secret.txt"},
            {"certificate": "user.der", "key": "user.pem"},
        ):
            _, errors = await seen(plant_of(tmp_path, server.url, policy="Basic256Sha256", **come))
            assert not errors, come
        _, (error,) = await seen(plant_of(tmp_path, server.url, policy="Basic256Sha256"))
        assert "user" in error


@pytest.mark.parametrize(
    ("come", "words"),
    [
        ({"password_env": "NOT_SET"}, "environment variable NOT_SET"),
        ({"password_file": "nowhere.txt"}, "cannot be read from"),
        ({"password_file": "empty.txt"}, "first line of"),
    ],
)
async def test_a_password_that_is_not_there_is_told(tmp_path, come, words):
    (tmp_path / "empty.txt").write_text("")
    plant = plant_of(tmp_path, "opc.tcp://127.0.0.1:9/line", policy="Basic256Sha256", user=USER, **come)
    _, (error,) = await seen(plant)
    assert words in error


async def test_a_password_shows_up_nowhere(tmp_path, der, monkeypatch, caplog, free_port):
    """Right and wrong, on the way in and after a refusal: not in logs, errors, status or representations."""
    caplog.set_level(logging.DEBUG)
    pin(tmp_path, der)
    told = []
    async with Secured(free_port, tmp_path, der, user_manager=OneUser()) as server:
        for secret in (PASSWORD, "Falsch-und-geheim-0815"):
            monkeypatch.setenv("LINE_PASSWORD", secret)
            plant = plant_of(
                tmp_path, server.url, policy="Basic256Sha256", user=USER, password_env="LINE_PASSWORD"
            )
            found, errors = await seen(plant)
            assert bool(errors) is (secret != PASSWORD)
            supervisor = Supervisor(plant.servers[0], plant, lambda batch: True)
            task = asyncio.create_task(supervisor.run())
            async with asyncio.timeout(60):
                while not (supervisor.status.last_error or supervisor.status.state == "connected"):
                    await asyncio.sleep(0.05)
            task.cancel()
            await asyncio.gather(task, return_exceptions=True)
            told += [repr(found), repr(supervisor.status), repr(plant), plant.model_dump_json()]
    told.append(caplog.text)
    assert "geheim" not in "".join(told)
    assert "swarfline" in caplog.text


async def test_the_channel_is_renewed_and_no_value_is_missed(tmp_path, der, free_port):
    """Lifetime 1 s, so a renewal each 0.75 s (OPC 10000-4, 5.5.2: renewed at 75 %)."""
    pin(tmp_path, der)
    renewals, counted, lost = 0, [], []
    async with Secured(free_port, tmp_path, der) as server:
        plant = plant_of(tmp_path, server.url, policy="Basic256Sha256", channel_lifetime_s=1)
        from asyncua.client.ua_client import UaClient

        plain = UaClient.open_secure_channel

        async def noted(client, params):
            nonlocal renewals
            renewals += params.RequestType == ua.SecurityTokenRequestType.Renew
            return await plain(client, params)

        UaClient.open_secure_channel = noted
        try:

            def sink(batch):
                counted.extend(r.value for r in batch if r.signal == "part_count")
                lost.extend(r for r in batch if r.signal == LINK and r.value == LINK_LOST)
                return True

            task = asyncio.create_task(Supervisor(plant.servers[0], plant, sink).run())
            written = 0
            async with asyncio.timeout(60):
                while not counted or renewals < 5:
                    if counted:
                        written += 1
                        await server.count.write_value(written, ua.VariantType.UInt32)
                    await asyncio.sleep(0.02)
                while counted[-1] < written:
                    await asyncio.sleep(0.05)
            task.cancel()
            await asyncio.gather(task, return_exceptions=True)
        finally:
            UaClient.open_secure_channel = plain
    assert sorted(set(counted)) == list(range(written + 1))
    assert not lost


async def test_trust_sees_approves_and_refuses(tmp_path, der, free_port):
    path = str(tmp_path / "plant.toml")
    async with Secured(free_port, tmp_path, der) as server:
        plant = plant_of(tmp_path, server.url, policy="Basic256Sha256")
        first = await look(plant.servers[0], path)
        assert (first.described.fingerprint, first.defects, first.is_approved) == (fingerprint(der), (), False)
        with pytest.raises(Refused, match="not the one given"):
            approve(first, path, (), "00" * 32)
        colons = ":".join(fingerprint(der)[i : i + 2] for i in range(0, 64, 2)).upper()
        approve(first, path, (), colons)
        assert (await look(plant.servers[0], path)).is_approved
        _, errors = await seen(plant)
        assert not errors


async def test_trust_never_approves_a_weak_key(tmp_path, free_port):
    weak = certificate("weak", bits=1024)
    async with Secured(free_port, tmp_path, certificate()) as server:
        for endpoint in server.server.iserver.endpoints:
            endpoint.ServerCertificate = weak
        plant = plant_of(tmp_path, server.url, policy="Basic256Sha256")
        found = await look(plant.servers[0], str(tmp_path / "plant.toml"))
        with pytest.raises(Refused, match="weak: an RSA key of 1024 bits"):
            approve(found, str(tmp_path / "plant.toml"), ("time", "host", "uri"))
