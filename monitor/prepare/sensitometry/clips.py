"""Two small tests on film that matters: a clip from the roll, and pieces of leader at bracketed times.

Steps in words, and the arithmetic of their results. Common practice, no source. Pure. Tests: tests/prepare/sensitometry/test_clips.py.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from monitor.core.errors import InputWrong
from monitor.core.text.quantities import format_duration, format_number
from monitor.prepare.sensitometry.growth import Growth

BRACKET = (0.6, 0.8, 1.0, 1.3, 1.7)
"""Times of the pieces of leader, as factors of the fresh one."""
WORN_OUT = 2.0
"""From twice the fresh time on a developer counts as dead."""
CLIP_FACTORS = (0.6, 1.6)
"""A clip asks for no more than this in one step: beyond it, cut a second clip."""

CLIP_STEPS = (
    "In the dark, cut a piece from the end of the roll: three or four pictures that you can spare, and keep the rest in its can.",
    "Note which pictures they were. Develop the clip exactly as you mean to develop the roll: same tank, volume, temperature, movement.",
    "Fix, wash, dry it, and look at it beside a negative that prints well, or read a density on the grey card and on clear film.",
    "Thin everywhere: develop the rest longer. Dense highlights: shorter. Thin shadows alone: no time helps, that was the exposure.",
    "Change the time by one step only, and write down both.",
)
LEADER_STEPS = (
    "Once, with fresh developer at working temperature: dip a piece of leader in daylight, and take it out when it is grey, not yet black."
    " Fix, wash, dry and keep it, with its time on it: that is the reference.",
    "Today: five pieces of leader of the same film, in the same light, for the bracketed times. Fix and wash them.",
    "Lay them beside the reference. The piece with the same grey tells how much slower the developer has become.",
)


@dataclass(frozen=True, slots=True)
class ClipResult:
    """`time_s`: for the rest of the roll; `factor`: of the clip's time; `limited`: a second clip should be cut."""

    time_s: float
    factor: float
    limited: bool


def clip_time(growth: Growth, clip_s: float, clip_gradient: float, wanted_gradient: float) -> ClipResult:
    """The time for the rest: where the person's own growth law says that the wanted contrast is, scaled to what the clip really gave.

    The clip's developer may be faster or slower than the tests': the time at which the law has the clip's contrast, against the clip's own,
    is that speed. Raises `InputWrong`.
    """
    if clip_s <= 0 or clip_gradient <= 0 or wanted_gradient <= 0:
        raise InputWrong("a clip without a time or a contrast above zero; allowed: both, and the contrast that is wanted")
    seen, wanted = growth.time_s(clip_gradient), growth.time_s(wanted_gradient)
    if seen is None or wanted is None:
        raise InputWrong(f"a contrast beyond {growth.end:.2f}, where your films end; allowed: less than that")
    factor = wanted / seen
    held = min(max(factor, CLIP_FACTORS[0]), CLIP_FACTORS[1])
    return ClipResult(clip_s * held, held, held != factor)


def bracket_times(fresh_s: float) -> list[float]:
    """Seconds for the five pieces of leader. Raises `InputWrong`."""
    if fresh_s <= 0:
        raise InputWrong("a reference of zero seconds; allowed: the time of the reference piece")
    return [fresh_s * factor for factor in BRACKET]


def bracket_lines(fresh_s: float, match_s: float | None) -> Iterator[str]:
    """The bracket, or what the piece that matched says. Raises `InputWrong`."""
    times = ", ".join(format_duration(round(t)) for t in bracket_times(fresh_s))
    if match_s is None:
        yield from (f"{number}. {step}" for number, step in enumerate(LEADER_STEPS, 1))
        yield f"For a reference of {format_duration(fresh_s)} the five times are {times}."
        return
    if match_s <= 0:
        raise InputWrong("a match of zero seconds; allowed: the time of the piece with the reference's grey")
    ratio = match_s / fresh_s
    if ratio >= WORN_OUT:
        yield f"It takes {format_number(ratio, 2)} times as long as fresh developer: it is worn out. Mix fresh; no factor helps."
    elif abs(ratio - 1.0) < 0.1:
        yield "As fast as fresh developer, as near as a grey can be told (10 %): leave the time as it is."
    else:
        word = "slower" if ratio > 1 else "faster: is it warmer, or stronger than it should be?"
        yield f"It takes {format_number(ratio, 2)} times as long as fresh developer{', so it is ' + word if ratio < 1 else ''}."
        yield (
            f"As a first guess use factor = {format_number(ratio, 2)} in the recipe, and test a clip: a worn developer loses"
            " contrast as well as speed."
        )
