"""Who may do what: every route, every role, and what stands in front of all of them."""

import re

import pytest

from spinlab.desk.signing import sign_in
from tests.desk.rig import PASSWORD, form

# (route, technician on another's job, support, trainer); on one's own job see the path's tests.
READING = [
    ("/queue", 403, 200, 403),
    ("/record", 200, 200, 403),
    ("/mine", 200, 200, 403),
    ("/cases", 403, 200, 200),
    ("/jobs/{job}", 404, 200, 404),
    ("/jobs/{job}/report", 404, 200, 404),
    ("/jobs/{job}/sound", 404, 200, 404),
    ("/jobs/{job}/result.json", 404, 200, 404),
    ("/jobs/{job}/original", 403, 200, 403),
    ("/jobs/{job}/copy/report", 403, 200, 403),
    ("/jobs/{job}/copy/sound", 403, 200, 403),
    ("/api/jobs/{job}", 404, 200, 404),
    ("/api/uploads/{job}", 404, 404, 404),
]
CHANGING = ["label", "note", "message", "link", "release"]


@pytest.fixture
def desk(embedded):
    embedded.job_id = embedded.finished_job()
    return embedded


def test_every_route_but_the_open_ones_asks_who_is_there(desk):
    seen, client = set(), desk.stranger()
    for path, methods in desk.app.openapi()["paths"].items():
        for method in methods:
            answer = client.request(method, re.sub(r"\{[^}]+\}", desk.job_id, path))
            assert answer.status_code in (401, 422), (method, path)
            seen.add(path)
    assert "/api/jobs/{job_id}" in seen
    for path in [route for route, *_ in READING] + [f"/jobs/{{job}}/{word}" for word in CHANGING]:
        address = path.format(job=desk.job_id)
        method = "GET" if any(path == route for route, *_ in READING) else "POST"
        answer = client.request(method, address)
        signed_out = answer.status_code == 401 or answer.headers.get("location") == "/sign-in"
        assert signed_out or answer.status_code == 422, path


@pytest.mark.parametrize(("path", "technician", "support", "trainer"), READING)
def test_a_role_sees_its_own_part_of_the_desk(desk, path, technician, support, trainer):
    address = path.format(job=desk.job_id)
    seen = (
        desk.browser("technician", "another").get(address).status_code,
        desk.browser("support").get(address).status_code,
        desk.browser("trainer").get(address).status_code,
    )
    assert seen == (technician, support, trainer)


@pytest.mark.parametrize("action", CHANGING)
@pytest.mark.parametrize("role", ["technician", "trainer"])
def test_only_support_reviews(desk, action, role):
    client = desk.browser(role)
    values = form(client, number=0, answer="agree", text="x")
    assert client.post(f"/jobs/{desk.job_id}/{action}", data=values).status_code == 403


def test_a_technician_may_delete_the_own_job_and_no_other(desk):
    other, owner = desk.browser("technician", "another"), desk.browser("technician")
    path = f"/jobs/{desk.job_id}/delete"
    assert other.post(path, data=form(other, sure="yes")).status_code == 404
    assert owner.post(path, data=form(owner)).headers["location"].endswith("#delete")
    assert owner.post(path, data=form(owner, sure="yes")).headers["location"] == "/"
    assert owner.get(f"/jobs/{desk.job_id}").status_code == 404


@pytest.mark.parametrize("action", [*CHANGING, "delete"])
def test_a_form_without_its_token_changes_nothing(desk, action):
    support = desk.browser("support")
    values = {"number": 0, "answer": "agree", "text": "x", "sure": "yes"}
    for token in ({}, {"csrf": "wrong"}, {"csrf": ""}):
        answer = support.post(f"/jobs/{desk.job_id}/{action}", data=values | token)
        assert answer.status_code == 403


def test_the_interface_wants_the_token_in_its_header(desk):
    support = desk.browser("support")
    path = f"/api/jobs/{desk.job_id}/findings/0/label"
    assert support.put(path, json={"agrees": True}).status_code == 204
    support.headers["X-CSRF-Token"] = "wrong"
    assert support.put(path, json={"agrees": True}).status_code == 403


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "https://evil.example"},
        {"Origin": "null"},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
    ],
)
def test_a_changing_request_from_another_site_is_refused(desk, headers):
    support = desk.browser("support")
    data = form(support, text="x")
    answer = support.post(f"/jobs/{desk.job_id}/note", data=data, headers=headers)
    assert answer.status_code == 403


def test_the_desk_answers_to_its_own_names_only(desk):
    answer = desk.stranger().get("/healthz", headers={"Host": "evil.example"})
    assert answer.status_code == 421


# RFC 6797, RFC 6265bis, W3C CSP 3, Fetch: what each of these headers does.
@pytest.mark.parametrize(
    "path", ["/sign-in", "/static/desk.css", "/api/me", "/nothing", "/healthz"]
)
def test_every_answer_carries_the_headers_of_protection(desk, path):
    headers = desk.stranger().get(path).headers
    policy = headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    assert "*" not in policy
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["referrer-policy"] == "same-origin"
    assert headers["cross-origin-opener-policy"] == "same-origin"
    assert "max-age=63072000" in headers["strict-transport-security"]
    assert "server" not in headers


def test_a_report_is_shown_in_a_box_without_the_desks_cookies(desk):
    headers = desk.browser("support").get(f"/jobs/{desk.job_id}/report").headers
    policy = headers["content-security-policy"]
    assert "sandbox allow-scripts" in policy
    assert "allow-same-origin" not in policy


def test_an_original_is_saved_and_never_shown(desk):
    answer = desk.browser("support").get(f"/jobs/{desk.job_id}/original")
    assert answer.headers["content-type"] == "application/octet-stream"
    assert answer.headers["content-disposition"].startswith("attachment")


def sign_in_by_form(client, name="technician", password=PASSWORD):
    token = re.search(r'form_token" value="([^"]+)"', client.get("/sign-in").text).group(1)
    data = {"name": name, "password": password, "form_token": token}
    return client.post("/sign-in", data=data)


def test_the_cookie_of_a_sign_in_is_out_of_reach_of_scripts_and_other_sites(desk):
    desk.person("technician")
    cookie = sign_in_by_form(desk.stranger()).headers["set-cookie"]
    assert cookie.startswith("__Host-desk=")
    for word in ("HttpOnly", "Secure", "Path=/", "SameSite=lax"):
        assert word.lower() in cookie.lower()
    assert "domain" not in cookie.lower()


def test_every_sign_in_has_a_new_token_and_signing_out_ends_it_on_the_server(desk):
    client = desk.browser("technician")
    old = client.cookies["__Host-desk"]
    assert sign_in_by_form(client).status_code == 303
    client.cookies.delete("__Host-desk")
    client.cookies.set("__Host-desk", old)
    assert client.get("/api/me").status_code == 401
    again = desk.browser("technician")
    kept = again.cookies["__Host-desk"]
    again.post("/sign-out", data=form(again))
    again.cookies.set("__Host-desk", kept)
    assert again.get("/api/me").status_code == 401


@pytest.mark.parametrize(("hours", "field"), [(13, "created_s"), (3, "seen_s")])
def test_a_sign_in_ends_by_age_and_by_idleness(desk, hours, field):
    from spinlab.desk.tables import session

    client = desk.browser("technician")
    with desk.database.write() as connection:
        late = getattr(session.c, field) - hours * 3600
        connection.execute(session.update().values({field: late}))
    assert client.get("/api/me").status_code == 401


def test_a_name_that_is_unknown_is_answered_like_a_wrong_password(desk):
    desk.person("technician")
    wrong = sign_in_by_form(desk.stranger(), password="not the password at all")
    unknown = sign_in_by_form(desk.stranger(), name="nobody")
    texts = [re.sub(r'value="[^"]+"', "", answer.text) for answer in (wrong, unknown)]
    assert wrong.status_code == unknown.status_code == 401
    assert texts[0] == texts[1]


def test_guessing_is_slowed_down_after_ten_tries(desk):
    desk.person("technician")
    client = desk.stranger()
    answers = [sign_in_by_form(client, password=f"guess {n} guess {n}") for n in range(11)]
    assert [answer.status_code for answer in answers] == [401] * 10 + [429]
    assert "Retry-After" in answers[-1].headers


def test_a_sign_in_form_from_elsewhere_is_refused(desk):
    desk.person("technician")
    data = {"name": "technician", "password": PASSWORD, "form_token": "x"}
    assert desk.stranger().post("/sign-in", data=data).status_code == 403


def test_a_closed_account_is_out_at_once(desk):
    from spinlab.desk.accounts import close_account

    client = desk.browser("technician")
    with desk.database.write() as connection:
        close_account(connection, "technician")
    assert client.get("/api/me").status_code == 401
    assert sign_in(desk.database, "technician", PASSWORD, address="") is None


def test_a_link_opens_nothing_once_it_is_withdrawn_replaced_or_over(desk):
    from spinlab.desk.tables import hand_back

    support = desk.browser("support")

    def link():
        page = support.post(f"/jobs/{desk.job_id}/link", data=form(support)).text
        return re.search(r'value="(https://[^"]+/r/[^"]+)"', page).group(1)

    def opens(address):
        return desk.stranger().get(address).status_code

    first = link()
    second = link()
    assert (opens(first), opens(second)) == (404, 200)
    support.post(f"/jobs/{desk.job_id}/link", data=form(support, action="withdraw"))
    assert opens(second) == 404
    third = link()
    with desk.database.write() as connection:
        connection.execute(hand_back.update().values(expires_s=1.0))
    assert opens(third) == 404


def test_a_stolen_database_holds_no_token_that_opens_anything(desk):
    support = desk.browser("support")
    page = support.post(f"/jobs/{desk.job_id}/link", data=form(support)).text
    token = re.search(r"/r/([^\"]+)\"", page).group(1)
    kept = b"".join(path.read_bytes() for path in desk.settings.folder.glob("desk.sqlite3*"))
    assert desk.job_id.encode() in kept
    assert token.encode() not in kept
    assert support.cookies["__Host-desk"].encode() not in kept
    assert PASSWORD.encode() not in kept


def test_metrics_are_for_this_computer_or_for_the_token(desk):
    import dataclasses

    from spinlab.desk.web.app import create_app
    from tests.desk.rig import ADDRESS, TestClient

    assert "spinlab_desk_jobs" in desk.stranger().get("/metrics").text
    settings = dataclasses.replace(desk.settings, metrics_token="a token for the collector")
    client = TestClient(create_app(settings, desk.database), base_url=ADDRESS)
    assert client.get("/metrics").status_code == 404
    bearer = {"Authorization": "Bearer a token for the collector"}
    assert client.get("/metrics", headers=bearer).status_code == 200


def test_text_from_outside_is_shown_as_text(desk):
    evil = "<img src=x onerror=alert(1)>"
    job_id = desk.finished_job(reference=evil, file_name=evil)
    support = desk.browser("support")
    support.post(f"/jobs/{job_id}/note", data=form(support, text=evil))
    support.post(f"/jobs/{job_id}/message", data=form(support, text=evil))
    for path in ("/queue", f"/jobs/{job_id}", "/queue?text=" + evil):
        page = support.get(path).text
        assert "<img" not in page
        assert "&lt;img" in page
