"""Users and what they are signed in by: kept, changed, ended."""

from __future__ import annotations

from dataclasses import replace

import pytest

from swarfline.store import Store, StoreError
from swarfline.users import SESSION, TOKEN, SignIn, User

ANA = SignIn("a" * 64, "Ana", "operator", SESSION, 10, 10, 1000, "10.0.0.5, a browser")


@pytest.fixture
def users(store):
    store.users.add("Ana", "operator", "scrypt$1", 5)
    store.users.add("Hall", "viewer", None, 6)
    return store.users


def test_users_are_found_whatever_the_letter_case(users):
    assert users.all() == [User("Ana", "operator", True, 5), User("Hall", "viewer", False, 6)]
    assert users.find(" ANA ") == (User("Ana", "operator", True, 5), "scrypt$1")
    assert users.find("hall") == (User("Hall", "viewer", False, 6), None)
    assert users.find("Bea") is None


def test_a_name_is_given_once(users):
    with pytest.raises(StoreError, match="there is a user 'ana' already; nothing was changed"):
        users.add("ana", "engineer", "other", 7)
    assert users.find("Ana") == (User("Ana", "operator", True, 5), "scrypt$1")


def test_a_session_is_kept_over_a_restart(store, users, url):
    users.begin(ANA, 10)
    again = Store.open(url)
    assert again.users.sign_in(ANA.digest) == ANA
    assert again.users.sign_in("b" * 64) is None
    again.close()


@pytest.mark.parametrize(
    "change",
    [
        lambda users: users.set_password("ana", "scrypt$2"),
        lambda users: users.set_role("ana", "viewer"),
        lambda users: users.remove("ana"),
        lambda users: users.end_all("ana"),
    ],
)
def test_what_changes_a_user_ends_all_that_they_are_signed_in_by(users, change):
    hall = replace(ANA, digest="h" * 64, user="Hall", role="viewer", kind=TOKEN)
    for one in (ANA, replace(ANA, digest="b" * 64, kind=TOKEN), hall):
        users.begin(one, 10)
    change(users)
    assert users.sign_ins() == [hall]


@pytest.mark.parametrize(
    "change",
    [
        lambda users: users.set_password("Bea", "x"),
        lambda users: users.set_role("Bea", "viewer"),
        lambda users: users.remove("Bea"),
    ],
)
def test_nobody_unknown_is_changed(users, change):
    users.begin(ANA, 10)
    with pytest.raises(StoreError, match="there is no user 'Bea'"):
        change(users)
    assert users.sign_ins() == [ANA]


def test_only_those_of_a_kind_are_ended(users):
    token = replace(ANA, digest="b" * 64, kind=TOKEN)
    users.begin(ANA, 10)
    users.begin(token, 10)
    assert users.end_all("Ana", SESSION) == 1
    assert users.sign_ins("Ana") == [token]


def test_nothing_is_worth_more_than_its_user(users, store):
    users.begin(replace(ANA, role="engineer"), 10)
    assert users.sign_in(ANA.digest).role == "operator"


def test_use_is_written_down_and_what_has_ended_is_forgotten(users):
    users.begin(ANA, 10)
    users.touch(ANA.digest, 500)
    assert users.sign_in(ANA.digest).used_us == 500
    later = replace(ANA, digest="c" * 64, made_us=1000, ends_us=2000)
    users.begin(later, 1000)
    assert users.sign_ins() == [later]


def test_a_password_is_kept_anew_only_if_it_is_the_same_still(users):
    users.begin(ANA, 10)
    users.keep_anew("Ana", "scrypt$0", "scrypt$3")
    assert users.find("Ana")[1] == "scrypt$1"
    users.keep_anew("Ana", "scrypt$1", "scrypt$3")
    assert users.find("Ana")[1] == "scrypt$3"
    assert users.sign_in(ANA.digest) == ANA


def test_a_busy_database_is_told(sqlite_store):
    users = sqlite_store.users
    users.add("Ana", "viewer", None, 1)
    with sqlite_store.engine.connect() as other:
        other.exec_driver_sql("BEGIN IMMEDIATE")
        with pytest.raises(StoreError, match="cannot be written now"):
            users.set_role("Ana", "operator")
        other.rollback()
    assert users.find("Ana")[0].role == "viewer"
