"""The player: the one thread that drives sounder and lamp, on absolute deadlines of the monotonic clock.

It knows sounds and nothing about stages; which of two sounds wins is decided by `monitor.core.session.sounds.Mixer`. What really
began, and when, is reported to the inbox, and so is what will not be heard. A sounder that fails is a message, not an
exception. The lamp mirrors the sounder while one has been handed in, and only then; a vibrator has the same calls for the skin
(`monitor.core.session.vibration`), and nothing is reported of it but that it fails. Tests: tests/live/station/test_player.py.
"""

from __future__ import annotations

import contextlib
import os
import threading
from collections.abc import Callable, Collection
from dataclasses import replace

from hardware.ports import Output
from monitor.core.journal.words import CUES, Cue
from monitor.core.session.sounds import Mixer, Sound, Vessel
from monitor.core.session.vibration import Vibration
from monitor.live.clock import Clock
from monitor.live.inbox import Message, Sounded, Trouble, Unsounded

REALTIME_PRIORITY = 1
"""The lowest real-time priority, which still comes before every ordinary thread. Beside three busy processes on two cores 99 of 100 cues
were less than 0.7 ms late with it, and less than 36 ms without (tests/benchmarks/bench_lateness.py, own measurement, nice -10)."""
TICK_LATE_S = 0.25
"""A tick later than this is out of step with the hand that follows the rhythm; silence does less harm (own measure)."""
PLAYER_BEAT_S = 0.5
"""The player updates `beat_s`, which the watchdog looks at, at least this often."""


def make_real_time(thread: int) -> None:
    """Give a thread of this process (by its native id) real-time priority. Raises OSError where this user may not."""
    os.sched_setscheduler(thread, os.SCHED_RR, os.sched_param(REALTIME_PRIORITY))


class Player:
    """Sounds come in from the thread that owns the state; levels go out. All methods may be called from any thread."""

    def __init__(
        self, clock: Clock, sounder: Output, post: Callable[[Message], None], prefer: Callable[[int], None] = make_real_time,
        vibrator: Output | None = None, sounder_2: Output | None = None,
    ) -> None:  # fmt: skip
        self._clock = clock
        self._sounder = sounder
        self._post = post
        self._prefer = prefer
        self._sounder_2 = sounder_2
        self._vibrator = vibrator
        self._vibration = Vibration()
        self._lamp: Output | None = None
        self._condition = threading.Condition()
        self._mixer = Mixer()
        self._takers: dict[Vessel, tuple[int, float]] = {}
        self._zero_s = 0.0
        self._t_s = 0.0
        self._on: dict[str, bool] = {}
        self._lamp_on = False
        self._vibrating = False
        self._changed = False
        self._ending = False
        self._broken: set[str] = set()
        self._thread: threading.Thread | None = None
        self.beat_s = clock.mono_s()
        self.realtime = False

    def restart(self, generation: int, zero_s: float, vessel: Vessel = 1) -> None:
        """Begin anew: silence, then sounds whose onsets count from `zero_s` of the monotonic clock."""
        with self._condition:
            self._mixer, self._takers, self._zero_s = Mixer(), {vessel: (generation, 0.0)}, zero_s
            self._vibration = Vibration()
            self._t_s = self._clock.mono_s() - zero_s
            self._wake()

    def join(self, generation: int, zero_s: float, vessel: Vessel) -> None:
        """A film in the other vessel sounds too from now on; its onsets count from a `zero_s` of their own."""
        with self._condition:
            self._mixer.hush(CUES, self._now(), vessel)
            self._vibration.hush(CUES, self._now(), vessel)
            self._takers[vessel] = (generation, zero_s - self._zero_s)
            self._wake()

    def add(self, sound: Sound) -> None:
        """Let this sound begin at its onset, or at once if that has passed; but a tick later than `TICK_LATE_S` is dropped."""
        with self._condition:
            t_s = self._now()
            later_s = self._takers.get(sound.vessel, (0, 0.0))[1]
            if later_s:
                sound = replace(sound, onset_s=sound.onset_s + later_s)
            if sound.cue == "tick" and sound.onset_s < t_s - TICK_LATE_S:
                self._unsounded(sound)
                return
            self._mixer.add(sound, t_s)
            self._vibration.add(sound, t_s)
            self._wake()

    def hush(self, families: Collection[Cue], vessel: Vessel = 1) -> None:
        """Silence these kinds of cue of this vessel's film at once."""
        with self._condition:
            self._mixer.hush(families, self._now(), vessel)
            self._vibration.hush(families, self._now(), vessel)
            self._wake()

    def mirror(self, lamp: Output | None) -> Output | None:
        """Let this lamp mirror the sounder from now on; None: no lamp. Returns the previous one, dark and no longer driven."""
        with self._condition:
            before, self._lamp = self._lamp, lamp
            if before is not None:
                self._drive(before, False, "lamp")
            self._lamp_on = False
            self._wake()
            return before

    def step(self) -> float | None:
        """Do what is due now. Returns when the next thing is due, monotonic; None if nothing is."""
        with self._condition:
            self._changed = False
            self.beat_s = self._clock.mono_s()
            t_s = self._now()
            step = self._mixer.step(t_s)
            felt = self._vibration.step(t_s)
            self._levels(step.on, felt.on, step.vessel)
            heard_s = max(t_s, self._clock.mono_s() - self._zero_s)
            for sound in step.began:
                over = heard_s >= sound.end_s and not step.on
                hushed = sound.cue == "tick" and not step.on  # room is being made for a click; a tick has no second half
                if self._sounder_of(sound.vessel) in self._broken or over or hushed:
                    self._unsounded(sound)
                else:
                    generation, later_s = self._takers.get(sound.vessel, (0, 0.0))
                    own = replace(sound, onset_s=sound.onset_s - later_s) if later_s else sound
                    self._post(Sounded(generation, own, heard_s - later_s))
            for sound in step.dropped:
                self._unsounded(sound)
            next_s = min((x for x in (step.next_s, felt.next_s) if x is not None), default=None)
            return None if next_s is None else next_s + self._zero_s

    def start(self) -> None:
        """Run in a thread until `stop`, before every ordinary thread where that is permitted (`realtime` says whether)."""
        self._thread = threading.Thread(target=self._run, name="player", daemon=True)
        self._thread.start()
        if self._thread.native_id is not None:
            with contextlib.suppress(OSError):
                self._prefer(self._thread.native_id)
                self.realtime = True

    def stop(self) -> None:
        """End the thread; sounder and lamp are off afterwards."""
        with self._condition:
            self._ending = True
            self._wake()
        if self._thread is not None:
            self._thread.join(2.0)
        with self._condition:
            self._levels(False, False, 1)

    def _run(self) -> None:
        while not self._ending:
            next_s = self.step()
            with self._condition:
                if not self._changed and not self._ending:
                    latest_s = self.beat_s + PLAYER_BEAT_S
                    self._clock.wait(self._condition, latest_s if next_s is None else min(next_s, latest_s))

    def _wake(self) -> None:
        self._changed = True
        self._condition.notify_all()

    def _now(self) -> float:
        """Time since this generation began; it never goes back."""
        self._t_s = max(self._t_s, self._clock.mono_s() - self._zero_s)
        return self._t_s

    def _unsounded(self, sound: Sound) -> None:
        generation, later_s = self._takers.get(sound.vessel, (0, 0.0))
        self._post(Unsounded(generation, replace(sound, onset_s=sound.onset_s - later_s) if later_s else sound))

    def _sounder_of(self, vessel: Vessel) -> str:
        return "sounder_2" if vessel == 2 and self._sounder_2 is not None else "sounder"

    def _levels(self, on: bool, vibrating: bool, vessel: Vessel) -> None:
        sounding = self._sounder_of(vessel) if on else ""
        for part, sounder in (("sounder", self._sounder), ("sounder_2", self._sounder_2)):
            level = part == sounding
            if sounder is not None and (level != self._on.get(part, False) or part in self._broken):
                self._on[part] = level
                self._drive(sounder, level, part)
        if self._vibrator is not None and (vibrating != self._vibrating or "vibrator" in self._broken):
            self._vibrating = vibrating
            self._drive(self._vibrator, vibrating, "vibrator")
        if self._lamp is not None and on != self._lamp_on:
            self._lamp_on = on
            self._drive(self._lamp, on, "lamp")

    def _drive(self, output: Output, on: bool, part: str) -> None:
        try:
            output.set(on)
        except Exception as wrong:  # whatever a pin library raises: the time goes on without the sound
            if part not in self._broken:
                self._broken.add(part)
                self._post(Trouble(part, False, f"{type(wrong).__name__}: {wrong}"))
            return
        if part in self._broken:
            self._broken.discard(part)
            self._post(Trouble(part, True, "it works again"))
