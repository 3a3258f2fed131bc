"""How good one reading is, beyond what the bus itself could tell. Pure: samples go in, a quality comes out.

Decides `implausible` (outside what any bath of this trade has), `stale` (it arrived long after its conversion) and `stuck`
(the same raw value for five minutes while another probe moved). Whether a probe is believed is the estimator's decision. The
numbers are start values of this project's practice, no source. Tests: tests/core/probes/test_classify.py.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from monitor.core.probes.readings import PLAUSIBLE_C, Quality, Role

STALE_S = 5.0
"""A reading that arrives later than this after the middle of its conversion is too old to be used."""
UNCHANGED_S = 300.0
OTHER_MOVED_C = 0.3
"""A raw value that stays for longer than `UNCHANGED_S`, while another probe moves by more than `OTHER_MOVED_C`, is stuck."""
LIQUID_ROLES: frozenset[Role] = frozenset({"developer", "witness", "bath"})
"""Only these are compared with each other: a room or a wash may well change while a bath does not, and the other way round."""


@dataclass(slots=True)
class _Course:
    """One probe: its newest raw value, since when it has not changed, and the lowest and highest of each other probe meanwhile."""

    raw_c: float
    since_s: float
    others: dict[str, tuple[float, float]] = field(default_factory=dict)


class Classifier:
    """Remembers each probe's newest raw value. `roles`: the role of each probe by name."""

    def __init__(self, roles: Mapping[str, Role]) -> None:
        self._roles = dict(roles)
        self._courses: dict[str, _Course] = {}

    def classify(self, probe: str, t_s: float, raw_c: float | None, fault: Quality | None, arrived_s: float) -> Quality:
        """The quality of one sample. `t_s`: middle of its conversion, `arrived_s`: when it was over, both on one clock, seconds.

        `fault`: what the bus found wrong, None if nothing; then `raw_c` is a number.
        """
        if fault is not None and fault != "good":
            return fault
        if raw_c is None:
            return "missing"
        if not PLAUSIBLE_C[0] <= raw_c <= PLAUSIBLE_C[1]:
            return "implausible"
        if arrived_s - t_s > STALE_S:
            return "stale"
        return "stuck" if self._stuck(probe, t_s, raw_c) else "good"

    def _stuck(self, probe: str, t_s: float, raw_c: float) -> bool:
        if self._roles[probe] not in LIQUID_ROLES:
            return False
        course = self._courses.get(probe)
        if course is None or course.raw_c != raw_c:
            course = self._courses[probe] = _Course(raw_c, t_s)
            course.others = {name: (other.raw_c, other.raw_c) for name, other in self._courses.items() if name != probe}
        for name, other in self._courses.items():
            if name != probe:
                low_c, high_c = other.others.get(probe, (raw_c, raw_c))
                other.others[probe] = (min(low_c, raw_c), max(high_c, raw_c))
        moved = any(high_c - low_c > OTHER_MOVED_C for low_c, high_c in course.others.values())
        return moved and t_s - course.since_s > UNCHANGED_S
