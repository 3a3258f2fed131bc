"""One session as a function of (state, event at time) to (state, effects): what is heard, when, and what is written down.

No clock, no input or output, no threads; the same file runs live and in rehearsal. Events come in as method calls with
their time, effects go out as lists to be carried out in order (`effects`); an effect that failed comes back as an event
(`dropped`, `note`). What is due next is data (`agenda`); where the film is and when its stages end is `passage`; what a press
means is `presses`; sounds are `calls`; temperature and development are the estimator's.

A stage in four moments: READY (forecast, NOW and end freeze), NOW (hands move), the planned end, the tap that says it was
so. Without that tap the next begin is assumed; a press may still answer for it until the next stage's first call.
Tests: tests/core/session/test_session.py, tests/core/session/test_session_sheets.py, tests/live/test_rehearsal.py.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any, Literal

from monitor.core.development.beliefs import Beliefs, TrustChange
from monitor.core.journal import records
from monitor.core.journal.records import GapDoubt
from monitor.core.journal.snapshot import LastCue, Snapshot
from monitor.core.journal.words import Meaning
from monitor.core.probes.readings import Reading
from monitor.core.recipe.data_range import known_outside
from monitor.core.recipe.values import Recipe
from monitor.core.session import sounds
from monitor.core.session.agenda import MOMENTS, Due, What, first
from monitor.core.session.agitation import Tick
from monitor.core.session.answers import FootAnswers
from monitor.core.session.clashes import Hands, hands_of
from monitor.core.session.coming_back import call_after_return, why_away
from monitor.core.session.desk import Desk, Options
from monitor.core.session.effects import Effect
from monitor.core.session.fixed_times import (
    AHEAD_S,
    BEAT_S,
    EPS_S,
    NO_SWITCH_LEAD_S,
    NOW_REPEAT_S,
    PROGRESS_EVERY_S,
    STUCK_HOLD_S,
)
from monitor.core.session.folding import Past
from monitor.core.session.passage import Film
from monitor.core.session.presses import ALL_LENGTHS, Foot, Length, Press
from monitor.core.session.presses import Sound as PressSound
from monitor.core.session.runs import Current, Run, RunStep
from monitor.core.session.sounds import Sound
from monitor.core.session.standing import stand_at, state_at
from monitor.core.session.whose_press import Stand

SURE = GapDoubt()

__all__ = ["Awaits", "GapDoubt", "Options", "Session"]


@dataclass(frozen=True, slots=True)
class Awaits:
    """What the session waits for the hands to do, and when: for the simulated person and for the view. `at_s` None: not yet.

    The first trace of a print is awaited where a healthy one has it: at half of the longest time over its factor (own choice).
    """

    what: Literal["begin", "lid on", "sheet", "trace", "pour", "nothing"]
    at_s: float | None


class Session:
    """One session. The driver carries out the returned effects in order and calls `wake` whenever `next_wake_s` has come.

    Times are session seconds; they never fall from call to call, though a reading's own `t_s` lies in the past. More than 25 methods:
    the events of the driver, and one for each thing that can become due.
    """

    def __init__(self, recipe: Recipe, beliefs: Beliefs, options: Options) -> None:
        self.recipe = recipe
        self.beliefs = beliefs
        self.options = options
        self._desk = Desk(recipe, beliefs, options)
        self._film = Film(self._desk)
        self._answers = FootAnswers(self._desk, self._film)
        self._foot = Foot(self._desk, lambda t: state_at(self._film, self.waits_for_gate, t), self._sound, self._act)
        self._past: Past | None = None
        self._waits_since_s = 0.0
        self._beat_s: float | None = None
        self._last_cue: LastCue | None = None
        self._next: Due | None = None
        self._next_is_known = False
        self._do: dict[What, Callable[[Due, float], None]] = {
            "beat": lambda _, t: self._beat(t),
            "held": lambda _, t: self._hold_on(t),
            "fault": lambda _, t: self._desk.calls.sound_fault(t, self._film.runs),
            "repeat now": lambda _, t: self._desk.calls.repeat_now(self._foot.may_answer_now),
            "assume a begin": lambda _, t: self._film.begin_what_waits(None, t),
            "put a sheet": lambda _, t: self._film.put_sheet(),
            "end entry": lambda _, t: self._film.end_entry(),
            "end offer": lambda _, t: self._film.offers.end(),
            "tick": lambda _, __: self._tick(),
            "at most": lambda _, t: self._film.moments.call_at_most(self._current, t),
            "write at most": lambda _, t: self._film.moments.write_at_most(self._current, t),
            "close": lambda due, t: self._film.pour(_run(due), t),
            "freeze": lambda due, t: self._film.moments.freeze(_run(due), self._current, t),
            "write ready": lambda due, t: self._film.moments.write_ready(_run(due), t),
            "say now": lambda due, t: self._film.moments.call_now(_run(due), self._film.runs, t),
            "write now": lambda due, t: self._film.moments.write_now(_run(due), t),
            "end": lambda due, t: self._film.end(_run(due), t),
            "leave": lambda due, t: self._film.leave_at_end(_run(due)),
            "progress": lambda _, t: self._progress(t),
        }

    # -- what the driver asks ---------------------------------------------------------------------------------------

    @property
    def closed(self) -> bool:
        """Whether it is over."""
        return self._desk.closed

    @property
    def next_wake_s(self) -> float | None:
        """When the session wants `wake` next, None if only an event can move it."""
        due = self._next_due()
        return None if due is None else due.at_s

    @property
    def next_moment_s(self) -> float | None:
        """When the next moment of a stage comes by itself: a call, an end, a begin that is assumed. None where only a press or the
        temperature can bring one."""
        return min((due.at_s for due in self._agenda() if due.what in MOMENTS), default=None)

    @property
    def awaits(self) -> Awaits:
        """What the hands are expected to do next."""
        film = self._film
        if self.closed:
            return Awaits("nothing", None)
        if film.current is None:
            return Awaits("begin", None if self.waits_for_gate else self._waits_since_s)
        if film.next_sheet_s is not None:
            return Awaits("sheet", film.next_sheet_s)
        run = film.due_run
        if run is None or (film.is_last and run.stage.until == "time" and run.stage.role != "develop"):
            return Awaits("nothing", None)
        if run.stage.role == "load":
            return Awaits("lid on", run.end_s)
        if run.awaits_appearance:
            return Awaits("trace", run.begin_s + run.stage.target_ref_s / (2.0 * (run.stage.appearance_factor or 1.0)))
        return Awaits("pour", run.end_s if run.frozen or run.stage.until == "at least" else None)

    @property
    def stage(self) -> int | None:
        """The number of the stage that the film is in; None while one waits for its begin."""
        return None if self._film.current is None else self._film.current.stage.number

    @property
    def waits_for_gate(self) -> bool:
        """Whether a withheld gate is all that holds the next begin back."""
        return self._film.current is None and self._desk.gate.closed_for(self._film.index + 1)

    def hands_ahead(self, until_s: float) -> list[Hands]:
        """When this film wants the hands, as far as is known, up to about `until_s`: at the end of its stage and of those that follow."""
        run = None if self.closed else self._film.due_run
        if run is None or run.stage.has_no_clock or self._desk.recipe.sheets is not None:
            return []
        found = [hands_of(run.stage, run.end_s)]
        for stage in self.recipe.stages[run.stage.number :]:
            if found[-1].end_s > until_s or stage.has_no_clock:
                break
            found.append(hands_of(stage, found[-1].end_s + stage.fills_s + stage.target_ref_s))
        return found

    def stand(self, t_s: float) -> Stand:
        """How it stands for a press that comes at `t_s`, beside another film."""
        return stand_at(self._film, self.waits_for_gate, t_s)

    @property
    def snapshot(self) -> Snapshot:
        """Where it stands, for status, followers and views."""
        desk, film = self._desk, self._film
        temperature = desk.estimator.temperature(desk.t_s)
        stage = None if film.current is None else film.current.stage
        run = film.due_run
        done = desk.estimator.done(run.key, desk.t_s) if run is not None and run in film.counting.runs else None
        doubt = SURE if run is None or run.stage.has_no_clock else desk.doubt_since(run.begin_s)
        between = doubt.of_end(run.begin_s, run.end_s) if run is not None and doubt else (None, None)
        return Snapshot(
            t_s=desk.t_s,
            stages=len(self.recipe.stages),
            stage=None if stage is None else stage.number,
            waits_for=film.index + 2 if stage is None and not self.closed else None,
            name=None if stage is None else stage.name,
            role=None if stage is None else stage.role,
            until=None if stage is None else stage.until,
            steered=stage is not None and stage.steer,
            began_s=None if film.current is None else film.current.begin_s,
            planned_s=None if stage is None else stage.target_ref_s,
            developer_c=temperature.celsius,
            developer_sd_c=temperature.sd_c,
            developer_age_s=temperature.age_s,
            source=temperature.source,
            compared=desk.compared,
            lost=desk.lost,
            outside_data=None if stage is None or film.data.since_s is None else known_outside(stage, temperature.celsius),
            doubts={probe: why for probe, (why, _) in desk.trusted.doubts.items()} if film.development_matters else {},
            exchanged=desk.trusted.exchanged,
            gate=desk.gate.state,
            unconfirmed=film.offers.now is not None,
            spread_s=doubt.spread_s,
            last_cue=self._last_cue,
            closed=self.closed,
            sheet=None if run is None else run.sheet,
            ready_s=None if run is None else run.ready_s,
            now_s=None if run is None else run.now_s,
            end_t_s=None if run is None else run.end_s,
            end_sd_s=None if run is None else run.end_sd_s,
            earliest_end_t_s=between[0],
            latest_end_t_s=between[1],
            frozen=run is not None and run.frozen,
            done_ref_s=None if done is None else done.done_ref_s,
            done_sd_ref_s=None if done is None else done.sd_ref_s,
            target_ref_s=None if run is None else run.target_ref_s,
            awaits_appearance=run is not None and run.awaits_appearance,
        )

    @property
    def view(self) -> dict[str, Any]:
        """The snapshot as plain values."""
        return self.snapshot.plain()

    # -- events -----------------------------------------------------------------------------------------------------

    def open(self, t_s: float, opening: Mapping[str, Any]) -> list[Effect]:
        """Arm. `opening` are fields of the `session` open record beyond recipe and mode (version, zone, probes ...)."""
        desk = self._desk
        desk.t_s = self._waits_since_s = t_s
        desk.write(records.Opened(t_s=t_s, name=self.recipe.name, mode=self.options.mode, opening=opening, recipe=self.recipe.data))
        self._beat_s = t_s + BEAT_S
        desk.arm_gate(0, t_s)
        self._film.allow_lamp(self.recipe.stages[0])
        return self._out()

    def take(self, reading: Reading, t_s: float) -> list[Effect]:
        """A reading has arrived at `t_s`."""
        self._advance(t_s)
        self._desk.write(
            records.Read(
                t_s=reading.t_s,
                probe=reading.probe,
                role=reading.role,
                raw_c=reading.raw_c,
                celsius=reading.celsius,
                quality=reading.quality,
            )
        )
        changes = self._desk.estimator.read(reading)
        if not changes:
            return self._desk.take_effects()
        self._trust(changes, t_s)
        return self._out()

    def press(self, t_s: float, down: bool, own: frozenset[Length] = ALL_LENGTHS) -> list[Effect]:
        """A clean (debounced) edge of the foot switch. `own`: the lengths with which the press that it begins is this film's."""
        self._advance(t_s)
        if not self.closed and down:
            self._foot.down(t_s, own)
        elif not self.closed:
            self._foot.up(t_s)
        return self._out()

    def sounded(self, sound: Sound, onset_s: float, lateness_s: float | None) -> list[Effect]:
        """The player began a sound at `onset_s`; `lateness_s` (after the intended onset) is None in a rehearsal."""
        self._advance(onset_s if onset_s > self._desk.t_s else self._desk.t_s)
        self._last_cue = LastCue(cue=sound.cue, t_s=onset_s)
        self._desk.write(
            records.CueSounded(
                t_s=onset_s,
                cue=sound.cue,
                sheet=sound.sheet,
                lateness_s=lateness_s,
                late_s=sound.late_s,
                why=sound.why,
                waited_s=sound.waited_s,
            )
        )
        return self._out()

    def dropped(self, sound: Sound, t_s: float) -> list[Effect]:
        """The player could not sound it: something louder was. A FAULT tries again, a tick is let go."""
        self._advance(t_s)
        if sound.cue == "fault":
            calls = self._desk.calls
            calls.last_fault_s = -math.inf
            self._film.want_fault(sound.why or calls.fault_why, t_s + NOW_REPEAT_S)
        return self._out()

    def note(self, kind: str, fields: Mapping[str, Any], t_s: float) -> list[Effect]:
        """Something that belongs in the journal and moves nothing: a full disk, a dead thread, a step of the wall clock."""
        self._advance(t_s)
        self._desk.write(records.Note(t_s=t_s, named=kind, told=fields))
        return self._out()

    def fault(self, why: str, t_s: float) -> list[Effect]:
        """The tool itself is not to be trusted in something that the person must know by ear: a `fault` record and one FAULT."""
        self._advance(t_s)
        self._desk.write(records.ToolFault(t_s=t_s, why=why))
        self._film.want_fault(why, t_s)
        return self._out()

    def wake(self, t_s: float) -> list[Effect]:
        """The time asked for by `next_wake_s` has come."""
        self._advance(t_s, inclusive=True)
        return self._out()

    def abandon(self, t_s: float, why: str) -> list[Effect]:
        """End the session now; `close` carries the reason."""
        self._advance(t_s)
        if not self.closed:
            self._film.abandon(t_s, why)
        return self._out()

    # -- an earlier life of this session -----------------------------------------------------------------------------

    def fold(self, record: Mapping[str, Any]) -> None:
        """Take up one record of an earlier life of this session, in the order of the file. No effects; `resume` comes after the last."""
        if self._past is None:
            self._past = Past(self._desk)
        self._past.take(record)

    def resume(self, t_s: float, gap_s: float | None, same_boot: bool, doubt: GapDoubt = SURE) -> list[Effect]:
        """Go on at `t_s` after folding. `gap_s`: how long nothing was recorded, None if unknown; `doubt`: by how much it may have been
        longer or shorter than what lies between the last record and `t_s` (not at all on the same boot). Where READY or NOW fell due
        meanwhile, or nobody knows how long the gap was, FAULT sounds at once, and then NOW if it still is."""
        desk, film, calls = self._desk, self._film, self._desk.calls
        counted_s = t_s - desk.t_s
        calls.go_away(t_s)
        self._take_over()
        desk.doubt_gap(t_s, doubt)
        self._beat_s = min(t_s, t_s - counted_s + BEAT_S)  # a probe is lost when it has been silent for long enough, not at the return
        if film.current is not None:
            film.current.tick_after_s = t_s - film.current.begin_s - 1e-3
        if film.counting.progress_s is not None:
            film.counting.progress_s += PROGRESS_EVERY_S * max(0, math.ceil((t_s - film.counting.progress_s) / PROGRESS_EVERY_S))
        with desk.written_first() as write_first:  # it stands before what is made up for, but tells what was missed
            self._next_is_known = False
            self._advance(t_s, inclusive=True)
            missed = calls.come_back()
            words = list(dict.fromkeys(sound.cue for sound in missed))
            back = records.Resumed(t_s=t_s, gap_s=gap_s, same_boot=same_boot, spread_s=doubt.spread_s, missed=words)
            if not same_boot:
                least_s, most_s = max(0.0, counted_s - doubt.shorter_s), counted_s + doubt.longer_s
                back = replace(back, counted_s=counted_s, least_s=least_s, most_s=most_s)
            write_first(back)
        if not self.closed:
            call_after_return(desk, film, t_s, missed, why_away(gap_s, same_boot, words))
        return self._out()

    def _take_over(self) -> None:
        """The state that the folded records tell of."""
        past, self._past = self._past, None
        if past is None:
            return
        past.rebuild(self._film)
        self._waits_since_s = past.waits_since_s
        if past.last_cue is not None:
            self._last_cue = LastCue(cue=past.last_cue.cue, t_s=past.last_cue.t_s)

    # -- time -------------------------------------------------------------------------------------------------------

    def _advance(self, t_s: float, inclusive: bool = False) -> None:
        """Do what became due before `t_s` (or at it), in its order."""
        limit_s = t_s + EPS_S if inclusive else t_s - EPS_S
        while (due := self._next_due()) is not None and due.at_s <= limit_s:
            self._desk.t_s = max(self._desk.t_s, due.at_s)
            self._next_is_known = False
            self._do[due.what](due, self._desk.t_s)
        self._desk.t_s = max(self._desk.t_s, t_s)

    def _next_due(self) -> Due | None:
        if not self._next_is_known:
            self._next, self._next_is_known = first(self._agenda()), True
        return self._next

    def _agenda(self) -> Iterator[Due]:
        """Everything that only the passing of time can bring about. Of two at one moment the first here comes first."""
        if self.closed or self._beat_s is None:
            return
        film, calls = self._film, self._desk.calls
        yield Due(self._beat_s, "beat")
        if self._foot.next_s is not None:
            yield Due(self._foot.next_s, "held")
        if calls.fault_s is not None and calls.back_s is None:
            yield Due(calls.fault_s - AHEAD_S, "fault")
        if calls.now is not None and calls.back_s is None:
            yield Due(calls.now.next_s - AHEAD_S, "repeat now")
        current = film.current
        if current is None:
            if not self.options.has_switch and not self.waits_for_gate:
                yield Due(self._waits_since_s + NO_SWITCH_LEAD_S, "assume a begin")
            return
        offer = film.offers.now
        if offer is not None and offer.end_s < math.inf and not (self._foot.undecided and film.offers.closes(offer)):
            yield Due(film.offers.end_s, "end offer")
        if film.entry is not None and not self._foot.undecided:
            sheet_s = film.next_sheet_s
            yield Due(film.entry.over_s, "end entry") if sheet_s is None else Due(sheet_s + film.entry.interval_s / 2, "put a sheet")
        tick = self._next_tick(current)
        if tick is not None:
            yield Due(current.begin_s + tick.after_begin_s - AHEAD_S, "tick")
        if current.at_most_at_s is not None and not current.at_most_called:
            yield Due(current.at_most_at_s - AHEAD_S, "at most")
        elif current.at_most_at_s is not None and not current.at_most_said:
            yield Due(current.at_most_at_s, "write at most")
        for run in current.runs:
            yield from self._due_for(run)
        if film.counting.progress_s is not None:
            yield Due(film.counting.progress_s, "progress")

    def _due_for(self, run: Run) -> Iterator[Due]:
        at_least = run.stage.until == "at least"
        if run.over and not run.left and self._film.is_last and at_least and not self.options.has_switch:
            # nobody can tap it away: the session closes when READY has been heard
            yield Due(run.end_s + self._desk.calls.lasts_s("ready", sounds.READY), "close", run)
        if run.over:
            awaited = self._foot.decides_over(run) or (self._foot.undecided and self._film.is_last)  # a press is not lost in the close
            if not run.left and not at_least and not awaited:
                yield Due(run.end_s, "leave", run)
            return
        if not run.frozen:
            yield Due((run.ready_s if run.ready_s is not None else run.end_s) - AHEAD_S, "freeze", run)
            return
        if run.step < RunStep.READY and run.ready_s is not None and not at_least:
            yield Due(run.ready_s, "write ready", run)
        if run.now_s is not None and run.step < RunStep.CALLED:
            yield Due(run.now_s - AHEAD_S, "say now", run)
        elif run.now_s is not None and run.step < RunStep.NOW:
            yield Due(run.now_s, "write now", run)
        yield Due(run.end_s, "end", run)

    def _beat(self, t_s: float) -> None:
        """Once a second: has a probe gone silent, is the gate open, is the band kept."""
        desk, film = self._desk, self._film
        self._beat_s = t_s + BEAT_S
        changes = desk.estimator.advance(t_s)
        if changes:
            self._trust(changes, t_s)
        self._watch_gate(t_s)
        current = film.current
        if current is None or current.stage.role != "develop" or (current.stage.band_c is None and current.stage.law is None):
            return
        temperature = desk.estimator.temperature(t_s)
        why = film.data.watch(current.stage, temperature, t_s, desk.write)
        if why is not None:
            film.want_fault(why, t_s)
        if current.stage.band_c is None or temperature.source == "clock" or t_s <= current.begin_s:
            return
        if any(not r.over for r in current.runs):
            why = current.band.watch(current.stage, temperature.celsius, current.begin_s, t_s, desk.write)
            if why is not None:
                film.want_fault(why, t_s)

    def _watch_gate(self, t_s: float) -> None:
        desk, film = self._desk, self._film
        index = desk.next_gated_stage(film.index)
        if index is None:
            return
        if desk.gate.watch(self.recipe.stages[index], index, desk.estimator.temperature(t_s), t_s, desk.write) and film.current is None:
            self._waits_since_s = max(self._waits_since_s, t_s)
            desk.calls.play("ready", t_s, sounds.READY)

    @property
    def _current(self) -> Current:
        current = self._film.current
        assert current is not None
        return current

    def _progress(self, t_s: float) -> None:
        self._film.moments.forecast_all(t_s)
        self._film.counting.tell_all(t_s)

    # -- movement ---------------------------------------------------------------------------------------------------

    def _next_tick(self, current: Current) -> Tick | None:
        run = current.runs[-1] if current.runs else None
        if run is None or (run.over and run.stage.until == "at least"):
            return None
        last_now_s = max((r.now_s for r in current.runs if r.now_s is not None), default=None)
        limit_s = last_now_s if last_now_s is not None else current.begin_s + current.stage.target_ref_s
        after_now_s = None if run.stage.until == "at least" else limit_s - current.begin_s
        tick = current.pace.next_tick(current.tick_after_s, after_now_s)
        if tick is None or (run.stage.until == "at least" and tick.after_begin_s >= run.end_s - current.begin_s - EPS_S):
            return None
        return tick

    def _tick(self) -> None:
        current = self._film.current
        assert current is not None
        tick = self._next_tick(current)
        assert tick is not None
        current.tick_after_s = tick.after_begin_s
        onset_s = current.begin_s + tick.after_begin_s
        self._desk.calls.play("tick", onset_s, sounds.DOUBLE_TICK if tick.double else sounds.TICK)  # one too late is dropped by the player

    # -- trust ------------------------------------------------------------------------------------------------------

    def _trust(self, changes: list[TrustChange], t_s: float) -> None:
        desk, calls = self._desk, self._desk.calls
        for change in changes:
            told = records.TrustChanged(
                t_s=t_s,
                probe=change.probe,
                believed=change.believed,
                why=change.why,
                since_t_s=change.since_t_s,
                source=change.source,
                loss=None if change.believed or change.loss else False,
            )
            desk.write(told)
            over = desk.trusted.take(told) is not None and not desk.trusted.lost
            if over and calls.fault_s is not None and calls.fault_s > t_s + AHEAD_S:
                calls.fault_s = None  # it waited for its minute and is no longer true
            if change.loss and self._film.development_matters:
                self._film.want_fault(f"{change.probe}: {change.why}", t_s)

    # -- the foot ---------------------------------------------------------------------------------------------------

    def _hold_on(self, t_s: float) -> None:
        stuck = self._foot.held(t_s)
        if stuck is not None:
            self._desk.write(records.SwitchStuck(t_s=t_s, since_t_s=stuck.down_s))
            why = f"the foot switch has been closed for {STUCK_HOLD_S:.0f} s and is ignored until it opens"
            self._desk.calls.want_fault(why, t_s, self._film.runs)  # also while a reel is loaded: this switch cannot end it

    def _act(self, meaning: Meaning, press: Press, t_s: float) -> None:
        """What a press does beside the sound that answers it."""
        film, run = self._film, press.run
        if meaning == "begin" and press.state == "entering":
            film.tap_sheet(press.down_s)
        elif meaning == "begin":
            film.begin_what_waits(press.down_s, t_s)
        elif meaning == "lid on":
            self._waits_since_s = t_s
            film.put_lid_on(press.down_s)
        elif run is None:
            return
        elif meaning == "again":
            film.begin_again(run, press.down_s)
        elif meaning == "appeared":
            film.appear(run, press.down_s)
        elif meaning == "heard":
            film.settle(run)
        elif meaning == "poured" and press.offer is not None:
            film.answer_poured(press.offer, press.down_s)
        elif meaning == "poured":
            film.pour(run, press.down_s)
        elif meaning == "on time" and press.offer is not None:
            film.answer_on_time(press.offer, press.down_s)

    def _sound(self, sound: PressSound, press: Press, t_s: float) -> None:
        """The sound that the table gives to a press."""
        if sound == "second click":
            self._desk.calls.play("click", t_s, sounds.CLICK)
        elif sound == "specks":
            self._desk.calls.play("yes", t_s, sounds.YES)
        else:
            self._answers.answer(press, t_s)

    def _out(self) -> list[Effect]:
        self._next_is_known = False
        return self._desk.take_effects()


def _run(due: Due) -> Run:
    assert due.run is not None
    return due.run

