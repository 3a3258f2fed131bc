"""The forms of the page, as HTML: what a paired phone may write, and for any other phone how it is paired.

They are shown; whether something is written is decided where it is posted (`monitor.page.writes`). Tests: tests/page/test_in_browser.py.
"""

from __future__ import annotations

from html import escape

from monitor.page import sentences
from monitor.page.pairing import CODE_SIGNS
from monitor.page.writes import PAIR


def pair_form() -> str:
    """A code, which the address brings along or somebody pastes or types, and one button: nothing is sent by looking at the page."""
    return (
        f"<p>{escape(sentences.PAIR_HOW)}</p>"
        f'<form data-post="{PAIR}" data-stay><label for="code">{escape(sentences.PAIR_CODE)}</label>'
        f'<input id="code" name="code" data-fragment autocomplete="off" autocapitalize="characters" spellcheck="false"'
        f' maxlength="{CODE_SIGNS + 4}">'
        f"<button>{escape(sentences.PAIR_BUTTON)}</button></form>"
    )
