"""Pictures: what is drawn is what was computed, and it can be read without colour."""

import io

import numpy as np
import pytest
from matplotlib.colors import to_rgb
from PIL import Image

from spinlab.portrait import portrait
from spinlab.report.pictures import BLUE, FAINT, GREEN, INK, VERMILION, figure, picture_bytes


def portray(analysis):
    return portrait(analysis.recording, analysis.track, analysis.stages, analysis.machine)


@pytest.fixture(scope="module")
def drawn(invented):
    return portray(invented)


@pytest.fixture(scope="module")
def page(drawn):
    return figure(drawn)


def panel(page, name):
    return next(axes for axes in page.axes if axes.get_label() == name)


def test_the_three_panels_share_one_time_axis(page, drawn):
    assert [axes.get_label() for axes in page.axes] == ["spectrogram", "speed", "departure"]
    for axes in page.axes:
        assert axes.get_xlim() == (drawn.start_s, drawn.end_s)


def test_every_axis_names_its_quantity_and_unit(page):
    labels = [axes.get_ylabel() for axes in page.axes] + [page.axes[-1].get_xlabel()]
    assert labels == [
        "Frequency (Hz)",
        "Drum speed (rpm)",
        "Off by (rpm)",
        "Time in the file (min:s)",
    ]


def test_the_speed_line_is_the_computed_speed(page, drawn):
    lines = panel(page, "speed").get_lines()
    longest = max(lines, key=lambda line: len(line.get_xdata()))
    np.testing.assert_array_equal(longest.get_ydata(), drawn.speed_rpm)


def test_each_stage_stands_beside_its_plateau_in_words(page):
    words = [text.get_text() for text in panel(page, "speed").texts]
    assert words == ["400 reached", "800 reached", "1000 reached", "1200 reached", "1400 off speed"]


def test_orders_differ_by_dash_and_carry_their_name(page):
    axes = panel(page, "spectrogram")
    names = [text.get_text() for text in axes.texts]
    assert names == ["10.4 × drum", "20.8 × drum", "31.2 × drum", "100 Hz: mains, 2 × 50 Hz"]
    dashes = [
        line._unscaled_dash_pattern for line in axes.get_lines() if line.get_color() == VERMILION
    ]
    assert len({str(dash) for dash in dashes}) == 3


def luminance(colour):
    # WCAG 2.2, definition of relative luminance.
    parts = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in to_rgb(colour)]
    return 0.2126 * parts[0] + 0.7152 * parts[1] + 0.0722 * parts[2]


@pytest.mark.parametrize(
    ("colour", "least"),
    # WCAG 2.2: 4.5:1 for text (criterion 1.4.3), 3:1 for graphical objects (1.4.11).
    [(INK, 4.5), (GREEN, 4.5), (FAINT, 4.5), (BLUE, 3.0), (VERMILION, 3.0)],
)
def test_lines_and_words_stand_out_from_white_paper(colour, least):
    assert 1.05 / (luminance(colour) + 0.05) >= least


def test_a_recording_without_any_speed_says_so_in_the_picture(nothing_known):
    page = figure(portray(nothing_known))
    assert [axes.get_label() for axes in page.axes] == ["spectrogram", "speed"]
    assert [text.get_text() for text in panel(page, "speed").texts] == ["No speed could be told."]


def test_a_relative_speed_is_not_labelled_in_rpm(invented):
    from dataclasses import replace

    track = replace(invented.track, scale="relative")
    page = figure(portray(invented.but(track=track)))
    assert panel(page, "speed").get_ylabel() == "Speed (no absolute scale)"


@pytest.mark.parametrize(
    ("file_format", "start"), [("png", b"\x89PNG"), ("svg", b"<?xml"), ("pdf", b"%PDF")]
)
def test_a_picture_is_saved_in_the_format_asked_for_and_twice_the_same(
    nothing_known, file_format, start
):
    drawn = portray(nothing_known)
    first, second = (picture_bytes(figure(drawn), file_format=file_format) for _ in range(2))
    assert first.startswith(start)
    assert first == second


def test_the_words_of_an_svg_stay_words(nothing_known):
    svg = picture_bytes(figure(portray(nothing_known)), file_format="svg").decode()
    assert "No speed could be told." in svg


def test_no_drawing_runs_over_the_edge_of_a_narrow_picture(drawn):
    picture = Image.open(
        io.BytesIO(picture_bytes(figure(drawn, shape="narrow"), file_format="png"))
    )
    grey = np.asarray(picture.convert("L"))
    for edge in (grey[0], grey[-1], grey[:, 0], grey[:, -1]):
        assert edge.min() == 255
