"""The curves as a picture."""

from __future__ import annotations

import xml.etree.ElementTree as ET

from monitor.core.drawing.strips import alone
from monitor.prepare.sensitometry.picture import curves_picture
from monitor.prepare.sensitometry.wedge import typed


def test_each_film_is_a_line_of_its_own_dashes_with_its_name_and_a_mark_at_the_speed_point() -> None:
    """Well-formed, told in words, nothing hangs on colour."""
    curves = [typed(f"{m}:00", f"0.3 0.32 0.4 {0.5 + m / 50} {0.7 + m / 25} {0.9 + m / 15}", 0.3, 0.3) for m in (7, 10)]
    root = ET.fromstring(alone(curves_picture(curves)))
    space = "{http://www.w3.org/2000/svg}"
    words = [t.text for t in root.iter(f"{space}text")]
    assert {"7:00", "10:00", "density"} <= set(words)
    assert len(list(root.iter(f"{space}circle"))) == 2
    dashes = [p.get("stroke-dasharray") for p in root.iter(f"{space}path") if p.get("class") == "thin"]
    assert len(dashes) == len(set(dashes)) == 2
    assert "2 curves" in str(root.get("aria-label"))


def test_names_do_not_stand_on_each_other() -> None:
    """Films that end at one density."""
    curves = [typed(name, "0.3 0.4 0.6 0.9", 0.3, 0.3) for name in ("a", "b", "c")]
    root = ET.fromstring(alone(curves_picture(curves)))
    heights = [float(t.get("y", "0")) for t in root.iter("{http://www.w3.org/2000/svg}text") if t.text in ("a", "b", "c")]
    assert min(abs(p - q) for i, p in enumerate(heights) for q in heights[i + 1 :]) >= 15.0
