"""What the station answered, for the commands: an answer, or its refusal with its lines and its exit status.

Tests: tests/cli/test_develop.py.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from monitor.core.errors import InputWrong, NotThere


def told(answer: Mapping[str, Any]) -> Mapping[str, Any]:
    """An answer of the station, or its refusal as the error that it is."""
    if answer.get("ok"):
        return answer
    lines = [str(line) for line in answer.get("lines", ["the station refused"])]
    if answer.get("status") == 3:
        raise NotThere(*lines)
    raise InputWrong(*lines)
