"""The curves of wedges as one picture, by the strip writer. Tests: tests/prepare/sensitometry/test_picture.py."""

from __future__ import annotations

import math
from collections.abc import Sequence

from monitor.core.drawing.strips import Drawing, Scale, ticks
from monitor.prepare.sensitometry.wedge import SPEED_DENSITY, Curve

WIDTH_PX, HEIGHT_PX, TEXT_PX = 880.0, 460.0, 15.0
LEFT_PX, RIGHT_PX, TOP_PX, BOTTOM_PX = 52.0, 150.0, 28.0, 60.0
DASHES = ("", "7 3", "2 3", "11 4 2 4", "5 3 1 3")
LOG_STEPS, DENSITY_STEPS = (0.3, 0.6, 1.2, 2.4), (0.1, 0.2, 0.5, 1.0)


def curves_picture(curves: Sequence[Curve]) -> str:
    """Density over log H, a line a film with its name at the end; a round mark at each speed point. SVG."""
    low, high = (f(s.log_h for c in curves for s in c.steps) for f in (min, max))
    most = max(s.density for c in curves for s in c.steps)
    d = Drawing(WIDTH_PX, TEXT_PX)
    d.height = HEIGHT_PX
    bottom, right = HEIGHT_PX - BOTTOM_PX, WIDTH_PX - RIGHT_PX
    x, y = Scale(low, high, LEFT_PX, right), Scale(0.0, max(0.5, math.ceil(most * 5.0) / 5.0), bottom, TOP_PX)
    for mark in ticks(low, high, 10, LOG_STEPS):
        d.stroke(x.at(mark), TOP_PX, x.at(mark), bottom, "grid")
        d.text(x.at(mark), bottom + 1.35 * TEXT_PX, f"{mark:.1f}", anchor="middle")
    for mark in ticks(0.0, y.high, 8, DENSITY_STEPS):
        d.stroke(LEFT_PX, y.at(mark), right, y.at(mark), "grid")
        d.text(LEFT_PX - 8.0, y.at(mark) + 0.35 * TEXT_PX, f"{mark:.1f}", anchor="end")
    d.text(LEFT_PX, TOP_PX - 10.0, "density", "d")
    d.text(right, bottom + 2.8 * TEXT_PX, "log H; 0.3 is one stop", "d", "end")
    taken: list[float] = []
    for i, curve in enumerate(curves):
        dash = f'" stroke-dasharray="{DASHES[i % len(DASHES)]}' if DASHES[i % len(DASHES)] else ""
        d.line([(x.at(s.log_h), y.at(s.density)) for s in curve.steps], f"thin{dash}")
        d.stroke(LEFT_PX, y.at(curve.base_fog), x.at(curve.steps[0].log_h) + 30.0, y.at(curve.base_fog), "said")
        speed = curve.speed_point
        if speed is not None:
            d.mark(x.at(speed.value), y.at(curve.base_fog + SPEED_DENSITY), filled=True)
        place = y.at(curve.steps[-1].density)
        while any(abs(place - other) < 1.3 * TEXT_PX for other in taken):
            place += 4.0
        taken.append(place)
        d.text(right + 8.0, place + 0.35 * TEXT_PX, curve.name)
    names = ", ".join(c.name for c in curves)
    return d.svg(f"density over log exposure, {len(curves)} curve{'s' if len(curves) > 1 else ''}: {names}; marks at the speed points")
