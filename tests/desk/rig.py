"""A desk under test: its parts, people who are signed in."""

import time
import uuid
from dataclasses import dataclass, field

from starlette.testclient import TestClient

from spinlab.desk import accounts, signing
from spinlab.desk.accounts import Person
from spinlab.desk.database import Database
from spinlab.desk.identity import new_id
from spinlab.desk.settings import Settings
from spinlab.desk.tables import account
from spinlab.desk.vault import Vault
from spinlab.desk.web.app import create_app
from spinlab.desk.worker import Bench, work_once
from tests.desk.examiners import quick_examine

PASSWORD = "a quiet drum turns 400"
ADDRESS = "https://desk.example"
# A real hash, made once: it is meant to take long.
_HASH: list[str] = []


@dataclass(eq=False)
class Rig:
    """One desk and who works at it."""

    settings: Settings
    database: Database
    app: object = None
    people: dict[str, Person] = field(default_factory=dict)

    def __post_init__(self):
        self.vault = Vault(self.settings.folder)
        self.app = create_app(self.settings, self.database)
        self.bench = Bench(
            settings=self.settings,
            database=self.database,
            vault=self.vault,
            examiner=quick_examine,
        )

    def person(self, role, name=""):
        """An account of that role; the password of all is PASSWORD."""
        name = name or role
        if name not in self.people:
            if not _HASH:
                _HASH.append(accounts.hash_password(PASSWORD))
            made = Person(id=new_id(), name=name, role=role)
            with self.database.write() as connection:
                connection.execute(
                    account.insert().values(
                        id=made.id,
                        name=name,
                        role=role,
                        active=True,
                        created_s=time.time(),
                        password_hash=_HASH[0],
                    )
                )
            self.people[name] = made
        return self.people[name]

    def stranger(self):
        """A browser in which nobody is signed in."""
        return TestClient(self.app, base_url=ADDRESS, follow_redirects=False)

    def browser(self, role, name=""):
        """A browser in which that person is signed in, and which knows its token."""
        person = self.person(role, name)
        with self.database.write() as connection:
            token = signing.begin(connection, person)
        client = self.stranger()
        client.cookies.set("__Host-desk", token)
        client.headers["X-CSRF-Token"] = client.get("/api/me").json()["csrf"]
        return client

    def upload(self, client, content=b"\x02 an invented recording", **told):
        """Send a recording in one part; returns the job's identifier."""
        upload_id = told.pop("id", None) or str(uuid.uuid4())
        begun = client.put(f"/api/uploads/{upload_id}", json=announcement(content, **told))
        assert begun.status_code == 200, begun.text
        client.patch(
            f"/api/uploads/{upload_id}", content=content, headers={"Upload-Offset": "0"}
        ).raise_for_status()
        done = client.post(f"/api/uploads/{upload_id}/finish", json={})
        assert done.status_code == 201, done.text
        return done.json()["job"]

    def work(self):
        """Work off every job that waits; returns how many there were."""
        done = 0
        while work_once(self.bench):
            done += 1
        return done

    def finished_job(self, content=b"\x02 an invented recording", **told):
        """A job of the technician's that has been analysed."""
        job_id = self.upload(self.browser("technician"), content, **told)
        self.work()
        return job_id


def announcement(content, **told):
    """What a technician says about a recording."""
    return {
        "size_bytes": len(content),
        "file_name": "spin.m4a",
        "reference": "job 17",
        "profile": "belt-brushed-1400",
        "consent": True,
    } | told


def form(client, **values):
    """A form's values with the client's token."""
    return {"csrf": client.headers["X-CSRF-Token"]} | values
