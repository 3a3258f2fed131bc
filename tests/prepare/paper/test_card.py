"""The card for the wall: what it says, and black on white. Printed: test_printed.py."""

from __future__ import annotations

import re
from dataclasses import replace

from monitor.core.recipe.reader import load_recipe
from monitor.core.recipe.values import Recipe
from monitor.core.session.presses import FOOT_IN_BRIEF
from monitor.core.session.sounds import SIGNALS
from monitor.core.text import degrees
from monitor.prepare.paper.card import Big, card_html, readable
from monitor.prepare.paper.page_fit import lines_of
from monitor.prepare.recipes.new_recipe import Blank, blanks, fill_in, questions
from tests.core.recipe.samples import ROLL, TRAY, changed
from tests.prepare.bottles.test_booking import DILUTED

MINE = {"name": "Cold laundry", "time": "11:00", "pairs": "18 C=13:20, 24 C=7:30", "dilution": "1+31", "second_time": "5:00",
        "first_time": "5:00", "soak": "1:30"}  # fmt: skip


def from_blank(blank: Blank) -> Recipe:
    """A recipe from a blank, with its usual answers."""
    answers = {asked.key: asked.usual if asked.usual is not None else MINE[asked.key] for asked in questions(blank)}
    return fill_in(blank, answers, f"{blank.key}.toml")[1]


def crowded() -> Recipe:
    """More than anybody needs: fourteen stages with long names, twelve sheets with their own factors, a wide chart."""
    stage = (
        '\n[[stage]]\nname = "a wash with a rather long name, number {n}"\nrole = "wash"\ntime = "5:00"\n'
        'agitation = [{{ from = "0:00", for = "0:30" }}, {{ every = "0:45", for = "0:10" }}]\n'
        'jug = {n}\nsolution = "plain water number {n}"\n'
    )
    text = TRAY.partition("[sheets]")[0] + "".join(stage.format(n=n) for n in range(5, 15))
    text += f'\n[sheets]\ncount = 12\ninterval = "0:12"\nfactors = {[1.0] * 11 + [1.3]}\n'
    text = text.replace('"Six sheets"', '"A name that goes on and on, as people do who want to remember which evening this was"')
    moving = 'agitation = "continuous"\n'
    return load_recipe(text.replace(moving, moving + 'valid = ["10 C", "30 C"]\n', 1).encode(), "r.toml")


def test_the_card_says_what_the_hands_need() -> None:
    """Jugs, the time at each temperature, movement, when to pour, the fixing minimum, what may wait, and the second clock."""
    page = card_html(load_recipe(DILUTED.encode(), "r.toml"))
    text = re.sub(r"<[^>]+>", " ", page)
    for words in (
        "Start the second clock with the first pour.", "1+31", "16 ml stock + 496 ml water", "first 0:30, then 0:10 each minute",
        "pour at 9:45",
        "5:00", "at least", "NEVER", "up to about 12:00", "smoke or gas alarm", "Emergency number", "data sheet",
        "12:10", "6:45", "8:12", "no movement in the last 0:30",
    ):  # fmt: skip
        assert words in text, words


def blank_card(key: str) -> str:
    """The words of the card of one blank."""
    return re.sub(r"<[^>]+>", " ", card_html(from_blank(next(blank for blank in blanks() if blank.key == key))))


def test_the_lid_of_a_reversal_comes_off_for_its_light() -> None:
    """Lidded until fixed there would be no positive: between bleach and second developer comes light."""
    card = blank_card("bw-reversal")
    assert "lid on until stage 7 (wash, lid off, and light)." in card
    assert "until fixed" not in card
    assert "lid on until fixed." in blank_card("roll")
    assert "lid on until fixed." in blank_card("reversal-three-step")


def test_a_bleach_between_developers_says_that_light_comes_before_the_second() -> None:
    """Where no stage is named after the light. A bleach after the fix has nothing to do with the lid."""
    light = 'name = "wash, lid off, and light" => name = "wash"'
    blank = next(blank for blank in blanks() if blank.key == "bw-reversal")
    off = from_blank(replace(blank, text=changed(blank.text, light))).lid_off_at
    assert off is not None
    assert off.name == "second developer"
    assert load_recipe(ROLL.encode(), "r.toml").lid_off_at is None


def test_the_second_clock_starts_as_the_first_goes_in() -> None:
    """Nothing is poured in a tray or an open tank."""
    assert "Start the second clock as the first sheet goes in." in blank_card("sheets")
    assert "Start the second clock as the paper goes in." in blank_card("print")
    assert "Power gone: go on by the second clock." in blank_card("roll")
    assert "Power gone: stay in the dark, go on by the second clock." in blank_card("sheets")


def test_the_chart_has_degrees_down_and_halves_across() -> None:
    """From 18 to 24 C; the reference is framed, and a temperature outside the data has no time."""
    page = card_html(load_recipe(DILUTED.encode(), "r.toml"))
    rows = re.findall(r'<tr><th scope="row">(\d+) C</th><td( class="reference")?>([0-9:]*)</td><td>([0-9:]*)</td></tr>', page)
    assert [row[0] for row in rows] == ["18", "19", "20", "21", "22", "23", "24"]
    assert [row[2] for row in rows if row[1]] == ["10:00"]
    assert rows[-1][3] == ""


def test_the_card_is_in_the_unit_that_the_person_chose() -> None:
    """Every second degree down, the next one across, the reference framed; no Celsius is left over."""
    degrees.show_in("F")
    try:
        page = card_html(load_recipe(DILUTED.encode(), "r.toml"))
    finally:
        degrees.show_in(None)
    rows = re.findall(r'<tr><th scope="row">(\d+) F</th><td( class="reference")?>([0-9:]*)</td><td>([0-9:]*)</td></tr>', page)
    assert [row[0] for row in rows] == ["64", "66", "68", "70", "72", "74"]
    assert [row[2] for row in rows if row[1]] == ["10:00"]
    assert rows[0][2] == "", "64 F lies outside the data"
    assert not re.search(r"\d C\b", re.sub(r"(?s)<style>.*</style>", "", page))


def test_nothing_on_the_card_contradicts_itself() -> None:
    """No rest before pouring off where the film is moved all the time; nothing "at least" that may not be longer."""
    rinse = '\n[[stage]]\nname = "wetting"\nrole = "rinse"\ntime = "0:30"\n'
    page = card_html(load_recipe((ROLL + rinse).encode(), "r.toml"))
    for row in re.findall(r"<tr.*?</tr>", page):
        assert not ("all the time" in row and "no movement" in row), row
        assert not ("at least" in row and "no longer than" in row), row
    assert "no movement in the last" in page
    tray = card_html(load_recipe(TRAY.encode(), "r.toml"))
    assert "all the time" in tray
    assert "no movement" not in tray, "nothing in it is moved now and then in a timed stage"


def test_a_very_wide_chart_is_thinned_to_some_rows_and_keeps_its_reference() -> None:
    """From 6 to 45 C every third degree, and 20 C although it is none of these; both ends stay."""
    page = card_html(load_recipe(changed(TRAY, 'agitation = "c => valid = ["6 C", "45 C"]\nagitation = "c').encode(), "r.toml"))
    rows = re.findall(r'<tr><th scope="row">(\d+) C</th>', page)
    assert 10 < len(rows) <= 15
    assert "20" in rows
    assert (rows[0], rows[-1]) == ("6", "45")


def test_sheets_have_their_way_out_each() -> None:
    """Six sheets, ten seconds apart, eight minutes each."""
    text = re.sub(r"<[^>]+>", " ", card_html(load_recipe(TRAY.encode(), "r.toml")))
    assert all(f"{n + 1}: in 0:{n}0" in text for n in range(6))
    assert all(out in text for out in ("8:00", "8:10", "8:50"))
    assert "lift each 0:05 before its time" in text


def test_the_card_teaches_the_sounds_that_this_recipe_can_make() -> None:
    """In the words of the one table; the sheets' calls only where there are sheets, tens only where a stage lasts 20 minutes."""
    roll, tray = (re.sub(r"<[^>]+>", "", card_html(load_recipe(text.encode(), "r.toml"))) for text in (ROLL, TRAY))
    for signal in SIGNALS:
        words = f"{signal.name.upper()} {signal.heard}: {signal.do}."
        assert (words in roll) == (signal.name not in ("double-tick", "sheet", "answer-tens", "click")), signal.name
        assert (words in tray) == (signal.name not in ("answer-tens", "click")), signal.name
    assert FOOT_IN_BRIEF in roll
    long = changed(ROLL, 'time = "5:00" => time = "20:00"', 'at_most = "12:00" => at_most = "30:00"')
    assert "ANSWER-TENS" in card_html(load_recipe(long.encode(), "r.toml"))


def test_a_recipes_words_cannot_become_markup() -> None:
    """A name with angle brackets and a quote."""
    page = card_html(load_recipe(changed(ROLL, '"Roll film, cold laundry" => "<script>alert(1)</script> & co"').encode(), "r.toml"))
    assert "<script" not in page
    assert "&lt;script&gt;" in page


def test_the_page_stands_alone() -> None:
    """No script, no picture, no address, no colour but black and white."""
    for blank in blanks():
        page = card_html(from_blank(blank))
        assert not re.search(r"<script|<img|<link|https?:|url\(|@import|src=", page)
        assert set(re.findall(r"#[0-9a-f]{3,6}\b", page)) <= {"#000", "#fff"}


def test_lines_are_counted_as_a_browser_breaks_them() -> None:
    """Between words; a word longer than the line is broken."""
    assert lines_of("one", 10.0) == 1
    assert lines_of("one two three four", 4.5) == 2
    assert lines_of("x" * 30, 5.0) == 3
    assert lines_of("", 5.0) == 1


def test_a_print_has_its_longest_time_and_the_tap_at_its_first_trace() -> None:
    """The time on the card is no plan there, and there is no chart of times."""
    page = card_html(from_blank(next(blank for blank in blanks() if blank.key == "print")))
    assert "at most; tap at the first trace" in page
    assert "lift at 6 x the first trace" in page
    assert "time at one steady temperature" not in page
    assert "your tested safelight alone" in page


def test_times_get_smaller_only_where_that_makes_the_other_type_readable() -> None:
    """Where no size does, they stay as large as they can be while the other type is nearly at its best."""
    large, middle, small = Big(27, 16), Big(18, 12), Big(9, 7)
    assert readable([(large, [], 8.5), (middle, [], 8.9), (small, [], 9.0)])[0] is small
    assert readable([(large, [], 8.5), (middle, [], 8.9), (small, [], 8.2)])[0] is large
    assert readable([(large, [], 5.0), (middle, [], 7.4), (small, [], 8.2)])[0] is middle
