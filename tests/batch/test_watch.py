"""Watching a folder: uploads are taken up once they are whole, and the index keeps up.

The analysis is a stand-in that makes invented results.
"""

import json
import shutil
import threading
import time

import pytest

from spinlab.batch.settle import Settling
from spinlab.batch.sources import Found
from spinlab.errors import InputError


def found(path, size, *, changed_ns=0):
    return Found(path=path, name=path.name, stamp=(size, changed_ns, 0), profile=None)


def test_a_file_is_whole_once_it_has_kept_still_for_long_enough(tmp_path):
    settling, path = Settling(5.0), tmp_path / "a.wav"
    assert not settling.settled(found(path, 10), now_s=100.0)
    assert not settling.settled(found(path, 20), now_s=104.0)
    assert not settling.settled(found(path, 20), now_s=108.9)
    assert settling.settled(found(path, 20), now_s=109.0)


def test_a_file_rewritten_at_the_same_size_has_not_kept_still(tmp_path):
    settling, path = Settling(5.0), tmp_path / "a.wav"
    assert not settling.settled(found(path, 10, changed_ns=1), now_s=100.0)
    assert not settling.settled(found(path, 10, changed_ns=2), now_s=106.0)
    assert settling.settled(found(path, 10, changed_ns=2), now_s=111.0)


def test_an_upload_that_is_given_up_is_forgotten(tmp_path):
    settling = Settling(5.0)
    settling.settled(found(tmp_path / "a.wav", 10), now_s=100.0)
    settling.end_round()
    assert len(settling) == 1
    settling.end_round()
    assert len(settling) == 0


class Watch:
    """A batch that watches in a thread of its own."""

    def __init__(self, batch):
        self.told, self.stop, self.tally, self.error = [], threading.Event(), None, None
        self._thread = threading.Thread(target=self._run, args=(batch,))
        self._thread.start()

    def _run(self, batch):
        options = {"watch": True, "settle_s": 1.0, "tell": self.told.append, "stop": self.stop}
        self.tally = batch(**options)

    def wait_for(self, name, *, times=1):
        until = time.monotonic() + 60
        while [status.name for status in self.told].count(name) < times:
            assert time.monotonic() < until, f"{name} was not taken up"
            time.sleep(0.02)

    def end(self):
        self.stop.set()
        self._thread.join(60)
        return self.tally


@pytest.fixture
def watch(batch):
    started = []

    def start():
        started.append(Watch(batch))
        return started[-1]

    yield start
    for one in started:
        one.end()


def test_new_uploads_are_checked_as_they_come_and_old_ones_once(put, watch, made):
    put("a.wav")
    watching = watch()
    watching.wait_for("a.wav")
    put("b.wav")
    watching.wait_for("b.wav")
    tally = watching.end()
    assert (tally.files, tally.analysed) == (2, 2)
    assert made() == {"a.wav": 1, "b.wav": 1}


def test_an_upload_under_way_is_left_alone_until_it_is_whole(uploads, watch, tmp_path, made):
    watching = watch()
    text = json.dumps({"log": str(tmp_path / "calls"), "state": "fault", "probability": 0.9})
    with (uploads / "slow.wav").open("w") as file:
        for letter in text:
            file.write(letter)
            file.flush()
            time.sleep(3.0 / len(text))
    watching.wait_for("slow.wav")
    assert watching.end().analysed == 1
    assert made("begun") == {"slow.wav": 1}
    assert [status.outcome for status in watching.told if status.name] == ["fault"]


def test_a_file_put_again_with_other_content_is_checked_again(put, watch, table):
    put("a.wav")
    watching = watch()
    watching.wait_for("a.wav")
    put("a.wav", state="attention", probability=0.7)
    watching.wait_for("a.wav", times=2)
    watching.end()
    assert [(row["recording"], row["outcome"]) for row in table()] == [("a.wav", "attention")]


def test_the_index_shows_a_new_result_soon_after_it_is_made(put, watch, out):
    watching = watch()
    put("a.wav")
    watching.wait_for("a.wav")
    until = time.monotonic() + 20
    while not ((out / "index.html").exists() and "a.wav" in (out / "index.html").read_text()):
        assert time.monotonic() < until
        time.sleep(0.05)


def test_a_folder_that_goes_away_for_a_while_is_waited_for(put, uploads, watch, tmp_path):
    put("a.wav")
    watching = watch()
    watching.wait_for("a.wav")
    uploads.rename(tmp_path / "away")
    until = time.monotonic() + 20
    while not any("There is no folder" in status.warning for status in watching.told):
        assert time.monotonic() < until
        time.sleep(0.02)
    shutil.copytree(tmp_path / "away", uploads)
    put("b.wav")
    watching.wait_for("b.wav")


def test_a_list_cannot_be_watched(uploads, batch):
    (uploads / "list.txt").write_text("a.wav")
    with pytest.raises(InputError, match="Only a folder can be watched"):
        batch(uploads / "list.txt", watch=True)
