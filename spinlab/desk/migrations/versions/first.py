"""The first form: accounts, uploads, jobs, findings, labels, notes, links, audit trail."""

from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None

_key, _job = sa.String(32), sa.String(36)
_counted = sa.BigInteger().with_variant(sa.Integer, "sqlite")


def upgrade() -> None:
    """Create every table of the first form."""
    _people()
    _jobs()
    _reviews()
    op.create_table(
        "audit",
        sa.Column("id", _counted, primary_key=True, autoincrement=True),
        sa.Column("time_s", sa.Double, nullable=False, index=True),
        sa.Column("account", sa.String(64), nullable=False),
        sa.Column("action", sa.String(32), nullable=False, index=True),
        sa.Column("subject", sa.String(64), nullable=False, index=True),
        sa.Column("detail", sa.String(255), nullable=False),
        sa.Column("address", sa.String(64), nullable=False),
    )


def _people() -> None:
    op.create_table(
        "account",
        sa.Column("id", sa.String(32), primary_key=True),
        sa.Column("name", sa.String(64), nullable=False, unique=True),
        sa.Column("role", sa.String(16), nullable=False),
        sa.Column("password_hash", sa.String(256), nullable=False),
        sa.Column("active", sa.Boolean, nullable=False),
        sa.Column("initial_until_s", sa.Double),
        sa.Column("created_s", sa.Double, nullable=False),
    )
    op.create_table(
        "session",
        sa.Column("token_hash", sa.String(64), primary_key=True),
        sa.Column(
            "account_id",
            _key,
            sa.ForeignKey("account.id", ondelete="CASCADE"),
            nullable=False,
            index=True,
        ),
        sa.Column("csrf", sa.String(64), nullable=False),
        sa.Column("created_s", sa.Double, nullable=False),
        sa.Column("seen_s", sa.Double, nullable=False),
    )


def _jobs() -> None:
    told: list[tuple[str, Any]] = [
        ("reference", sa.String(80)),
        ("profile", sa.String(80)),
        ("readings", sa.Text),
        ("consent", sa.String(32)),
        ("file_name", sa.String(255)),
        ("size_bytes", sa.BigInteger),
        ("created_s", sa.Double),
    ]
    op.create_table(
        "upload",
        sa.Column("id", sa.String(36), primary_key=True),
        sa.Column("account_id", _key, sa.ForeignKey("account.id"), nullable=False, index=True),
        *(sa.Column(name, kind, nullable=False) for name, kind in told),
    )
    op.create_table(
        "job",
        sa.Column("id", sa.String(36), primary_key=True),
        sa.Column("account_id", _key, sa.ForeignKey("account.id"), nullable=False),
        *(sa.Column(name, kind, nullable=False) for name, kind in told),
        sa.Column("search", sa.String(512), nullable=False),
        sa.Column("sha256", sa.String(64), nullable=False, index=True),
        sa.Column("delete_after_s", sa.Double, nullable=False, index=True),
        sa.Column("state", sa.String(16), nullable=False),
        sa.Column("attempts", sa.Integer, nullable=False),
        sa.Column("lease", sa.String(32)),
        sa.Column("lease_until_s", sa.Double),
        sa.Column("finished_s", sa.Double),
        sa.Column("result", sa.String(32)),
        sa.Column("software", sa.String(32)),
        sa.Column("verdict_state", sa.String(16)),
        sa.Column("verdict_sentence", sa.Text),
        sa.Column("severity", sa.Integer, nullable=False),
        sa.Column("failure", sa.Text),
        sa.Column("message", sa.Text),
        sa.Column("case_id", sa.String(32), unique=True),
    )
    op.create_index("job_newest", "job", ["created_s", "id"])
    for name in ("state", "verdict_state", "account_id", "severity"):
        short = {"verdict_state": "verdict", "account_id": "account"}.get(name, name)
        op.create_index(f"job_{short}", "job", [name, "created_s"])


def _reviews() -> None:
    cascade: dict[str, Any] = {"ondelete": "CASCADE"}
    op.create_table(
        "finding",
        sa.Column("job_id", _job, sa.ForeignKey("job.id", **cascade), primary_key=True),
        sa.Column("number", sa.Integer, primary_key=True),
        sa.Column("kind", sa.String(32), nullable=False),
        sa.Column("subject", sa.Text, nullable=False),
        sa.Column("state", sa.String(16), nullable=False),
        sa.Column("probability", sa.Double),
        sa.Column("reason", sa.Text, nullable=False),
        sa.Column("next_step", sa.Text, nullable=False),
    )
    op.create_table(
        "label",
        sa.Column("id", _counted, primary_key=True, autoincrement=True),
        sa.Column("job_id", _job, sa.ForeignKey("job.id", ondelete="SET NULL"), index=True),
        sa.Column("account_id", _key, sa.ForeignKey("account.id", ondelete="SET NULL")),
        sa.Column("number", sa.Integer, nullable=False),
        sa.Column("agrees", sa.Boolean, nullable=False),
        sa.Column("kind", sa.String(32), nullable=False),
        sa.Column("subject", sa.Text, nullable=False),
        sa.Column("state", sa.String(16), nullable=False),
        sa.Column("probability", sa.Double),
        sa.Column("profile", sa.String(80), nullable=False),
        sa.Column("software", sa.String(32), nullable=False),
        sa.Column("created_s", sa.Double, nullable=False),
        sa.UniqueConstraint("job_id", "number", "account_id"),
    )
    op.create_table(
        "note",
        sa.Column("id", _counted, primary_key=True, autoincrement=True),
        sa.Column("job_id", _job, sa.ForeignKey("job.id", **cascade), nullable=False, index=True),
        sa.Column("account_id", _key, sa.ForeignKey("account.id"), nullable=False),
        sa.Column("text", sa.Text, nullable=False),
        sa.Column("created_s", sa.Double, nullable=False),
    )
    op.create_table(
        "hand_back",
        sa.Column("token_hash", sa.String(64), primary_key=True),
        sa.Column("job_id", _job, sa.ForeignKey("job.id", **cascade), nullable=False, index=True),
        sa.Column("created_s", sa.Double, nullable=False),
        sa.Column("expires_s", sa.Double, nullable=False),
    )
