"""Signing in and out, sessions and tokens, whose name entries bear, and passwords changed on the page."""

from __future__ import annotations

import logging
import time
from http.cookies import SimpleCookie
from pathlib import Path

import pytest

from swarfline.passwords import Cost, hashed, is_outdated
from swarfline.serve import create_app
from swarfline.serve.verifying import Verifier
from swarfline.store import Store

from .signed import HOUR_US, NAMES, PASSWORD, Signed, Works

STOP = {"stop": "2026-03-10T10:00:00+01:00", "reason": "Guard"}
FORM = "/sign-in"


@pytest.fixture(scope="module")
def works(tmp_path_factory):
    made = Works(tmp_path_factory.mktemp("signed"))
    yield made
    made.store.close()


@pytest.fixture
def plant(works):
    works.begin_anew()
    return works


def cookies(answer):
    found = SimpleCookie()
    for header in answer.headers.get_list("set-cookie"):
        found.load(header)
    return found


def signed_in(plant, name=NAMES["operator"], password=PASSWORD, **fields):
    """A browser after it signed in, and the answer."""
    answer = plant.nobody().form(FORM, name=name, password=password, **fields)
    assert answer.status_code == 303, answer.text
    return Signed(plant.app, cookies(answer)["swarfline"].value), answer


def test_a_page_asked_for_leads_to_signing_in_and_back(plant):
    asked = plant.nobody().get("/machines/N1", params={"day": "2026-03-10"})
    assert (asked.status_code, asked.headers["location"]) == (
        303,
        "/sign-in?to=%2Fmachines%2FN1%3Fday%3D2026-03-10",
    )
    page = plant.nobody().get(asked.headers["location"])
    assert 'name="to" value="/machines/N1?day=2026-03-10"' in page.text
    assert page.headers["cache-control"] == "no-store"
    browser, answer = signed_in(plant, to="/machines/N1?day=2026-03-10")
    assert answer.headers["location"] == "/machines/N1?day=2026-03-10"
    assert browser.get(answer.headers["location"]).status_code == 200


@pytest.mark.parametrize(
    "to",
    ["//evil.example/", "https://evil.example/", "/\\evil.example", "javascript:alert(1)", "", "\t//evil.example"],
)
def test_it_leads_nowhere_else(plant, to):
    _, answer = signed_in(plant, to=to)
    assert answer.headers["location"] == "/"


def test_programs_are_told_and_not_led(plant):
    told = plant.nobody().get("/api/v1/plant")
    assert (told.status_code, told.headers["content-type"]) == (401, "application/problem+json")
    assert told.headers["www-authenticate"].startswith("Bearer ")
    assert "content-security-policy" in told.headers


def test_the_cookie_is_closed_to_scripts_and_to_other_sites(plant):
    _, answer = signed_in(plant)
    (cookie,) = cookies(answer).values()
    assert (cookie["httponly"], cookie["samesite"], cookie["path"], cookie["domain"]) == (True, "lax", "/", "")
    assert int(cookie["max-age"]) == 12 * 3600
    assert len(cookie.value) >= 43  # 256 bits in base64


def test_over_tls_it_is_sent_over_tls_only(plant):
    answer = plant.nobody().form(
        "https://plant/sign-in", name="Otto", password=PASSWORD, headers={"origin": "https://plant"}
    )
    (cookie,) = cookies(answer).values()
    assert (cookie.key, cookie["secure"], cookie["path"]) == ("__Host-swarfline", True, "/")
    assert plant.nobody().get("/", headers={"cookie": f"swarfline={cookie.value}"}).status_code == 200
    over = Signed(plant.app)
    over.headers["cookie"] = f"swarfline={cookie.value}"
    assert over.get("https://plant/").status_code == 303


def test_the_database_knows_no_secret(plant):
    browser, _ = signed_in(plant)
    secret, token = browser.headers["cookie"].partition("=")[2], plant.token("viewer")
    with plant.store.engine.connect() as connection:
        connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
    kept = Path(plant.store.engine.url.database).read_bytes()
    assert b"sign_ins" in kept
    for word in (secret, token, PASSWORD):
        assert word.encode() not in kept


@pytest.mark.parametrize(
    ("name", "password"),
    [("Otto", "mistaken"), ("Otto", ""), ("", PASSWORD), ("Nobody", PASSWORD), ("Hall", ""), ("Hall", PASSWORD)],
)
def test_what_is_wrong_is_not_told_apart(plant, name, password):
    answer = plant.nobody().form(FORM, name=name, password=password, to="/api")
    assert answer.status_code == 403
    assert "Name and password do not go together." in answer.text
    assert 'name="to" value="/api"' in answer.text
    assert "set-cookie" not in answer.headers
    assert password == "" or password not in answer.text


def test_names_that_nobody_has_take_as_long_as_others(plant):
    # processor time of all threads, of the quickest of three; how long that is does not matter
    def took(name):
        times = []
        for _ in range(3):
            plant.app.state.verifier = Verifier(plant.app.state.signing)
            begun = time.process_time()
            plant.nobody().form(FORM, name=name, password="not the right one")
            times.append(time.process_time() - begun)
        return min(times)

    known = took("Otto")
    assert known / 3 < took("Nobody") < known * 3
    assert known / 3 < took("Hall") < known * 3


def test_the_letter_case_of_the_name_does_not_matter_and_it_shows_as_it_was_given(plant):
    browser, _ = signed_in(plant, name="  OTTO ")
    assert ">Otto</a>" in browser.get("/connections").text


def test_many_failures_are_slowed_with_the_time_to_wait(plant):
    for _ in range(5):
        assert plant.nobody().form(FORM, name="Otto", password="no").status_code == 403
    answer = plant.nobody().form(FORM, name="Otto", password=PASSWORD)
    assert (answer.status_code, answer.headers["retry-after"]) == (429, "1")
    assert "try again in 1 s" in answer.text
    plant.clock.us += 1_000_000
    signed_in(plant)


def test_what_fails_is_logged_without_names_that_nobody_has(plant, caplog):
    with caplog.at_level(logging.INFO):
        plant.nobody().form(FORM, name="my secret words", password="x")
        plant.nobody().form(FORM, name="otto", password="typed wrongly")
        signed_in(plant)
    text = caplog.text
    assert "an unknown name from 127.0.0.1" in text and "signing in failed: 'otto' from 127.0.0.1" in text
    assert "signed in: Otto from 127.0.0.1" in text
    assert "secret words" not in text and "wrongly" not in text and PASSWORD not in text


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({"origin": "http://evil.example"}, 403),
        ({"origin": "null"}, 403),
        ({"origin": "http://plant", "sec-fetch-site": "cross-site"}, 403),
        ({"origin": "http://plant", "sec-fetch-site": "same-origin"}, 303),
    ],
)
def test_forms_of_other_pages_are_refused(plant, headers, status):
    assert plant.nobody().form(FORM, name="Otto", password=PASSWORD, headers=headers).status_code == status
    browser = plant.by_session("operator")
    assert browser.form("/sign-out", headers=headers).status_code == status
    assert browser.get("/connections").status_code == (303 if status == 303 else 200)


def test_entering_by_a_page_of_another_origin_is_refused_in_spite_of_the_cookie(plant):
    browser = plant.by_session("operator")
    told = browser.post("/api/v1/machines/N1/stop-reasons", json=STOP, headers={"origin": "http://evil.example"})
    assert told.status_code == 403
    # names do not matter where users sign in: the cookie belongs to one
    answer = browser.post(
        "/api/v1/machines/N1/stop-reasons", json=STOP, headers={"origin": "https://hall:8750", "host": "hall:8750"}
    )
    assert answer.status_code == 201


def test_signing_out_ends_the_session(plant):
    browser, _ = signed_in(plant)
    answer = browser.form("/sign-out")
    assert (answer.status_code, answer.headers["location"]) == (303, "/sign-in")
    assert cookies(answer)["swarfline"]["max-age"] == "0"
    assert browser.get("/connections").status_code == 303
    assert browser.get("/api/v1/plant").status_code == 401


def test_signing_in_anew_ends_the_session_before(plant):
    browser, _ = signed_in(plant)
    answer = browser.form(FORM, name="Vera", password=PASSWORD)
    assert browser.get("/connections").status_code == 303
    assert ">Vera</a>" in Signed(plant.app, cookies(answer)["swarfline"].value).get("/connections").text


def test_a_session_ends_at_last_and_when_it_is_not_used(plant):
    browser = plant.by_session("viewer")
    for _ in range(11):
        plant.clock.us += HOUR_US
        assert browser.get("/api/v1/plant").status_code == 200
    plant.clock.us += HOUR_US
    assert browser.get("/api/v1/plant").status_code == 401
    other = plant.by_session("viewer")
    plant.clock.us += 2 * HOUR_US - 1
    assert other.get("/api/v1/plant").status_code == 200
    plant.clock.us += 2 * HOUR_US
    assert other.get("/api/v1/plant").status_code == 401


def test_sessions_outlast_a_restart(plant):
    browser, token = plant.by_session("viewer"), plant.token("viewer")
    again = Store.open(f"sqlite:///{plant.store.engine.url.database}")
    app = create_app(plant.plant, again, clock_us=plant.clock)
    secret = browser.headers["cookie"].partition("=")[2]
    assert Signed(app, secret).get("/api/v1/plant").status_code == 200
    assert Signed(app, token=token).get("/api/v1/plant").status_code == 200
    again.close()


@pytest.mark.parametrize("change", ["set_password", "set_role", "remove"])
def test_whoever_is_changed_is_signed_out(plant, change):
    browsers = [plant.by_session("operator"), plant.by_token("viewer", "Otto")]
    assert [b.get("/api/v1/plant").status_code for b in browsers] == [200, 200]
    told = {"set_password": ("Otto", "x"), "set_role": ("Otto", "viewer"), "remove": ("Otto",)}[change]
    getattr(plant.store.users, change)(*told)
    assert [b.get("/api/v1/plant").status_code for b in browsers] == [401, 401]
    assert plant.by_session("viewer").get("/api/v1/plant").status_code == 200


@pytest.mark.parametrize(
    "cookie",
    ["swarfline=", "swarfline=x", 'swarfline="', "swarfline", "=; ;;", "swarfline=" + "x" * 5000, "sw\xff=1"],
)
def test_cookies_that_are_none_of_ours_open_nothing(plant, cookie):
    assert plant.nobody().get("/api/v1/plant", headers={"cookie": cookie.encode("latin-1")}).status_code == 401


def test_a_token_is_a_program_and_may_what_it_says(plant):
    looks, enters = plant.by_token("viewer", "Otto"), plant.by_token("operator")
    assert looks.get("/metrics").status_code == looks.get("/health/ready").status_code == 200
    assert looks.enter("machines/N1/stop-reasons", **STOP).status_code == 403
    answer = enters.enter("machines/N1/stop-reasons", **STOP)
    assert (answer.status_code, answer.json()["who"]) == (201, "Otto")
    plant.clock.us += 24 * HOUR_US
    assert enters.get("/api/v1/plant").status_code == 401


def test_a_token_is_never_more_than_its_user(plant):
    token = plant.by_token("operator", "Vera")
    assert token.get("/api/v1/plant").status_code == 200
    assert token.enter("machines/N1/stop-reasons", **STOP).status_code == 403


def test_a_session_is_no_token_and_a_token_that_enters_is_no_cookie(plant):
    session = plant.by_session("operator").headers["cookie"].partition("=")[2]
    assert Signed(plant.app, token=session).get("/api/v1/plant").status_code == 401
    assert Signed(plant.app, plant.token("operator")).get("/api/v1/plant").status_code == 401


def test_a_screen_signs_in_by_its_token(plant):
    token = plant.token("viewer", "Hall", hours=48)
    answer = plant.nobody().form(FORM, token=token, to="/machines/N1")
    assert (answer.status_code, answer.headers["location"]) == (303, "/machines/N1")
    cookie = cookies(answer)["swarfline"]
    assert (cookie.value, int(cookie["max-age"]), cookie["httponly"]) == (token, 48 * 3600, True)
    screen = Signed(plant.app, token)
    plant.clock.us += 47 * HOUR_US
    assert screen.get("/machines/N1").status_code == 200
    # signing out at the screen must not end what other screens use
    assert screen.form("/sign-out").status_code == 303
    assert screen.form("/account/end").status_code == 403
    assert screen.get("/connections").status_code == 200


@pytest.mark.parametrize("hours", [48, -1])
def test_other_tokens_sign_in_no_screen(plant, hours):
    role = "operator" if hours > 0 else "viewer"
    answer = plant.nobody().form(FORM, token=plant.token(role, hours=hours))
    assert answer.status_code == 403 and "set-cookie" not in answer.headers
    assert "This token is not known" in answer.text


def test_probes_are_open_to_this_computer_where_it_is_said(plant, tmp_path_factory):
    assert plant.nobody().get("/metrics").status_code == plant.nobody().get("/health/ready").status_code == 401
    other = Works(tmp_path_factory.mktemp("open"), "users = true, probes_open = true")
    assert other.nobody().get("/metrics").status_code == other.nobody().get("/health/ready").status_code == 200
    assert other.nobody().get("/api/v1/plant").status_code == 401
    other.store.close()


def test_entries_bear_the_name_of_whoever_is_signed_in(plant):
    browser = plant.by_session("operator")
    first = browser.enter("machines/N1/stop-reasons", **STOP)
    assert (first.status_code, first.json()["who"]) == (201, "Otto")
    same = browser.enter("machines/N1/stop-reasons", who="Otto", **STOP)
    assert (same.status_code, same.json()["who"]) == (201, "Otto")
    undone = plant.by_session("engineer").enter(f"entries/{first.json()['number']}/undo")
    assert (undone.status_code, undone.json()["undone_by"]) == (200, "Enid")


def test_a_target_is_undone_by_those_only_who_may_set_one(plant):
    target = {"span": "shift", "quantity": 90}
    operator, engineer = plant.by_session("operator"), plant.by_session("engineer")
    assert operator.enter("machines/N1/targets", **target).status_code == 403
    number = engineer.enter("machines/N1/targets", **target).json()["number"]
    assert operator.enter(f"entries/{number}/undo").status_code == 403
    assert engineer.enter(f"entries/{number}/undo").status_code == 200


def test_nobody_enters_in_anothers_name(plant):
    answer = plant.by_session("operator").enter("machines/N1/stop-reasons", who="Vera", **STOP)
    assert answer.status_code == 422
    (error,) = answer.json()["errors"]
    assert (error["parameter"], error["detail"]) == (
        "who", "'Vera' is not who is signed in ('Otto'); leave it out",
    )  # fmt: skip
    assert plant.by_session("viewer").get("/api/v1/stop-entries").json()["items"] == []


def test_where_there_are_no_users_names_are_told_as_before(writing):
    assert writing.entered("machines/N1/stop-reasons", **STOP)["who"] == "Ana"
    answer = writing.enter("machines/N1/stop-reasons", who="", **STOP)
    assert (answer.status_code, answer.json()["errors"][0]["parameter"]) == (422, "who")
    assert answer.json()["errors"][0]["detail"] == "tell who enters this"


def test_where_there_are_no_users_nobody_signs_in(writing):
    for path in ("/sign-in", "/account"):
        assert writing.get(path).status_code == 404
    form = {"host": "127.0.0.1:8750", "origin": "http://127.0.0.1:8750"}
    for path in ("/sign-in", "/sign-out", "/account/password", "/account/end"):
        assert writing.post(path, data={"name": "Ana", "password": "x"}, headers=form).status_code == 404
    assert "/account" not in writing.get("/connections").text


def test_whether_nobody_signs_in_is_told_in_the_description(plant, writing):
    described = plant.by_session("viewer").get("/api/openapi.json").json()
    assert set(described["components"]["securitySchemes"]) == {"session", "token"}
    assert "security" not in writing.get("/api/openapi.json").json()


def test_the_account_tells_what_one_is_signed_in_by_and_ends_it(plant):
    browser, other = signed_in(plant)[0], plant.by_session("operator")
    vera = plant.by_session("viewer")
    page = browser.get("/account").text
    assert page.count("this one") == 1 and page.count('name="digest"') == 2
    digest = plant.store.users.sign_ins("Vera")[0].digest
    assert browser.form("/account/end", digest=digest).headers["location"] == "/account"
    assert vera.get("/connections").status_code == 200
    mine = [one.digest for one in plant.store.users.sign_ins("Otto") if one.about == "a test"]
    browser.form("/account/end", digest=mine[0])
    assert (other.get("/connections").status_code, browser.get("/connections").status_code) == (303, 200)
    plant.token("operator")
    assert browser.form("/account/end").headers["location"] == "/sign-in"
    assert browser.get("/connections").status_code == 303
    assert [one.kind for one in plant.store.users.sign_ins("Otto")] == ["token"]


def test_the_password_is_changed_by_whoever_knows_it(plant):
    browser, other = signed_in(plant)[0], plant.by_session("operator")
    new = "another set of words"
    fields = {"present": PASSWORD, "new": new, "again": new}
    for wrong, status, text in (
        ({"present": "no"}, 403, "do not go together"),
        ({"again": "differs"}, 422, "differ"),
        ({"new": "short", "again": "short"}, 422, "at least 12"),
    ):
        answer = browser.form("/account/password", **{**fields, **wrong})
        assert answer.status_code == status and text in answer.text
    answer = browser.form("/account/password", **fields)
    assert (answer.status_code, answer.headers["location"]) == (303, "/account?changed=true")
    assert (browser.get("/connections").status_code, other.get("/connections").status_code) == (303, 303)
    after = Signed(plant.app, cookies(answer)["swarfline"].value)
    assert "The password is changed." in after.get("/account?changed=true").text
    assert plant.nobody().form(FORM, name="Otto", password=PASSWORD).status_code == 403
    signed_in(plant, password=new)


def test_a_password_kept_at_another_cost_is_kept_anew_when_it_is_typed(plant):
    plant.store.users.set_password("Otto", hashed(PASSWORD, Cost(4, 8, 1)))
    browser, _ = signed_in(plant)
    assert not is_outdated(plant.store.users.find("Otto")[1])
    assert browser.get("/connections").status_code == 200
    signed_in(plant)


def test_names_are_shown_as_text(plant):
    answer = plant.nobody().form(FORM, name='"><script>x</script>\x00', password="x")
    assert "<script>x" not in answer.text and "&#34;&gt;&lt;script&gt;x" in answer.text


def test_a_database_that_is_away_lets_nobody_in(plant):
    browser = plant.by_session("viewer")
    with plant.store.engine.begin() as connection:
        connection.exec_driver_sql("ALTER TABLE sign_ins RENAME TO gone")
    answer = browser.get("/api/v1/plant")
    with plant.store.engine.begin() as connection:
        connection.exec_driver_sql("ALTER TABLE gone RENAME TO sign_ins")
    assert (answer.status_code, answer.headers["content-type"]) == (503, "application/problem+json")
    assert "gone" not in answer.text and "sign_ins" not in answer.text
    assert browser.get("/api/v1/plant").status_code == 200
