"""The numbers of a session: how long, how soon, how often. Each with its reason; what they are used for stands in the modules beside.

Decided in the project's contract, section 5, where nothing else is said.
"""

from __future__ import annotations

EPS_S = 1e-6
"""Two moments nearer than this are one."""
AHEAD_S = 0.5
"""Sounds whose moment is known are handed to the player this long before, so that a busy moment here delays no cue."""
CONFIRM_READY_S, CONFIRM_STEP_S = 6.0, 0.5
"""READY is not sounded on one leap of the readings: they are looked at for so long, so often (this project's own choice)."""
LEAP_S = 0.5
"""A forecast that has moved by less since the readings became odd has not leapt (this project's own choice)."""
BEAT_S = 1.0
"""How often it is looked whether a probe has gone silent, the gate is open, the band is kept."""
PROGRESS_EVERY_S = 2.0

DUE_BEFORE_END_S = 5.0
"""From this long before the planned end a tap after NOW says that the film goes on."""
READY_TO_NOW_LEAST_S = 10.0
"""After a READY that was overdue NOW comes no sooner than this."""
GROUP_GAP_S = 60.0
"""Exits of sheets further apart than this have a READY each."""
SECOND_QUESTION_S = 3.0
"""A second question within this asks for the temperature."""
SHUFFLE_STEP_S = 5.0
"""Sheets and drums move this often (practice of this project)."""
NO_SWITCH_LEAD_S = 30.0
"""Without a switch the first begin is assumed this long after arming, or after the gate has opened."""

NOW_REPEAT_S = 2.4
NOW_REPEATS = 6
NOW_LATER_S = 10.0
"""NOW is repeated every 2.4 s, six times, then every 10 s."""
FAULT_APART_S = 60.0
"""No FAULT sooner after the last, whichever probe it is about."""
CLEAR_S = 0.1
"""Silence between a FAULT and the READY or NOW that it gets out of the way of."""
SAME_NOW_S = 0.05
"""A cue no earlier than this before a NOW of the journal is that NOW."""

TAP_HOLD_S = 0.7
"""Released within this a press is a tap, later a question."""
BEGIN_HOLD_S = 1.0
"""A press of this length begins what waits, and ends a load."""
AGAIN_HOLD_S = 3.0
"""A press of this length takes a begin again."""
AGAIN_WITHIN_S = 120.0
"""So long after a begin it can be taken again."""
EARLIEST_APPEARANCE_S = 4.0
"""No trace of a print appears sooner: a tap before that is a stumble (common practice, no source)."""
STUCK_HOLD_S = 10.0
"""Closed for longer than this the switch is taken for stuck and ignored until it opens."""
OFFER_S = 60.0
"""So long after an assumed begin a press still answers it."""
LAST_DEVELOPER_S = 600.0
"""A session whose last stage develops waits at most so long for the press that says the developer is out."""
