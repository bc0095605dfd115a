"""Metrics in the format of Prometheus: what the server saw, and what the database says."""

from __future__ import annotations

import time

from prometheus_client import CollectorRegistry, Counter, Gauge, Histogram, generate_latest
from sqlalchemy import func, select

from spinlab.desk import jobs, listing
from spinlab.desk.database import Database
from spinlab.desk.tables import job
from spinlab.desk.vault import Vault

_SECONDS = (0.005, 0.01, 0.025, 0.05, 0.1, 0.2, 0.5, 1, 2.5, 5, 10)


class Metrics:
    """One server's registry."""

    def __init__(self) -> None:
        self.registry = place = CollectorRegistry()
        labels = ("method", "route", "status")
        self.requests = Counter(
            "spinlab_desk_requests", "Requests answered.", labels, registry=place
        )
        self.seconds = Histogram(
            "spinlab_desk_request_seconds",
            "Time from a request to the end of its answer.",
            ("route",),
            buckets=_SECONDS,
            registry=place,
        )
        self.received = Counter(
            "spinlab_desk_received_bytes", "Bytes of uploads taken.", registry=place
        )
        self.jobs = Gauge("spinlab_desk_jobs", "Jobs by state.", ("state",), registry=place)
        self.oldest = Gauge(
            "spinlab_desk_oldest_waiting_seconds", "Age of the oldest waiting job.", registry=place
        )
        self.free = Gauge("spinlab_desk_free_bytes", "Room left on the disk.", registry=place)

    def saw(self, method: str, route: str, status: int, seconds: float) -> None:
        """Count one request under its pattern."""
        self.requests.labels(method, route, str(status)).inc()
        self.seconds.labels(route).observe(seconds)

    def text(self, database: Database, vault: Vault) -> bytes:
        """Everything, as of now."""
        with database.read() as connection:
            found = listing.counts(connection)
            waiting = select(func.min(job.c.created_s)).where(job.c.state == jobs.WAITING)
            oldest = connection.execute(waiting).scalar()
        for state in listing.STATES[1:]:
            self.jobs.labels(state).set(found.get(state, 0))
        self.oldest.set(time.time() - oldest if oldest is not None else 0.0)
        self.free.set(vault.free_bytes())
        return generate_latest(self.registry)
