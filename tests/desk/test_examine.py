"""The real analysis inside the real child, on a simulated recording of an invented workshop."""

import dataclasses
import hashlib
import json
from pathlib import Path

import pytest

from spinlab.desk import worker
from spinlab.desk.examine import examine, parse_readings
from spinlab.errors import InputError
from tests.desk.rig import form

DEMO = Path(__file__).parent.parent.parent / "recordings_demo" / "direct-drive-call.3gp"


@pytest.mark.slow
def test_a_whole_analysis_gives_a_result_and_a_copy_that_names_nobody(embedded):
    content, technician = DEMO.read_bytes(), embedded.browser("technician")
    told = {"file_name": "Elm Street.3gp", "reference": "Elm Street", "profile": ""}
    job_id = embedded.upload(technician, content, **told)
    assert worker.work_once(dataclasses.replace(embedded.bench, examiner=examine))
    found = technician.get(f"/api/jobs/{job_id}").json()
    assert (found["state"], found["failure"]) == ("done", None)
    assert found["findings"]
    digest, support = hashlib.sha256(content).hexdigest(), embedded.browser("support")
    result = support.get(f"/jobs/{job_id}/result.json").json()
    assert result["recording"]["sha256"] == digest
    assert result["verdict"]["sentence"] == found["verdict_sentence"]
    support.post(f"/jobs/{job_id}/release", data=form(support))
    for folder in embedded.vault.result_folders():
        shared = [path for path in folder.iterdir() if path.name.startswith("shared")]
        assert len(shared) == 3
        for path in shared:
            for secret in ("Elm Street", digest, job_id):
                assert secret.encode() not in path.read_bytes(), (path.name, secret)
        json.loads((folder / "shared.json").read_text("utf-8"))


def test_readings_are_tried_out_line_by_line():
    lines = parse_readings("1200rpm 238V 1.6A 300W\n\n  heat 236V 8.6A  \n")
    assert lines == ["1200rpm 238V 1.6A 300W", "heat 236V 8.6A"]
    with pytest.raises(InputError, match="without a unit"):
        parse_readings("1200rpm 238")
    with pytest.raises(InputError, match="More than 40"):
        parse_readings("heat 236V\n" * 41)
