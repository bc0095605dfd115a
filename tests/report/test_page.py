"""The page: complete in itself, honest, and safe with hostile input."""

import base64
import json
import re
from dataclasses import replace
from html.parser import HTMLParser

import numpy as np
import pytest

from spinlab.machine import load_machine
from spinlab.reading import read
from spinlab.recording import Recording, Source
from spinlab.report.page import page_html
from spinlab.report.sound import LONGEST_SOUND_S, sound_uri
from spinlab.report.words import CAUTIONS

LIGHTEST_LIMIT_BYTES = 3_000_000


class Reader(HTMLParser):
    """Collects tags, attributes and visible text."""

    def __init__(self, text):
        super().__init__()
        self.tags, self.words, self._open = [], [], []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        self._open.append(tag)

    def handle_endtag(self, tag):
        if tag in self._open:
            while self._open.pop() != tag:
                pass

    def handle_data(self, data):
        if not {"style", "script"} & set(self._open):
            self.words.append(data)

    def all(self, tag):
        return [attributes for name, attributes in self.tags if name == tag]

    @property
    def text(self):
        return " ".join(" ".join(self.words).split())


@pytest.fixture(scope="module")
def reader(page):
    return Reader(page)


def test_nothing_is_fetched_from_anywhere(page):
    outside = re.sub(r"data:[a-z/0-9+]+;base64,[A-Za-z0-9+/=]+", "", page)
    assert "http://" not in outside
    assert "https://" not in outside
    assert "url(" not in outside
    assert not re.search(r"<(link|iframe|object|embed|base)\b", outside)


def test_the_policy_forbids_every_address_and_every_script_but_our_own(reader, page):
    (policy,) = [a["content"] for a in reader.all("meta") if "http-equiv" in a]
    assert policy.startswith("default-src 'none'")
    assert "unsafe" not in policy
    assert not re.search(r"\son[a-z]+=|\sstyle=", re.sub(r'="[^"]*"', "", page.split("<body>")[1]))


def test_without_its_sound_a_page_stays_under_three_megabytes(page):
    silent = re.sub(r'src="data:audio[^"]*"', "", page)
    assert len(silent.encode()) < LIGHTEST_LIMIT_BYTES


def test_the_verdict_is_the_only_heading_of_the_first_rank_and_comes_first(reader, invented):
    headings = [name for name, _ in reader.tags if re.fullmatch("h[1-6]", name)]
    assert headings[0] == "h1"
    assert headings.count("h1") == 1
    assert reader.text.index(invented.verdict.sentence) < reader.text.index("Stages of the spin")


def test_every_stage_and_its_interval_stand_in_the_table(reader):
    for words in ("400.20 ± 0.42", "800.40 ± 0.42", "1331.20 ± 0.42", "off speed", "−4.91 %"):
        assert words in reader.text


def test_every_finding_carries_proof_confidence_rivals_and_next_check(reader):
    for words in (
        "The drum falls 1.9 % behind the motor",
        "probability 71 %",
        "the profile's ratio is wrong (20 %)",
        "Look at the belt",
        "slip 1.90 ± 0.80 %",
    ):
        assert words in reader.text


def test_what_could_not_be_measured_says_what_would_tell(reader):
    assert (
        "The bearing's designation is not known. What would tell: Put the designation"
        in reader.text
    )


def test_the_cautions_stand_before_the_first_check_by_hand(reader):
    places = [reader.text.index(caution) for caution in CAUTIONS]
    assert max(places) < reader.text.index("Next check")


def test_the_cautions_stand_even_where_nothing_was_found(silent_page):
    text = Reader(silent_page).text
    assert all(caution in text for caution in CAUTIONS)


def test_the_expert_finds_hash_versions_and_uncertainty(reader):
    for words in ("0" * 64, "spinlab.result, version 1", "Python", "numpy", "twice the standard"):
        assert words in reader.text


def test_pictures_tables_and_controls_have_names_for_a_screen_reader(reader):
    assert all(image.get("alt") for image in reader.all("img"))
    assert len(reader.all("caption")) == len(reader.all("table"))
    assert all(audio.get("aria-label") for audio in reader.all("audio"))
    assert reader.all("html")[0]["lang"] == "en"
    assert [name for name, _ in reader.tags if name in ("header", "main", "footer")] == [
        "header",
        "main",
        "footer",
    ]
    slider = next(a for _, a in reader.tags if a.get("role") == "slider")
    assert {"aria-label", "aria-valuemin", "aria-valuemax", "aria-valuenow", "tabindex"} <= set(
        slider
    )


def test_each_state_has_a_word_and_a_shape_beside_its_colour(page):
    body = page.split("<body>")[1]
    shapes = {
        re.sub(r"\s+", " ", icon) for icon in re.findall(r'<svg class="icon".*?</svg>', body, re.S)
    }
    assert len(shapes) == 4  # all four occur in the invented case
    assert 'class="state">Fault found<' in body


def test_the_sound_inside_the_page_is_the_recording(page, invented, tmp_path):
    encoded = re.search(r'<audio id="whole".*?src="data:audio/mp4;base64,([^"]*)"', page).group(1)
    (tmp_path / "sound.m4a").write_bytes(base64.b64decode(encoded))
    heard = read(tmp_path / "sound.m4a")
    assert heard.rate_hz == invented.recording.rate_hz
    assert abs(heard.duration_s - invented.recording.duration_s) < 0.2


def test_a_log_has_nothing_to_hear_and_the_page_offers_no_player(silent_page):
    assert "<audio" not in silent_page
    assert 'type="file"' not in silent_page


def test_sound_too_long_for_a_page_is_opened_from_the_users_own_device(invented):
    rate_hz = 200.0
    samples = np.zeros((1, int((LONGEST_SOUND_S + 1) * rate_hz)), dtype=np.float32)
    recording = Recording(kind="sound", samples=samples, rate_hz=rate_hz)
    assert sound_uri(recording) is None
    page = page_html(invented.but(recording=recording))
    whole = re.search(r'<audio id="whole"[^>]*>', page).group(0)
    assert "data:audio" not in whole
    assert "it stays on your device" in page


@pytest.mark.parametrize("rate_hz", [8000.0, 11025.0, 44100.0, 48000.0, 96000.0, 192000.0, 7350.5])
def test_sound_of_any_rate_can_be_packed(rate_hz):
    samples = np.full((2, int(rate_hz)), np.nan, dtype=np.float32)
    samples[:, ::3] = 5.0
    uri = sound_uri(Recording(kind="sound", samples=samples, rate_hz=rate_hz))
    assert uri.startswith("data:audio/mp4;base64,")


HOSTILE = "</title><script>alert(1)</script><img src=x onerror=alert(2)>\u202e'\"&.wav"


@pytest.fixture(scope="module")
def hostile_page(nothing_known):
    recording = replace(nothing_known.recording, source=Source(file=HOSTILE, sha256="0" * 64))
    machine = replace(load_machine("belt-brushed-1400"), name=HOSTILE[:80], description=HOSTILE)
    return page_html(nothing_known.but(recording=recording, machine=machine))


def test_a_hostile_name_stays_text(hostile_page):
    assert "<script>alert" not in hostile_page
    assert "<img src=x" not in hostile_page
    assert "\u202e" not in hostile_page
    assert len(Reader(hostile_page).all("script")) == 2


def test_the_cursor_reads_the_track_and_never_a_number_that_is_not_one(page):
    data = json.loads(re.search(r'id="cursor-data">(.*?)</script>', page, re.S).group(1))
    frames = len(data["time_s"])
    assert len(data["speed_rpm"]) == len(data["motion"]) == frames > 1000
    assert None in data["speed_rpm"]
    assert 0 < data["spans"]["wide"][0] < data["spans"]["wide"][1] < 1


def test_the_same_analysis_makes_the_same_page(nothing_known, silent_page):
    assert page_html(nothing_known) == silent_page


def test_a_recording_with_hardly_a_sample_and_no_frame_still_makes_a_page(nothing_known):
    none = np.zeros(0)
    track = replace(
        nothing_known.track,
        time_s=none,
        speed_rpm=none,
        standard_uncertainty_rpm=none,
        confidence=none,
        motion=np.zeros(0, "U8"),
        carried_by=np.zeros(0, "U8"),
    )
    blink = Recording(kind="sound", samples=np.zeros((1, 2), dtype=np.float32), rate_hz=8000.0)
    text = Reader(page_html(nothing_known.but(track=track, recording=blink))).text
    assert "No turning drum can be found" in text
