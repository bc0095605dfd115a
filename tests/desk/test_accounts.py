"""Passwords and names: what is taken, and how it is kept."""

import pytest

from spinlab.desk import accounts
from spinlab.desk.accounts import add_account, hash_password, matches
from spinlab.errors import InputError


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
    "password", ["", "short", "x" * 257, "aaaaaaaaaaaaaa", "123456789012345", "qwertyuiopqwerty"]
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


def test_a_new_password_ends_every_sign_in(rig):
    client = rig.browser("support")
    with rig.database.write() as connection:
        accounts.change_password(connection, "support", "another quiet drum")
    assert client.get("/api/me").status_code == 401
