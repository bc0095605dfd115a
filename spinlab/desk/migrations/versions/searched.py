"""An index of trigrams over the text of jobs, by which a search finds them."""

from alembic import op

revision = "0002"
down_revision = "0001"

# FTS5 with its trigram tokenizer (SQLite 3.34, https://www.sqlite.org/fts5.html).  Of a word it
# keeps only which jobs hold a trigram: the search itself holds what it finds against the text.
# By the job's identifier and not by its row number, which VACUUM may change.
_SQLITE = (
    "CREATE VIRTUAL TABLE job_search USING fts5("
    "search, job_id UNINDEXED, tokenize = 'trigram', detail = none, columnsize = 0)",
    "INSERT INTO job_search (search, job_id) SELECT search, id FROM job WHERE search <> ''",
    "CREATE TRIGGER job_search_added AFTER INSERT ON job BEGIN "
    "INSERT INTO job_search (search, job_id) VALUES (new.search, new.id); END",
    "CREATE TRIGGER job_search_changed AFTER UPDATE OF search ON job "
    "WHEN new.search <> old.search BEGIN "
    "DELETE FROM job_search WHERE job_id = old.id; "
    "INSERT INTO job_search (search, job_id) SELECT new.search, new.id WHERE new.search <> ''; END",
    "CREATE TRIGGER job_search_gone AFTER DELETE ON job WHEN old.search <> '' BEGIN "
    "DELETE FROM job_search WHERE job_id = old.id; END",
)
_POSTGRESQL = (
    "CREATE EXTENSION IF NOT EXISTS pg_trgm",
    "CREATE INDEX job_search ON job USING gin (search gin_trgm_ops)",
)


def upgrade() -> None:
    """Create the index and what keeps it."""
    for line in _SQLITE if op.get_bind().dialect.name == "sqlite" else _POSTGRESQL:
        op.execute(line)
