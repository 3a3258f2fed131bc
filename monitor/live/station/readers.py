"""One thread for each probe: it reads about once a second and puts the result into the inbox, whatever it is.

A read blocks for a conversion, about 0.8 s on the real bus; several threads can wait at the same time. Reads keep the phase of
their seconds: a slow read is followed at once by the next, never by a queue of late ones. `monitor.core.probes.classify` judges
a sample, the estimator decides whether to believe it. Tests: tests/live/station/test_readers.py.
"""

from __future__ import annotations

import math
import threading
from collections.abc import Callable

from hardware.ports import ProbeBus, Sample
from monitor.core.probes.classify import Classifier
from monitor.core.probes.learned import Comparison, apply
from monitor.core.probes.readings import Reading, Role
from monitor.live.clock import Clock
from monitor.live.inbox import Message, Sampled

READ_EVERY_S = 1.0
HUNG_S = 10
"""So many seconds a read may take before the probe counts as missing. On a bus with five probes one took 6.9 s (own measurement)."""


class Reader:
    """Reads one probe. `beat_s`: when it last finished a read, monotonic."""

    def __init__(self, clock: Clock, bus: ProbeBus, probe: str, probe_id: str, post: Callable[[Message], None]) -> None:
        self._clock = clock
        self._bus = bus
        self._probe = probe
        self._id = probe_id
        self._post = post
        self._condition = threading.Condition()
        self._ending = False
        self._thread: threading.Thread | None = None
        self.beat_s = clock.mono_s()
        self._seen_s = self.beat_s
        self._still_s = 0

    def look(self) -> Sampled | None:
        """Called once a second by the thread that owns the state: a sample without a value where the read does not come back.

        The seconds of that thread are counted and no clock is asked: a process that stood still accuses nobody.
        """
        self._still_s = 0 if self.beat_s != self._seen_s else self._still_s + 1
        self._seen_s = self.beat_s
        if self._still_s < HUNG_S:
            return None
        now_s = self._clock.mono_s()
        return Sampled(self._probe, Sample(self._id, now_s, None, "missing", f"a read has not come back for {self._still_s} s"), now_s)

    def step(self) -> None:
        """Read once and post the sample. Never raises: an exception from the bus becomes a sample without a value."""
        begun_s = self._clock.mono_s()
        try:
            sample = self._bus.read(self._id)
        except Exception as wrong:  # the bus promises not to; a reader that died of it would be a probe lost for good
            sample = Sample(self._id, begun_s, None, "missing", f"{type(wrong).__name__}: {wrong}")
        self.beat_s = self._clock.mono_s()
        self._post(Sampled(self._probe, sample, self.beat_s))

    def next_s(self, due_s: float) -> float:
        """When the read after the one due at `due_s` begins: on the same phase, the first moment that has not passed."""
        late_s = self.beat_s - due_s
        return due_s + READ_EVERY_S * max(1, math.ceil(late_s / READ_EVERY_S)) if late_s > READ_EVERY_S else due_s + READ_EVERY_S

    def start(self) -> None:
        """Run in a thread until `stop`."""
        self._thread = threading.Thread(target=self._run, name=f"reader {self._probe}", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """End after the current read; does not wait for it."""
        with self._condition:
            self._ending = True
            self._condition.notify_all()

    def _run(self) -> None:
        due_s = self._clock.mono_s()
        while not self._ending:
            self.step()
            due_s = self.next_s(due_s)
            with self._condition:
                while not self._ending and self._clock.mono_s() < due_s:
                    self._clock.wait(self._condition, due_s)


def to_reading(
    sample: Sample, probe: str, role: Role, comparison: Comparison | None, classifier: Classifier, zero_s: float, arrived_s: float
) -> Reading:
    """A sample as the core's `Reading`, corrected by the comparison. `zero_s`: where session time begins on the monotonic clock."""
    quality = classifier.classify(probe, sample.t_s, sample.raw_c, sample.fault, arrived_s)
    celsius: float | None = None
    if quality == "good" and sample.raw_c is not None:
        celsius = sample.raw_c if comparison is None else apply(comparison, sample.raw_c)
    return Reading(sample.t_s - zero_s, probe, role, sample.raw_c, celsius, quality)
