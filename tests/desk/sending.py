"""Senders that behave as the phone's page does: they repeat what was not answered."""

import hashlib
import http.client
import json
import random
import threading
import time
import uuid

from tests.desk.processes import HOST
from tests.desk.rig import announcement

PART_BYTES = 16 * 1024
# While so many jobs wait, nothing more is sent: the worker is to be killed at work, not buried.
MOST_WAITING = 10


class Sender(threading.Thread):
    """Sends one recording after the other, stubbornly; remembers what was acknowledged."""

    def __init__(self, port, token, csrf, stop, seed):
        super().__init__(daemon=True)
        self.port, self.stop_event, self.rng = port, stop, random.Random(seed)
        self.headers = {"Cookie": f"__Host-desk={token}", "X-CSRF-Token": csrf}
        self.acknowledged = {}

    def run(self):
        while not self.stop_event.is_set():
            if len(self.ask("GET", "/api/jobs?state=waiting", None)["jobs"]) > MOST_WAITING:
                time.sleep(0.2)
                continue
            size = self.rng.randrange(20_000, 200_000)
            content = bytes([self.rng.randrange(4)]) + self.rng.randbytes(size)
            job_id = self.send(content)
            self.acknowledged[job_id] = hashlib.sha256(content).hexdigest()

    def send(self, content):
        path = f"/api/uploads/{uuid.UUID(int=self.rng.getrandbits(128), version=4)}"
        told = json.dumps(announcement(content)).encode()
        offset = self.ask("PUT", path, told)["offset_bytes"]
        while offset < len(content):
            part = content[offset : offset + PART_BYTES]
            answer = self.ask("PATCH", path, part, {"Upload-Offset": str(offset)})
            offset = answer.get("offset_bytes", offset)
        return self.ask("POST", f"{path}/finish", b"{}")["job"]

    def ask(self, method, path, body, headers=None):
        """Ask until there is an answer; of a refusal only the offset counts."""
        while True:
            try:
                connection = http.client.HTTPConnection(HOST, self.port, timeout=20)
                kind = "application/octet-stream" if method == "PATCH" else "application/json"
                all_headers = {"Content-Type": kind, **self.headers, **(headers or {})}
                connection.request(method, path, body, all_headers)
                answer = connection.getresponse()
                content = answer.read()
            except (OSError, http.client.HTTPException):
                time.sleep(0.05)
                continue
            if answer.status < 300:
                return json.loads(content)
            if "upload-offset" in answer.headers and method == "PATCH":
                return {"offset_bytes": int(answer.headers["upload-offset"])}
            if answer.status not in (409, 423, 429, 500, 503):
                raise AssertionError(f"{method} was refused: {answer.status} {content!r}")
            time.sleep(0.1)
