"""The tables, as the newest migration leaves them.

Times are seconds since 1970 in UTC (`_s`).  Tokens that open something are kept as SHA-256 only, so
that a stolen database opens nothing.
"""

from __future__ import annotations

from sqlalchemy import (
    BigInteger,
    Boolean,
    Column,
    Double,
    ForeignKey,
    Index,
    Integer,
    MetaData,
    String,
    Table,
    Text,
    UniqueConstraint,
)

metadata = MetaData()

# SQLite counts rows up by itself only in a column declared INTEGER.
COUNTED = BigInteger().with_variant(Integer, "sqlite")

account = Table(
    "account",
    metadata,
    Column("id", String(32), primary_key=True),
    Column("name", String(64), nullable=False, unique=True),
    Column("role", String(16), nullable=False),
    Column("password_hash", String(256), nullable=False),
    Column("active", Boolean, nullable=False),
    # A password that was drawn for someone opens until then, and only to be changed.
    Column("initial_until_s", Double),
    Column("created_s", Double, nullable=False),
)

session = Table(
    "session",
    metadata,
    Column("token_hash", String(64), primary_key=True),
    Column("account_id", ForeignKey("account.id", ondelete="CASCADE"), nullable=False, index=True),
    Column("csrf", String(64), nullable=False),
    Column("created_s", Double, nullable=False),
    Column("seen_s", Double, nullable=False),
)

upload = Table(
    "upload",
    metadata,
    Column("id", String(36), primary_key=True),
    Column("account_id", ForeignKey("account.id"), nullable=False, index=True),
    Column("size_bytes", BigInteger, nullable=False),
    Column("file_name", String(255), nullable=False),
    Column("reference", String(80), nullable=False),
    Column("profile", String(80), nullable=False),
    Column("readings", Text, nullable=False),
    Column("consent", String(32), nullable=False),
    Column("created_s", Double, nullable=False),
)

job = Table(
    "job",
    metadata,
    Column("id", String(36), primary_key=True),
    Column("account_id", ForeignKey("account.id"), nullable=False),
    Column("reference", String(80), nullable=False),
    Column("file_name", String(255), nullable=False),
    # Indexed by each database's own means, which only the migration speaks of.
    Column("search", String(512), nullable=False),
    Column("size_bytes", BigInteger, nullable=False),
    Column("sha256", String(64), nullable=False, index=True),
    Column("profile", String(80), nullable=False),
    Column("readings", Text, nullable=False),
    Column("consent", String(32), nullable=False),
    Column("created_s", Double, nullable=False),
    Column("delete_after_s", Double, nullable=False, index=True),
    Column("state", String(16), nullable=False),
    Column("attempts", Integer, nullable=False),
    Column("lease", String(32)),
    Column("lease_until_s", Double),
    Column("finished_s", Double),
    Column("result", String(32)),
    Column("software", String(32)),
    Column("verdict_state", String(16)),
    Column("verdict_sentence", Text),
    Column("severity", Integer, nullable=False),
    Column("failure", Text),
    Column("message", Text),
    Column("case_id", String(32), unique=True),
    Index("job_newest", "created_s", "id"),
    Index("job_state", "state", "created_s"),
    Index("job_verdict", "verdict_state", "created_s"),
    Index("job_account", "account_id", "created_s"),
    Index("job_severity", "severity", "created_s"),
)

finding = Table(
    "finding",
    metadata,
    Column("job_id", ForeignKey("job.id", ondelete="CASCADE"), primary_key=True),
    Column("number", Integer, primary_key=True),
    Column("kind", String(32), nullable=False),
    Column("subject", Text, nullable=False),
    Column("state", String(16), nullable=False),
    Column("probability", Double),
    Column("reason", Text, nullable=False),
    Column("next_step", Text, nullable=False),
)

# A label outlives its job, stripped of everything that points to a person or a recording: what is
# left says how often a finding of that kind and probability was right.
label = Table(
    "label",
    metadata,
    Column("id", COUNTED, primary_key=True, autoincrement=True),
    Column("job_id", ForeignKey("job.id", ondelete="SET NULL"), index=True),
    Column("account_id", ForeignKey("account.id", ondelete="SET NULL")),
    Column("number", Integer, nullable=False),
    Column("agrees", Boolean, nullable=False),
    Column("kind", String(32), nullable=False),
    Column("subject", Text, nullable=False),
    Column("state", String(16), nullable=False),
    Column("probability", Double),
    Column("profile", String(80), nullable=False),
    Column("software", String(32), nullable=False),
    Column("created_s", Double, nullable=False),
    UniqueConstraint("job_id", "number", "account_id"),
)

note = Table(
    "note",
    metadata,
    Column("id", COUNTED, primary_key=True, autoincrement=True),
    Column("job_id", ForeignKey("job.id", ondelete="CASCADE"), nullable=False, index=True),
    Column("account_id", ForeignKey("account.id"), nullable=False),
    Column("text", Text, nullable=False),
    Column("created_s", Double, nullable=False),
)

hand_back = Table(
    "hand_back",
    metadata,
    Column("token_hash", String(64), primary_key=True),
    Column("job_id", ForeignKey("job.id", ondelete="CASCADE"), nullable=False, index=True),
    Column("created_s", Double, nullable=False),
    Column("expires_s", Double, nullable=False),
)

audit = Table(
    "audit",
    metadata,
    Column("id", COUNTED, primary_key=True, autoincrement=True),
    Column("time_s", Double, nullable=False, index=True),
    Column("account", String(64), nullable=False),
    Column("action", String(32), nullable=False, index=True),
    Column("subject", String(64), nullable=False, index=True),
    Column("detail", String(255), nullable=False),
    Column("address", String(64), nullable=False),
)
