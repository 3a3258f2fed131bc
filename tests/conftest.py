"""How the tests are run: in parallel by file, a single file in this process alone; and no test leaves a thread behind."""

from __future__ import annotations

import contextlib
import gc
import importlib
import io
import os
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.slowest import slowest

GRACE_S = 2.0
"""A thread that was told to end may take this long to do so."""

BEGUN_FIRST = (
    *("tests/cli/test_station.py", "tests/test_demo_logs.py", "tests/cli/test_develop.py", "tests/live/test_evening.py"),
    *("tests/live/telemetry/test_mqtt.py", "tests/prepare/paper/test_printed.py", "tests/cli/test_lesson_dry_run.py"),
    *("tests/core/development/test_estimator.py", "tests/page/test_in_browser.py", "tests/review/pages/test_session.py"),
    *("tests/live/telemetry/test_broker_edge.py", "tests/live/test_rehearsal.py", "tests/cli/test_page.py"),
    *("tests/live/station/test_two_vessels.py", "tests/cli/test_develop_evening.py", "tests/review/test_measures.py"),
    *("tests/live/telemetry/test_mqtt_outages.py", "tests/cli/test_status.py"),
)
"""The files that take longest, so that none of them is left over at the end. Those that wait, for a process that lives in real time or for
a broker, and those that compute take turns, so that from the start some of each run beside each other."""


MORE_THAN_CORES = 2
"""Workers beyond one for each core: some always wait, for a process, a broker or the disk. With four the cores are never idle, and what the
page makes at niceness 19 is not ready before its test gives up."""


def asked_for(config: pytest.Config) -> list[Path]:
    """The test files that the command line means, by name or by their folder."""
    named = dict.fromkeys(Path(arg.partition("::")[0]) for arg in config.args)
    return sorted({file for path in named for file in ([path] if path.is_file() else path.rglob("test_*.py"))})


def pytest_addoption(parser: pytest.Parser) -> None:
    """What is done with the slowest tests."""
    parser.addoption("--slow", choices=("with", "only"), help="the whole suite with the tests of tests/slowest.txt, or those alone")


def pytest_configure(config: pytest.Config) -> None:
    """Where PYTHONDONTWRITEBYTECODE is set, what is compiled goes into pytest's own cache and not beside the sources.

    Without this every worker and every child process would compile the whole program anew. hypothesis is loaded behind it: pytest rewrites
    each of its modules, and that costs a second where the result may not be kept.
    """
    if sys.dont_write_bytecode and hasattr(config, "cache"):
        assert config.cache is not None
        sys.pycache_prefix = os.environ["PYTHONPYCACHEPREFIX"] = str(config.cache.mkdir("compiled"))
        os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
        sys.dont_write_bytecode = False
    from hypothesis import HealthCheck, settings

    # An example that took long because others had the processor has found nothing; what needs more examples than these says so itself.
    settings.register_profile("busy machine", deadline=None, max_examples=50, suppress_health_check=[HealthCheck.too_slow])
    settings.load_profile("busy machine")


def pytest_xdist_auto_num_workers(config: pytest.Config) -> int:
    """No worker for a single file: starting one takes longer than most files do."""
    files = len(asked_for(config))
    return 0 if files <= 1 else min(files, (os.cpu_count() or 1) + MORE_THAN_CORES)


def pytest_collection(session: pytest.Session) -> None:
    """Each worker imports the test modules from another one on, so that no two compile the same one at the same time.

    A module that cannot be imported is told by the collection that follows.
    """
    worker = getattr(session.config, "workerinput", None)
    if worker is None:
        return
    root, files = Path(__file__).parents[1], asked_for(session.config)
    first = len(files) * int(worker["workerid"].removeprefix("gw")) // worker["workercount"]
    for file in files[first:] + files[:first]:
        with contextlib.suppress(Exception, pytest.skip.Exception):
            importlib.import_module(".".join(file.resolve().relative_to(root).with_suffix("").parts))


def _without_slowest(config: pytest.Config, items: list[pytest.Item]) -> None:
    """The whole suite leaves the slowest tests to those who ask for them; a file or folder that is named is run with all that is in it."""
    every = set(Path(__file__).parent.rglob("test_*.py"))
    slow, named = slowest(), {file.resolve() for file in asked_for(config)} != every
    asked = config.getoption("--slow")
    if asked == "with" or (asked is None and named):
        return
    left_out = [item for item in items if (item.nodeid.partition("[")[0] in slow) != (asked == "only")]
    if left_out:
        config.hook.pytest_deselected(items=left_out)
        out = set(left_out)
        items[:] = [item for item in items if item not in out]


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """What takes longest comes first."""
    _without_slowest(config, items)
    places = {file: place for place, file in enumerate(BEGUN_FIRST)}
    items.sort(key=lambda item: places.get(item.nodeid.partition("::")[0], len(places)))


BRIEF = """schema = 1
name = "brief"
film = "panchromatic"
vessel = "lidded tank"
[[stage]]
name = "develop"
role = "develop"
time = "1:30"
reference = "20 C"
rate = { law = "coefficient", per_10_c = 2.5, sd = 0.1 }
[[stage]]
name = "stop"
role = "stop"
time = "0:30"
"""


@pytest.fixture(scope="session")
def brief_journal(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A true journal of two minutes, for tests to which a session's length means nothing. Copy it, do not change it."""
    from monitor.cli.main import main

    folder = tmp_path_factory.mktemp("brief")
    recipe, trace, journal = (folder / name for name in ("brief.toml", "brief.csv", "brief.jsonl"))
    recipe.write_text(BRIEF)
    trace.write_text("t_s,developer_c,bath_c\n0,20.5,21\n600,20.1,20.5\n")
    with contextlib.redirect_stdout(io.StringIO()):
        assert main(["rehearse", str(recipe), "--trace", str(trace), "--journal", str(journal)]) == 0
    return journal


def pytest_collection_finish() -> None:
    """What is there after the collection stays to the end: the garbage collector need not look through it again and again."""
    gc.collect()
    gc.freeze()


@pytest.fixture(autouse=True)
def _no_terminal_width(monkeypatch: pytest.MonkeyPatch) -> None:
    """Output is a pipe of no width of its own: the workers of a parallel run are told the width of the terminal that started it."""
    monkeypatch.delenv("COLUMNS", raising=False)


@pytest.fixture(autouse=True)
def _no_thread_is_left(request: pytest.FixtureRequest) -> Iterator[None]:
    """Threads that a test has started have ended when it is over; those of fixtures that it shares with others may go on.

    The browser is one: its event loop starts workers (`asyncio_0` ...) when it first needs them, and they live as long as the loop.
    """
    before = set(threading.enumerate())
    shared = "asyncio_" if "browser" in request.fixturenames else None

    def left() -> list[threading.Thread]:
        """Threads of the test, those among them too that are only about to run: such a one can neither be joined nor is it alive."""
        return [t for t in threading.enumerate() if t not in before and not (shared and t.name.startswith(shared))]

    yield
    until_s = time.monotonic() + GRACE_S
    while left() and time.monotonic() < until_s:
        time.sleep(0.001)
    names = [repr(thread.name) for thread in left()]
    if names:
        pytest.fail(f"still running after the test: {', '.join(names)}", pytrace=False)
