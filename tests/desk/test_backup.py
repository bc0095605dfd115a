"""A backup is proven by restoring it."""

import dataclasses
import json
import tarfile

import pytest

from spinlab.desk.backup import back_up, restore
from spinlab.desk.database import Database
from spinlab.desk.erasure import erase
from spinlab.desk.settings import Settings
from spinlab.errors import InputError
from tests.desk.conftest import needs_postgres
from tests.desk.rig import Rig, form


def filled(rig):
    job_id = rig.finished_job(reference="job 17")
    support = rig.browser("support")
    support.post(f"/jobs/{job_id}/note", data=form(support, text="A note of an invented case."))
    support.post(f"/jobs/{job_id}/label", data=form(support, number=0, answer="agree"))
    return job_id


def opened(settings):
    database = Database(settings)
    return Rig(settings=settings, database=database)


def check_restored(settings, rig, job_id):
    again = opened(settings)
    again.people = dict(rig.people)
    support = again.browser("support")
    page = support.get(f"/jobs/{job_id}").text
    assert "A note of an invented case." in page
    assert 'value="agree" aria-pressed="true"' in page
    for word in ("report", "sound", "original", "result.json"):
        before = rig.browser("support").get(f"/jobs/{job_id}/{word}").content
        assert support.get(f"/jobs/{job_id}/{word}").content == before
    # What counts rows up goes on where it was.
    support.post(f"/jobs/{job_id}/note", data=form(support, text="A later note."))
    assert "A later note." in support.get(f"/jobs/{job_id}").text
    again.database.close()


def test_a_desk_restored_from_its_backup_is_the_desk_that_was(rig, tmp_path):
    job_id = filled(rig)
    counts = back_up(rig.settings, tmp_path / "desk.tar")
    assert (counts["job"], counts["label"], counts["note"], counts["files"]) == (1, 1, 1, 7)
    settings = dataclasses.replace(rig.settings, folder=tmp_path / "again", database="")
    assert restore(settings, tmp_path / "desk.tar") == counts
    check_restored(settings, rig, job_id)


@needs_postgres
def test_a_backup_of_sqlite_restores_into_postgresql(embedded, tmp_path, cluster):
    job_id = filled(embedded)
    back_up(embedded.settings, tmp_path / "desk.tar")
    settings = dataclasses.replace(
        embedded.settings, folder=tmp_path / "again", database=cluster.new_database()
    )
    restore(settings, tmp_path / "desk.tar")
    check_restored(settings, embedded, job_id)


def test_what_was_deleted_since_the_backup_is_deleted_again(embedded, tmp_path):
    job_id = filled(embedded)
    back_up(embedded.settings, tmp_path / "desk.tar")
    erase(embedded.database, embedded.vault, job_id, account="support")
    settings = Settings(folder=tmp_path / "again", hosts=("desk.example",))
    erased = embedded.settings.folder / "erased.txt"
    restore(settings, tmp_path / "desk.tar", erased=erased)
    again = opened(settings)
    assert list(again.vault.originals()) == []
    again.database.close()


def test_a_damaged_backup_is_refused(embedded, tmp_path):
    filled(embedded)
    target = tmp_path / "desk.tar"
    back_up(embedded.settings, target)
    content = bytearray(target.read_bytes())
    at = content.index(b"an invented recording")
    content[at] ^= 1
    target.write_bytes(content)
    with pytest.raises(InputError, match="damaged"):
        restore(Settings(folder=tmp_path / "again"), target)


def test_a_backup_cannot_write_outside_the_folder(embedded, tmp_path):
    told = {"format": "spinlab.desk.backup", "version": 1, "revision": "0001", "counts": {}}
    told["sha256"] = {"../../evil": "0" * 64}
    (tmp_path / "manifest.json").write_text(json.dumps(told))
    with tarfile.open(tmp_path / "evil.tar", "w") as tar:
        tar.add(tmp_path / "manifest.json", "manifest.json")
    with pytest.raises(InputError, match="outside"):
        restore(Settings(folder=tmp_path / "again"), tmp_path / "evil.tar")


@pytest.mark.parametrize("content", [b"", b"no tar at all", b"\x00" * 10240])
def test_what_is_no_backup_is_refused_in_one_sentence(tmp_path, content):
    (tmp_path / "x.tar").write_bytes(content)
    with pytest.raises(InputError, match="no backup"):
        restore(Settings(folder=tmp_path / "again"), tmp_path / "x.tar")


def test_a_desk_is_never_restored_over(embedded, tmp_path):
    back_up(embedded.settings, tmp_path / "desk.tar")
    with pytest.raises(InputError, match="already"):
        restore(embedded.settings, tmp_path / "desk.tar")
