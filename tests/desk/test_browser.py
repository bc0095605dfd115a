"""The whole path in Debian's Chromium: phone, desk, phone."""

import re
import shutil

import pytest

from spinlab.desk.accounts import add_account
from spinlab.desk.database import Database
from tests.desk.processes import Process, free_port, settings_of, wait_until_open

CHROMIUM = shutil.which("chromium")
playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
needs_chromium = pytest.mark.skipif(
    CHROMIUM is None, reason="Debian's chromium is not installed: apt-get install chromium"
)
PASSWORD = "a quiet drum turns 400"
PHONE, TABLE = {"width": 390, "height": 844}, {"width": 1280, "height": 900}
# Chromium's own invented microphone: a beep a second (a switch of Chromium).
SWITCHES = ["--no-sandbox", "--use-fake-ui-for-media-stream", "--use-fake-device-for-media-stream"]
WAIT_MS = 60_000


@pytest.fixture
def service(tmp_path):
    settings, port = settings_of(tmp_path / "desk"), free_port()
    database = Database(settings)
    database.migrate()
    with database.write() as connection:
        for role in ("technician", "support", "trainer"):
            add_account(connection, role, role, PASSWORD)
    database.close()
    server = Process("serve", str(settings.folder), str(port))
    worker = Process("work", str(settings.folder))
    try:
        wait_until_open(port)
        yield f"http://localhost:{port}"
    finally:
        server.kill()
        worker.kill()


@pytest.fixture
def browser():
    with playwright.sync_playwright() as player:
        running = player.chromium.launch(executable_path=CHROMIUM, args=SWITCHES)
        yield running
        running.close()


def sign_in(browser, address, role, viewport):
    """A page of that person's, and a list of everything that the browser complains of."""
    context = browser.new_context(viewport=viewport, permissions=["microphone"])
    page, complaints = context.new_page(), []
    page.set_default_timeout(WAIT_MS)
    page.on("console", lambda line: complaints.append(line.text) if line.type == "error" else None)
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.goto(f"{address}/sign-in")
    page.fill("input[name=name]", role)
    page.fill("input[name=password]", PASSWORD)
    page.click("button.main")
    page.wait_for_url(lambda url: "sign-in" not in url)
    return page, complaints


def fits(page):
    """Whether nothing sticks out at the side."""
    return page.evaluate("document.documentElement.scrollWidth <= innerWidth")


@needs_chromium
def test_technician_uploads_on_a_phone_support_reviews_technician_opens_the_result(
    service, browser, tmp_path
):
    recording = tmp_path / "spin.m4a"
    recording.write_bytes(b"\x02" + bytes(2_500_000))

    phone, phone_complaints = sign_in(browser, service, "technician", PHONE)
    assert fits(phone)
    phone.set_input_files("#file", recording)
    phone.select_option("#profile", "belt-brushed-1400")
    phone.fill("#reference", "job 17")
    phone.fill("#readings", "1200rpm 238V 1.6A 300W")
    phone.check("#consent")
    phone.click("#send")
    phone.wait_for_url(re.compile("/jobs/"))
    phone.wait_for_selector(".verdict")
    assert "Fault found" in phone.inner_text(".verdict")
    assert fits(phone)

    desk, desk_complaints = sign_in(browser, service, "support", TABLE)
    desk.click("text=job 17")
    desk.click("#finding-0 button[value=agree]")
    desk.wait_for_selector("#finding-0 button[value=agree][aria-pressed=true]")
    assert desk.get_attribute("audio", "src").endswith("/sound")
    desk.fill("#notes textarea", "Sounds like the case before.")
    desk.click("text=Keep note")
    desk.fill("#hand-back textarea", "Check the belt by hand, plug pulled.")
    desk.click("text=Keep message")
    desk.click("text=Make a link")
    link = desk.input_value("#link")
    assert link.startswith(f"{service}/r/")

    stranger = browser.new_context(viewport=PHONE).new_page()
    stranger.goto(link)
    assert "Check the belt by hand, plug pulled." in stranger.inner_text("main")
    assert fits(stranger)
    stranger.click("text=Open the full report")
    stranger.wait_for_url(re.compile("/report$"))
    phone.goto(f"{service}/mine")
    assert "support has answered" in phone.inner_text("main")
    assert (phone_complaints, desk_complaints) == ([], [])


@needs_chromium
def test_a_recording_made_in_the_browser_arrives_as_sound_that_can_be_read(
    service, browser, tmp_path
):
    from spinlab.reading import read

    phone, complaints = sign_in(browser, service, "technician", PHONE)
    phone.click("#start")
    phone.wait_for_selector("#stop:visible")
    assert fits(phone)
    phone.wait_for_timeout(2500)
    phone.click("#stop")
    phone.wait_for_selector("#listen:visible")
    phone.check("#consent")
    phone.click("#send")
    phone.wait_for_url(re.compile("/jobs/"))
    original = next((tmp_path / "desk" / "originals").glob("*/*"))
    recording = read(original)
    assert recording.kind == "sound"
    assert recording.duration_s > 1.0
    assert complaints == []


@needs_chromium
def test_an_upload_goes_on_where_the_connection_broke(service, browser, tmp_path):
    recording = tmp_path / "spin.m4a"
    recording.write_bytes(b"\x00" + bytes(3_500_000))
    phone, _ = sign_in(browser, service, "technician", PHONE)
    parts = []

    def disturb(route):
        if route.request.method == "PATCH":
            parts.append(int(route.request.headers["upload-offset"]))
        if route.request.method == "PATCH" and len(parts) in (2, 3):
            route.abort("connectionreset")
        else:
            route.continue_()

    phone.route(
        "**/api/uploads/*",
        lambda route: disturb(route) if route.request.method == "PATCH" else route.continue_(),
    )
    phone.set_input_files("#file", recording)
    phone.check("#consent")
    phone.click("#send")
    phone.wait_for_url(re.compile("/jobs/"))
    mebibyte = 2**20
    assert [int(part) for part in parts] == [
        0,
        mebibyte,
        mebibyte,
        mebibyte,
        2 * mebibyte,
        3 * mebibyte,
    ]
