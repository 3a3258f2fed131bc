"""Sheets going into the developer one after another, from the foot alone: which tap was whose.

The k-th tap is the k-th sheet's. Where a tap is missing, a begin is put at the interval meanwhile; it is provisional, and once entry is
over the taps that there are are laid on the interval where they fit best. With every tap each begin is exact; with one tap missing
and hands within 3 s of the interval every begin is within 3 s. Contract, section 5. Pure arithmetic; tests:
tests/core/session/test_entry.py.
"""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class Begin:
    """When one sheet went in, in session seconds, and whether a tap said so."""

    begin_s: float
    told: bool


@dataclass(slots=True)
class Entry:
    """`count` sheets, `interval_s` apart. `origin_s`: from where the interval counts, the planned end of the stage before or the press
    that began. `first_told`: the first tap is surely the first sheet's."""

    count: int
    interval_s: float
    origin_s: float
    first_told: bool
    taps_s: list[float] = field(default_factory=list)

    def put_s(self, sheet: int) -> float:
        """Where the begin of this sheet (from 1 on) stands for now."""
        told = len(self.taps_s)
        if sheet <= told:
            return self.taps_s[sheet - 1]
        if not told:
            return self.origin_s + (sheet - 1) * self.interval_s
        return self.taps_s[-1] + (sheet - told) * self.interval_s

    @property
    def over_s(self) -> float:
        """When no further tap is expected: at the last, or one interval after the last expected one."""
        return self.put_s(self.count) + (0.0 if len(self.taps_s) >= self.count else self.interval_s)

    def fitted(self) -> list[Begin]:
        """The begin of each sheet, all taps laid on the interval where they fit best: least squares, in their order.

        A sheet without a tap went in at the interval; where its neighbours were tapped so that this would change the order, evenly
        between them.
        """
        grid = [self.origin_s + k * self.interval_s for k in range(self.count)]
        places = self._best_places(grid)
        tapped = dict(zip(places, self.taps_s, strict=True))
        return [Begin(tapped[k], True) if k in tapped else Begin(self._between(k, grid, tapped), False) for k in range(self.count)]

    def _best_places(self, grid: list[float]) -> list[int]:
        """For each tap the sheet (from 0 on) whose tap it most likely was."""
        taps = self.taps_s
        cost: dict[tuple[int, int], tuple[float, int]] = {}  # best sum with tap i on place k, and the place of the tap before
        for i, tap_s in enumerate(taps):
            for k in range(i, self.count - (len(taps) - 1 - i)):
                if i == 0 and self.first_told and k > 0:
                    continue
                before = min(((cost[i - 1, j][0], j) for j in range(k) if (i - 1, j) in cost), default=None) if i else (0.0, -1)
                if before is not None:
                    cost[i, k] = before[0] + (tap_s - grid[k]) ** 2, before[1]
        places: list[int] = []
        place = min((k for i, k in cost if i == len(taps) - 1), key=lambda k: cost[len(taps) - 1, k][0], default=-1)
        for i in range(len(taps) - 1, -1, -1):
            places.append(place)
            place = cost[i, place][1]
        return places[::-1]

    def _between(self, sheet: int, grid: list[float], tapped: dict[int, float]) -> float:
        before = max((k for k in tapped if k < sheet), default=None)
        after = min((k for k in tapped if k > sheet), default=None)
        low_s = tapped[before] if before is not None else None
        high_s = tapped[after] if after is not None else None
        if (low_s is None or grid[sheet] > low_s) and (high_s is None or grid[sheet] < high_s):
            return grid[sheet]
        if before is not None and after is not None:
            assert low_s is not None
            assert high_s is not None
            return low_s + (high_s - low_s) * (sheet - before) / (after - before)
        if before is not None:
            return tapped[before] + (sheet - before) * self.interval_s
        assert after is not None
        return tapped[after] - (after - sheet) * self.interval_s
