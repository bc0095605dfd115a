"""Logs tell what happened and never whose, with what words, or by which token."""

import io
import json
import logging
import re

import pytest

from spinlab.desk import logs
from tests.desk.rig import PASSWORD, form

SECRET = "elderflower"


@pytest.fixture
def stream():
    root = logging.getLogger()
    before, level = root.handlers[:], root.level
    caught = io.StringIO()
    logs.set_up(caught)
    yield caught
    root.handlers[:] = before
    root.setLevel(level)


def test_the_whole_path_leaves_no_secret_in_the_log(embedded, stream):
    job_id = embedded.finished_job(SECRET.encode(), reference=SECRET, file_name=f"{SECRET}.m4a")
    support = embedded.browser("support")
    support.post(f"/jobs/{job_id}/note", data=form(support, text=SECRET))
    page = support.post(f"/jobs/{job_id}/link", data=form(support)).text
    token = re.search(r"/r/([^\"]+)\"", page).group(1)
    embedded.stranger().get(f"/r/{token}")
    embedded.stranger().get(f"/r/{SECRET}{SECRET}")
    support.get(f"/queue?text={SECRET}")
    client = embedded.stranger()
    form_token = re.search(r'form_token" value="([^"]+)"', client.get("/sign-in").text).group(1)
    client.post("/sign-in", data={"name": SECRET, "password": PASSWORD, "form_token": form_token})
    text = stream.getvalue()
    told = [json.loads(line) for line in text.splitlines()]
    assert {line["event"] for line in told} == {"request", "job"}
    assert {"/r/{token}", "/queue", "/sign-in"} <= {line.get("route") for line in told}
    for secret in (SECRET, token, support.cookies["__Host-desk"], PASSWORD, form_token):
        assert secret not in text


def test_a_defect_is_told_by_its_place_and_not_by_its_values(embedded, stream, monkeypatch):
    def burst(*_):
        raise RuntimeError(f"a value: {SECRET}")

    monkeypatch.setattr(embedded.app.state.desk.metrics, "text", burst)
    answer = embedded.stranger().get("/metrics")
    assert answer.status_code == 500
    assert SECRET not in answer.text
    text = stream.getvalue()
    told = [json.loads(line) for line in text.splitlines()]
    defect = next(line for line in told if line["event"] == "defect")
    assert defect["error"] == "RuntimeError"
    assert any(place.startswith("desk/test_logs.py:") for place in defect["at"])
    assert defect["request"] in answer.text
    assert SECRET not in text
