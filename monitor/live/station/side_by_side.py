"""The sessions that run side by side, one a vessel, and what they share: sounder, lamp, foot switches, the hands.

Decides whose a press is, by the core's rule, what is heard once for both, whether the lamp may mirror the sounder, and which of two
films the hands are wanted for next. With one film all of it is that film's. Owned by the thread that owns the state.
Tests: tests/live/station/test_two_vessels.py.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from itertools import product
from typing import Any, Literal

from hardware.ports import PanelPort
from monitor.core.journal.words import CUES, Cue
from monitor.core.session.clashes import LOOK_AHEAD_S, ClashWatch, Hands, clash_of
from monitor.core.session.fixed_times import STUCK_HOLD_S
from monitor.core.session.presses import ALL_LENGTHS, FROM_S, Length, length_of
from monitor.core.session.shared_fault import OneFault
from monitor.core.session.sounds import Sound, Vessel
from monitor.core.session.whose_press import Stand, means_nothing, own_lengths, tap_owner, tap_owner_at_now
from monitor.live.inbox import Message, Sounded, Unsounded
from monitor.live.station.player import Player
from monitor.live.station.running import Running

Switch = Literal[1, 2]
HELD, LONG_HELD = frozenset[Length]({"second", "three"}), frozenset[Length]({"three"})
"""A press of at least a second arms the next film when its turn has come, or where no film could be asked about; before that one of
three seconds does, where nothing else comes of it. It is a question all the same, and answered as one."""


@dataclass(frozen=True, slots=True)
class ToArm:
    """A vessel that is free and has a film to come. `in_turn`: its turn to be armed has come."""

    vessel: Vessel
    in_turn: bool = True


class SideBySide:
    """The films in their vessels, in the order of the vessels. `to_arm`: the vessels whose next film a press may arm, the next one first,
    and `arm` is called with the one that got it."""

    def __init__(self, player: Player, panel: PanelPort, post: Callable[[Message], None]) -> None:
        self.films: list[Running] = []
        self.to_arm: Callable[[], Sequence[ToArm]] = tuple
        self.arm: Callable[[Vessel, float], None] = lambda _, __: None
        self._player = player
        self._panel = panel
        self._post = post
        self._lit: dict[str, bool] = {}
        self._one_fault = OneFault()
        self._clashes = ClashWatch()
        self._pressed: dict[Switch, list[tuple[Running, frozenset[Length]]]] = {1: [], 2: []}
        self._arming: dict[Switch, tuple[Vessel, frozenset[Length], float]] = {}

    @property
    def next(self) -> Running | None:
        """The one whose hands are due next; None where none runs."""
        if len(self.films) < 2:
            return self.films[0] if self.films else None
        return min(self.films, key=_hands_s)

    def of_generation(self, generation: int) -> Running | None:
        """The one whose sounds have this number."""
        return next((film for film in self.films if film.generation == generation), None)

    # -- what a session calls ---------------------------------------------------------------------------------------

    def enter(self, running: Running) -> None:
        """It begins, or goes on."""
        others = [film for film in self.films if film is not running]
        if others:
            self._player.join(running.generation, running.zero_s, running.number)
        else:
            self._player.restart(running.generation, running.zero_s, running.number)
            self._one_fault, self._clashes = OneFault(), ClashWatch()
        self.films = sorted([*others, running], key=lambda film: film.number)
        self._lit[running.name] = False
        if others:
            self._mirror()

    def leave(self, running: Running) -> None:
        """It is over, or could not begin: what it still had to sound is silent where another one goes on."""
        self.films = [film for film in self.films if film is not running]
        self._lit.pop(running.name, None)
        self._clashes.forget(str(running.vessel))
        for pressed in self._pressed.values():
            pressed[:] = [(film, own) for film, own in pressed if film is not running]
        if self.films:
            self._player.hush(CUES, running.number)
            self._mirror()

    def play(self, running: Running, sound: Sound) -> None:
        """Let it begin at its onset; a FAULT that the other film's speaks for is told as one that sounded."""
        verdict = "sounds"
        if sound.cue == "fault":
            verdict = self._one_fault.heard(sound, sound.onset_s + running.zero_s)
        if verdict == "sounds" or len(self.films) < 2:
            self._player.add(sound)
        elif verdict == "waits":
            self._post(Unsounded(running.generation, sound))  # later: what is being carried out comes first
        elif self._one_fault.begun_s is not None:
            for beside in self._one_fault.began(self._one_fault.begun_s):
                self._post(Sounded(running.generation, beside, self._one_fault.begun_s - running.zero_s))

    def hush(self, running: Running, cues: Collection[Cue]) -> None:
        """Silence these families of this film."""
        self._player.hush(cues, running.number)

    def light(self, running: Running, allowed: bool) -> None:
        """All films together decide."""
        self._lit[running.name] = allowed
        self._mirror()

    def _mirror(self) -> None:
        if self._lit and all(self._lit.values()):
            self._player.mirror(self._panel.open_lamp())
            return
        before = self._player.mirror(None)
        if before is not None:
            before.close()

    # -- sounds -----------------------------------------------------------------------------------------------------

    def sounded(self, message: Sounded) -> None:
        """A sound began."""
        running = self.of_generation(message.generation)
        if running is None:
            return
        if message.sound.cue == "fault" and len(self.films) > 1:
            mono_s = message.onset_s + running.zero_s
            for beside in self._one_fault.began(mono_s):
                for film in self._in(beside.vessel):
                    film.sounded(beside, mono_s - film.zero_s)
        running.sounded(message.sound, message.onset_s)

    def unsounded(self, message: Unsounded, now_s: float) -> None:
        """A sound will not be heard."""
        running = self.of_generation(message.generation)
        if running is None:
            return
        if message.sound.cue == "fault":
            for beside in self._one_fault.dropped():
                for film in self._in(beside.vessel):
                    film.dropped(beside, now_s)
        running.dropped(message.sound, now_s)

    def _in(self, vessel: Vessel) -> list[Running]:
        return [film for film in self.films if film.number == vessel]

    # -- the foot ---------------------------------------------------------------------------------------------------

    def press(self, mono_s: float, down: bool, switch: Switch) -> bool:
        """A clean edge of a switch. Whether it was about any film, or about arming one."""
        if down:
            return self._down(mono_s, switch)
        pressed, self._pressed[switch] = self._pressed[switch], []
        for film, _ in pressed:
            film.press(mono_s, False)
        arming = self._arming.pop(switch, None)
        if arming is not None:
            vessel, own, down_s = arming
            if length_of(mono_s - down_s) in own and mono_s - down_s <= STUCK_HOLD_S:
                self.arm(vessel, mono_s)
        return bool(pressed) or arming is not None

    def _down(self, mono_s: float, switch: Switch) -> bool:
        own_switch = self._panel.switch_2 is not None
        films = [film for film in self.films if not own_switch or film.number == switch]
        all_to_arm = [to_arm for to_arm in self.to_arm() if not own_switch or to_arm.vessel == switch]
        in_turn = [to_arm for to_arm in all_to_arm if to_arm.in_turn or not films][:1]
        stands = [film.stand(mono_s) for film in films]
        owns = own_lengths([*stands, *(Stand("waiting") for _ in in_turn)]) if len(films) + len(in_turn) > 1 else [ALL_LENGTHS]
        self._pressed[switch] = [(film, own) for film, own in zip(films, owns, strict=False) if own]
        for film, own in self._pressed[switch]:
            film.press(mono_s, True, own)
        self._arming.pop(switch, None)
        if in_turn and owns[len(films)]:
            self._arming[switch] = (in_turn[0].vessel, owns[len(films)] & HELD, mono_s)
        elif not in_turn and all_to_arm and means_nothing(stands, "three"):
            self._arming[switch] = (all_to_arm[0].vessel, LONG_HELD, mono_s)
        return bool(films) or bool(all_to_arm)

    def hold_s(self, to_arm: ToArm, mono_s: float) -> float | None:
        """How long a press that arms this vessel's next film now has to be; None where one of three seconds means something else."""
        films = [film for film in self.films if self._panel.switch_2 is None or film.number == to_arm.vessel]
        if to_arm.in_turn or not films:
            return FROM_S["second"]
        return FROM_S["three"] if means_nothing([film.stand(mono_s) for film in films], "three") else None

    def tap(self, mono_s: float) -> Mapping[str, str | None]:
        """Of two films that share a switch: `tap_for`, the session that a tap now is about, and `tap_then`, the one that it is about from
        the next NOW on, where that is another. None where there is nothing to tell."""
        if len(self.films) < 2 or self._panel.switch is None or self._panel.switch_2 is not None:
            return {"tap_for": None, "tap_then": None}
        stands = [film.stand_seen(mono_s) for film in self.films]
        first = then = tap_owner(stands)
        ahead = [film.hands_ahead(mono_s) for film in self.films]
        calls = [(hands[0].from_s, i) for i, hands in enumerate(ahead) if hands and not hands[0].may_wait and hands[0].from_s > mono_s]
        if calls:
            now_s, called = min(calls)
            then = tap_owner_at_now(stands, called, now_s)
        return {"tap_for": self.films[first].name, "tap_then": None if then == first else self.films[then].name}

    # -- the hands --------------------------------------------------------------------------------------------------

    def _hands(self, now_s: float) -> dict[str, list[Hands]]:
        """For each vessel the hands that its film will want soon."""
        return {str(film.vessel): film.hands_ahead(now_s + LOOK_AHEAD_S) for film in self.films}

    def look_for_clashes(self, now_s: float) -> None:
        """Tell both films of a clash that comes near."""
        if len(self.films) < 2:
            return
        named = {str(film.vessel): film for film in self.films}
        for vessel, told in self._clashes.look(self._hands(now_s), now_s):
            own = {**told, "at_s": named[vessel].moment(told["at_s"])}
            named[vessel].note("clash", own, now_s)

    def clash(self, now_s: float) -> Mapping[str, Any] | None:
        """The next clash that is near and not over, as forecast now, `in_s` before it; None without one."""
        if len(self.films) < 2:
            return None
        (one, ones), (other, others) = sorted(self._hands(now_s).items())
        near = (clash_of(one, a, other, b, now_s) for a, b in product(ones, others))
        ahead = [told for told in near if told is not None and told["at_s"] + told["overlap_s"] > now_s]
        if not ahead:
            return None
        told = min(ahead, key=lambda clash: clash["at_s"])
        return {**{name: told[name] for name in ("first", "then", "why", "overlap_s")}, "in_s": max(0.0, told["at_s"] - now_s)}


def _hands_s(film: Running) -> float:
    """When it wants the hands next, monotonic; what waits without end comes last."""
    ahead = film.hands_ahead(-math.inf)
    return ahead[0].from_s if ahead else math.inf
