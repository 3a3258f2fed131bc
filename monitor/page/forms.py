"""The forms of the page, as HTML: what a paired phone may write, and for any other phone how it is paired.

They are shown; whether something is written is decided where it is posted (`monitor.page.writes`). Tests: tests/page/test_desk.py,
tests/page/test_writing_in_browser.py.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape

from monitor.core.recipe.checklist import PARTS, items_for
from monitor.core.recipe.values import Recipe
from monitor.core.text.controls import one_line
from monitor.core.text.degrees import in_unit_shown
from monitor.core.text.typeset import typeset
from monitor.page import sentences
from monitor.page.pairing import CODE_SIGNS
from monitor.prepare.bottles.area import ROLLS
from monitor.prepare.bottles.ledger import Ledger
from monitor.prepare.logbook.notes import LONGEST, Note

SHEETS = ("4x5", "5x7", "8x10", "9x12 cm", "13x18 cm", "18x24 cm")
"""Of the sizes that the ledger takes, those of common film holders (common practice, no source)."""
MOST_NOTES = 50


def pair_form() -> str:
    """A code, which the address brings along or somebody pastes or types, and one button: nothing is sent by looking at the page."""
    code = (
        '<input id="code" name="code" data-fragment autocomplete="off" autocapitalize="characters" spellcheck="false" '
        f'maxlength="{CODE_SIGNS + 4}">'
    )
    form = _form("/pair", _label("code", sentences.PAIR_CODE) + code, sentences.PAIR_BUTTON, stay=True, waits=sentences.PAIRING_NOW)
    return f"<p>{_told(sentences.PAIR_HOW)}</p>{form}"


def not_here(paired: bool) -> str:
    """Why there is no form: the phone is not paired, or a session runs."""
    if paired:
        return f"<p>{_told(sentences.NO_FORM_NOW)}</p>"
    return f'<p>{_told(sentences.NOT_PAIRED)} <a href="/pair">{_told(sentences.PAIR_HEAD)}</a></p>'


def checklist(recipe: Recipe, file: str, ticked: frozenset[str], may: bool) -> str:
    """The questions in the order of the evening; a box for each that a person answers."""
    parts = []
    for part, heading in PARTS.items():
        items = [item for item in items_for(recipe) if item.part == part]
        if items:
            rows = "".join(_item(file, item.id, item.text, item.asked_of == "person", item.id in ticked, may) for item in items)
            parts.append(f"<h2>{_told(heading)}</h2>{rows}")
    return f"<p>{_told(sentences.TICKS_ARE_NO_ANSWER)}</p>" + "".join(parts)


def _item(file: str, number: str, text: str, asked: bool, ticked: bool, may: bool) -> str:
    words = _told(in_unit_shown(text))
    if not asked:
        return f"<p>{_told(sentences.STATION_CHECKS)} {words}</p>"
    state = (" checked" if ticked else "") + ("" if may else " disabled")
    box = f'<input type="checkbox" data-post="/writes/tick" data-recipe="{escape(file)}" data-tick="{escape(number)}"{state}>'
    return f'<label class="tick">{box}<span>{words}</span></label>'


def choose_form(file: str, chosen: bool) -> str:
    """One button: this recipe, or none any more."""
    hidden = f'<input type="hidden" name="recipe" data-kind="or-none" value="{"" if chosen else escape(file)}">'
    return _form("/writes/choose", hidden, sentences.CHOOSE_NONE if chosen else sentences.CHOOSE)


def notes(told: Sequence[Note], sessions: Iterable[str], may: bool) -> str:
    """The newest first, and a form above them."""
    rows = "".join(map(_note, reversed(told[-MOST_NOTES:])))
    form = ""
    if may:
        options = [("", sentences.NOTE_OF_NONE), *((session, session) for session in sessions)]
        fields = (
            _label("text", sentences.NOTE) + f'<textarea id="text" name="text" data-draft maxlength="{LONGEST}"></textarea>'
            '<input type="hidden" name="key" data-once>' + _select("session", sentences.NOTE_OF, options, "or-none")
        )
        form = _form("/writes/note", fields, sentences.NOTE_BUTTON)
    return form + (f"<ul>{rows}</ul>" if rows else f"<p>{_told(sentences.NO_NOTES)}</p>")


def _note(note: Note) -> str:
    about = f" · {note.session}" if note.session else ""
    return f"<li><p>{_told(note.text)}</p><small>{note.at.astimezone():%Y-%m-%d %H:%M}{_told(about)}</small></li>"


def ledger_forms(ledger: Ledger, sessions: Sequence[str]) -> str:
    """Film through a bottle, a session's solutions, a bottle thrown away, the last entry taken back."""
    bottles = [(str(bottle.id), bottle.name) for bottle in ledger.bottles.values() if bottle.discarded is None]
    seen = f'<input type="hidden" name="next_seq" data-kind="whole" value="{ledger.next_seq}">'
    forms = ""
    if bottles:
        sizes = [(size, sentences.EXPOSURES.format(count=size) if size.isdecimal() else size) for size in (*ROLLS, *SHEETS)]
        which = _select("bottle", sentences.BOTTLE, bottles, "whole", "used")
        count = _label("count", sentences.COUNT)
        count += '<input id="count" name="count" data-kind="whole" inputmode="numeric" value="1" maxlength="3">'
        forms += _form("/writes/bottle/use", which + _select("size", sentences.SIZE, sizes) + count + seen, sentences.USE_BUTTON)
        if sessions:
            which = _select("session", sentences.SESSION, [(session, session) for session in sessions], "", "booked")
            forms += _form("/writes/bottle/book", which + seen, sentences.BOOK_BUTTON)
        which = _select("bottle", sentences.BOTTLE, bottles, "whole", "gone")
        forms += _form("/writes/bottle/discard", which + seen, sentences.DISCARD_BUTTON)
    if ledger.entries:
        last = ledger.entries[-1]
        told = sentences.UNDO_BUTTON.format(what=one_line(f"{last['entry']}, {last['name']}, {last['day']}"))
        forms += _form("/writes/bottle/undo", seen, told)
    return forms


def _form(path: str, fields: str, button: str, stay: bool = False, waits: str = "") -> str:
    """`stay`: the page stays, without the form. `waits`: what stands on the button until the answer comes."""
    more = (" data-stay" if stay else "") + (f' data-waits="{_told(waits)}"' if waits else "")
    return f'<form data-post="{path}"{more}>{fields}<button>{_told(button)}</button></form>'


def _label(field: str, words: str) -> str:
    return f'<label for="{field}">{_told(words)}</label>'


def _select(name: str, words: str, options: Sequence[tuple[str, str]], kind: str = "", at: str = "") -> str:
    told = "".join(f'<option value="{escape(value)}">{_told(text)}</option>' for value, text in options)
    return _label(at or name, words) + f'<select id="{at or name}" name="{name}"{f" data-kind={kind}" if kind else ""}>{told}</select>'


def _told(text: str) -> str:
    return escape(typeset(one_line(text)))
