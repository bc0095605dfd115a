"""A recording's way through the desk, from the technician's phone and back."""

import re

from tests.desk.rig import form


def test_a_recording_goes_from_technician_to_support_and_back(rig):
    technician, support = rig.browser("technician"), rig.browser("support")
    job_id = rig.upload(technician, b"\x02 an invented recording", reference="job 17")
    assert "Waiting" in technician.get(f"/jobs/{job_id}").text
    assert rig.work() == 1

    assert f"/jobs/{job_id}" in support.get("/queue?verdict=fault&text=JOB+17").text
    review = f"/jobs/{job_id}"
    assert "An invented verdict" in support.get(review).text
    for action, values in (
        ("label", {"number": 0, "answer": "disagree"}),
        ("note", {"text": "Heard something like it before."}),
        ("message", {"text": "Check the belt by hand, plug pulled."}),
    ):
        answer = support.post(f"{review}/{action}", data=form(support, **values))
        assert answer.status_code == 303, action
    page = support.get(review).text
    assert 'value="disagree" aria-pressed="true"' in page
    assert "Heard something like it before." in page

    made = support.post(f"{review}/link", data=form(support)).text
    link = re.search(r'value="(https://desk\.example/r/[^"]+)"', made).group(1)
    handed_back = rig.stranger().get(link)
    assert handed_back.status_code == 200
    assert "Check the belt by hand, plug pulled." in handed_back.text
    assert "Heard something like it before." not in handed_back.text
    assert rig.stranger().get(f"{link}/report").status_code == 200


def test_a_trainer_sees_a_released_case_and_nothing_that_tells_whose_it_is(rig):
    job_id = rig.finished_job(reference="Elm Street 5", file_name="kitchen of the Millers.m4a")
    trainer, support = rig.browser("trainer"), rig.browser("support")
    assert "/cases/" not in trainer.get("/cases").text
    support.post(f"/jobs/{job_id}/release", data=form(support))
    case = re.search(r"/cases/[0-9a-f]{32}", trainer.get("/cases").text).group(0)
    seen = trainer.get(case).text + trainer.get("/cases").text
    for secret in ("Elm Street", "Miller", job_id, "technician", "/jobs/"):
        assert secret not in seen.replace('content="', ""), secret
    assert trainer.get(f"{case}/sound").status_code == 200
    support.post(f"/jobs/{job_id}/release", data=form(support, action="withdraw"))
    assert trainer.get(case).status_code == 404


def test_without_script_one_form_hands_in_a_recording(rig):
    technician = rig.browser("technician")
    answer = technician.post(
        "/record",
        data=form(technician, consent="yes", profile="belt-brushed-1400", reference="job 18"),
        files={"file": ("../../etc/passwd", b"\x00 invented", "audio/mp4")},
    )
    assert answer.status_code == 303
    assert rig.work() == 1
    told = technician.get(f"/api{answer.headers['location']}").json()
    assert (told["state"], told["verdict_state"]) == ("done", "clear")
    assert "passwd" in technician.get("/mine").text or "job 18" in technician.get("/mine").text


def test_what_cannot_be_read_ends_as_one_sentence_and_not_as_a_verdict(rig):
    technician = rig.browser("technician")
    job_id = rig.upload(technician, b"broken")
    rig.work()
    told = technician.get(f"/api/jobs/{job_id}").json()
    assert (told["state"], told["verdict_state"]) == ("failed", None)
    assert told["failure"] == "The file holds no sound or acceleration that can be read."


def test_a_child_that_crashes_or_talks_nonsense_costs_only_its_own_job(rig):
    technician = rig.browser("technician")
    bad = [rig.upload(technician, content) for content in (b"crash", b"nonsense")]
    good = rig.upload(technician, b"\x00 fine")
    assert rig.work() == 3
    for job_id in bad:
        told = technician.get(f"/api/jobs/{job_id}").json()
        assert told["state"] == "failed"
        assert told["failure"].startswith("The analysis came to no end. ")
    assert technician.get(f"/api/jobs/{good}").json()["state"] == "done"
