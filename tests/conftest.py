"""How the tests are run: in parallel by file, a single file in this process alone; and no test leaves a thread behind."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

GRACE_S = 2.0
"""A thread that was told to end may take this long to do so."""

SLOW_BY_WAITING = ("tests/cli/test_station.py", "tests/cli/test_develop.py", "tests/cli/test_status.py")
"""Files that mostly wait for a process that lives in real time; begun first, others run beside them."""


def pytest_xdist_auto_num_workers(config: pytest.Config) -> int | None:
    """No worker for a single file: starting one takes longer than most files do. None leaves the number to the plugin."""
    asked = [Path(arg.partition("::")[0]) for arg in config.args]
    return 0 if len(set(asked)) == 1 and asked[0].is_file() else None


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """What waits comes first."""
    items.sort(key=lambda item: item.nodeid.partition("::")[0] not in SLOW_BY_WAITING)


@pytest.fixture(autouse=True)
def _no_thread_is_left(request: pytest.FixtureRequest) -> Iterator[None]:
    """Threads that a test has started have ended when it is over; those of fixtures that it shares with others may go on.

    The browser is one: its event loop starts workers (`asyncio_0` ...) when it first needs them, and they live as long as the loop.
    """
    before = set(threading.enumerate())
    shared = "asyncio_" if "browser" in request.fixturenames else None
    yield
    until_s = time.monotonic() + GRACE_S
    left = [t for t in threading.enumerate() if t not in before and not (shared and t.name.startswith(shared))]
    for thread in left:
        thread.join(max(0.0, until_s - time.monotonic()))
    names = [repr(thread.name) for thread in left if thread.is_alive()]
    if names:
        pytest.fail(f"still running after the test: {', '.join(names)}", pytrace=False)
