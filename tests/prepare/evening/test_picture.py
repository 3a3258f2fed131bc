"""The timeline as a picture: what is drawn where, and that nothing from outside gets in."""

from __future__ import annotations

import re
from xml.etree import ElementTree

from monitor.prepare.evening.picture import LEFT_PX, RIGHT_PX, WIDE_PX, picture, picture_alone
from monitor.prepare.evening.planned import Planned, planned
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
    px_a_second = (WIDE_PX - RIGHT_PX - LEFT_PX) / plan.end_s
    found = boxes(picture(plan)[0])
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
    drawn = picture(met)[0]
    moments = {max(c.first.t_s, c.second.t_s): False for c in met.clashes} | {
        max(c.first.t_s, c.second.t_s): True for c in met.clashes if c.overlap_s > 0
    }
    assert drawn.count('<circle class="full"') == sum(moments.values()) > 0
    assert drawn.count('<circle class="open"') == len(moments) - sum(moments.values()) > 0
    assert "filled as planned" in drawn
    assert "<circle" not in picture(plan_of(film()))[0]


def test_what_a_film_is_called_is_text_and_never_markup() -> None:
    """In the picture, and in its words."""
    svg = picture_alone(plan_of(NAMED))
    ElementTree.fromstring(svg)
    assert "<b>one" not in svg
