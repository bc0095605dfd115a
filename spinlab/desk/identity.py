"""Random names and tokens, and their hashes."""

from __future__ import annotations

import hashlib
import secrets
import uuid

# 32 bytes cannot be guessed; OWASP ASVS 5.0.0 asks for 128 bits (7.2.3).
_TOKEN_BYTES = 32


def new_id() -> str:
    """A random identifier (RFC 9562, version 4) without its hyphens."""
    return uuid.uuid4().hex


def new_token() -> str:
    """A secret that opens something: 256 random bits, fit for an address."""
    return secrets.token_urlsafe(_TOKEN_BYTES)


def token_hash(token: str) -> str:
    """What is kept of a token.  A fast hash suffices: the token itself is random."""
    return hashlib.sha256(token.encode("utf-8", "replace")).hexdigest()
