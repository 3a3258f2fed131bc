"""`evenbath record` as a person calls it: a process, its words and its exit status."""

from __future__ import annotations

import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from monitor.live.clock import RealClock
from tests.live.telemetry.brokers import EmbeddedBroker, free_port, until
from tests.live.telemetry.fake_broker import FakeBroker, Wire
from tests.live.telemetry.publishers import journal, publisher

COMMAND = [sys.executable, "-m", "monitor.cli.main", "record"]


@pytest.fixture(scope="module")
def broker() -> Iterator[EmbeddedBroker]:
    """An embedded broker."""
    running = EmbeddedBroker()
    running.start()
    yield running
    running.stop()


def call(*words: str) -> subprocess.CompletedProcess[str]:
    """Run it to its end."""
    return subprocess.run([*COMMAND, *words], capture_output=True, text=True, timeout=30, check=False)


def test_no_broker_is_status_3_in_one_line(tmp_path: Path) -> None:
    """No traceback."""
    done = call("--broker", f"127.0.0.1:{free_port()}", "--into", str(tmp_path / "kept"))
    assert done.returncode == 3
    assert len(done.stderr.splitlines()) == 1
    assert "not there" in done.stderr


@pytest.mark.parametrize("broker_name", ["", "a:b", "host:0", "host:70000", "mqtt://host", "[::1", "a b", ":1883"])
def test_an_address_that_is_none_is_status_2(tmp_path: Path, broker_name: str) -> None:
    """And says what is allowed."""
    done = call("--broker", broker_name, "--into", str(tmp_path / "kept"))
    assert done.returncode == 2
    assert "allowed" in done.stderr


def test_records_one_session_and_ends_with_0(broker: EmbeddedBroker, tmp_path: Path) -> None:
    """`--until-closed`: the file is the station's; the second call finds it complete and needs no broker."""
    (tmp_path / "journals").mkdir()
    (tmp_path / "journals" / "a1.jsonl").write_bytes(journal("a1", 200))
    station = publisher(broker.port, tmp_path)
    station.start()
    words = ["--into", str(tmp_path / "kept"), "--station", "laundry", "--until-closed", "a1"]
    done = call("--broker", f"127.0.0.1:{broker.port}", *words)
    station.stop()
    assert (done.returncode, done.stderr) == (0, "")
    assert "laundry a1: complete, 200 records" in done.stdout
    assert done.stdout.splitlines()[-1] == "200 records kept"
    assert (tmp_path / "kept" / "laundry" / "a1.jsonl").read_bytes() == journal("a1", 200)
    assert call("--broker", f"127.0.0.1:{free_port()}", *words).returncode == 0


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_a_signal_ends_it_with_0(broker: EmbeddedBroker, tmp_path: Path, number: signal.Signals) -> None:
    """SIGTERM and Ctrl-C alike."""
    child = subprocess.Popen(
        [*COMMAND, "--broker", f"127.0.0.1:{broker.port}", "--into", str(tmp_path / "kept")], stdout=subprocess.PIPE, stderr=subprocess.PIPE
    )
    assert child.stdout is not None
    assert child.stdout.readline().startswith(b"recording every station")
    child.send_signal(number)
    _, errors = child.communicate(timeout=20)
    assert (child.returncode, errors) == (0, b"")


@pytest.mark.parametrize("most", [5, 6, 7])
def test_too_few_descriptors_end_in_one_line(tmp_path: Path, most: int) -> None:
    """A limit of the shell, not a fault of the program: never exit status 1, and never a traceback."""
    words = [sys.executable, "-m", "monitor.cli.main", "record", "--broker", "127.0.0.1:1", "--into", str(tmp_path / "kept")]
    limited = ["sh", "-c", f'ulimit -n {most}; exec "$@"', "sh", *words]
    done = subprocess.run(limited, capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode in (2, 3), done.stderr
    assert len(done.stderr.splitlines()) == 1
    assert "Too many open files" in done.stderr or most == 7


def test_ctrl_c_while_it_connects_ends_it_with_0_and_it_says_nothing_of_recording(tmp_path: Path) -> None:
    """What answers at that port accepts and is silent; nobody waits for it to the end."""
    clock = RealClock()
    with FakeBroker(Wire.wait) as silent:
        words = [*COMMAND, "--broker", f"127.0.0.1:{silent.port}", "--into", str(tmp_path / "kept")]
        child = subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE)
        until(lambda: silent.connections, "connects")
        begin_s = clock.mono_s()
        child.send_signal(signal.SIGINT)
        output, errors = child.communicate(timeout=20)
        assert (child.returncode, output, errors) == (0, b"", b"")
        assert clock.mono_s() - begin_s < 3.0
