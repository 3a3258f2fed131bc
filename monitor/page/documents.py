"""The HTML documents: the page itself, the lists around it, and what was made elsewhere, all black until a lease lights them.

Tests: tests/page/test_server.py, tests/page/test_in_browser.py.
"""

from __future__ import annotations

import json
from functools import cache
from html import escape
from pathlib import Path
from string import Template

from monitor.core.drawing.strips import DARK, STROKES
from monitor.core.text.typeset import typeset
from monitor.page import sentences
from monitor.page.lists import Leaf

STATIC = Path(__file__).with_name("static")
TYPES = {".css": "text/css; charset=utf-8", ".js": "text/javascript; charset=utf-8"}
BLACK = (
    b'<!doctype html><html lang="en"><head><meta name="color-scheme" content="dark"><title>.</title></head>'
    b'<body bgcolor="#000000"></body></html>'
)
"""Nothing but black: what every document is while nothing may be lit."""
PAPER_IN_THE_DARK = (
    "@media screen{html[data-lit],html[data-lit] body{background:#101112!important;color:#e9eaea!important}"
    "html[data-lit] body *{color:#e9eaea!important;background-color:transparent!important;border-color:#e9eaea!important}}"
)
"""Printed it is as it was."""


@cache
def assets() -> dict[str, tuple[str, bytes]]:
    """Path, type and bytes of each file that a document asks for; nothing else is ever served from the disk."""
    found = {}
    for path in STATIC.iterdir():
        if path.suffix in TYPES:
            found[f"/{path.name}"] = (TYPES[path.suffix], path.read_bytes())
    kind, style = found["/page.css"]
    found["/page.css"] = (kind, f":root{{{DARK}}}\n{STROKES}\n".encode() + style)
    return found


class Documents:
    """`stale_s`, `black_s`: after how much silence a display calls its values old, and goes black. `template`: of the page itself."""

    def __init__(self, stale_s: float, black_s: float, template: str = "page.html") -> None:
        self._template = template
        self._lease = f'data-stale-s="{stale_s:g}" data-black-s="{black_s:g}"'

    def page(self) -> bytes:
        """The page of a station, or of a class."""
        told = {
            "title": sentences.TITLE,
            "lease": self._lease,
            "links": self._links("/"),
            "numbers": sentences.NUMBERS_OPEN,
            "about": sentences.ABOUT_OPEN,
            "help": "".join(f"<p>{escape(typeset(line))}</p>" for line in sentences.HELP),
            "report": sentences.REPORT,
            "words": json.dumps(sentences.FOR_SCRIPT).replace("<", "\\u003c"),
            "class_head": sentences.CLASS_HEAD,
            "class_none": sentences.CLASS_NONE,
            "class_columns": "".join(f'<th scope="col">{escape(name)}</th>' for name in sentences.CLASS_COLUMNS),
        }
        return Template((STATIC / self._template).read_text(encoding="utf-8")).substitute(told).encode()

    def leaf(self, leaf: Leaf, here: str) -> bytes:
        """A list, or a document that was made elsewhere and is put under the lease."""
        if leaf.whole:
            return self._leased(leaf.body).encode()
        told = {"title": escape(leaf.title), "lease": self._lease, "links": self._links(here), "body": leaf.body}
        told["no_answer"] = escape(sentences.NO_ANSWER)
        return Template((STATIC / "leaf.html").read_text(encoding="utf-8")).substitute(told).encode()

    def _leased(self, document: str) -> str:
        """Black until it may be lit: the sheet that hides it and the script that shows it come before anything of its own. What has a dark
        dress wears it on every screen."""
        head = f'<link rel="stylesheet" href="/lease.css"><script src="/lease.js" {self._lease} defer></script>'
        if "prefers-color-scheme:dark" not in document:  # paper: the ink of a card is black, on white; here it is turned round
            document = document.replace("</head>", f"<style>{PAPER_IN_THE_DARK}</style></head>", 1)
        document = document.replace("@media (prefers-color-scheme:dark)", "@media screen")
        return document.replace("<head>", f"<head>{head}", 1).replace("<body", '<body bgcolor="#000000"', 1)

    @staticmethod
    def _links(here: str) -> str:
        told = (
            f'<a href="{path}"{" aria-current=page" if path == here else ""}>{escape(words)}</a>' for path, words in sentences.LINKS.items()
        )
        return "".join(told)
