"""Who goes first on a busy server."""

import asyncio

from starlette.responses import PlainTextResponse

from spinlab.desk.metrics import Metrics
from spinlab.desk.settings import from_environment
from spinlab.desk.web import precedence
from spinlab.desk.web.guard import Guard

UPLOAD = ("PATCH", "/api/uploads/6f1c2a54-0000-4000-8000-000000000000")


def guarded(tmp_path, made, entered):
    """A guard before an application whose pages are made when told, and whose uploads are read."""

    async def application(scope, receive, send):
        entered.append(scope["path"])
        if scope["path"] == "/queue":
            await made.wait()
        elif scope["path"] != "/quick":
            while (await receive())["more_body"]:
                entered.append("piece")
        await PlainTextResponse("done")(scope, receive, send)

    return Guard(application, settings=from_environment(tmp_path), metrics=Metrics())


async def ask(guard, method, path, pieces=0, sent=None):
    """One request; `sent` is awaited before the answer's body goes out."""
    left = [pieces]

    async def receive():
        left[0] -= 1
        return {"type": "http.request", "body": b"x", "more_body": left[0] > 0}

    async def send(message):
        if message["type"] == "http.response.body" and sent is not None:
            await sent.wait()

    headers = [(b"host", b"127.0.0.1")]
    scope = {"type": "http", "method": method, "path": path, "headers": headers}
    await guard(scope, receive, send)


async def rounds(count=20):
    """Let everything run that can."""
    for _ in range(count):
        await asyncio.sleep(0)


def test_an_upload_is_not_read_while_a_page_is_being_made(tmp_path, monkeypatch):
    monkeypatch.setattr(precedence, "LONGEST_S", 3600.0)

    async def run():
        made, entered = asyncio.Event(), []
        guard = guarded(tmp_path, made, entered)
        page = asyncio.create_task(ask(guard, "GET", "/queue"))
        await rounds()
        upload = asyncio.create_task(ask(guard, *UPLOAD, pieces=3))
        await rounds()
        assert entered == ["/queue"]
        made.set()
        await asyncio.gather(page, upload)
        assert entered == ["/queue", UPLOAD[1], "piece", "piece"]

    asyncio.run(run())


def test_an_upload_gets_on_though_a_page_never_ends(tmp_path, monkeypatch):
    monkeypatch.setattr(precedence, "LONGEST_S", 0.001)

    async def run():
        entered = []
        guard = guarded(tmp_path, asyncio.Event(), entered)
        page = asyncio.create_task(ask(guard, "GET", "/queue"))
        await rounds()
        await ask(guard, *UPLOAD, pieces=3)
        assert entered == ["/queue", UPLOAD[1], "piece", "piece"]
        page.cancel()

    asyncio.run(run())


def test_a_page_that_is_only_slow_to_be_sent_holds_up_no_upload(tmp_path, monkeypatch):
    monkeypatch.setattr(precedence, "LONGEST_S", 3600.0)

    async def run():
        sent, entered = asyncio.Event(), []
        guard = guarded(tmp_path, asyncio.Event(), entered)
        page = asyncio.create_task(ask(guard, "GET", "/quick", sent=sent))
        await rounds()
        await ask(guard, *UPLOAD, pieces=2)
        assert not page.done()
        sent.set()
        await page

    asyncio.run(run())


def test_a_page_that_fails_holds_up_no_upload(tmp_path, monkeypatch):
    monkeypatch.setattr(precedence, "LONGEST_S", 3600.0)

    async def run():
        async def application(scope, receive, send):
            if scope["path"] == "/queue":
                raise ValueError
            await PlainTextResponse("done")(scope, receive, send)

        guard = Guard(application, settings=from_environment(tmp_path), metrics=Metrics())
        await ask(guard, "GET", "/queue")
        await asyncio.wait_for(ask(guard, *UPLOAD), timeout=60)

    asyncio.run(run())
