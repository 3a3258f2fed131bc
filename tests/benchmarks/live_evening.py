"""A real evening on the rig: four films in two vessels, over one foot, with drift, a forgotten tap, a kill -9 and a probe that dies.

    python -m tests.benchmarks.live_evening FOLDER

Takes about eight minutes of real time. Its journals go into FOLDER; printed are how late cues were, the station's memory, and what the
journals say of the kill, the tap and the probe.
"""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

from monitor.core.errors import EvenbathError
from monitor.live.station.control import ask
from tests.benchmarks.bench_memory import cost
from tests.cli.test_develop_evening import TwoVessels

LIVE = Path(__file__).parents[2] / "demo_logs" / "live-two-tanks"
ROLL, EVENING = ((LIVE / name).read_text(encoding="utf-8") for name in ("roll.toml", "evening.toml"))
TRACE = (
    "t_s,developer_c,bath_c,developer_2_c,developer_2_fault\n0,20.4,20.5,19.9,\n300,19.8,19.9,20.3,\n340,19.7,19.8,20.4,missing\n"
    "900,19.0,19.0,20.6,missing\n"
)
KILL_AT_S, FORGOTTEN = 75.0, ("roll 23", 2)
"""Seconds after the first begin; the film and the stage whose pour nobody taps."""


class Person:
    """Looks at the status five times a second and presses for what waits; forgets one tap."""

    def __init__(self, rigged: TwoVessels) -> None:
        self._rigged = rigged
        self._free_s = 0.0
        self.over = False

    def look(self) -> None:
        """Do the next thing, if there is one."""
        try:
            told = ask(self._rigged.state, {"verb": "status"})
        except EvenbathError:
            return
        now_s = self._rigged.clock.mono_s()
        films = told["films"]
        self.over = not films and not told["to_come"]
        for film in films:
            view = film["view"]
            if view["stage"] is None:
                if film["what"] != "roll 22" or any(f["view"]["stage"] is not None and f["view"]["t_s"] > 25.0 for f in films):
                    self._rigged.press(1.3)
                    return
            elif self._is_due(view) and (film["what"], view["stage"]) != FORGOTTEN:
                self._rigged.tap()
                return
        taken = {film["vessel"] for film in films}
        if any(film["vessel"] not in taken for film in told["to_come"]):
            if self._free_s == 0.0:
                self._free_s = now_s + 20.0
            elif now_s >= self._free_s:
                self._free_s = 0.0
                self._rigged.press(1.3)


    @staticmethod
    def _is_due(view: dict[str, Any]) -> bool:
        after_s = 0.1 if view["until"] == "at least" else -0.8
        return view["end_t_s"] is not None and bool(view["t_s"] >= view["end_t_s"] + after_s)


def play(folder: Path) -> list[Path]:
    """The evening; its journals."""
    rigged = TwoVessels(folder)
    (folder / "t.csv").write_text(TRACE)
    words = rigged.command("rig", str(rigged.rig), "--trace", str(folder / "t.csv"))
    world = subprocess.Popen(words, stdout=subprocess.DEVNULL)
    try:
        rigged.pause(2.0)
        process = rigged.start()
        done = rigged.run(
            "develop", rigged.evening(ROLL, EVENING), "--file", str(rigged.file), "--detach", "--waive", "an evening on the rig"
        )
        assert done.returncode == 0, done.stderr
        person, begin_s, killed = Person(rigged), rigged.clock.mono_s(), False
        while not person.over and rigged.clock.mono_s() - begin_s < 900.0:
            person.look()
            rigged.pause(0.15)
            if not killed and rigged.clock.mono_s() - begin_s > KILL_AT_S:
                killed = True
                sys.stdout.write(f"{cost(process.pid)[0]:.1f} MiB resident with two films\n")
                rigged.kill()
                process = rigged.start()
        sys.stdout.write(f"{cost(process.pid)[0]:.1f} MiB resident at the end\n")
        rigged.stop()
    finally:
        world.terminate()
        world.wait()
    return sorted((rigged.state / "journals").glob("*.jsonl"))


def report(path: Path) -> None:
    """What one journal says."""
    records: list[dict[str, Any]] = [json.loads(line) for line in path.read_text().splitlines()]
    opening, closing = records[0], records[-1]
    cues = [r for r in records if r["kind"] == "cue" and r.get("lateness_s") is not None]
    own = sorted(r["lateness_s"] for r in cues if r["cue"] in ("tick", "click", "yes"))
    calls = max((r["lateness_s"] for r in cues if r["cue"] in ("now", "ready")), default=0.0)
    done = [r for r in records if r["kind"] == "progress" and r["stage"] == 1][-1]
    assumed = [r["stage"] for r in records if r["kind"] == "stage" and r["event"] == "begin" and r.get("assumed")]
    back = [r for r in records if r["kind"] == "session" and r["event"] == "resume"]
    lost = [f"{r['probe']}: {r['why']}" for r in records if r["kind"] == "trust" and not r["believed"]]
    whole = [r["seq"] for r in records] == list(range(1, len(records) + 1))
    sys.stdout.write(
        f"{path.stem} {opening['evening']['what']}, {opening['evening']['vessel']}: {closing.get('why')}, {len(records)} records"
        f"{'' if whole else ', GAPS'}; developed {100 * done['done_ref_s'] / done['target_ref_s']:.1f} %; ticks and clicks at most "
        f"{1000 * own[-1]:.1f} ms late, calls {calls:.2f} s; assumed {assumed or 'none'}; "
        f"{'resumed after ' + format(back[0]['gap_s'], '.1f') + ' s; ' if back else ''}{'; '.join(lost)}\n"
    )


def main() -> None:
    """Play it, keep the journals, say what they hold."""
    into = Path(sys.argv[1])
    into.mkdir(parents=True, exist_ok=True)
    for path in play(Path(tempfile.mkdtemp(prefix="evenbath-evening-"))):
        shutil.copy(path, into)
        report(path)


if __name__ == "__main__":
    main()
