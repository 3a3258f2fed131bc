"""What is tried on the virtual board at every run. Each case is a function that asserts, and returns a figure or a word for its line.

An emulated processor is some twenty times slower than a Pi's, so events and their order are asserted here, never latencies.
A new case: write a function that takes what was `Made`, add it to `CASES`.
"""

from __future__ import annotations

import json
import re
import statistics
import time
from collections.abc import Callable, Sequence
from typing import Any

from tests.board.machine import BATH, FILE, JOURNALS, LAMP, PROBE, SOUNDER, Board
from tests.board.making import Made

MORE_PROBES = [f"28-0000000b000{n}" for n in range(2, 5)]


def first_boot_and_a_session_to_its_end(made: Made) -> str:
    """Installed as the page says, an ordinary user of the group hands a recipe over; the foot takes it to its end, and lamps stay dark."""
    with Board(made, "session") as board:
        up_s = board.power_on()
        code, out = board.as_person(f"status {FILE}")
        assert code == 0, out
        code, out = board.as_person(f"status {FILE}", who="bob")
        assert code != 0, "somebody outside the group reads the station"
        assert "Traceback" not in out, out
        board.forget_edges()
        session = board.arm()
        board.begin(session)
        board.until(f"cat {JOURNALS}/{session}.jsonl", '"cue":"now"', 300.0)
        for _ in range(20):
            if board.records(session, event="close"):
                break
            board.foot(0.3)
            time.sleep(6.0)
        every = board.records(session)
        assert [r["seq"] for r in every] == list(range(1, len(every) + 1)), "seq has a gap"
        assert every[-1].get("why") == "finished", every[-1]
        sounded = [r for r in every if r["kind"] == "cue"]
        rises = [edge.mono_s for edge in board.edges(SOUNDER) if edge.high]
        for cue in sounded:
            at_s = every[0]["mono0_s"] + cue["t_s"]
            assert min(abs(rise - at_s) for rise in rises) < 0.5, f"no edge of the sounder for {cue}"
        assert not [edge for edge in board.edges(LAMP) if edge.high], "the lamp was lit without --lamp"
        late = [cue["lateness_s"] for cue in sounded if cue.get("lateness_s") is not None]
        counts = f"{len(every)} records, {len(sounded)} cues, {len(rises)} edges"
        return f"ready after {up_s:.0f} s; {counts}; lateness at most {max(late, default=0):.2f} s"


def probes_that_fail(made: Made) -> str:
    """A probe pulled, one that is dead, a shorted bus: each has its name in status, and good readings come back."""
    with Board(made, "probes") as board:
        board.power_on()
        told = []
        for order, undo, wanted in (
            (f"pull {PROBE}", f"plug {PROBE}", {"missing", "crc"}),
            (f"dead {PROBE} 1", f"dead {PROBE} 0", {"reset"}),
            ("short 1", "short 0", {"missing", "crc", "reset", "implausible"}),
        ):
            board.bus(order)
            found = quality_of(board, "jug", wanted)
            told.append(f"{order.split()[0]}: {found}")
            board.bus(undo)
            quality_of(board, "jug", {"good"})
        return "; ".join(told)


def quality_of(board: Board, probe: str, wanted: set[str], within_s: float = 120.0) -> str:
    """Wait until a probe's newest reading has one of these qualities."""
    end_s, quality = time.monotonic() + within_s, "?"
    while time.monotonic() < end_s:
        found = [p for p in board.status()["probes"] if p["probe"] == probe]
        quality = str(found[0].get("quality")) if found else "not there"
        if quality in wanted:
            return quality
        time.sleep(1.0)
    raise AssertionError(f"{probe}: still {quality} after {within_s:.0f} s")


def five_probes_are_fresh(made: Made) -> str:
    """Five on one bus: the kernel converts all at once, so that none is stale for long."""
    with Board(made, "five") as board:
        board.power_on()
        more = "".join(
            f'[probes.p{n}]\\nid = "{name}"\\nrole = "{role}"\\n'
            for n, (name, role) in enumerate(zip(MORE_PROBES, ("room", "wash", "witness"), strict=True))
        )
        for n, name in enumerate(MORE_PROBES):
            board.bus(f"add {name} {20000 + 100 * n}")
        board.until("cat /sys/bus/w1/devices/w1_bus_master1/w1_master_slave_count", "^5$", 120.0)
        board.sh(f"printf '{more}' >> /etc/evenbath/station.toml")  # a table may stand after the panel's
        board.sh("systemctl restart evenbath", 300.0)
        board.until("systemctl is-active evenbath", "active", 300.0)
        time.sleep(20.0)
        ages: list[float] = []
        for _ in range(12):
            ages += [p["age_s"] for p in board.status()["probes"] if p.get("age_s") is not None]
            time.sleep(1.0)
        assert len(ages) >= 50, ages
        shared = board.ask("ls /sys/bus/w1/devices/w1_bus_master1/therm_bulk_read")[0] == 0
        return f"age median {statistics.median(ages):.1f} s, most {max(ages):.1f} s; one conversion for all: {'yes' if shared else 'no'}"


def after_a_cut(board: Board, session: str, before: str) -> list[dict[str, Any]]:
    """What every resume must show. `before`: the file as it was read just before the power went; gives the records since the resume."""
    board.until(f"cat {JOURNALS}/{session}.jsonl", '"event":"resume"', 120.0)
    now = board.journal(session)
    assert now.startswith(before[: before.rfind("\n") + 1]), "a record that stood on the disk is gone"
    every = [json.loads(line) for line in now.splitlines()]
    assert [r["seq"] for r in every] == list(range(1, len(every) + 1)), "seq has a gap"
    resumes = [r for r in every if r.get("event") == "resume"]
    return [r for r in every if r["seq"] >= resumes[-1]["seq"]]


def three_power_cuts(made: Made) -> str:
    """In the developer, across NOW, in the fixer: it goes on, FAULT comes first, and the end is a bracket until a press."""
    told = []
    with Board(made, "cuts") as board:
        board.power_on()
        session = board.arm("long.toml")
        board.begin(session)
        time.sleep(15.0)
        for where in ("develop", "now", "fix"):
            if where == "now":
                board.until(f"cat {JOURNALS}/{session}.jsonl", '"cue":"(ready|now)"', 600.0)  # READY is left out if the boot took too long
            elif where == "fix":
                board.foot(0.3)
                board.until(f"cat {JOURNALS}/{session}.jsonl", '"stage":2,.*"event":"begin"|"event":"begin".*"stage":2', 400.0)
                time.sleep(5.0)
            before = board.journal(session)
            board.power_cut()
            board.power_on()
            since = after_a_cut(board, session, before)
            board.until(f"cat {JOURNALS}/{session}.jsonl", '"cue":"fault"', 60.0)
            since = after_a_cut(board, session, before)
            cues = [r["cue"] for r in since if r["kind"] == "cue" and r["cue"] != "tick"]
            assert cues, "nothing sounded after the resume"
            assert cues[0] == "fault", cues
            status = board.as_person(f"status {FILE}")[1]
            told.append(f"{where}: away {since[0].get('gap_s')}, {bracket(status)}")
        for _ in range(20):
            if board.records(session, event="close"):
                break
            board.foot(0.3)
            time.sleep(8.0)
        assert board.records(session, event="close", why="finished")
        code, out = board.as_person(f"review {JOURNALS}/{session}.jsonl --check")
        assert code == 0, out
        return "; ".join(told)


def bracket(status: str) -> str:
    """The end as status tells it after a gap: never one confident time."""
    found = re.search(r"between (-?\d+:\d\d) and (-?\d+:\d\d)|earliest|latest|not known", status)
    assert found is not None, status
    return found[0]


def a_clock_that_was_never_set(made: Made) -> str:
    """The session began in 1970, the next life has the right time: it goes on, and is not closed as lost."""
    with Board(made, "clock", clock="base=1970-01-02T00:00:00") as board:
        board.power_on()
        session = board.arm("long.toml")
        board.begin(session)
        time.sleep(10.0)
        before = board.journal(session)
        board.power_cut()
        board.clock = "base=utc"
        board.power_on()
        since = after_a_cut(board, session, before)
        assert not board.records(session, event="close"), "closed as lost"
        return f"resumed, away {since[0].get('gap_s')}"


def troubles_while_developing(made: Made) -> str:
    """The disk fills up, the clock jumps a year, the disk goes read-only, the service is stopped: time goes on in each of them."""
    with Board(made, "troubles") as board:
        board.power_on()
        session = board.arm("long.toml")
        board.begin(session)
        board.sh("dd if=/dev/zero of=/var/full bs=1M 2>/dev/null; sync; df / | tail -1", 300.0)
        board.sh("date -s '+400 days' >/dev/null")
        time.sleep(8.0)
        assert board.status()["session"], "the session is gone"
        board.sh("rm /var/full; date -s '-400 days' >/dev/null; sync", 300.0)
        board.until(f"grep -c progress {JOURNALS}/{session}.jsonl", r"^\d+$", 30.0)
        board.sh("echo u > /proc/sysrq-trigger")
        time.sleep(6.0)
        assert board.status()["session"], "the session is gone"
        board.sh("mount -o remount,rw /")
        before_s = float(board.records(session, kind="progress")[-1]["t_s"])
        board.until(f"tail -1 {JOURNALS}/{session}.jsonl", "t_s", 30.0)
        board.sh("systemctl stop evenbath", 120.0)
        assert not board.records(session, event="close"), "a stop closed the session"
        board.sh("systemctl start evenbath", 300.0)
        since = after_a_cut(board, session, "")
        every = board.records(session, kind="progress")
        assert float(every[-1]["t_s"]) >= before_s
        return f"stopped and taken up after {since[0].get('gap_s')} s; {len(every)} progress records"


def the_lamp_line(made: Made) -> str:
    """With --lamp it may be lit; from a SIGKILL on it is low, and stays so in the session that is taken up."""
    with Board(made, "lamp") as board:
        board.power_on()
        assert not [edge for edge in board.edges(LAMP) if edge.high], "lit between power-on and the first session"
        session = board.arm("long.toml", "--lamp")
        board.begin(session)
        time.sleep(10.0)
        lit = [edge for edge in board.edges(LAMP) if edge.high]
        assert lit, "not lit with --lamp: this case would hold whatever the pin did"
        board.sh("systemctl kill -s KILL evenbath")
        board.forget_edges()
        board.until(f"cat {JOURNALS}/{session}.jsonl", '"event":"resume"', 120.0)
        time.sleep(20.0)
        level = board.sh(f"cat /sys/devices/platform/gpio-simulator/gpiochip0/sim_gpio{LAMP}/value").strip()
        after = [edge for edge in board.edges(LAMP) if edge.high]
        assert not after, "lit again after a crash"
        assert level == "0", "the line is high after the kill"
        return f"lit {len(lit)} times before the kill, never after it"


CASES: Sequence[Callable[[Made], str]] = (
    first_boot_and_a_session_to_its_end,
    probes_that_fail,
    five_probes_are_fresh,
    three_power_cuts,
    a_clock_that_was_never_set,
    troubles_while_developing,
    the_lamp_line,
)
__all__ = ["BATH", "CASES"]
