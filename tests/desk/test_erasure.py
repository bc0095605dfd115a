"""Deletion: nothing of a job is left but a label without an owner and a line of the trail."""

import os
import time

from spinlab.desk import serving
from spinlab.desk.audit import trail
from spinlab.desk.erasure import erase
from spinlab.desk.tables import job, label
from tests.desk.rig import form

CONTENT = b"\x02 nobody else says elderflower"
SECRETS = (b"elderflower", b"hydrangea", b"gooseberry", b"rowanberry")


def reviewed_job(rig):
    job_id = rig.finished_job(CONTENT, reference="hydrangea", file_name="gooseberry.m4a")
    support = rig.browser("support")
    support.post(f"/jobs/{job_id}/note", data=form(support, text="rowanberry"))
    support.post(f"/jobs/{job_id}/label", data=form(support, number=0, answer="agree"))
    return job_id


def everything(folder):
    return b"".join(path.read_bytes() for path in folder.rglob("*") if path.is_file())


def test_what_is_deleted_is_nowhere_in_the_folder_any_more(embedded):
    job_id = reviewed_job(embedded)
    kept = everything(embedded.settings.folder)
    assert all(secret in kept for secret in SECRETS)
    assert erase(embedded.database, embedded.vault, job_id, account="support")
    left = everything(embedded.settings.folder)
    assert not [secret for secret in SECRETS if secret in left]


def test_no_piece_of_a_deleted_reference_is_left_in_the_index_of_searches(embedded):
    job_id = embedded.finished_job(CONTENT, reference="\u2603\u2604\u2605")
    embedded.finished_job(b"\x01 another", reference="stays")
    piece = "\u2603\u2604\u2605".encode()
    assert everything(embedded.settings.folder).count(piece) > 1
    erase(embedded.database, embedded.vault, job_id, account="support")
    assert piece not in everything(embedded.settings.folder)


def test_a_label_stays_for_calibration_and_points_to_nobody(rig):
    job_id = reviewed_job(rig)
    erase(rig.database, rig.vault, job_id, account="support")
    with rig.database.read() as connection:
        kept = connection.execute(label.select()).one()
        told = [line.action for line in trail(connection, subject=job_id)]
    assert (kept.job_id, kept.agrees, kept.kind, kept.probability) == (None, True, "stage", 0.5)
    assert told[0] == "deleted"


def test_an_original_that_another_job_rests_on_stays(rig):
    client = rig.browser("technician")
    first, second = rig.upload(client, CONTENT), rig.upload(client, CONTENT)
    erase(rig.database, rig.vault, first, account="support")
    assert len(list(rig.vault.originals())) == 1
    erase(rig.database, rig.vault, second, account="support")
    assert list(rig.vault.originals()) == []


def test_a_job_is_deleted_when_its_time_is_over_and_not_before(rig):
    kept, due = rig.finished_job(CONTENT), rig.finished_job(b"\x01 older")
    with rig.database.write() as connection:
        row = connection.execute(job.select().where(job.c.id == kept)).one()
        change = job.update().where(job.c.id == due)
        connection.execute(change.values(delete_after_s=time.time() - 1))
    # 180 days as the page promises.
    assert abs(row.delete_after_s - row.created_s - 180 * 86400) < 1
    assert serving.sweep(rig.settings, rig.database, rig.vault) == 1
    listed = rig.browser("technician").get("/api/jobs").json()["jobs"]
    assert [each["id"] for each in listed] == [kept]


def test_a_deletion_that_was_killed_half_way_is_finished_later(rig):
    job_id = rig.finished_job(CONTENT)
    with rig.database.write() as connection:
        connection.execute(job.update().values(state="erasing", lease=None))
    assert rig.browser("technician").get(f"/api/jobs/{job_id}").status_code == 404
    assert serving.sweep(rig.settings, rig.database, rig.vault) == 1
    assert list(rig.vault.originals()) == []
    assert list(rig.vault.result_folders()) == []


def test_an_original_without_a_job_goes_once_it_is_old(rig):
    kept = rig.vault.original("ab" * 32)
    kept.parent.mkdir()
    kept.write_bytes(b"of a server that was killed")
    serving.sweep(rig.settings, rig.database, rig.vault)
    assert kept.exists()
    os.utime(kept, (0, 0))
    serving.sweep(rig.settings, rig.database, rig.vault)
    assert not kept.exists()


def test_an_upload_left_alone_goes_after_two_days(rig):
    from spinlab.desk.tables import upload
    from tests.desk.rig import announcement

    client = rig.browser("technician")
    path = "/api/uploads/00000000-0000-4000-8000-000000000000"
    client.put(path, json=announcement(CONTENT))
    client.patch(path, content=CONTENT[:5], headers={"Upload-Offset": "0"})
    with rig.database.write() as connection:
        connection.execute(upload.update().values(created_s=time.time() - 49 * 3600))
    for part in rig.vault.parts():
        os.utime(part, (0, 0))
    serving.sweep(rig.settings, rig.database, rig.vault)
    assert list(rig.vault.parts()) == []
    assert client.get(path).status_code == 404
