"""What the dry film looks like: kept beside the journal, told with its causes, and arithmetic on a series."""

from __future__ import annotations

import json
import math
import os
import random
from dataclasses import replace
from pathlib import Path

import pytest

from monitor.core.development.rate import Arrhenius
from monitor.core.errors import FileWrong, InputWrong
from monitor.review.judgement import Judgement, advice, append_judgement, judgement_file, latest, read_judgements
from monitor.review.load import load
from monitor.review.measures import Review, measure
from monitor.review.numbers import StageMeasures
from monitor.review.own_data import T_95, SeriesPoint, _steady, fit_series, own_law
from monitor.review.record_says import Finding, findings
from monitor.review.sights import SIGHTS
from tests.review.journals import play, recipe_data

ENTRY = Judgement("2026-03-02T08:00:00Z", "s1", density="thin", base_fog=0.28)


def develop_of(review: Review) -> StageMeasures:
    """The develop stage."""
    return next(s for s in review.numbers.stages if s.role == "develop")


def test_the_journal_is_not_touched_and_entries_are_only_added(tmp_path: Path) -> None:
    """Beside it, one line an entry, the earlier bytes unchanged."""
    journal = play(recipe_data(time="3:00"), lambda _: 20.0).write(tmp_path / "s1.jsonl")
    before = journal.read_bytes()
    path = append_judgement(journal, ENTRY)
    first = path.read_bytes()
    append_judgement(journal, Judgement("2026-03-03T08:00:00Z", "s1", grade=3.0, seen=("air-bells",), notes="edges well"))
    assert journal.read_bytes() == before
    assert path.name == "s1.judgement.jsonl"
    assert path.read_bytes().startswith(first)
    folded = latest(read_judgements(journal))
    assert folded is not None
    assert (folded.density, folded.base_fog, folded.grade, folded.seen, folded.notes) == ("thin", 0.28, 3.0, ("air-bells",), "edges well")


def test_an_entry_that_was_cut_off_is_left_out_and_the_next_begins_a_line(tmp_path: Path) -> None:
    """A loss of power costs one entry, no earlier and no later one."""
    journal = tmp_path / "s1.jsonl"
    path = append_judgement(journal, ENTRY)
    path.write_bytes(path.read_bytes() + b'{"schema":1,"wa')
    assert read_judgements(journal) == [ENTRY]
    append_judgement(journal, ENTRY)
    with pytest.raises(FileWrong, match=r"s1\.judgement\.jsonl:2: not a judgement"):
        read_judgements(journal)
    assert path.read_bytes().splitlines()[2] == path.read_bytes().splitlines()[0]


def test_a_judgement_of_a_newer_format_is_refused_by_line(tmp_path: Path) -> None:
    """As a journal would be."""
    judgement_file(tmp_path / "s1.jsonl").write_text(json.dumps({"schema": 2, "wall": "", "session": "s1"}) + "\n")
    with pytest.raises(FileWrong, match=":1: a judgement of another format"):
        read_judgements(tmp_path / "s1.jsonl")


def test_exposure_is_told_apart_from_development() -> None:
    """Thin shadows are not cured in the developer, and the other way round; both at once begin with the exposure."""
    thin_shadows = advice(Judgement("", "s", seen=("thin-shadows",)), None)
    assert "(exposure)" in thin_shadows[0]
    assert thin_shadows[-1] == "one change for next time: expose more; leave the development as it is"
    thin_all = advice(Judgement("", "s", seen=("thin-all",)), None)
    assert "leave the exposure as it is" in thin_all[-1]
    both = advice(Judgement("", "s", seen=("thin-all", "thin-shadows")), None)
    assert "expose more" in both[-1]
    assert any("change the exposure first" in line for line in both)


@pytest.mark.parametrize("sight", SIGHTS)
def test_every_sight_has_a_cause_and_exactly_one_change(sight: str) -> None:
    """One change at a time."""
    lines = advice(Judgement("", "s", seen=(sight,)), None)
    assert SIGHTS[sight].causes[0].cause in lines[0]
    assert sum("one change for next time" in line for line in lines) == 1


def test_where_the_record_explains_it_the_plan_is_kept(tmp_path: Path) -> None:
    """Dense highlights after hands that were a minute late: do what was planned before planning something else."""
    late = measure(load(play(recipe_data(time="6:00"), lambda _: 20.0, late_s={3: 60.0}).write(tmp_path / "late.jsonl")))
    said = advice(Judgement("", "s", seen=("dense-highlights",)), develop_of(late))
    assert any("development 116.7 %" in line and "+60 s off the end that was called" in line for line in said)
    assert "keep the recipe" in said[-1]
    right = measure(load(play(recipe_data(time="6:00"), lambda _: 20.0).write(tmp_path / "right.jsonl")))
    assert "develop for less time" in advice(Judgement("", "s", seen=("dense-highlights",)), develop_of(right))[-1]
    assert "keep the recipe" not in advice(Judgement("", "s", seen=("thin-all",)), develop_of(late))[-1]


def test_wrinkles_are_held_against_the_record() -> None:
    """The largest step between two baths."""
    step = Finding(True, "the largest step of the mean between two stages was 9.0 C")
    lines = advice(Judgement("", "s", seen=("wrinkles",)), None, {"jump": step})
    assert "the record says: the largest step of the mean between two stages was 9.0 C" in lines


def test_fewer_than_three_are_refused() -> None:
    """Two points always lie on a line and tell nothing about how sure it is."""
    with pytest.raises(InputWrong, match="2 judged sessions with contrast; allowed: 3 or more"):
        fit_series([SeriesPoint("a", 400.0, 0.5), SeriesPoint("b", 500.0, 0.6)], "contrast")
    with pytest.raises(InputWrong, match="all the same development"):
        fit_series([SeriesPoint(n, 400.0, 0.5) for n in "abc"], "contrast")


def test_the_wanted_time_and_its_interval_are_the_textbooks() -> None:
    """Against scipy's regression; the interval's ends are where the wanted value leaves the interval of the line."""
    stats = pytest.importorskip("scipy.stats")
    points = [
        SeriesPoint(str(i), done, value)
        for i, (done, value) in enumerate([(360, 0.47), (420, 0.52), (480, 0.57), (600, 0.63), (720, 0.71)])
    ]
    fitted = fit_series(points, "contrast")
    xs, ys = [math.log(p.done_ref_s) for p in points], [p.value for p in points]
    theirs = stats.linregress(xs, ys)
    assert fitted.slope == pytest.approx(theirs.slope)
    assert fitted.intercept == pytest.approx(theirs.intercept)
    done, low, high = fitted.wanted(0.56)
    assert fitted.at(done)[0] == pytest.approx(0.56)
    for end in (low, high):
        value, half = fitted.at(end)
        assert abs(value - 0.56) == pytest.approx(half, rel=1e-6)
    assert low < done < high
    for dof, t in enumerate(T_95, 1):
        assert t == pytest.approx(stats.t.ppf(0.975, dof), abs=6e-4)


def test_the_interval_holds_the_true_time_as_often_as_it_says() -> None:
    """95 of 100 series, within what chance allows."""
    chance = random.Random(5)
    hits = 0
    for _ in range(300):
        points = [SeriesPoint("x", done, 0.25 * math.log(done) - 1.0 + chance.gauss(0, 0.01)) for done in (360.0, 450.0, 560.0, 700.0)]
        _, low, high = fit_series(points, "contrast").wanted(0.25 * math.log(500.0) - 1.0)
        hits += low <= 500.0 <= high
    assert 0.91 * 300 <= hits <= 0.985 * 300


def test_data_that_show_nothing_give_no_time() -> None:
    """A slope that may be nothing is refused."""
    noise = [SeriesPoint("x", done, value) for done, value in ((400.0, 0.55), (500.0, 0.50), (600.0, 0.56), (700.0, 0.52))]
    with pytest.raises(InputWrong, match="do not show that contrast moves with development"):
        fit_series(noise, "contrast").wanted(0.6)


def test_the_persons_own_temperature_law_is_found(tmp_path: Path) -> None:
    """Four films, steady and drifting, ended where a true energy of 75 kJ/mol says, come back as 75."""
    energy, reviews = 75.0, []

    def true_rate(celsius: float) -> float:
        return math.exp(energy * 1000 / 8.314462618 * (1 / 293.15 - 1 / (celsius + 273.15)))

    for i, (start, slope) in enumerate([(18.0, 0.0), (20.0, 0.0), (22.5, -0.003), (24.0, 0.002)]):
        done, t = 0.0, 60.0
        while done < 480.0:
            done += 0.25 * true_rate(start + slope * (t + 0.125))
            t += 0.25
        minutes, seconds = divmod(round(t - 60.0), 60)
        data = recipe_data(time=f"{minutes}:{seconds:02d}", steer=False)
        made = play(data, lambda s, a=start, b=slope: a + b * s, session=f"law-{i}", seed=i)  # type: ignore[misc]
        reviews.append((f"law-{i}", measure(load(made.write(tmp_path / f"law-{i}.jsonl"))), 0.7 + 0.01 * i))
    law = own_law(reviews, 20.0)
    assert law.fitted.activation_energy_kj_mol == pytest.approx(75.0, abs=0.7)
    assert 0.0 < law.sd_kj_mol < 1.5
    with pytest.raises(InputWrong, match="2 sessions; allowed: 3 or more"):
        own_law(reviews[:2], 20.0)
    with pytest.raises(InputWrong, match=r"densities from 0\.3 to"):
        own_law([(n, r, 0.3 if i == 0 else d) for i, (n, r, d) in enumerate(reviews)], 20.0)
    with pytest.raises(InputWrong, match="differ by less than 1 C"):
        own_law([reviews[0]] * 3, 20.0)


@pytest.mark.parametrize(("begin_c", "end_c"), [(17.0, 19.0), (22.0, 20.0), (22.5, 25.5)])
def test_a_film_s_steady_temperature_and_time_are_those_of_the_closed_form(begin_c: float, end_c: float, tmp_path: Path) -> None:
    """1/T changes straight with time, so that by an energy E the rate goes as an exponential: its mean is that of its ends, logarithmic,
    and the steady T has 1/T = 1/T_ref - R/E ln(mean). Counted from full to empty, 15 s less at either end."""
    gas, energy, first, last = 8.314462618, 70000.0, 1.0 / (begin_c + 273.15), 1.0 / (end_c + 273.15)
    data = recipe_data(time="8:00", steer=False, counted="full to empty", fill="0:15", drain="0:15")
    made = play(data, lambda t: 1.0 / (first + (last - first) * (t - 60.0) / 480.0) - 273.15)
    film = measure(load(made.write(tmp_path / "s.jsonl")))
    ends = (first + (last - first) * share for share in (15.0 / 480.0, 465.0 / 480.0))
    at_full, at_empty = (math.exp(energy / gas * (1.0 / 293.15 - each)) for each in ends)
    mean = (at_empty - at_full) / math.log(at_empty / at_full)
    steady_c, seconds = _steady(film, Arrhenius(20.0, energy / 1000.0, 0.0, (0.0, 60.0)))
    assert seconds == pytest.approx(450.0, abs=0.1)
    assert steady_c == pytest.approx(1.0 / (1.0 / 293.15 - gas / energy * math.log(mean)) - 273.15, abs=0.03)


@pytest.mark.parametrize(("done_s", "t_95"), [([400, 500, 650], 12.706), ([400, 500, 650, 800], 4.303)])
def test_the_interval_of_the_line_has_two_degrees_of_freedom_fewer_than_sessions(done_s: list[int], t_95: float) -> None:
    """Student's t of the standard table, times the standard error of the line at its middle: its sd over the root of the count."""
    points = [SeriesPoint(str(i), done, 0.5 + 0.1 * i + (0.02 if i % 2 else 0.0)) for i, done in enumerate(done_s)]
    fitted = fit_series(points, "contrast")
    middle_s = math.exp(sum(math.log(s) for s in done_s) / len(done_s))
    assert fitted.sd > 0
    assert fitted.at(middle_s)[1] == pytest.approx(t_95 * fitted.sd / math.sqrt(len(done_s)))


def test_an_entry_is_on_the_disk_when_it_is_said_to_be_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The whole line stands in the file when it is synced, and it is synced before the call returns."""
    synced: list[bytes] = []
    sync = os.fsync

    def noted(handle: int) -> None:
        synced.append(os.pread(handle, 100_000, 0))
        sync(handle)

    monkeypatch.setattr(os, "fsync", noted)
    path = append_judgement(tmp_path / "s1.jsonl", ENTRY)
    assert synced == [path.read_bytes()]


def test_the_plan_is_blamed_unless_the_record_is_sure(tmp_path: Path) -> None:
    """A film that is thin all over with 98.6 % +/- 1.7 % of its development: the record does not explain it."""
    made = play(recipe_data(time="6:00"), lambda _: 20.0, late_s={3: -5.0})
    stage = develop_of(measure(load(made.write(tmp_path / "s.jsonl"))))
    assert stage is not None
    assert stage.done_percent == pytest.approx(98.6, abs=0.1)
    assert advice(Judgement("", "s", seen=("thin-all",)), stage)[-1].startswith("one change for next time: develop longer")
    surely = replace(stage, done_percent=96.0)
    assert "keep the recipe" in advice(Judgement("", "s", seen=("thin-all",)), surely)[-1]
    unsure = replace(stage, done_percent=96.0, done_sd_percent=5.0)
    assert "develop longer" in advice(Judgement("", "s", seen=("thin-all",)), unsure)[-1]


def test_a_record_above_103_percent_rules_a_short_time_out(tmp_path: Path) -> None:
    """Thin film with 107.7 % of its development: the developer is asked first, never "develop longer"."""
    made = play(recipe_data(time="6:00"), lambda _: 20.0, late_s={3: 28.0})
    measured = measure(load(made.write(tmp_path / "s.jsonl")))
    stage = develop_of(measured)
    assert stage is not None
    assert stage.done_percent == pytest.approx(107.8, abs=0.2)
    said = advice(Judgement("", "s", density="thin", seen=("thin-all",)), stage, findings(measured.numbers))
    assert not any("develop longer" in line or "too short a time" in line for line in said)
    assert "the developer was weak, exhausted or too dilute" in said[0]
    assert any("thermometer reads too high" in line for line in said)
    assert any("does a piece of leader go dark" in line for line in said)
    assert "mix fresh developer" in said[-1]
    less = play(recipe_data(time="6:00"), lambda _: 20.0, late_s={3: 7.0})
    measured = measure(load(less.write(tmp_path / "t.jsonl")))
    assert "develop longer" in advice(Judgement("", "s", seen=("thin-all",)), develop_of(measured), findings(measured.numbers))[-1]
