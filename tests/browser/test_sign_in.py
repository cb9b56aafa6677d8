"""Signing in as people and screens do, in a real browser over TLS, with scripts and without."""

from __future__ import annotations

import asyncio
import re
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import expect
from serve.signed import PASSWORD, Works

from certified import self_made
from swarfline.serve.server import make_server

pytestmark = pytest.mark.browser

SECURE = {"ignore_https_errors": True}


class Door:
    """A plant with users, served over TLS."""

    def __init__(self, folder: Path) -> None:
        self_made(folder)
        self.works = Works(folder, 'users = true, certificate = "plant.pem", key = "plant.key.pem"')
        self.works.app.state.signing.recheck_s = 0.0
        ready, ports = threading.Event(), []

        def heard(port: int) -> None:
            ports.append(port)
            ready.set()

        self._loop = asyncio.new_event_loop()
        self._server = make_server(self.works.app, "127.0.0.1", 0, heard)
        self._thread = threading.Thread(
            target=self._loop.run_until_complete, args=(self._server.serve(),), daemon=True
        )
        self._thread.start()
        assert ready.wait(10)
        self.url = f"https://127.0.0.1:{ports[0]}"

    def close(self) -> None:
        """End the service."""
        self._loop.call_soon_threadsafe(self._server.stop)
        self._thread.join(10)
        assert not self._thread.is_alive()
        self._loop.close()
        self.works.store.close()


@pytest.fixture(scope="module")
def door(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Door]:
    made = Door(tmp_path_factory.mktemp("door"))
    yield made
    made.close()


@pytest.mark.parametrize("scripts", [True, False])
def test_a_person_signs_in_by_keyboard_and_comes_back_to_the_page_asked_for(door, watch, scripts):
    watched = watch(java_script_enabled=scripts, viewport={"width": 360, "height": 740}, **SECURE)
    page = watched.page
    page.goto(f"{door.url}/machines/N1?day=2026-03-10")
    expect(page.get_by_role("heading", level=1)).to_have_text("Sign in")
    page.keyboard.type("Otto")
    page.keyboard.press("Tab")
    page.keyboard.type(PASSWORD)
    page.keyboard.press("Enter")
    expect(page).to_have_url(f"{door.url}/machines/N1?day=2026-03-10")
    page.get_by_role("link", name="Signed in as Otto").click()
    expect(page.get_by_role("row", name=re.compile("this one"))).to_have_count(1)
    widths = page.evaluate("[document.documentElement.scrollWidth, innerWidth]") if scripts else [0, 0]
    assert widths[0] <= widths[1]
    page.get_by_role("button", name="Sign out", exact=True).click()
    expect(page).to_have_url(f"{door.url}/sign-in")
    page.goto(f"{door.url}/machines/N1")
    expect(page.get_by_role("heading", level=1)).to_have_text("Sign in")
    assert watched.complaints == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_at_the_door_and_behind_it(door, watch, axe, scheme):
    page = watch(color_scheme=scheme, bypass_csp=True, **SECURE).page
    page.goto(f"{door.url}/account")
    assert axe(page) == []
    page.keyboard.type("Otto")
    page.keyboard.press("Tab")
    page.keyboard.type(PASSWORD)
    page.keyboard.press("Enter")
    expect(page).to_have_url(f"{door.url}/account")
    assert axe(page) == []


def test_what_is_wrong_is_said_beside_the_fields_and_the_name_stays(door, watch):
    page = watch(**SECURE).page
    page.goto(f"{door.url}/sign-in?to=/energy")
    page.get_by_label("Name").fill("Vera")
    page.get_by_label("Password").fill("not her password")
    page.get_by_role("button", name="Sign in", exact=True).first.click()
    expect(page.get_by_role("alert")).to_have_text("Name and password do not go together.")
    expect(page.get_by_label("Name")).to_have_value("Vera")
    expect(page.get_by_label("Password")).to_be_focused()
    page.get_by_label("Password").fill(PASSWORD)
    page.keyboard.press("Enter")
    expect(page).to_have_url(f"{door.url}/energy")


def test_a_screen_signs_in_by_a_link_and_a_page_left_open_is_led_away_when_its_token_ends(door, watch):
    token, asked = door.works.token("viewer", "Hall"), []
    watched = watch(**SECURE)
    page = watched.page
    page.on("request", lambda request: asked.append((request.url, request.headers.get("referer", ""))))
    page.goto(f"{door.url}/sign-in#token={token}&to=/wall")
    expect(page).to_have_url(f"{door.url}/wall")
    assert not any(token in text for pair in asked for text in pair if "#" not in text)
    expect(page.locator("#link[data-link=live]")).to_be_attached()
    assert watched.complaints == []
    cookies = {c["name"]: c for c in page.context.cookies()}
    assert cookies["__Host-swarfline"]["httpOnly"] and cookies["__Host-swarfline"]["secure"]
    assert page.evaluate("document.cookie").find("swarfline") == -1
    door.works.store.users.end_all("Hall")
    expect(page.get_by_role("heading", level=1)).to_have_text("Sign in")
