"""The hash of a record: canonical JSON of all it holds and of the hash before it, SHA-256."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping
from typing import Any


def canonical(value: Any) -> str:
    """Return a value as JSON that is the same on every machine and in every database.

    Keys are sorted, nothing is padded, text stays Unicode, what is None is left out, and an
    infinite number is written as text, for JSON has none.
    """
    return json.dumps(_plain(value), sort_keys=True, ensure_ascii=False, separators=(",", ":"))


def _plain(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {k: _plain(v) for k, v in value.items() if v is not None}
    if isinstance(value, float) and not math.isfinite(value):
        return str(value)
    return value


def record_hash(head: Mapping[str, Any], body: Mapping[str, Any]) -> str:
    """Return the hash of a record.

    Args:
        head: cell, number, kind, at, who, and `before`, the hash of the record before it.
        body: what it holds, by column.
    """
    text = canonical({**head, "body": dict(body)})
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()
