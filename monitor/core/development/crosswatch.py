"""Do the developer's probe and the bath's agree, by the lag that the vessel was learned to have? Which of them is wrong, if not?

A liquid in a vessel follows its bath: dT/dt = (bath - T) / lag. Readings that leave this course may mean a liquid that something was
stirred into (it goes back towards the bath with the lag), a lag that is false (another one fits), a sensor that drifts, a probe that
hangs half in air (it stays off), or a bath's probe that no longer reads its bath (the developer does not follow it). For each the
unknown sizes enter straight, so likelihoods follow (`likelihood`).
Tests: tests/core/development/test_crosswatch.py, figures: tests/benchmarks/bench_doubt.py.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal

from monitor.core.development.beliefs import ProbeModel, Vessel
from monitor.core.development.likelihood import Sums, sum_log
from monitor.core.development.probe_trust import Verdict
from monitor.core.development.replay import Replay
from monitor.core.probes.readings import EXCHANGED, NOT_ITS_BATH

Cause = Literal["drift", "offset", "lag"]
Added = tuple[list[float], float]
"""A column and the standard deviation of its unknown."""

START_SD_C = 0.5
LEAK_C_PER_S, LEAK_SD_C_PER_S = 0.03 / 60.0, 0.04 / 60.0
"""What hands and the room's air add all the time: mean and standard deviation (the project's practice: 0.1 C for 10 to 15 s of handling,
a few times a minute). Hands warm; a cold room takes less than a tenth of what it would take from a tank on the bench, 0.02 C a minute."""
DRIFT_SD_C_PER_S = 0.3 / 60.0
OFFSET_SD_C = 1.0
STIRRED_SD_C = 1.0
"""Standard deviations of a sensor's drift, of a probe half in air, and of water stirred in (this project's own choice)."""
QUICKER_SD_C = 0.3
"""How quickly it comes, a little before or after that moment: standard deviation of what that makes (this project's own choice)."""
FALSE_LAGS = (0.3, 0.45, 0.65, 0.8, 1.25, 1.6, 2.2, 3.3)
"""Lags that are tried against the one that was learned, as multiples of it."""
FALSE_LOG_SD = 0.5
"""Of the logarithm of such a multiple. A lag grows with the thickness of what is in the vessel, about as the cube root of its volume, and
with calmer water: half or double is easily got by both, three times hardly (this project's own choice)."""
GOES_ON_SD_C_PER_S, BEFORE_S, FEWEST_BEFORE = 0.0015, 60.0, 3
"""How a bath goes on that its own probe no longer reads: standard deviation of its slope about that of the minute before, or of the last
three pairs where they are farther apart (this project's own choice)."""
BATH_NEAR_C, BATH_NEAR_S = 0.3, 30.0
"""A bath's probe that is told to be wrong is farther than this from where its bath must be, and is believed again after so long within it,
give or take what a bath does meanwhile (as for the developer's; the project's practice, section 6)."""
PRIOR_LOG = {"drift": math.log(0.01), "offset": math.log(0.01), "lag": math.log(0.03), "stirred": math.log(0.1), "bath": math.log(0.01)}
"""How likely each is to happen in one window, beside nothing at all (this project's own choice)."""
EXCHANGED_LOG = math.log(0.003)
"""How likely somebody has exchanged the two (this project's own choice)."""
BATH_SDS = (0.5, 0.005, 2e-6)
"""Standard deviations of what a bath does by itself: level C, slope C/s, and half its bend C/s^2 (0.3 C a minute with 20 minutes)."""
MISFIT_SD_C = 0.02
"""Standard deviation by which no vessel has quite one lag (this project's own choice)."""
WATCH_BATH_S = 10.0
WATCHED_S = 240.0
PAIR_S = 4.0
MOST_OLDER = 40
"""Every 10 s the last four minutes are weighed, in means over 4 s; and what was before, in means over 12 s, the last 40 of them."""
COARSE_ONSETS = 3
"""Something may have begun at any of these moments; every third one is tried, then those about the likeliest."""
ALWAYS = 0.9
"""With this probability a probe that is wrong has been off as long as there are pairs. Where it is not sure whether it has been, no
verdict is given yet: what had been counted hangs on it (this project's own choice)."""
SETTLED_LAGS = 5.0
"""So many lags of its probe after the begin, what it says is the developer's (this project's own choice)."""
AT_REST_S, AT_REST_C, AT_REST_SD_C = 6.0, 0.13, 0.3
"""A probe whose first readings, of so long, lie so close together has settled already; to this standard deviation (this project's own
choice)."""
COURSE_SDS = (START_SD_C, LEAK_SD_C_PER_S, AT_REST_SD_C)
"""Standard deviations of what is unknown of every course: its start, what leaks, and what the probe has not settled yet."""
WRONG_AHEAD = 7.0
EXCHANGED_AHEAD = 5.0
LAG_AHEAD = 6.0
LEAST_OFF_C = 0.12
"""The probe is wrong where that is exp(7) times likelier and it is off by this at least, in the other's liquid where that is exp(5) times
likelier; another lag is told where that is exp(6) times likelier than the learned one (tuned on this project's own liquids)."""
APART_C = 1.0
"""No probe is told to drift or to be off as long as an exchange is likelier than that and all else together, and the two are so far apart
that it matters: with the other's liquid for its bath, the vessel's model would be wrong too (this project's own choice)."""
IN_PART = 0.6
"""A probe that is wrong with more than this probability counts in part: the mean is then the mixture's. A tank that a cold room reaches
after all looks a little wrong too (this project's own choice)."""
NEW_LOOK = 0.3
"""Each look counts for so much in the probability that is acted on, so that an end that is forecast does not jump (this project's own
choice)."""
HOPELESS_LOG = -4.0
"""What is less likely than exp(-4) is not doubted."""
FEWEST = 15
"""Fewer pairs of readings tell nothing."""


def _false_logs() -> tuple[tuple[float, float], ...]:
    """Each multiple, and the logarithm of its probability."""
    logs = [-0.5 * (math.log(f) / FALSE_LOG_SD) ** 2 for f in FALSE_LAGS]
    return tuple((f, log - sum_log(logs)) for f, log in zip(FALSE_LAGS, logs, strict=True))


FALSE_LOGS = _false_logs()


@dataclass(frozen=True, slots=True)
class Pair:
    """What developer's probe and bath say at one moment, C, at `t_s`; the bath at the vessel's surface."""

    t_s: float
    developer_c: float
    bath_c: float


@dataclass(frozen=True, slots=True)
class BathGone:
    """The bath's probe no longer reads its bath. `ahead`: natural logarithm of how many times likelier that is than all else together. At
    `since_t_s` the bath had `celsius` and drifted by `slope_c_per_s`; by now its probe is `off_c` away from where that leads."""

    ahead: float
    since_t_s: float
    celsius: float
    slope_c_per_s: float
    off_c: float

    def at(self, t_s: float) -> float:
        """Where the bath is then, if it goes on so, C."""
        return self.celsius + self.slope_c_per_s * (t_s - self.since_t_s)


@dataclass(frozen=True, slots=True)
class Disagreement:
    """`ahead`: natural logarithm of how many times likelier the developer's probe is wrong than the liquid or the lag is; since when, and
    by how much by now. `cause`: the likeliest; for `lag` the one that would fit, and how far the probe is off if it is wrong after all."""

    ahead: float
    cause: Cause
    since_t_s: float
    off_c: float
    lag_s: float
    lag_ahead: float = -math.inf
    """Natural logarithm of how many times likelier another lag is than the one that was learned."""
    exchanged_ahead: float = -math.inf
    """Natural logarithm of how many times likelier each probe is in the other's liquid: than all of this together, or than a bath that
    drifts on as baths do; the lesser of both."""
    off_sd_c: float = 0.0
    """Standard deviation of `off_c`, if the probe is wrong."""
    misfit: float = 0.0
    """What that leaves of the pairs: mean square, in their standard deviations."""
    from_start: float = 0.0
    """The probability that it was off as long as there are pairs, if it is wrong."""
    bath: BathGone | None = None
    """If the bath's own probe is wrong: since when, and where its bath is then."""

    @property
    def since_is_unsure(self) -> bool:
        """Whether it may have been off from the start, or may not."""
        return 1.0 - ALWAYS < self.from_start < ALWAYS


class BathWatch:
    """Asks the bath every few seconds whether the developer's probe is right. An estimator has one.

    `false_lag_s`: the vessel's lag that would have fitted, where the learned one is false. `doubt_c`, `doubted_since_t_s`: as long as
    that cannot be decided, by how much the probe may be off (standard deviation), since when. `moved_c`: by how much more the liquid then
    has than the probe says, on average; 0 unless the probe is wrong with three chances in five. `gone`: the bath's probe, while it is
    found not to read its bath.
    """

    def __init__(self) -> None:
        self._watched_t_s = 0.0
        self._bath_since_t_s = -math.inf
        self._near_since_t_s: float | None = None
        self.exchanged = False
        self.false_lag_s: float | None = None
        self.gone: BathGone | None = None
        self.forget()

    def forget(self) -> None:
        """Another source is followed: nothing is doubted any more."""
        self._nothing_doubted()
        self._wrong, self._swapped = 0.0, 0.0
        self._older: list[Pair] = []
        self._merged_slot = -math.inf

    def _nothing_doubted(self) -> None:
        self.doubt_c, self.moved_c, self.doubted_since_t_s = 0.0, 0.0, math.inf

    def _doubt(self, share: float, off_c: float, since_t_s: float) -> None:
        """With this probability the probe is off by so much: kept where that is more than what is doubted already."""
        doubt_c = math.sqrt(share * (1.0 - share)) * abs(off_c)
        moved_c = -share * off_c if share > IN_PART and abs(off_c) > LEAST_OFF_C else 0.0
        if math.hypot(doubt_c, moved_c) > math.hypot(self.doubt_c, self.moved_c):
            self.doubt_c, self.moved_c, self.doubted_since_t_s = doubt_c, moved_c, since_t_s

    def due(self, t_s: float) -> bool:
        """Whether it is time to ask again."""
        if t_s < self._watched_t_s + WATCH_BATH_S:
            return False
        self._watched_t_s = t_s
        return True

    def look(self, replay: Replay, probe: ProbeModel, bath: ProbeModel, vessel: Vessel) -> Verdict | None:
        """Whether the bath's probe, by the vessel's lag, says that `probe` is wrong, and since when. One that is not followed can only be
        found to hang in the other's liquid. Something must have begun: before that nobody knows where the probe hangs."""
        following = replay.following
        followed = following is not None and following.probe == probe.name
        since_t_s = following.since_t_s if followed and following is not None else replay.first_belief_t_s
        since_t_s = max(since_t_s, self._bath_since_t_s, min(key.begin_t_s for key in replay.keys.values()))
        first_c = [r.celsius for r in replay.readings if r.probe == probe.name and since_t_s <= r.t_s <= since_t_s + AT_REST_S]
        pairs = self._pairs_since(replay, probe, bath, since_t_s if at_rest(first_c) else since_t_s + SETTLED_LAGS * probe.lag_s)
        found = disagreement(pairs, vessel.lag_s, vessel.lag_sd_s, probe.lag_s, replay.moment.reading_variance / PAIR_S)
        self._nothing_doubted()
        if found is None:
            return None
        if found.exchanged_ahead > EXCHANGED_AHEAD and not self.exchanged:
            self.exchanged = True
            self.forget()
            why = f"{EXCHANGED}{bath.name}: this probe is in the bath and that one in the developer; each is now taken for the other"
            return Verdict(False, max(pairs[0].t_s, since_t_s), why, exchanged=True)
        if following is None or not followed:
            return None
        if found.bath is not None and found.bath.ahead > WRONG_AHEAD and abs(found.bath.off_c) > BATH_NEAR_C:
            self.forget()
            self.gone = found.bath
            side = "above" if found.bath.off_c > 0.0 else "below"
            why = f"{NOT_ITS_BATH}it reads {abs(found.bath.off_c):.1f} C {side} its bath"
            return Verdict(False, found.bath.since_t_s, why, of_bath=True)
        if found.lag_ahead > LAG_AHEAD or found.lag_ahead < 0.0:
            self.false_lag_s = found.lag_s if found.cause == "lag" and found.lag_ahead > LAG_AHEAD else None
        apart_c = math.fsum(p.developer_c - p.bath_c for p in pairs) / len(pairs)
        rather = not self.exchanged and found.exchanged_ahead > 0.0 and abs(apart_c) > APART_C
        unsure = found.cause == "lag" or found.ahead < WRONG_AHEAD or abs(found.off_c) < LEAST_OFF_C or found.since_is_unsure
        if unsure or rather:
            self._wrong = after_look(self._wrong, found.ahead)
            self._doubt(self._wrong, found.off_c, found.since_t_s)
            if not self.exchanged:
                self._swapped = after_look(self._swapped, found.exchanged_ahead)
                self._doubt(self._swapped, apart_c, -math.inf)
            return None
        minutes = max(pairs[-1].t_s - found.since_t_s, 1.0) / 60.0
        side = "above" if found.off_c > 0.0 else "below"
        by = f"drifts {found.off_c / minutes:+.1f} C a minute from" if found.cause == "drift" else f"{abs(found.off_c):.1f} C {side}"
        moved = (-found.off_c, found.off_sd_c) if found.from_start >= ALWAYS else (0.0, 0.0)
        began_t_s = max(found.since_t_s, following.since_t_s + AT_REST_S)  # by then it has said where the liquid is
        return Verdict(False, began_t_s, f"{by} what bath and vessel's lag say", barred=True, moved_c=moved)

    def bath_is_back(self, t_s: float, celsius: float) -> Verdict | None:
        """After a reading of the bath's probe, which was found not to read its bath: whether it does again, because it has been where the
        bath must have gone."""
        assert self.gone is not None
        near_c = BATH_NEAR_C + GOES_ON_SD_C_PER_S * (t_s - self.gone.since_t_s)
        if abs(celsius - self.gone.at(t_s)) > near_c:
            self._near_since_t_s = None
            return None
        if self._near_since_t_s is None:
            self._near_since_t_s = t_s
        if t_s - self._near_since_t_s < BATH_NEAR_S:
            return None
        since_t_s = self._bath_since_t_s = self._near_since_t_s
        self.gone = self._near_since_t_s = None
        return Verdict(True, since_t_s, f"for {BATH_NEAR_S:.0f} s where its bath must be")

    def _pairs_since(self, replay: Replay, probe: ProbeModel, bath: ProbeModel, since_t_s: float) -> list[Pair]:
        """All pairs since then; of those older than `WATCHED_S` means of three, the last `MOST_OLDER`."""
        newer = [p for p in _pairs(replay, probe, bath, since_t_s) if p.t_s // PAIR_S > self._merged_slot]
        while len(newer) > 3 and newer[2].t_s < replay.now_t_s - WATCHED_S:
            three, newer = newer[:3], newer[3:]
            self._merged_slot = three[-1].t_s // PAIR_S
            t_s, developer_c, bath_c = (math.fsum(of) / 3.0 for of in zip(*((p.t_s, p.developer_c, p.bath_c) for p in three), strict=True))
            self._older.append(Pair(t_s, developer_c, bath_c))
        del self._older[:-MOST_OLDER]
        return [*self._older, *newer]


def at_rest(first_c: Sequence[float]) -> bool:
    """Whether a probe with these first readings (C, of `AT_REST_S`) had settled."""
    return len(first_c) > 3 and max(first_c) - min(first_c) <= AT_REST_C


def _share(ahead: float) -> float:
    """The probability that belongs to the logarithm of its odds; none below one in fifty."""
    return 0.0 if ahead < HOPELESS_LOG else 1.0 / (1.0 + math.exp(-min(ahead, 50.0)))


def after_look(share: float, ahead: float) -> float:
    """The probability that is acted on, one look later."""
    return share + NEW_LOOK * (_share(ahead) - share)


def _pairs(replay: Replay, probe: ProbeModel, bath: ProbeModel, since_t_s: float) -> list[Pair]:
    """Means over `PAIR_S` of what both say of the same moments, each its lag before it says so."""
    slots: dict[int, tuple[list[float], list[float], list[float]]] = {}
    for r in replay.readings:
        if r.t_s < since_t_s or r.probe not in (probe.name, bath.name):
            continue
        t_s = r.t_s - (probe.lag_s if r.probe == probe.name else bath.lag_s)
        times, developer, surroundings = slots.setdefault(int(t_s // PAIR_S), ([], [], []))
        if r.probe == probe.name:
            times.append(t_s)
            developer.append(r.celsius)
        else:
            surroundings.append(r.celsius)
    return [
        Pair(math.fsum(times) / len(times), math.fsum(developer) / len(developer), math.fsum(around) / len(around))
        for _, (times, developer, around) in sorted(slots.items())
        if developer and around
    ]


def disagreement(pairs: Sequence[Pair], lag_s: float, lag_sd_s: float, probe_lag_s: float, variance: float) -> Disagreement | None:
    """Weigh the pairs (rising in time). `lag_s`, `lag_sd_s`: as learned for the vessel; `variance`: of one value of the probe, C^2. None
    with too few pairs."""
    if len(pairs) < FEWEST:
        return None
    course = _Course(pairs, variance + MISFIT_SD_C**2, probe_lag_s)
    lags_s = (lag_s, *(max(lag_s + k * lag_sd_s, 0.2 * lag_s) for k in (-1.0, 1.0)))
    told = [course.evidence(lag) for lag in lags_s]
    liquid = [(log - math.log(len(told))) for log in told]
    falses = [(PRIOR_LOG["lag"] + prior + course.evidence(f * lag_s), f * lag_s) for f, prior in FALSE_LOGS]
    liquid += [log for log, _ in falses]
    always = [1.0 - math.exp(-(p.t_s - pairs[0].t_s) / lag_s) for p in pairs]  # then the start was off as well
    log = PRIOR_LOG["offset"] + course.evidence(lag_s, (always, OFFSET_SD_C))
    from_start = _Wrong(log, "offset", pairs[0].t_s, ((always, OFFSET_SD_C),), 1.0)
    last = len(pairs) - FEWEST // 3
    begun = {k: _begun(course, pairs, k, lag_s, probe_lag_s, last) for k in range(0, last, COARSE_ONSETS)}
    likeliest = (max(begun, key=lambda k: begun[k][0]), max(begun, key=lambda k: max(one.log for one in begun[k][1])))
    near = {k + d for k in likeliest for d in (-2, -1, 1, 2)} - begun.keys()
    begun |= {k: _begun(course, pairs, k, lag_s, probe_lag_s, last) for k in sorted(near) if 0 <= k < last}
    liquid += [stirred for stirred, _ in begun.values()]
    wrong = [from_start, *(one for _, both in begun.values() for one in both)]
    even = PRIOR_LOG["bath"] - math.log(last / COARSE_ONSETS)
    gone = {k: even + course.without_bath(k, lag_s) for k in sorted(begun) if k >= FEWEST // 3}
    bath_ahead = sum_log(list(gone.values())) - sum_log([*liquid, *(one.log for one in wrong)])
    liquid += gone.values()
    ahead = sum_log([one.log for one in wrong]) - sum_log(liquid)
    other, bent = _exchanged([Pair(p.t_s, p.bath_c, p.developer_c) for p in pairs], lags_s, variance + MISFIT_SD_C**2, probe_lag_s)
    exchanged_ahead = min(other - sum_log([*liquid, *(one.log for one in wrong)]), bent)
    best_log, best_lag_s = max(falses)
    always_off = math.exp(from_start.log - sum_log([one.log for one in wrong]))
    best = from_start if always_off >= ALWAYS else max(wrong[1:], key=lambda one: one.log)
    bath = course.gone(max(gone, key=lambda k: gone[k]), bath_ahead)
    size, size_sd, misfit = course.size(lag_s, *best.columns)
    off_c, off_sd_c = size * best.by_now, size_sd * best.by_now
    lag_ahead = best_log - max(told)
    if lag_ahead > 0.0 and ahead < 0.0:
        return Disagreement(ahead, "lag", best.since_t_s, off_c, best_lag_s, lag_ahead, exchanged_ahead, off_sd_c, misfit, bath=bath)
    return Disagreement(ahead, best.cause, best.since_t_s, off_c, lag_s, lag_ahead, exchanged_ahead, off_sd_c, misfit, always_off, bath)


def _begun(
    course: _Course, pairs: Sequence[Pair], at: int, lag_s: float, probe_lag_s: float, among: int
) -> tuple[float, tuple[_Wrong, _Wrong]]:
    """What began with one of the pairs, one of so many that it may have begun with: the logarithm of the probability that water was stirred
    in, and a probe that drifts or is off since then."""
    onset_s, even = pairs[at].t_s, -math.log(among / COARSE_ONSETS)
    ages = [max(p.t_s - onset_s, 0.0) for p in pairs]
    seen = [1.0 - math.exp(-age / probe_lag_s) for age in ages]
    stirred = [share * math.exp(-age / lag_s) for share, age in zip(seen, ages, strict=True)]
    quicker = [age / probe_lag_s * math.exp(-age / probe_lag_s) for age in ages]
    quickly = course.untouched(lag_s).and_one_more(quicker)
    was_off = quickly.and_one_more(seen).evidence((*COURSE_SDS, QUICKER_SD_C, OFFSET_SD_C))
    was_stirred = quickly.and_one_more(stirred).evidence((*COURSE_SDS, QUICKER_SD_C, STIRRED_SD_C))
    drift, off = ((ages, DRIFT_SD_C_PER_S),), ((quicker, QUICKER_SD_C), (seen, OFFSET_SD_C))
    both = (
        _Wrong(PRIOR_LOG["drift"] + even + course.evidence(lag_s, *drift), "drift", onset_s, drift, ages[-1]),
        _Wrong(PRIOR_LOG["offset"] + even + was_off, "offset", onset_s, off, seen[-1]),
    )
    return PRIOR_LOG["stirred"] + even + was_stirred, both


def _exchanged(pairs: Sequence[Pair], lags_s: Sequence[float], variance: float, probe_lag_s: float) -> tuple[float, float]:
    """Logarithm of the likelihood of pairs that were exchanged, and by how much that is more than a plain bath's. For a probe in the
    other's liquid the bath's readings follow the developer's, and bend where those step."""
    course = _Course(pairs, variance, probe_lag_s)
    followed = sum_log([course.evidence(lag) for lag in lags_s]) - math.log(len(lags_s))
    ages = [p.t_s - pairs[0].t_s for p in pairs]
    bath = [[1.0] * len(pairs), ages, [age * age for age in ages], course.settles]
    plain = Sums(bath, [p.developer_c - pairs[0].developer_c for p in pairs], variance)
    return followed + EXCHANGED_LOG, followed - plain.evidence((*BATH_SDS, AT_REST_SD_C))


@dataclass(frozen=True, slots=True)
class _Wrong:
    """One way in which the probe is wrong: the logarithm of its probability, since when, the columns that it enters by (that of its size
    last), and how much of its size there is by now."""

    log: float
    cause: Cause
    since_t_s: float
    columns: tuple[Added, ...]
    by_now: float


class _Course:
    """The pairs, and how likely the developer's course is with a lag and what was added to it."""

    def __init__(self, pairs: Sequence[Pair], variance: float, probe_lag_s: float) -> None:
        self._pairs, self._variance = pairs, variance
        self.settles = [math.exp(-(p.t_s - pairs[0].t_s) / probe_lag_s) for p in pairs]
        self._by_lag: dict[float, Sums] = {}
        self._followed: dict[float, tuple[list[float], list[float]]] = {}

    def untouched(self, lag_s: float) -> Sums:
        """With nothing added: what is left of the start and what a leak has added make the readings less what the bath has done."""
        if lag_s not in self._by_lag:
            first = self._pairs[0]
            followed = [first.bath_c]
            for a, b in pairwise(self._pairs):
                h = b.t_s - a.t_s
                slope, e = (b.bath_c - a.bath_c) / h, math.exp(-h / lag_s)
                followed.append(b.bath_c - slope * lag_s + (followed[-1] - a.bath_c + slope * lag_s) * e)
            stays = [math.exp(-(p.t_s - first.t_s) / lag_s) for p in self._pairs]
            begun = first.developer_c - first.bath_c
            leak = [lag_s * (1.0 - s) for s in stays]
            rest = [p.developer_c - f - begun * s - LEAK_C_PER_S * k for p, f, s, k in zip(self._pairs, followed, stays, leak, strict=True)]
            self._followed[lag_s] = followed, rest
            self._by_lag[lag_s] = Sums([stays, leak, self.settles], rest, self._variance)
        return self._by_lag[lag_s]

    def without_bath(self, at: int, lag_s: float) -> float:
        """Logarithm of the likelihood of a developer whose bath goes on straight from one of the pairs, whatever its probe says."""
        sums = self.untouched(lag_s)
        followed, rest = self._followed[lag_s]
        celsius, slope = self._bath_at(at)
        values, ramp = list(rest), [0.0] * len(rest)
        for k in range(at + 1, len(rest)):
            age = self._pairs[k].t_s - self._pairs[at].t_s
            stays = math.exp(-age / lag_s)
            ramp[k] = age - lag_s * (1.0 - stays)
            values[k] += followed[k] - (celsius * (1.0 - stays) + slope * ramp[k] + followed[at] * stays)
        return sums.and_one_more(ramp, values).evidence((*COURSE_SDS, GOES_ON_SD_C_PER_S))

    def _bath_at(self, at: int) -> tuple[float, float]:
        """The bath's temperature and slope at one of the pairs, C and C/s, by the minute before."""
        here = self._pairs[at]
        before = [p for i, p in enumerate(self._pairs[: at + 1]) if p.t_s >= here.t_s - BEFORE_S or i > at - FEWEST_BEFORE]
        mean_s, mean_c = math.fsum(p.t_s for p in before) / len(before), math.fsum(p.bath_c for p in before) / len(before)
        slope = math.fsum((p.t_s - mean_s) * (p.bath_c - mean_c) for p in before) / math.fsum((p.t_s - mean_s) ** 2 for p in before)
        return mean_c + slope * (here.t_s - mean_s), slope

    def gone(self, at: int, ahead: float) -> BathGone:
        """The bath's probe is taken to be wrong since one of the pairs."""
        celsius, slope = self._bath_at(at)
        line = BathGone(ahead, self._pairs[at].t_s, celsius, slope, 0.0)
        return replace(line, off_c=self._pairs[-1].bath_c - line.at(self._pairs[-1].t_s))

    def evidence(self, lag_s: float, *added: Added) -> float:
        """Logarithm of the likelihood with this lag and these columns (each with its standard deviation) added."""
        sums, sds = self._with(lag_s, added)
        return sums.evidence(sds)

    def size(self, lag_s: float, *added: Added) -> tuple[float, float, float]:
        """The likeliest size of the last of these columns, its standard deviation, and the mean square that is left."""
        sums, sds = self._with(lag_s, added)
        return *sums.last(sds), sums.misfit(sds) / len(self._pairs)

    def _with(self, lag_s: float, added: Sequence[Added]) -> tuple[Sums, tuple[float, ...]]:
        sums = self.untouched(lag_s)
        for column, _ in added:
            sums = sums.and_one_more(column)
        return sums, (*COURSE_SDS, *(sd for _, sd in added))
