"""The journal's records: how one is written as a line. JSON Lines, UTF-8, one record a line (contract, section 5).

Field order is `seq`, `session`, `t_s`, `wall`, `kind`, then the kind's own fields. Numbers are not rounded for show.
The reader that checks a journal is `monitor.core.journal.check`.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

SCHEMA_VERSION = 1
"""Version of the journal's format; `session` records carry it as `schema`. A reader refuses a newer one."""

_ENCODER = json.JSONEncoder(ensure_ascii=False, allow_nan=False, separators=(",", ":"))


def encode(record: Mapping[str, Any]) -> str:
    """One record as one line, newline included. Raises ValueError for a number that is not finite."""
    return _ENCODER.encode(record) + "\n"
