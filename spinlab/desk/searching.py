"""Finding jobs by pieces of text, with each database's own means.

PostgreSQL looks into its index of trigrams (pg_trgm) by itself wherever one text is sought within
another.  SQLite keeps trigrams in a table beside the jobs (FTS5), which has to be asked by name and
pays only while few jobs fit: what fits many is found sooner by going through the list in order.
Triggers keep that table; see the migrations.  Words of one or two letters hold no trigram; for them
SQLite reads all jobs as they lie on the disk, in a third of the time that a list's order takes.
"""

from __future__ import annotations

from collections.abc import Iterable

from sqlalchemy import Connection, FromClause, column, func, select, table

from spinlab.desk.tables import job

# More than these and the list is read in its own order, where as many of a hundred thousand fill a
# page within a few thousand rows.
_FEW = 2000
_TRIGRAMS = table("job_search", column("job_id"), column("job_search"))


def candidates(connection: Connection, words: Iterable[str]) -> FromClause:
    """A table of jobs that holds at least those with all the words; more may have to be sifted."""
    words = list(words)
    if connection.dialect.name != "sqlite" or not words:
        return job
    if threes := _threes(words):
        asked = " AND ".join(f'"{_quoted(three)}"' for three in threes)
        fitting = select(_TRIGRAMS.c.job_id).where(_TRIGRAMS.c.job_search.match(asked))
    else:
        fitting = select(job.c.id).where(
            *(job.c.search.contains(word, autoescape=True) for word in words)
        )
    counted = select(func.count()).select_from(fitting.limit(_FEW + 1).subquery())
    if connection.execute(counted).scalar_one() > _FEW:
        return job
    # The limit takes nothing away; without it SQLite would look through another index first.
    return select(job).where(job.c.id.in_(fitting)).limit(_FEW).subquery()


def _threes(words: Iterable[str]) -> list[str]:
    return sorted({word[at : at + 3] for word in words for at in range(len(word) - 2)})


def _quoted(text: str) -> str:
    return text.replace('"', '""')
