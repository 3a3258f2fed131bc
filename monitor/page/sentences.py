"""Every sentence of the page that is not one of the view's (`monitor.live.view`). Whoever translates the page begins here.

Fields in braces are filled in by `monitor.page.slots`; those of `FOR_SCRIPT` by page.js. No I/O. Tests: tests/page/test_slots.py.
"""

from __future__ import annotations

TITLE = "evenbath"
NO_SESSION = "No session. The station watches the bath."
NOTHING_STARTS_HERE = "Nothing starts here: evenbath develop arms a recipe."
WHOSE = "{vessel} · {what}"
TAP_FOR, TAP_FOR_THEN = "A tap now counts for {whose}.", "A tap now counts for {whose}; from NOW on for {then}."
CLASH, CLASH_IN, CLASH_NOW = "{when} both films want your hands: {first} first, then {then} ({why}).", "In {left}", "Now"
TURN = "{whose}: {begins}."
OTHER = "{whose}: {head}: {told}"
OWN_PROBE, PROBE_CURVE = "own probe", "probe"
"""In place of the developer's, where the developer is in the drain: nothing tells what the probe is in then."""
AT_LEAST, AT_MOST = "not before {at}", "not before {at}, {most} at most"
HEADS = {
    "waiting": "WAITING",
    "gate": "GATE CLOSED",
    "ready": "{stage} · READY",
    "now": "{stage} · NOW",
    "done": "DONE",
}
WAITS = "{stage} WAITS"
OF = "{head} · {stage} of {stages}"
NOW_HERE = {"bath": "the bath now", "developer": "the developer now", "witness": "the witness vessel now"}
NO_READING = "no reading"
MOVES = {"falls": "{role}, falls {rate} a minute", "rises": "{role}, rises {rate} a minute", "holds": "{role}, holds", "": "{role}"}
PROBE = "{role}, probe {name}, {age}"
SECONDS_OLD = "{age:.0f} s old"
MINUTES_OLD = "{age} old"
NEVER = "never read"
WITHHELD = "The start is withheld. Wanted {low} to {high} for {span}."
INSIDE = "of {span} inside the band"
TOO_COLD, TOO_WARM, IN_BAND = "{off} too cold", "{off} too warm", "inside the band"
NOT_MEASURED = "nothing measures the developer"
MEND_GATE = "{do}, stir, wait. Nothing can be started here."
WARM, COOL, KEEP = "Warm the jug", "Cool the jug", "Leave it as it is"
HOLD_TO_BEGIN = "hold the switch for a full second"
POUR_ABOUT, POUR_FIXED = "pour at about {at}", "pour at {at}, will not move again"
LIFT_ABOUT, LIFT_FIXED = "lift at about {at}", "lift at {at}, will not move again"
TO_THE_END = "{left} to the end at {end}; tap when poured"
END_IS_OVER = "the end was {ago} ago; it goes on being counted until it is poured"
AS_NEWS = "{probe} believed again; {estimated} was estimated."
FAULT = "FAULT"
THEN, THEN_NOTHING = "then {stages}", "then nothing: the last stage"
JUG = "{words}, jug {jug}"
CLOSED = "Session {session} is over: {why}."
ESTIMATED = "{estimated} of {whole} was estimated."
COMPARED, NOT_COMPARED = "Probe compared.", "Probe not compared."
DEVELOPED = "developed, {doubt}, live said"
DEVELOPED_NOT_KNOWN = "developed; how far is not known"
NOT_KNOWN = "?"
TOOK = "{took}; {moved}"
LONGER, SHORTER, AS_PLANNED = "{by} s longer than planned", "{by} s shorter than planned", "as planned"
BY_CLOCK = "{stage}, by the clock"
ENDED = "ended"
MEAN = "mean of the developer; {last} at the end"
LAST_TEMPERATURE = "the developer at the end"
REPORT = "Full report"
NUMBERS = {
    "done": "Development done",
    "end": "End of this stage",
    "moved": "Against the plan",
    "trust": "Trust",
    "news": "News",
    "recipe": "Recipe",
    "session": "Session",
}
RAIL_SAYS = "{stage}: {at} of {end}"
TRACE_SAYS = "Developer from {low} to {high}, now {now}"
TRACE_NOTHING = "No temperature yet"
WANTED = "wanted"
UNREAD = "A session runs, but its journal cannot be read here: no picture, and no words about trust."
UNREAD_STAGE = "SESSION"
SILENT = "No station answers."
SILENT_THEN = "Start it, or see whether the page's user belongs to its group. The sounds at the sink rule."

FOR_SCRIPT = {
    "word": "word {age} s old",
    "old": "OLD VALUES",
    "old_for": "No word from the station for {age} s",
    "old_trust": "The sounds at the sink rule; this page does not.",
    "old_hint": "as it was {age} s ago",
    "old_then": "Looking for the station.",
    "old_said": "Old values. No word from the station.",
    "closed": "closed {time}",
    "developed": "developed, {doubt}",
    "hands": "{hint}; hands: {words}",
    "next": "Next time: {words}",
}
HELP = (
    "No phone is a safelight: where film or paper is bare, phones stay outside. This page goes black by itself, and black still glows.",
    "The browser may not keep the display on: set its time-out to ten minutes. The sounds lead, the page follows.",
    "+/- is two standard deviations.",
)
LINKS = {"/": "Now", "/journals": "Sessions", "/recipes": "Recipes", "/ledger": "Bottles", "/notes": "Notes"}
NUMBERS_OPEN, ABOUT_OPEN = "Numbers", "About this page"

JOURNALS_HEAD, RECIPES_HEAD, LEDGER_HEAD = "Sessions", "Recipes", "Bottles"
NO_JOURNALS = "No session has been closed yet."
NO_RECIPES = "No recipe stands beside the station file."
STILL_RUNS = "This waits until the session is over: the station's cues go before."
BOARD_BUSY = "The board is busy: try again in a moment."
NOT_MADE = "It could not be made: {why}"
CARD = "Wall card"
RUNS = "it has no end yet"
CLASS_HEAD, CLASS_NONE = "All stations", "No station has been recorded yet."
CLASS_WORD = "{age} ago"
CLASS_SILENT = "no word for {age}"
CLASS_COLUMNS = ("Station", "Stage", "Hands", "Developer", "Last word")

PAIR_HEAD, PAIR_CODE, PAIR_BUTTON = "Pair this phone", "Code", "Pair this phone"
PAIRING_NOW = "Pairing..."
PAIR_HOW = "Reading needs no pairing. To write here, make a code on the station: evenbath page pair. It counts once, for 5 minutes."
NO_ANSWER = "No answer came: it is not known whether it was written. Look before you send it again."
PAIRED = "This phone is paired. It can write at this address until it is revoked."
NOT_PAIRED = "This phone can only read. To write with it: evenbath page pair, on the station."
CODE_REFUSED = "This code does not count: wrong, used, tried too often, or older than 5 minutes. Make a new one: evenbath page pair."
PAIRING_BROKEN = "The list of paired phones cannot be used, so nothing can be written. The station says why: evenbath page devices."
NOT_NOW = "Nothing was written: a session is armed or runs, or the station does not say that none does."
BUSY = "Nothing was written: somebody else is writing. Try again."
BODY_NO_JSON = "what was sent is not one JSON object; allowed: what this page itself sends"
BODY_UNKNOWN = 'unknown "{name}"; allowed: {allowed}'
BODY_MISSING = 'no "{name}"; allowed: all of {allowed}'
BODY_WRONG = '"{name}" is not right; allowed: {allowed}'

NO_FORM_NOW = "Nothing can be written now: a session is armed or runs, or the station does not say that none does."
NO_SUCH_ITEM = "no such recipe, or no such item in its checklist; allowed: what the page lists"
NO_SUCH_SESSION = "no such session, or its journal is too long; allowed: what the page lists"
NO_SUCH_RECIPE = "no such recipe beside the station file; allowed: what the page lists"
NO_SUCH_BOTTLE = "no such bottle; allowed: what the page lists"
LEDGER_CHANGED = "Nothing was booked: the ledger has changed since this page was made. Look at it again."
TICKED, UNTICKED = "Ticked.", "Tick taken back."
NOT_WRITTEN = "Nothing was written: {why}"
NOT_READ = "This list cannot be read. {why}"
NOTED = "The note is kept."
CHOSEN, CHOSEN_NONE = "{name} is chosen for next time.", "No recipe is chosen for next time."
USED = "Booked: {units} units through {name}."
BOOKED = "Booked: session {session}, {names}."
DISCARDED = "Booked: {name} was thrown away."
UNDONE = "The last entry was taken back."

CHECKLIST = "Checklist"
TICKS_ARE_NO_ANSWER = "Ticks help to remember, for one evening. The station asks all the same before it begins."
STATION_CHECKS = "The station checks:"
CHOOSE, CHOOSE_NONE = "Choose for next time", "Chosen for next time: take that back"
NOTES_HEAD, NOTE, NOTE_BUTTON, NO_NOTES = "Notes", "A note, kept in one line", "Keep the note", "No notes yet."
NOTE_OF, NOTE_OF_NONE = "About", "the evening"
BOTTLE, SIZE, COUNT, SESSION, EXPOSURES = "Bottle", "Film", "How many", "Session", "{count} exposures"
USE_BUTTON, BOOK_BUTTON, DISCARD_BUTTON = "Book film through it", "Book what this session used", "Book that it was thrown away"
UNDO_BUTTON = "Take back the last entry: {what}"
