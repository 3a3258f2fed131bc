"""Several films in two vessels: one sounder, one foot, and each film's development as if it were alone."""

from __future__ import annotations

import random

import pytest

from hardware.simulated.probes import ProbeOptions, SimulatedProbes
from hardware.simulated.trace import load_trace
from monitor.core.development.beliefs import Beliefs, ProbeModel
from monitor.core.session import sounds
from monitor.core.session.session import Options, Session
from monitor.live.rehearsal import Rehearsal
from tests.live.evenings import SAME, Played, Record, evening
from tests.seeds import seeds

DRIFTS = "t_s,developer_c,bath_c,developer_2_c\n0,20.6,20,19.1\n700,18.9,19,20.2\n3600,19,19,19\n"
MOVES = ("stage", "progress", "trust", "correction", "gate", "reading")


def alone(liquids: str, film: int, foot: list[tuple[float, float]] | None, armed_s: float = 0.0) -> list[Record]:
    """One film of the evening in a rehearsal of its own, its vessel's liquid in the first column."""
    text = liquids
    if film == 2:
        rows = ["t_s,developer_c,bath_c", *(",".join((c[0], c[3], c[2])) for c in (row.split(",") for row in liquids.split()[1:]))]
        text = "\n".join(rows)
    trace = load_trace(text.encode())
    records: list[Record] = []
    probes = (ProbeModel("developer", "developer", 8.0), ProbeModel("bath", "bath", 0.0))
    recipe = evening("left").films[0].recipe
    session = Session(recipe, Beliefs(20.0, probes, None, None), Options("rehearsal"))
    roles = {"developer": "developer", "bath": "bath"}
    play = Rehearsal(session, SimulatedProbes(trace, ProbeOptions(noise_c=0.0)), roles, records.append, trace.end_s, foot)  # type: ignore[arg-type]
    play.open({}, armed_s)
    while play.step():
        pass
    return records


def told(records: list[Record]) -> list[Record]:
    """What tells of the film itself, whatever its probe is called and whichever numbers its records have."""
    return [{k: v for k, v in r.items() if k not in ("seq", "probe", "replaces_seq")} for r in records if r["kind"] in MOVES]


@pytest.mark.parametrize("start", ["+0:03", "+1:30", "+3:30", "+4:40"])
def test_each_film_is_developed_as_in_a_session_of_its_own(start: str) -> None:
    """Every reading, progress, moment and end, to the last digit, beside a film that is called at the same times or not."""
    played = Played(evening(f"left, right {start}"), DRIFTS, options=ProbeOptions(noise_c=0.0))
    assert told(played.records["roll 1"]) == told(alone(DRIFTS, 1, None))
    presses = [(r["t_s"], r["t_s"] + (1.0 if r["meaning"] == "begin" else 0.2)) for r in played.of("roll 2", "tap")]
    assert told(played.records["roll 2"]) == told(alone(DRIFTS, 2, presses, played.records["roll 2"][0]["t_s"]))


def spans(played: Played) -> list[tuple[float, float, str, str]]:
    """Every call and answer that sounded, with its end."""
    found = []
    for what in played.records:
        vessel: sounds.Vessel = 1 if played.sessions[what].options.vessel == 1 else 2
        for cue in played.of(what, "cue"):
            if cue["cue"] in ("ready", "now", "fault"):
                pattern = {"ready": sounds.READY, "now": sounds.NOW, "fault": sounds.FAULT}[cue["cue"]]
                end_s = cue["t_s"] + sounds.length_s(sounds.of_vessel(cue["cue"], pattern, vessel))
                found.append((cue["t_s"], end_s, what, cue["cue"]))
    return sorted(found)


@pytest.mark.parametrize("start", ["+0:01", "+0:02", "+0:03", "+0:30", "+0:31", "+3:15", "+4:00", "+4:15"])
def test_two_calls_are_never_mixed_and_no_now_waits_longer_than_2_4_s(start: str) -> None:
    """Each waits until the other's pattern is over, and its lateness is told; READY and NOW fall on each other here in every way."""
    played = Played(evening(f"left, right {start}"))
    heard = spans(played)
    assert all(heard[i][1] <= heard[i + 1][0] + 1e-9 for i in range(len(heard) - 1) if heard[i][2] != heard[i + 1][2])
    late = [r["lateness_s"] for what in played.records for r in played.of(what, "cue") if r.get("lateness_s") is not None]
    assert all(0.0 < lateness_s <= 2.4 for lateness_s in late)
    for what in played.records:
        nows = [r["t_s"] for r in played.of(what, "stage", event="now")]
        first = [min(c["t_s"] for c in played.of(what, "cue", cue="now") if c["t_s"] >= now_s - 1e-6) for now_s in nows]
        assert all(cue_s - now_s <= 2.4 for cue_s, now_s in zip(first, nows, strict=True))


def test_what_had_to_wait_says_so() -> None:
    """Of two NOWs a second apart the second one waits for the first one's end and the silence after it."""
    played = Played(evening("left, right +0:01"), "t_s,developer_c,bath_c,developer_2_c\n0,20,20,20\n", options=ProbeOptions(noise_c=0.0))
    late = [r for r in played.of("roll 2", "cue", cue="now") if r.get("lateness_s")]
    assert late[0]["waited_s"] == pytest.approx(late[0]["lateness_s"])
    assert all("waited_s" not in r for r in played.records["roll 2"] if r["kind"] == "cue" and not r.get("lateness_s"))
    over_s = sounds.length_s(sounds.NOW) + sounds.AGAIN_S
    assert late[0]["lateness_s"] == pytest.approx(over_s - 1.0, abs=0.01)


def test_films_in_a_row_in_one_vessel_are_armed_in_turn() -> None:
    """The next one begins after the gap; each has its own session, on the trace's clock."""
    played = Played(evening("left, left, left", between="3:00"))
    ends = [max(r["t_s"] for r in played.records[what]) for what in played.records]
    assert list(played.records) == ["roll 1", "roll 2", "roll 3"]
    for before_s, what in zip(ends, ("roll 2", "roll 3"), strict=False):
        assert played.begins(what)[0] == pytest.approx(before_s + 180.0, abs=1.0)
        assert played.records[what][0]["t_s"] == pytest.approx(before_s + 60.0, abs=1.0)
    assert all(session.closed for session in played.sessions.values())


def test_a_begin_of_the_film_before_starts_the_next_one_s_clock() -> None:
    """`start` counts from there, in whichever vessel."""
    played = Played(evening("left, right +1:30"))
    assert played.begins("roll 2")[0] == pytest.approx(90.0)


def test_a_film_that_never_began_keeps_no_other_one_waiting() -> None:
    """Its begin is given up; what was to count from it counts from there, and the evening comes to its end."""
    films = evening("left, right +1:30")
    played = Played(films, foot=[(5.0, 5.2)])
    assert list(played.records) == ["roll 1", "roll 2"]
    assert all(records[-1]["event"] == "close" for records in played.records.values())
    late = Played(evening("left, left +9:00", develop="2:00"), foot=[(5.0, 5.2)])
    assert list(late.records) == ["roll 1", "roll 2"]
    assert late.records["roll 2"][-1]["event"] == "close"


def test_what_troubles_both_films_is_heard_once() -> None:
    """The shared bath probe dies under two films that have nothing else to follow: one FAULT, in both journals at the same moment."""
    dead = "t_s,developer_c,bath_c,developer_fault,developer_2_c,developer_2_fault\n0,20,20,,20,\n100,20,20,missing,20,missing\n"
    played = Played(evening("left, right +0:10"), dead)
    first = [played.of(what, "cue", cue="fault")[0]["t_s"] for what in played.records]
    assert first[0] == first[1]


def test_a_clash_that_drift_has_made_is_told_three_minutes_before_with_which_goes_first() -> None:
    """To both films, once."""
    played = Played(evening("left, right +0:40", develop="6:00"), SAME)
    told_1 = next(r for r in played.of("roll 1", "clash") if r["why"].startswith("develop before stop"))
    assert told_1["first"] == "right"
    assert told_1["why"] == "develop before stop: development does not wait"
    stop = played.of("roll 1", "stage", event="now", stage=2)[0]["t_s"]
    assert stop - told_1["t_s"] == pytest.approx(180.0, abs=2.0)
    for what in played.records:
        clashes = [(r["first"], r["why"]) for r in played.of(what, "clash")]
        assert len(set(clashes)) == len(clashes) == 1


@pytest.mark.parametrize("seed", seeds(2))
def test_no_storm_of_presses_is_lost_counted_twice_or_moves_a_film_that_did_not_wait_for_it(seed: int) -> None:
    """A thousand random presses at two films: each is one tap of one film, and a stage begins only with a press that may begin it."""
    rng = random.Random(f"presses {seed}")
    presses, at_s = [], 1.0
    while at_s < 1500.0:
        held_s = rng.choice((0.05, 0.2, 0.5, 0.8, 0.9, 1.2, 2.0, 3.5))
        presses.append((at_s, at_s + held_s))
        at_s += held_s + rng.choice((0.1, 0.5, 1.0, 4.0))
    played = Played(evening("left, right +0:01, left", develop="3:00"), foot=list(presses), until_s=at_s)
    taps = sorted((r["t_s"], r["meaning"]) for what in played.records for r in played.of(what, "tap"))
    open_until = max(r["t_s"] for records in played.records.values() for r in records)
    downs = [down_s for down_s, up_s in presses if up_s <= open_until]
    assert len({t_s for t_s, _ in taps}) == len(taps)
    assert {t_s for t_s, _ in taps} <= set(downs)
    held = {down_s: up_s - down_s for down_s, up_s in presses}
    for what in played.records:
        meant = {r["t_s"]: r["meaning"] for r in played.of(what, "tap")}
        for begin in played.of(what, "stage", event="begin"):
            if not begin.get("assumed") and begin["t_s"] in held:
                assert meant[begin["t_s"]] in ("begin", "poured", "on time")
                assert begin["stage"] > 1 or held[begin["t_s"]] >= 1.0


@pytest.mark.parametrize(("start", "armed_s"), [("", 0.0), ("+1:00", 0.0), ("+4:00", 120.0)])
def test_the_second_vessel_s_film_is_armed_two_minutes_before_it_is_to_begin(start: str, armed_s: float) -> None:
    """At once where it is to begin within two minutes of the first one."""
    played = Played(evening(f"left, right {start}".strip()))
    assert played.records["roll 2"][0]["t_s"] == pytest.approx(armed_s)


def test_a_hold_that_asks_before_the_second_film_is_armed_is_a_question() -> None:
    """With film 2 due in four minutes a hold of a second at 1:00 is answered, and begins nothing; at 3:00 it begins film 2."""
    played = Played(evening("left, right +4:00"), foot=[(1.0, 2.2), (60.0, 61.2), (180.0, 181.2)])
    assert [(r["t_s"], r["meaning"]) for r in played.of("roll 1", "tap")] == [(1.0, "begin"), (60.0, "question")]
    assert [(r["t_s"], r["meaning"]) for r in played.of("roll 2", "tap")] == [(180.0, "begin")]
