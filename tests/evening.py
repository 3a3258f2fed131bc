"""A session driven by hand on a clock that jumps: readings from functions of time, presses where a test wants them.

The fake stands at our own seam: the driver. Session, estimator, cues and mixer are the real ones.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, Self

from hardware.simulated.probes import relaxed_c
from monitor.core.development.beliefs import Beliefs, ProbeModel, Vessel
from monitor.core.probes.learned import NOT_COMPARED_SD_C
from monitor.core.probes.readings import Reading, Role
from monitor.core.recipe.reader import load_recipe
from monitor.core.recipe.values import Recipe
from monitor.core.session.effects import Effect, Hush, Lamp, Play, Write
from monitor.core.session.presses import ALL_LENGTHS, Length
from monitor.core.session.session import Options, Session
from monitor.core.session.sounds import Mixer

Record = dict[str, Any]
Liquid = Callable[[float], float | None]


def recipe(*stages: str, film: str = "panchromatic", vessel: str = "lidded tank", tail: str = "") -> Recipe:
    """A recipe from the bodies of its stages."""
    head = f'schema = 1\nname = "evening"\nfilm = "{film}"\nvessel = "{vessel}"\n'
    return load_recipe((head + "".join(f"[[stage]]\n{body}\n" for body in stages) + tail).encode(), "evening.toml")


DEVELOP = """name = "develop"\nrole = "develop"\ntime = "{time}"\nreference = "20 C"\ndrain = "0:15"
rate = {{ law = "coefficient", per_10_c = 2.5, sd = 0.1 }}"""
STOP = 'name = "stop"\nrole = "stop"\ntime = "1:00"'
FIX = 'name = "fix"\nrole = "fix"\ntime = "5:00"\nat_most = "12:00"'


def develop(time: str = "5:00", more: str = "") -> str:
    """A steered develop stage."""
    return DEVELOP.format(time=time) + "\n" + more


class Evening:
    """One session and its surroundings. `records` is the journal, `sounds` what was heard as (onset, cue)."""

    def __init__(
        self,
        plan: Recipe,
        developer: Liquid = lambda _: 20.0,
        bath: Liquid | None = None,
        *,
        vessel: Vessel | None = None,
        pour_c: float | None = None,
        sd_c: float = NOT_COMPARED_SD_C,
        lag_s: float = 8.0,
        reading_every_s: float = 1.0,
        mode: Any = "live",
        **options: Any,
    ) -> None:
        probes = [ProbeModel("developer", "developer", lag_s, sd_c), ProbeModel("bath", "bath", 0.0, sd_c)]
        reference_c = next((s.reference_c for s in plan.stages if s.role == "develop"), 20.0)
        self.session = Session(plan, Beliefs(reference_c, tuple(probes), vessel, pour_c), Options(mode, **options))
        self.records: list[Record] = []
        self.lamp: list[bool] = []
        self.mixer = Mixer()
        self.t_s = 0.0
        self._liquids: list[tuple[str, Role, Liquid]] = [("developer", "developer", developer)]
        if bath is not None:
            self._liquids.append(("bath", "bath", bath))
        self._reading_s, self._reading_every_s = 0.0, reading_every_s
        self._lag_s = lag_s
        self._probe_c: float | None = None
        self._liquid_c = 0.0

    def open(self) -> Self:
        """Arm at t_s = 0."""
        self._do(self.session.open(0.0, {}))
        return self

    def to(self, t_s: float) -> Self:
        """Let time pass."""
        while not self.session.closed:
            times = [x for x in (self._reading_s, self.mixer.next_onset_s, self.session.next_wake_s) if x is not None]
            at_s = min(times)
            if at_s > t_s:
                break
            self.t_s = max(at_s, self.t_s)
            if self._reading_s <= at_s:
                self._reading_s += self._reading_every_s
                self._read()
            elif self.mixer.next_onset_s is not None and self.mixer.next_onset_s <= at_s:
                self._sound()
            else:
                self._do(self.session.wake(self.t_s))
        self.t_s = max(t_s, self.t_s)
        return self

    def press(self, at_s: float, length_s: float = 0.2, own: frozenset[Length] = ALL_LENGTHS) -> Self:
        """A press of this length; time passes up to its release. `own`: the lengths with which it is this film's."""
        self.to(at_s)
        self._do(self.session.press(self.t_s, True, own))
        self.to(at_s + length_s)
        self._do(self.session.press(self.t_s, False))
        return self

    def begin(self, at_s: float = 0.0) -> Self:
        """Arm, and the long press that begins stage 1."""
        return self.open().press(at_s, 1.2)

    def kind(self, kind: str, **fields: Any) -> list[Record]:
        """Records of one kind whose fields have these values."""
        return [r for r in self.records if r["kind"] == kind and all(r.get(k) == v for k, v in fields.items())]

    def stage(self, number: int, event: str, **fields: Any) -> Record:
        """The one stage record like this."""
        found = self.kind("stage", stage=number, event=event, **fields)
        assert len(found) == 1, f"{len(found)} records of stage {number} {event} {fields}"
        return found[0]

    def cues(self, cue: str) -> list[float]:
        """Onsets of one family."""
        return [r["t_s"] for r in self.kind("cue", cue=cue)]

    def _read(self) -> None:
        for name, role, liquid in self._liquids:
            celsius = liquid(self.t_s)
            if role == "developer" and celsius is not None:
                celsius = self._lagged(celsius)
            quality: Any = "missing" if celsius is None else "good"
            raw_c = None if celsius is None else round(celsius / 0.0625) * 0.0625
            self._do(self.session.take(Reading(self.t_s, name, role, raw_c, raw_c, quality), self.t_s))

    def _lagged(self, liquid_c: float) -> float:
        """What the developer's probe has, a reading's time after its last one: exact for a liquid that went straight."""
        if self._probe_c is None:
            self._probe_c = liquid_c
        else:
            self._probe_c = relaxed_c(self._probe_c, self._liquid_c, liquid_c, self._reading_every_s, self._lag_s)
        self._liquid_c = liquid_c
        return self._probe_c

    def _sound(self) -> None:
        step = self.mixer.step(self.t_s)
        for sound in step.began:
            self._do(self.session.sounded(sound, self.t_s, 0.0))
        for sound in step.dropped:
            self._do(self.session.dropped(sound, self.t_s))

    def _do(self, effects: Sequence[Effect]) -> None:
        for effect in effects:
            if isinstance(effect, Write):
                self.records.append(effect.record)
            elif isinstance(effect, Play):
                self.mixer.add(effect.sound, self.t_s)
            elif isinstance(effect, Hush):
                self.mixer.hush(effect.cues, self.t_s, effect.vessel)
            elif isinstance(effect, Lamp):
                self.lamp.append(effect.allowed)
