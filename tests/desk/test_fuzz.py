"""Odd requests and odd files: whatever comes, the desk answers, and with a reason."""

import re
import uuid
from contextlib import suppress

import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from hypothesis.errors import Unsatisfiable
from schemathesis.generation import GenerationMode
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from spinlab.desk.web.app import create_app
from tests.desk.rig import form

_QUICK = {"deadline": None, "suppress_health_check": list(HealthCheck)}
CHECKS = (
    schemathesis.checks.not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_schema_conformance,
)


@pytest.fixture
def described(embedded):
    """The interface as it describes itself, and a client of support who is signed in."""
    client = embedded.browser("support")
    job_id = embedded.finished_job()
    schema = schemathesis.openapi.from_asgi("/api/openapi.json", _open(embedded))
    return schema, client, job_id


def _open(rig):
    """The same application, answering to the name that the test client of the fuzzer uses."""
    import dataclasses

    hosts = (*rig.settings.hosts, "localhost", "testserver", "127.0.0.1")
    return create_app(dataclasses.replace(rig.settings, hosts=hosts), rig.database)


def sent(case, client, checked):
    cookies = {"__Host-desk": client.cookies["__Host-desk"]}
    headers = {"X-CSRF-Token": client.headers["X-CSRF-Token"]}
    answer = case.call(headers=headers, cookies=cookies, timeout=600)
    case.validate_response(answer, checks=list(checked))
    return answer


@pytest.mark.parametrize("examples", [12, pytest.param(150, marks=pytest.mark.slow)])
@pytest.mark.parametrize("mode", list(GenerationMode))
def test_requests_made_from_the_description_or_against_it_are_answered_as_described(
    described, mode, examples
):
    schema, client, _ = described
    operations = [found.ok() for found in schema.get_all_operations()]
    assert len(operations) >= 11
    tried = 0
    for operation in operations:

        @settings(max_examples=examples, phases=[Phase.explicit, Phase.generate], **_QUICK)
        @given(case=operation.as_strategy(mode))
        def check(case):
            nonlocal tried
            sent(case, client, CHECKS)
            tried += 1

        # What takes no value cannot be asked for against its description.
        with suppress(Unsatisfiable):
            check()
    assert tried >= examples * len(operations) / 2


TEXT = st.text(max_size=60) | st.sampled_from(
    ["\x00", "../../x", "%00", "' OR 1=1", "<b>", "\ud7ff"]
)


def test_filters_of_the_queue_take_any_text(embedded):
    support = embedded.browser("support")
    embedded.finished_job()

    @settings(max_examples=40, **_QUICK)
    @given(state=TEXT, verdict=TEXT, text=TEXT, order=TEXT, after=TEXT)
    def check(**values):
        answer = support.get("/queue", params=values)
        assert answer.status_code in (200, 422), answer.text

    check()


def test_parts_of_a_form_in_any_shape_are_taken_or_refused(embedded):
    technician = embedded.browser("technician")
    piece = st.sampled_from(
        [b"--b", b"--b--", b"\r\n", b"\r\n\r\n", b'Content-Disposition: form-data; name="file"',
         b'; filename="x"', b"\x00", b"\xff\xfe", b'name="csrf"', b"Content-Type: audio/mp4"]
    )  # fmt: skip

    @settings(max_examples=60, **_QUICK)
    @given(pieces=st.lists(piece | st.binary(max_size=40), max_size=25))
    def check(pieces):
        kind = {"Content-Type": "multipart/form-data; boundary=b"}
        answer = technician.post("/record", content=b"".join(pieces), headers=kind)
        assert answer.status_code in (303, 400, 403, 413, 422), answer.status_code

    check()
    assert technician.get("/api/jobs").json()["jobs"] == []


def test_a_form_that_never_ends_is_cut_off(embedded):
    import dataclasses

    from tests.desk.rig import Rig

    small = dataclasses.replace(embedded.settings, max_upload_bytes=100_000)
    rig = Rig(settings=small, database=embedded.database)
    client = rig.browser("technician")

    def endless():
        yield b'--b\r\nContent-Disposition: form-data; name="file"; filename="x"\r\n\r\n'
        for _ in range(400):
            yield b"x" * 1000

    kind = {"Content-Type": "multipart/form-data; boundary=b"}
    assert client.post("/record", content=endless(), headers=kind).status_code == 413


@pytest.mark.parametrize("name", ["a" * 300, "\x00", "☃.m4a", "..\\..\\x", "x\r\nSet-Cookie: a=b"])
def test_names_of_files_in_a_form_are_taken_or_refused(embedded, name):
    client = embedded.browser("technician")
    files = {"file": (name, b"\x00 invented", "audio/mp4")}
    answer = client.post("/record", data=form(client, consent="yes"), files=files)
    assert answer.status_code in (303, 422)
    assert "a=b" not in answer.headers.get("set-cookie", "")


def test_any_bytes_as_a_recording_end_as_a_result_or_as_one_sentence(embedded):
    """The real examiner on damaged beginnings of real formats; the decoders have tests of their
    own, this one holds what wraps them."""
    import dataclasses

    from spinlab.desk import worker
    from spinlab.desk.examine import examine

    technician = embedded.browser("technician")
    beginnings = [b"RIFF\xff\xff\xff\xffWAVEfmt ", b"time,x\n1,"]
    bench = dataclasses.replace(embedded.bench, examiner=examine)
    for number, beginning in enumerate(beginnings):
        job_id = embedded.upload(technician, beginning + bytes([number]) * 300)
        assert worker.work_once(bench)
        told = technician.get(f"/api/jobs/{job_id}").json()
        assert told["state"] == "failed"
        assert re.fullmatch(r"[^\n]{10,600}", told["failure"]), told["failure"]
        assert str(embedded.settings.folder) not in told["failure"]


@pytest.mark.parametrize("identifier", ["x", "0" * 36, str(uuid.uuid4()).upper(), "..%2F..%2Fx"])
def test_an_identifier_of_another_shape_is_refused(embedded, identifier):
    client = embedded.browser("support")
    for path in (f"/api/jobs/{identifier}", f"/jobs/{identifier}/sound", f"/cases/{identifier}"):
        assert client.get(path).status_code in (404, 422)
