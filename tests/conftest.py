"""How the tests are run: in parallel by file, a single file in this process alone."""

from __future__ import annotations

from pathlib import Path

import pytest


def pytest_xdist_auto_num_workers(config: pytest.Config) -> int | None:
    """No worker for a single file: starting one takes longer than most files do. None leaves the number to the plugin."""
    asked = [Path(arg.partition("::")[0]) for arg in config.args]
    return 0 if len(set(asked)) == 1 and asked[0].is_file() else None
