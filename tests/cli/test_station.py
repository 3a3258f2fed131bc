"""`evenbath station` in a process of its own: a session by the foot, a crash, a power cut, and everything it refuses."""

import os
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from monitor.cli.station import priority_told
from tests.cli.rigged import DARK, IDS, LONG, QUICK, Rigged


@pytest.fixture
def rigged(tmp_path: Path) -> Iterator[Rigged]:
    """A rig, its station not yet started."""
    rigged = Rigged(tmp_path)
    yield rigged
    if rigged.process is not None:
        rigged.kill()


def finish(rigged: Rigged, name: str) -> None:
    """The person taps in time, three times."""
    for stage in (1, 2):
        rigged.wait(lambda stage=stage: bool(rigged.records(name, kind="stage", stage=stage, event="end")))  # type: ignore[misc]
        rigged.tap()
    rigged.wait(lambda: bool(rigged.records(name, kind="stage", stage=3, event="minimum")))
    rigged.pause(0.2)
    rigged.tap()
    rigged.wait(lambda: bool(rigged.records(name, kind="session", event="close")))


def queued_s(pid: int) -> float:
    """How long the first thread of a process has waited for a processor; 0 where the kernel does not say."""
    path = Path(f"/proc/{pid}/schedstat")
    return int(path.read_text().split()[1]) / 1e9 if path.exists() else 0.0


def test_a_session_runs_to_its_end_by_the_foot_alone(rigged: Rigged) -> None:
    """Real time, real adapters; the panel heard what the journal says, to the hundredth of a second."""
    rigged.start()
    name = rigged.arm()
    rigged.hold(name)
    finish(rigged, name)
    records = rigged.records(name)
    assert [r["seq"] for r in records] == list(range(1, len(records) + 1))
    assert records[-1]["why"] == "finished"
    mono0_s = records[0]["mono0_s"]
    ons = [e["mono_s"] - mono0_s for e in rigged.edges() if e["output"] == "sounder" and e["on"]]
    for cue in rigged.records(name, kind="cue"):
        assert min(abs(on - cue["t_s"]) for on in ons) < 0.02, cue
    assert {e["output"] for e in rigged.edges()} == {"sounder"}
    assert rigged.stop() == 0
    assert [line.split(":")[0] for line in (rigged.folder / "stderr").read_text().splitlines()] == ["cues"]


def test_after_a_kill_the_session_goes_on_within_three_seconds(rigged: Rigged) -> None:
    """The same name, no record lost that stood in the file, NOW where it would have been.

    What it waited for a processor on a machine that is busy with other things does not count.
    """
    rigged.start()
    name = rigged.arm(QUICK.replace("0:06", "0:12"))
    rigged.hold(name)
    rigged.wait(lambda: len(rigged.records(name, kind="reading")) > 4)
    before = rigged.journal(name).read_bytes()
    killed_s = rigged.clock.mono_s()
    rigged.kill()
    process = rigged.start()
    rigged.wait(lambda: bool(rigged.records(name, kind="session", event="resume")))
    assert rigged.clock.mono_s() - killed_s - queued_s(process.pid) < 3.0
    finish(rigged, name)
    whole = rigged.journal(name).read_bytes()
    assert whole.startswith(before[: before.rfind(b"\n") + 1])
    (now,) = rigged.records(name, kind="cue", cue="now")[:1]
    (said,) = rigged.records(name, kind="stage", stage=1, event="now")
    assert abs(now["t_s"] - said["t_s"]) < 0.2
    assert not rigged.records(name, kind="cue", cue="fault")


def test_a_journal_that_is_moved_away_is_there_again_and_survives_a_kill(rigged: Rigged) -> None:
    """`mv journals elsewhere`, then a crash: status has told it, and no number is given twice."""
    rigged.start()
    name = rigged.arm(LONG)
    rigged.hold(name)
    rigged.wait(lambda: len(rigged.records(name, kind="reading")) > 4)
    (rigged.state / "journals").rename(rigged.state / "elsewhere")
    moved = (rigged.state / "elsewhere" / f"{name}.jsonl").read_bytes()
    rigged.wait(lambda: rigged.journal(name).exists() and bool(rigged.records(name, kind="cue", cue="fault")))
    assert "deleted or moved away" in rigged.run("status", "--file", str(rigged.file)).stdout
    before = rigged.journal(name).read_bytes()
    rigged.kill()
    rigged.start()
    rigged.wait(lambda: bool(rigged.records(name, kind="session", event="resume")))
    seqs = [r["seq"] for r in rigged.records(name)]
    assert seqs == list(range(1, len(seqs) + 1))
    assert rigged.journal(name).read_bytes().startswith(before[: before.rfind(b"\n") + 1])
    assert before.startswith(moved[: moved.rfind(b"\n") + 1])


def test_sigterm_writes_no_close_and_the_next_life_goes_on(rigged: Rigged) -> None:
    """Everything written is on the disk, the sounder off."""
    rigged.start()
    name = rigged.arm(LONG)
    rigged.hold(name)
    rigged.wait(lambda: len(rigged.records(name, kind="cue", cue="tick")) > 1)
    assert rigged.stop() == 0
    assert not rigged.records(name, kind="session", event="close")
    assert rigged.edges()[-1]["on"] is False
    assert not (rigged.state / "control.sock").exists()
    rigged.start()
    assert rigged.records(name, kind="session", event="resume") or rigged.run("status", "--file", str(rigged.file)).stdout.count(name)


def test_in_the_dark_no_edge_of_the_lamp_ever_comes(rigged: Rigged) -> None:
    """Not through a kill and a restart either, and --lamp is refused."""
    rigged.start()
    refused = rigged.develop(DARK, "--lamp")
    assert refused.returncode == 2
    assert "--lamp" in refused.stderr
    name = rigged.arm(DARK)
    rigged.hold(name)
    rigged.wait(lambda: bool(rigged.records(name, kind="cue", cue="tick")))
    rigged.show("jug", None)
    rigged.kill()
    rigged.start()
    rigged.wait(lambda: len(rigged.records(name, kind="reading", quality="missing")) > 2)
    assert {e["output"] for e in rigged.edges()} == {"sounder"}


def test_what_refuses_a_start_holds_no_session_up(rigged: Rigged) -> None:
    """A probe that is not on the bus (exit status 3, the line of its id) and a damaged calibration (2, its line); but where a session waits
    it goes on, not compared."""
    rigged.start()
    name = rigged.arm(LONG)
    rigged.hold(name)
    rigged.kill()
    rigged.show("bowl", None)
    damaged = rigged.state / "learned" / "comparisons.jsonl"
    damaged.parent.mkdir()
    damaged.write_text('{"probe": \n{"probe": 1}\n')
    rigged.start()
    rigged.wait(lambda: bool(rigged.records(name, kind="session", event="resume")))
    assert rigged.run("abandon", "--file", str(rigged.file), "--why", "enough").returncode == 0
    assert rigged.stop() == 0
    done = rigged.run("station", "--file", str(rigged.file), "--rig", str(rigged.rig))
    assert done.returncode == 2
    assert "comparisons.jsonl:1: " in done.stderr
    damaged.unlink()
    done = rigged.run("station", "--file", str(rigged.file), "--rig", str(rigged.rig))
    assert done.returncode == 3
    assert done.stderr.startswith(f"{rigged.file}:")
    assert IDS["bowl"] in done.stderr
    assert len(done.stderr.splitlines()) == 1


def test_strange_entries_and_judgements_are_no_session_that_waits(rigged: Rigged) -> None:
    """A probe that is missing refuses the start as ever, each strange entry is told in a line, and nothing waits for a FIFO."""
    journals = rigged.state / "journals"
    journals.mkdir(parents=True)
    (journals / "261125-1904c7.judgement.jsonl").write_text('{"schema":1,"session":"261125-1904c7","density":"thin"}\n')
    os.mkfifo(journals / "pipe.jsonl")
    (journals / "folder.jsonl").mkdir()
    rigged.show("bowl", None)
    done = rigged.run("station", "--file", str(rigged.file), "--rig", str(rigged.rig))
    assert done.returncode == 3
    told = done.stderr.splitlines()
    assert [word in line for word, line in zip(("folder.jsonl", "pipe.jsonl", IDS["bowl"]), told, strict=True)] == [True] * 3
    rigged.show("bowl", 20.0)
    rigged.start()
    assert rigged.run("status", "--file", str(rigged.file)).returncode == 0


@pytest.mark.parametrize("what", ["folder", "file", "link"])
def test_something_else_in_place_of_the_socket_is_one_line(rigged: Rigged, what: str) -> None:
    """Exit status 2, and it is left as it was."""
    rigged.state.mkdir()
    place = rigged.state / "control.sock"
    if what == "folder":
        place.mkdir()
    elif what == "file":
        place.write_text("mine")
    else:
        place.symlink_to(rigged.state / "nowhere")
    done = rigged.run("station", "--file", str(rigged.file), "--rig", str(rigged.rig))
    assert done.returncode == 2
    assert [line for line in done.stderr.splitlines() if "control.sock" in line] == done.stderr.splitlines()
    assert len(done.stderr.splitlines()) == 1
    assert place.is_symlink() or place.exists()


@pytest.mark.parametrize("most", [6, 8])
def test_too_few_descriptors_end_in_one_line(rigged: Rigged, most: int) -> None:
    """No traceback, and no success."""
    words = rigged.command("station", "--file", str(rigged.file), "--rig", str(rigged.rig))
    limited = ["sh", "-c", f'ulimit -n {most}; exec "$@"', "sh", *words]
    done = subprocess.run(limited, capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode in (1, 2), done.stderr
    assert "Too many open files" in done.stderr
    assert len([line for line in done.stderr.splitlines() if not line.startswith("cues: ")]) == 1


def test_a_bus_that_is_not_there_is_one_clear_line(rigged: Rigged) -> None:
    """Exit status 3."""
    done = rigged.run("station", "--file", str(rigged.file), "--rig", str(rigged.folder / "nothing"))
    assert done.returncode == 3
    assert "1-Wire" in done.stderr
    assert "Traceback" not in done.stderr


def test_a_second_station_on_the_same_state_is_refused(rigged: Rigged) -> None:
    """Exit status 2, and the first goes on."""
    rigged.start()
    done = rigged.run("station", "--file", str(rigged.file), "--rig", str(rigged.rig))
    assert done.returncode == 2
    assert "in use" in done.stderr
    assert rigged.run("status", "--file", str(rigged.file)).returncode == 0


def test_a_wrong_file_is_refused_with_all_its_lines(rigged: Rigged) -> None:
    """Exit status 2; nothing was made."""
    rigged.file.write_text(rigged.file.read_text().replace('"bath"', '"bucket"').replace('"GPIO23"', '"GPIO18"'))
    done = rigged.run("station", "--file", str(rigged.file), "--rig", str(rigged.rig))
    assert done.returncode == 2
    assert len(done.stderr.splitlines()) == 2
    assert all(line.startswith(f"{rigged.file}:") for line in done.stderr.splitlines())
    assert not rigged.state.exists()


def test_the_daemons_process_stays_small_and_loads_nothing_heavy(rigged: Rigged) -> None:
    """Neither numpy nor pandas nor matplotlib, and no broker's library where no broker is named."""
    process = rigged.start()
    name = rigged.arm(LONG)
    rigged.hold(name)
    rigged.wait(lambda: len(rigged.records(name, kind="progress")) > 1)
    maps = Path(f"/proc/{process.pid}/maps").read_text()
    assert not [word for word in ("numpy", "pandas", "matplotlib") if word in maps]
    status = Path(f"/proc/{process.pid}/status").read_text()
    resident_kib = int(status.split("VmRSS:")[1].split()[0])
    assert resident_kib < 40 * 1024


@pytest.mark.parametrize(("urgent", "realtime", "says"), [(True, True, "real-time"), (False, True, "not raise"), (False, False, "late")])
def test_the_log_says_which_priority_the_cues_have(urgent: bool, realtime: bool, says: str) -> None:
    """One line at each start, whatever was permitted."""
    told = priority_told(urgent, realtime)
    assert told.startswith("cues: ")
    assert says in told
    assert ("late" in told) is not realtime
