"""Hostile bytes guided by coverage (atheris, libFuzzer) at the doors through which bytes come in.

    pip install --target /tmp/atheris atheris
    PYTHONPATH=/tmp/atheris python -m tests.desk.fuzzing reading|form [-max_total_time=60]

`reading` is what wraps the decoders, `form` a form of a browser as the whole service takes it.
Whatever ends otherwise than with a result or a refusal stops the run and leaves its input in the
folder.  libFuzzer's own options follow; it prints how many inputs were tried.
"""

import dataclasses
import itertools
import sys
import tempfile
import wave
from pathlib import Path

import atheris

from spinlab.errors import SpinlabError


def reading(folder):
    """`spinlab.reading.read` on a file of these bytes."""
    with atheris.instrument_imports(include=["spinlab.reading"]):
        from spinlab.reading import read
    path = folder / "input"

    def take(content):
        path.write_bytes(content)
        try:
            read(path)
        except SpinlabError as error:
            if "\n" in str(error) or not str(error).endswith("."):
                raise AssertionError("not one sentence") from error

    return take


def form(folder):
    """A form of a technician's; a job without consent or without a token is a failure too."""
    with atheris.instrument_imports(
        include=["python_multipart", "starlette.formparsers", "spinlab.desk.web.technician"]
    ):
        from spinlab.desk.throttle import Throttle
        from tests.desk.conftest import _rig, _settings
    rig = _rig(_settings(folder / "desk"))
    # A clock that leaps, so that nothing is refused for coming too fast.
    throttle = Throttle(clock=itertools.count(step=100).__next__)
    rig.app.state.desk = dataclasses.replace(rig.app.state.desk, throttle=throttle)
    client = rig.browser("technician")
    token = client.headers["X-CSRF-Token"].encode()
    kind = {"Content-Type": "multipart/form-data; boundary=b"}

    def take(content):
        got = client.post("/record", content=content.replace(b"TOKEN", token), headers=kind)
        if got.status_code not in (303, 400, 403, 413, 422):
            raise AssertionError(f"status {got.status_code}")
        if got.status_code == 303 and not (b"TOKEN" in content and b"yes" in content):
            raise AssertionError("a job without token or consent")

    return take


def seeds(folder, name):
    """A few right inputs to begin with."""
    folder.mkdir()
    if name == "reading":
        with wave.open(str(folder / "wav"), "wb") as out:
            out.setnchannels(1)
            out.setsampwidth(2)
            out.setframerate(8000)
            out.writeframes(bytes(range(256)) * 8)
        rows = "".join(f"{row / 100},0.1,0.2,9.8\n" for row in range(40))
        (folder / "csv").write_text(f"time,x,y,z\n{rows}", "utf-8")
    else:
        field = '--b\r\nContent-Disposition: form-data; name="{}"\r\n\r\n{}\r\n'
        file = '--b\r\nContent-Disposition: form-data; name="file"; filename="x"\r\n\r\n\x00\r\n'
        text = field.format("csrf", "TOKEN") + field.format("consent", "yes") + file + "--b--\r\n"
        (folder / "form").write_bytes(text.encode())


def main():
    """Fuzz one door until told to stop."""
    name, options = sys.argv[1], sys.argv[2:]
    with tempfile.TemporaryDirectory() as folder:
        take = {"reading": reading, "form": form}[name](Path(folder))
        seeds(Path(folder) / "seeds", name)
        atheris.Setup([sys.argv[0], *options, str(Path(folder) / "seeds")], take)
        atheris.Fuzz()


if __name__ == "__main__":
    main()
