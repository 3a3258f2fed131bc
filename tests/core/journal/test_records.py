"""Records as types: what stands in the file comes back as it was."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from monitor.core.journal import records
from monitor.core.journal.words import CUES, MEANINGS, STAGE_EVENTS

DEMOS = sorted((Path(__file__).parents[3] / "demo_logs").glob("*.jsonl"))


@pytest.mark.parametrize("path", DEMOS, ids=lambda p: p.stem)
def test_every_record_of_the_demo_journals_comes_back_byte_for_byte(path: Path) -> None:
    """Read as its type and written again."""
    for text in path.read_text(encoding="utf-8").splitlines(keepends=True):
        said = json.loads(text)
        again = {k: said[k] for k in ("seq", "session", "t_s", "wall", "kind")} | records.parse(said).fields()
        assert records.encode(again) == text


def test_a_field_at_its_default_is_left_out_and_null_stands_where_it_says_something() -> None:
    """A bad reading has `celsius` null; a stage without sheets has no `sheet`."""
    reading = records.Read(t_s=1.0, probe="jug", role="developer", raw_c=None, celsius=None, quality="missing")
    assert reading.fields() == {"probe": "jug", "role": "developer", "raw_c": None, "celsius": None, "quality": "missing"}
    begun = records.StageBegun(t_s=0.0, stage=1, name="develop", role="develop", target_ref_s=600.0, steered=False)
    told = {"stage": 1, "name": "develop", "event": "begin", "role": "develop", "target_ref_s": 600.0, "steered": False}
    assert begun.fields() == told
    assert list(begun.fields()) == list(told)


def test_a_kind_of_a_later_version_is_kept_as_a_note_and_its_fields_come_back() -> None:
    """Nothing is lost because it is not known."""
    said = {"seq": 7, "session": "s", "t_s": 3.0, "wall": "w", "kind": "tide", "height_m": 2.0}
    note = records.parse(said)
    assert isinstance(note, records.Note)
    assert records.line(7, note) == {"seq": 7, "t_s": 3.0, "kind": "tide", "height_m": 2.0}


def test_a_record_without_a_field_that_must_be_there_is_refused_by_name() -> None:
    """The field is named."""
    with pytest.raises(ValueError, match="cue"):
        records.parse({"seq": 1, "session": "s", "t_s": 0.0, "wall": "w", "kind": "cue"})


def test_the_words_are_those_of_the_contract() -> None:
    """Section 5, second version, and the one of ours: a print's trace."""
    assert set(CUES) == {"tick", "ready", "now", "fault", "answer", "yes", "over", "click"}
    assert set(MEANINGS) == {"begin", "lid on", "again", "poured", "on time", "heard", "mark", "question", "appeared"}
    assert set(STAGE_EVENTS) == {"begin", "ready", "now", "minimum", "end"}
