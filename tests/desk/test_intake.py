"""Uploads in parts: whatever is repeated, torn off or sent out of turn, one whole job comes out."""

import hashlib
import uuid

import pytest

from spinlab.desk.intake import Refused
from tests.desk.rig import announcement, form

CONTENT = bytes(range(256)) * 40


def begin(client, content=CONTENT, **told):
    upload_id = str(uuid.uuid4())
    answer = client.put(f"/api/uploads/{upload_id}", json=announcement(content, **told))
    return f"/api/uploads/{upload_id}", answer


def send(client, path, content, offset):
    return client.patch(path, content=content, headers={"Upload-Offset": str(offset)})


def test_every_request_of_an_upload_may_be_repeated_and_one_job_comes_out(rig):
    client = rig.browser("technician")
    path, _ = begin(client)
    told = announcement(CONTENT)
    for _ in range(2):
        assert client.put(path, json=told).json()["offset_bytes"] == 0
    for first in (0, 4000, 8000):
        part = CONTENT[first : first + 4000]
        assert send(client, path, part, first).json()["offset_bytes"] == first + len(part)
        again = send(client, path, part, first)
        assert (again.status_code, again.headers["Upload-Offset"]) == (409, str(first + len(part)))
    jobs = {client.post(f"{path}/finish", json={}).json()["job"] for _ in range(3)}
    assert len(jobs) == 1
    assert len(client.get("/api/jobs").json()["jobs"]) == 1
    assert client.put(path, json=told).json()["offset_bytes"] == len(CONTENT)
    assert not list(rig.vault.parts())


def test_the_original_is_kept_under_its_hash_and_cannot_be_written_to(rig):
    rig.upload(rig.browser("technician"), CONTENT)
    path = rig.vault.original(hashlib.sha256(CONTENT).hexdigest())
    assert path.read_bytes() == CONTENT
    assert path.stat().st_mode & 0o222 == 0


def test_the_same_recording_twice_is_two_jobs_on_one_original(rig):
    client = rig.browser("technician")
    assert rig.upload(client, CONTENT) != rig.upload(client, CONTENT)
    assert len(list(rig.vault.originals())) == 1


def test_bytes_that_are_not_those_sent_make_no_job(embedded):
    client = embedded.browser("technician")
    path, _ = begin(client)
    send(client, path, CONTENT, 0)
    answer = client.post(f"{path}/finish", json={"sha256": "0" * 64})
    assert answer.status_code == 422
    assert client.get("/api/jobs").json()["jobs"] == []
    assert not list(embedded.vault.originals())


def test_an_upload_that_is_not_complete_makes_no_job_and_says_where_it_is(embedded):
    client = embedded.browser("technician")
    path, _ = begin(client)
    send(client, path, CONTENT[:100], 0)
    answer = client.post(f"{path}/finish", json={})
    assert (answer.status_code, answer.headers["Upload-Offset"]) == (409, "100")
    assert client.get(path).json()["offset_bytes"] == 100


def test_more_bytes_than_announced_are_refused(embedded):
    client = embedded.browser("technician")
    path, _ = begin(client)
    assert send(client, path, CONTENT + b"x", 0).status_code == 413


def test_a_part_larger_than_allowed_is_refused_before_it_is_taken(embedded):
    client = embedded.browser("technician")
    size = embedded.settings.max_part_bytes + 1
    path, _ = begin(client, b"x" * size)
    assert send(client, path, b"x" * size, 0).status_code == 413
    assert client.get(path).json()["offset_bytes"] == 0


def test_a_file_larger_than_allowed_is_refused_when_announced(embedded):
    client = embedded.browser("technician")
    most = embedded.settings.max_upload_bytes
    answer = begin(client, size_bytes=most + 1)[1]
    assert answer.status_code == 413
    assert answer.json()["sentence"] == "The file must hold 1 byte to 200 MiB."


def test_too_many_unfinished_uploads_are_refused(embedded):
    client = embedded.browser("technician")
    answers = [begin(client)[1].status_code for _ in range(embedded.settings.open_uploads + 1)]
    assert answers == [200] * embedded.settings.open_uploads + [429]


def test_an_upload_is_nobody_elses(embedded):
    mine, other = embedded.browser("technician"), embedded.browser("technician", "another")
    path, _ = begin(mine)
    assert other.get(path).status_code == 404
    assert send(other, path, CONTENT, 0).status_code == 404
    assert other.put(path, json=announcement(CONTENT)).status_code == 404
    assert other.post(f"{path}/finish", json={}).status_code == 404
    assert other.delete(path).status_code == 404


def test_an_upload_can_be_thrown_away(embedded):
    client = embedded.browser("technician")
    path, _ = begin(client)
    send(client, path, CONTENT[:100], 0)
    assert client.delete(path).status_code == 204
    assert not list(embedded.vault.parts())
    assert client.get(path).status_code == 404


@pytest.mark.parametrize(
    ("told", "word"),
    [
        ({"consent": False}, "consent"),
        ({"profile": "../../etc/passwd"}, "profile"),
        ({"readings": "1200rpm 238"}, "reading"),
        ({"reference": "a\x00b"}, "reference"),
        ({"file_name": "x" * 256}, "file_name"),
    ],
)
def test_what_is_told_of_a_recording_must_make_sense(embedded, told, word):
    answer = begin(embedded.browser("technician"), **told)[1]
    assert answer.status_code == 422
    assert word in answer.json()["sentence"]


def test_without_consent_the_plain_form_takes_nothing_either(embedded):
    client = embedded.browser("technician")
    files = {"file": ("a.m4a", CONTENT, "audio/mp4")}
    answer = client.post("/record", data=form(client), files=files)
    assert answer.status_code == 422
    assert client.get("/api/jobs").json()["jobs"] == []


@pytest.mark.parametrize("name", ["../../x", "C:\\x", "/etc/x", "..", "\u202ex"])
def test_a_hostile_name_is_shown_without_its_path_and_never_used_as_one(embedded, name):
    client = embedded.browser("technician")
    job_id = embedded.upload(client, CONTENT, file_name=name)
    inside = {path.name for path in embedded.settings.folder.rglob("*")}
    assert "x" not in inside
    row = client.get(f"/jobs/{job_id}")
    assert "etc" not in row.text
    assert row.status_code == 200


async def _torn(blocks):
    for block in blocks:
        yield block
    raise ConnectionError("the phone went out of reach")


def test_what_came_before_the_connection_broke_is_kept(embedded):
    import asyncio

    client = embedded.browser("technician")
    path, _ = begin(client)
    upload_id = path.rsplit("/", 1)[1]
    intake = embedded.app.state.desk.intake
    torn = intake.append(len(CONTENT), upload_id, 0, _torn([CONTENT[:3000], CONTENT[3000:5000]]))
    with pytest.raises(ConnectionError):
        asyncio.run(torn)
    assert client.get(path).json()["offset_bytes"] == 5000
    assert send(client, path, CONTENT[5000:], 5000).status_code == 200
    assert client.post(f"{path}/finish", json={"sha256": hashlib.sha256(CONTENT).hexdigest()})


def test_two_parts_at_once_do_not_mix(embedded):
    import asyncio

    client = embedded.browser("technician")
    path, _ = begin(client)
    upload_id = path.rsplit("/", 1)[1]
    intake = embedded.app.state.desk.intake

    async def slowly(gate):
        yield CONTENT[:10]
        await gate.wait()

    async def at_once():
        gate = asyncio.Event()
        first = asyncio.create_task(intake.append(len(CONTENT), upload_id, 0, slowly(gate)))
        await asyncio.sleep(0.05)
        with pytest.raises(Refused) as refused:
            await intake.append(len(CONTENT), upload_id, 0, slowly(gate))
        gate.set()
        return await first, refused.value.status

    assert asyncio.run(at_once()) == (10, 423)


def test_a_turn_to_write_that_does_not_come_is_told_as_busy(embedded, monkeypatch):
    from spinlab.desk import database

    client = embedded.browser("technician")
    # https://www.sqlite.org/pragma.html#pragma_busy_timeout
    monkeypatch.setattr(database, "_BUSY_MS", 50)
    embedded.database.engine.dispose()
    with embedded.database.write():
        _, answer = begin(client)
    assert (answer.status_code, answer.headers["Retry-After"]) == (503, "5")
    assert "try again" in answer.json()["sentence"]
    assert begin(client)[1].status_code == 200
