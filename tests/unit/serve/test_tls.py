"""A real server over TLS, behind a proxy, and beside one: what is believed, and what may pass in clear."""

from __future__ import annotations

import asyncio
import ssl
import sys
from contextlib import asynccontextmanager
from pathlib import Path

import httpx
import pytest

from swarfline.plant import load
from swarfline.plant.model import Listen
from swarfline.serve import make_server, tls
from swarfline.serve.peers import Peers

from .signed import PASSWORD, Works

sys.path.append(str(Path(__file__).parents[2]))
from certified import self_made

ENCRYPTED = 'users = true, certificate = "plant.pem", key = "plant.key.pem"'
PROXIED = 'users = true, proxy = ["127.0.0.2"]'
SIGN_IN = {"content-type": "application/x-www-form-urlencoded"}


@asynccontextmanager
async def serving(plant):
    """The plant's server on a free port, which it yields."""
    ports: list[int] = []
    server = make_server(plant.app, "127.0.0.1", 0, ports.append)
    running = asyncio.create_task(server.serve())
    while not ports:
        await asyncio.sleep(0.02)
    try:
        yield ports[0]
    finally:
        server.stop()
        await running


@pytest.fixture(scope="module")
def encrypted(tmp_path_factory):
    folder = tmp_path_factory.mktemp("tls")
    self_made(folder)
    made = Works(folder, ENCRYPTED)
    yield made
    made.store.close()


@pytest.fixture(scope="module")
def proxied(tmp_path_factory):
    made = Works(tmp_path_factory.mktemp("proxied"), PROXIED)
    yield made
    made.store.close()


def trusting(plant):
    return ssl.create_default_context(cafile=str(Path(plant.plant.path).with_name("plant.pem")))


async def sign_in(http, origin, **headers):
    return await http.post(
        "/sign-in",
        content=f"name=Otto&password={PASSWORD.replace(' ', '+')}",
        headers={**SIGN_IN, "origin": origin, **headers},
    )


@pytest.mark.system
async def test_people_sign_in_over_tls(encrypted):
    encrypted.begin_anew()
    async with serving(encrypted) as port:
        origin = f"https://127.0.0.1:{port}"
        async with httpx.AsyncClient(base_url=origin, verify=trusting(encrypted)) as http:
            assert (await http.get("/api/v1/plant")).status_code == 401
            answer = await sign_in(http, origin)
            assert answer.status_code == 303
            assert "Secure" in answer.headers["set-cookie"] and "HttpOnly" in answer.headers["set-cookie"]
            assert (await http.get("/api/v1/plant")).status_code == 200
            body = {"stop": "2026-03-10T10:00:00+01:00", "reason": "Guard"}
            said = await http.post("/api/v1/machines/N1/stop-reasons", json=body, headers={"origin": origin})
            assert (said.status_code, said.json()["who"]) == (201, "Otto")
            spoofed = {"x-forwarded-proto": "http", "x-forwarded-for": "192.0.2.1"}
            assert (await http.get("/account", headers=spoofed)).status_code == 200
        async with httpx.AsyncClient(base_url=f"http://127.0.0.1:{port}") as http:
            with pytest.raises(httpx.HTTPError):
                await http.get("/health/live")
        old = ssl.create_default_context(cafile=str(Path(encrypted.plant.path).with_name("plant.pem")))
        old.maximum_version = ssl.TLSVersion.TLSv1_2
        async with httpx.AsyncClient(base_url=origin, verify=old) as http:
            assert (await http.get("/health/live")).status_code == 200


@pytest.mark.system
async def test_a_stream_ends_with_its_session(encrypted):
    encrypted.renew()
    encrypted.begin_anew()
    encrypted.app.state.signing.recheck_s = 0.0
    headers = {"authorization": f"Bearer {encrypted.token('viewer')}"}
    async with serving(encrypted) as port:
        site = httpx.AsyncClient(base_url=f"https://127.0.0.1:{port}", verify=trusting(encrypted), headers=headers)
        async with asyncio.timeout(60), site as http, http.stream("GET", "/api/v1/live") as stream:
            text = ""
            async for piece in stream.aiter_text():
                if "event: tick" in piece:
                    encrypted.store.users.end_all("Vera")
                text += piece
            assert text.endswith("event: ended\ndata: {}\n\n")
            assert (await http.get("/api/v1/live")).status_code == 401


def failures_of(plant):
    """Networks from which attempts failed, as the service counts them."""
    return {network for _, _, network in plant.app.state.verifier._throttle._failed if network}


@pytest.mark.system
async def test_a_stated_proxy_is_believed_and_nobody_else(proxied):
    proxied.begin_anew()
    told = {"x-forwarded-for": "198.51.100.9, 192.0.2.77", "x-forwarded-proto": "https"}
    async with serving(proxied) as port:

        def coming_from(address):
            transport = httpx.AsyncHTTPTransport(local_address=address)
            return httpx.AsyncClient(base_url=f"http://127.0.0.1:{port}", transport=transport)

        async with coming_from("127.0.0.2") as proxy, coming_from("127.0.0.3") as other:
            origin = "https://plant.example"
            host = {"host": "plant.example"}
            answer = await sign_in(proxy, origin, **told, **host)
            assert (answer.status_code, "__Host-swarfline=" in answer.headers["set-cookie"]) == (303, True)
            wrong = {"content": "name=Otto&password=x", "headers": {**SIGN_IN, "origin": origin, **host, **told}}
            assert (await proxy.post("/sign-in", **wrong)).status_code == 403
            # what the sender claims before the proxy's own word does not count
            assert failures_of(proxied) == {"192.0.2.77"}
            spoofed = await other.post("/sign-in", **wrong)
            assert spoofed.status_code == 403 and failures_of(proxied) == {"192.0.2.77", "127.0.0.3"}
            # over the loopback without TLS: the cookie is no Secure one, whatever is claimed
            answer = await sign_in(other, origin, **told, **host)
            assert answer.headers["set-cookie"].startswith("swarfline=")
            # a proxy that says that its own side is not encrypted: no password may pass it
            clear = {"x-forwarded-for": "192.0.2.77", "x-forwarded-proto": "http"}
            assert (await sign_in(proxy, origin, **clear, **host)).status_code == 403


@pytest.mark.parametrize(
    ("table", "peer", "passes"),
    [
        ({"proxy": ("192.0.2.7",)}, "192.0.2.7", True),
        ({"proxy": ("192.0.2.7",)}, "::ffff:192.0.2.7", True),
        ({"proxy": ("192.0.2.0/28",)}, "192.0.2.7", True),
        ({"proxy": ("192.0.2.7",)}, "127.0.0.1", True),
        ({"proxy": ("192.0.2.7",)}, "192.0.2.8", False),
        ({"proxy": ("192.0.2.7",)}, "2001:db8::7", False),
        ({}, "192.0.2.8", False),
        ({"certificate": "c", "key": "k"}, "192.0.2.8", True),
    ],
)
async def test_in_clear_only_proxies_and_this_computer_get_through(table, peer, passes):
    seen, sent = [], []

    async def app(scope, receive, send):
        seen.append(scope["client"][0])

    async def send(message):
        sent.append(message)

    scope = {"type": "http", "method": "GET", "path": "/", "headers": [], "client": (peer, 5), "scheme": "http"}
    await Peers(app, Listen(**table))(scope, None, send)
    assert seen == ([peer.removeprefix("::ffff:")] if passes else [])
    assert [m["status"] for m in sent if "status" in m] == ([] if passes else [403])


@pytest.fixture
def plant_file(write_plant, small_plant):
    return write_plant(f'{small_plant}\n[listen]\ncertificate = "plant.pem"\nkey = "plant.key.pem"\n')


async def shown(port):
    """The certificate that a server shows, in DER."""
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    context.check_hostname, context.verify_mode = False, ssl.CERT_NONE
    _, writer = await asyncio.open_connection("127.0.0.1", port, ssl=context)
    found = writer.get_extra_info("ssl_object").getpeercert(binary_form=True)
    writer.close()
    await writer.wait_closed()
    return found


def der(certificate):
    return ssl.PEM_cert_to_DER_cert(certificate.read_text(encoding="ascii"))


@pytest.mark.system
async def test_a_renewed_certificate_is_taken_without_a_restart_and_an_unfit_one_is_not(
    tmp_path, monkeypatch, caplog
):
    monkeypatch.setattr("swarfline.serve.server.LOOK_TICKS", 1)
    first, key = self_made(tmp_path)
    before = der(first)
    plant = Works(tmp_path, ENCRYPTED)
    async with serving(plant) as port:
        assert await shown(port) == before
        key.write_text("half of a key", encoding="ascii")
        while "not taken" not in caplog.text:
            await asyncio.sleep(0.05)
        assert await shown(port) == before
        renewed, _ = self_made(tmp_path)
        async with asyncio.timeout(60):
            while await shown(port) != der(renewed):
                await asyncio.sleep(0.05)
    plant.store.close()


def test_files_that_fit_have_no_problem(plant_file):
    certificate, key = self_made(plant_file.parent)
    plant = load(plant_file)
    assert tls.problem(plant) is None and tls.files(plant) == (certificate, key)


def test_what_is_wrong_with_them_is_told_with_what_to_do(plant_file, capfd):
    plant = load(plant_file)
    assert "plant.pem cannot be read: No such file or directory" in tls.problem(plant)
    _, key = self_made(plant_file.parent)
    key.chmod(0o644)
    assert f"chmod o= {key}" in tls.problem(plant)
    _, other = self_made(plant_file.parent, "other")
    other.replace(key)
    assert "are no certificate and its key" in tls.problem(plant)
    self_made(plant_file.parent, password=b"locked")
    assert "without a password" in tls.problem(plant)
    key.write_text("no key")
    assert "are no certificate and its key" in tls.problem(plant)
    assert capfd.readouterr().out == ""
