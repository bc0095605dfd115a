"""The page in a real browser: layout, keyboard, sound cursor, print."""

from pathlib import Path

import pytest

from tests.report.browser import console, dom, measure, needs_chromium, print_to_pdf

pytestmark = needs_chromium
PROBES = Path(__file__).parent / "probes"


def probe(name):
    """The JavaScript expression of that name, without its opening remark."""
    return (PROBES / f"{name}.js").read_text("utf-8").split("\n", 1)[1]


@pytest.mark.parametrize("width", [320, 390, 700, 1280])
def test_no_width_needs_sideways_scrolling(page, tmp_path, width):
    widths = "[innerWidth, document.documentElement.scrollWidth]"
    inner, content = measure(page, widths, tmp_path, width=width)
    assert inner == width
    assert content <= inner


def test_the_unchanged_page_writes_no_error_to_the_console(page, silent_page, tmp_path):
    assert console(page, tmp_path) == []
    assert console(silent_page, tmp_path) == []


def test_a_page_with_an_error_would_be_noticed(silent_page, tmp_path):
    broken = silent_page.replace("</body>", "<script>nonsense()</script></body>")
    assert len(console(broken, tmp_path)) == 1  # refused by the policy, and said so


def test_the_policy_lets_our_own_script_run(page, tmp_path):
    assert 'aria-valuetext="0:00 · 0.0 rpm · rest"' in dom(page, tmp_path)


def test_arrow_keys_move_the_cursor_and_read_the_speed_out(page, tmp_path):
    now, words = measure(page, probe("arrow_keys"), tmp_path)
    assert now == "25.0"
    # The invented drum holds 400 rpm from 18 s to 30 s, with an invented ripple of 1.5 rpm.
    time, speed, motion = words.split(" · ")
    assert (time, motion) == ("0:25", "plateau")
    assert abs(float(speed.split(" ± ")[0]) - 400) <= 1.6
    assert speed.endswith("± 1.2 rpm")


@pytest.mark.parametrize("width", [390, 1280])
def test_a_touch_on_the_picture_moves_sound_and_cursor_to_that_moment(page, tmp_path, width):
    heard_s, length_s, words, miss_px = measure(page, probe("touch"), tmp_path, width=width)
    assert heard_s == pytest.approx(95, abs=0.5)  # one pixel of the narrow picture is 0.43 s
    assert length_s == pytest.approx(121.9, abs=0.2)
    assert words.startswith(("1:34", "1:35"))
    assert abs(miss_px) < 1.5


def test_a_long_recording_is_heard_from_the_users_own_file(page, tmp_path):
    """The player of the page is taken out, as it is for sound too long to travel inside."""
    start = page.index('<audio id="whole" controls preload')
    picker = '<input type="file"><audio id="whole" controls hidden></audio>'
    long_page = page[:start] + picker + page[page.index("</audio>", start) + len("</audio>") :]
    assert measure(long_page, probe("open_own_file"), tmp_path) == [True, False, "blob:"]


def test_the_short_level_hides_the_experts_part(page, tmp_path):
    assert measure(page, probe("short_level"), tmp_path) == [False, True, "true"]


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_words_stand_out_from_their_ground_in_light_and_dark(page, tmp_path, scheme):
    dark, poor = measure(page, probe("contrast"), tmp_path, dark=scheme == "dark")
    assert dark == (scheme == "dark")
    assert poor == []


def test_it_prints_to_two_sheets_of_a4(page, tmp_path):
    sizes = print_to_pdf(page, tmp_path)
    assert len(sizes) == 2
    for width_pt, height_pt in sizes:
        # ISO 216: A4 is 210 x 297 mm, 595.3 x 841.9 points.
        assert (width_pt, height_pt) == pytest.approx((595.3, 841.9), abs=1.0)
