"""The timeline as a picture and the page for the wall: what is drawn where, and that nothing from outside gets in."""

from __future__ import annotations

import re
from xml.etree import ElementTree

from monitor.prepare.evening.picture import LEFT_PX, WIDE_PX, page, picture, picture_alone
from monitor.prepare.evening.planned import Planned, planned
from monitor.prepare.evening.supplies import supplies
from tests.prepare.evening.samples import evening_of, film
from tests.prepare.evening.test_planned import TODAY

TWO = film(vessel="left") + film(vessel="right", start="+4:00")
NAMED = TWO.replace('vessel = "left"', 'vessel = "left"\nwhat = "<b>one</b> & two"')


def plan_of(films: str = TWO) -> Planned:
    """A plan without a ledger."""
    return planned(evening_of(films), {}, TODAY)


def boxes(svg: str) -> list[tuple[float, float, float]]:
    """Left, top and width of each bath's frame."""
    found = re.findall(r'<rect class="box" x="([^"]+)" y="([^"]+)" width="([^"]+)"', svg)
    return [(float(x), float(y), float(wide)) for x, y, wide in found]


def test_every_bath_has_its_box_in_the_lane_of_its_vessel_on_the_axis_of_time() -> None:
    """As long as it lasts, where it begins."""
    plan = plan_of()
    px_a_second = (WIDE_PX - 16.0 - LEFT_PX) / plan.end_s
    found = boxes(picture(plan))
    wanted = [(f.film.number, at.begin_s, at.end_s) for f in plan.films for at in f.stages]
    assert len(found) == len(wanted) == 6
    for (x, _, wide), (_, begin_s, end_s) in zip(found, wanted, strict=True):
        assert abs(x - LEFT_PX - begin_s * px_a_second) < 0.1
        assert abs(wide - (end_s - begin_s) * px_a_second) < 0.2
    assert len({y for _, y, _ in found[:3]}) == 1
    assert found[3][1] > found[0][1]


def test_a_ring_is_filled_where_the_clash_is_there_as_planned() -> None:
    """Open where only drift would make it; none where there is no clash."""
    met = plan_of(film(vessel="left") + film(vessel="right", start="+0:20"))
    drawn = picture(met)
    moments = {max(c.first.t_s, c.second.t_s): False for c in met.clashes} | {
        max(c.first.t_s, c.second.t_s): True for c in met.clashes if c.overlap_s > 0
    }
    assert drawn.count('<circle class="full"') == sum(moments.values()) > 0
    assert drawn.count('<circle class="open"') == len(moments) - sum(moments.values()) > 0
    assert "filled as planned" in drawn
    assert "<circle" not in picture(plan_of(film()))


def test_what_a_film_is_called_is_text_and_never_markup() -> None:
    """In the picture, in its words, on the page."""
    plan = plan_of(NAMED)
    svg, html = picture_alone(plan), page(plan, supplies(plan))
    ElementTree.fromstring(svg)
    for made in (svg, html):
        assert "<b>one" not in made
    assert "&lt;b&gt;one&lt;/b&gt; &amp; two" in html
    assert "<script" not in html
    assert "http" not in html


def test_the_page_has_the_picture_in_place_of_the_timeline_and_everything_else() -> None:
    """Films, hands, what to mix, cautions."""
    plan = plan_of()
    html = page(plan, supplies(plan))
    assert "one column is" not in html
    for words in ("Films\n", "Hands, turning left out", "To mix, in this order", "Cautions", "<svg", "<h1>Sunday</h1>"):
        assert words in html
