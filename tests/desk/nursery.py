"""All that a desk's processes load, loaded once; opens nothing, so that a fork of it is as new."""

import alembic.command
import uvicorn.loops.auto
import uvicorn.protocols.http.httptools_impl

import spinlab.desk.serving
import spinlab.desk.web.app
import tests.desk.examiners

__all__ = ["alembic", "spinlab", "tests", "uvicorn"]
