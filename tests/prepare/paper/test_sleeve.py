"""The strip for a sleeve and the words for the contact sheet."""

from __future__ import annotations

from monitor.prepare.archive.negatives import FrameNote, Negative
from monitor.prepare.paper.sleeve import sleeve_html, sleeve_text

FILM = Negative(
    "2026-001", "2026-11-26", "pan 125", "developer A 1+31", "11:37, 98.9 % +/- 5.5 of the wanted development", "261126-2010a", 100.0,
    "churchyard", (FrameNote("12A", aperture="f/22", filter_factor=2.0, bellows_factor=1.96, exposed_s=108.2, words="door"),),
)  # fmt: skip


def test_the_number_comes_first_and_each_frame_has_its_line() -> None:
    """What a person looks for in a box of sleeves."""
    assert sleeve_text(FILM) == [
        "2026-001  2026-11-26  pan 125, index 100",
        "developer A 1+31, 11:37, 98.9 % +/- 5.5 of the wanted development",
        "session 261126-2010a",
        "churchyard",
        "12A: 1:48, f/22, filter 2x, bellows 2x, door",
    ]


def test_the_page_has_the_same_words_and_needs_nothing_else() -> None:
    """Self-contained; words are text and never HTML."""
    page = sleeve_html(FILM)
    for line in sleeve_text(FILM)[1:]:
        assert line in page
    assert "width: 190mm" in page
    assert "http" not in page
    assert "<script>" not in sleeve_html(Negative("1", "2026-11-26", "<script>alert(1)</script>"))
    assert "No notes." in sleeve_html(Negative("1", "2026-11-26", "pan"))
