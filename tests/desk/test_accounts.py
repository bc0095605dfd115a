"""Passwords and names: what is taken, and how it is kept."""

import re
import time

import pytest

from spinlab.desk import accounts
from spinlab.desk.accounts import add_account, hash_password, matches
from spinlab.desk.signing import sign_in
from spinlab.errors import InputError
from tests.desk.rig import PASSWORD, form


def test_a_password_is_kept_as_an_argon2id_hash_of_at_least_owasps_cost():
    # OWASP Password Storage Cheat Sheet: Argon2id with at least 19 MiB and 2 passes, or the like.
    kept = hash_password("a quiet drum turns")
    kind, memory, passes = kept.split("$")[1], kept.split("m=")[1], kept.split("t=")[1]
    assert kind == "argon2id"
    assert int(memory.split(",")[0]) >= 19 * 1024
    assert int(passes.split(",")[0]) >= 2
    assert matches("a quiet drum turns", kept)
    assert not matches("a quiet drum turned", kept)
    assert not matches("a quiet drum turns", None)


def test_two_hashes_of_one_password_differ():
    assert hash_password("a quiet drum turns") != hash_password("a quiet drum turns")


@pytest.mark.parametrize(
    "password",
    # The last four stand in published lists of the most used passwords (value from memory).
    [
        "",
        "short",
        "x" * 257,
        "aaaaaaaaaaaaaa",
        "123456789012",
        "qwertyuiop123",
        "passwordpassword",
        "iloveyou1234",
    ],
)
def test_a_password_that_is_guessed_first_is_not_taken(password):
    with pytest.raises(InputError):
        hash_password(password)


@pytest.mark.parametrize(
    "password", ["correct horse battery", "пароль-и-ещё-слово", " spaces at ends "]
)
def test_a_long_password_of_any_letters_is_taken_whole(password):
    kept = hash_password(password)
    assert matches(password, kept)
    assert not matches(password.strip()[:-1], kept)


def test_letters_that_look_alike_are_one_password():
    # NIST SP 800-63B, 5.1.1.2: normalise (NFKC) before hashing.
    assert matches("caf\u00e9 at the corner", hash_password("cafe\u0301 at the corner"))


@pytest.mark.parametrize("name", ["", " x", "a\nb", "x" * 65, "\u200b"])
def test_an_unfit_name_is_refused(embedded, name):
    with pytest.raises(InputError), embedded.database.write() as connection:
        add_account(connection, name, "support", "a quiet drum turns")


def test_a_name_is_given_once_and_a_role_is_one_of_three(rig):
    with rig.database.write() as connection:
        add_account(connection, "sam", "support", "a quiet drum turns")
    with pytest.raises(InputError, match="already"), rig.database.write() as connection:
        add_account(connection, "sam", "support", "a quiet drum turns")
    with pytest.raises(InputError, match="no role"), rig.database.write() as connection:
        add_account(connection, "kim", "admin", "a quiet drum turns")


def change(client, current, password, again=None):
    values = {"current": current, "password": password, "again": again or password}
    return client.post("/password", data=form(client, **values))


def test_a_person_changes_the_own_password_and_is_signed_out_elsewhere(rig):
    here, elsewhere = rig.browser("support"), rig.browser("support")
    assert change(here, "not the current one", "another quiet drum").status_code == 403
    assert change(here, PASSWORD, "another quiet drum", "another loud drum").status_code == 422
    assert change(here, PASSWORD, "aaaaaaaaaaaaaa").status_code == 422
    assert here.get("/queue").status_code == 200
    assert change(here, PASSWORD, "another quiet drum").headers["location"] == "/"
    assert elsewhere.get("/api/me").status_code == 401
    assert sign_in(rig.database, "support", "another quiet drum", address="")
    assert sign_in(rig.database, "support", PASSWORD, address="") is None


def test_a_first_password_opens_nothing_but_the_page_where_it_is_changed(rig):
    client = rig.browser("support")
    with rig.database.write() as connection:
        first = accounts.reset_password(connection, "support")
    assert client.get("/api/me").status_code == 401
    client.cookies.set("__Host-desk", sign_in(rig.database, "support", first, address=""))
    assert client.get("/queue").headers["location"] == "/password"
    assert client.get("/api/jobs").status_code == 403
    token = re.search(r'name="csrf" value="([^"]+)"', client.get("/password").text).group(1)
    client.headers["X-CSRF-Token"] = token
    assert change(client, first, first).status_code == 422
    assert change(client, first, "another quiet drum").headers["location"] == "/"
    assert client.get("/queue").status_code == 200


def test_a_first_password_that_was_left_for_a_week_opens_nothing(rig):
    rig.person("support")
    with rig.database.write() as connection:
        first = accounts.reset_password(connection, "support")
        late = accounts.account.update().values(initial_until_s=time.time() - 1)
        connection.execute(late)
    assert sign_in(rig.database, "support", first, address="") is None


def test_passwords_drawn_by_lot_differ_and_are_good_enough():
    drawn = {accounts.draw_password() for _ in range(50)}
    assert len(drawn) == 50
    assert all(len(password) == 19 for password in drawn)
