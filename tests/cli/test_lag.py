"""`evenbath lag` from the outside: a dip, a vessel, storing, and the check by the poured-off developer."""

from __future__ import annotations

import json
import random
from pathlib import Path
from typing import Any

import pytest

from monitor.cli.main import main
from monitor.prepare.probes.learned_store import load_learned
from tests.prepare.probes.water import jump, lagged, newton, series, shown, steady, write_journal


def run(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, Any, str]:
    """(exit status, the object or the text, stderr)."""
    status = main(["lag", *words])
    out, err = capsys.readouterr()
    return status, json.loads(out) if out.startswith("{") else out, err


@pytest.fixture
def dip(tmp_path: Path) -> Path:
    """A probe with a lag of 8 s, dipped at 30 s."""
    values = shown(lagged(jump(28.0, steady(20.0), 30.0), 8.0, 240), random.Random(1))
    return write_journal(tmp_path / "dip.jsonl", series(values))


@pytest.fixture
def tank(tmp_path: Path) -> Path:
    """Warm water in a tank with a lag of 6:00, in the practice's bowl in a cold laundry."""
    rng, bath = random.Random(2), newton(20.5, 8.0, 2940.0)
    liquid = lagged(bath, 360.0, 1200, 24.0, fine=2)

    def inside(t_s: float) -> float:
        k = min(int(t_s), 1199)
        return liquid[k] + (t_s - k) * (liquid[k + 1] - liquid[k])

    return write_journal(
        tmp_path / "tank.jsonl",
        series(shown(lagged(inside, 8.0, 1200, fine=2), rng), "developer", "developer"),
        series(shown([bath(t) for t in range(1201)], rng), "bowl", "bath"),
        series(shown([8.0] * 1201, rng), "air", "room"),
    )


def test_a_dip_answers_with_the_contract_s_keys_and_is_stored(capsys: pytest.CaptureFixture[str], dip: Path, tmp_path: Path) -> None:
    """lag_s and sd_s; stored only when asked."""
    words = [str(dip), "--probe", "jug", "--state", str(tmp_path), "--json"]
    status, data, _ = run(capsys, *words)
    assert status == 0
    assert data["lag_s"] == pytest.approx(8.0, abs=0.24)
    assert 0.0 < data["sd_s"] < 0.3
    assert load_learned(tmp_path).probe_lag("jug") is None
    run(capsys, *words, "--save")
    stored = load_learned(tmp_path).probe_lag("jug")
    assert stored is not None
    assert stored.lag_s == data["lag_s"]


def test_a_vessel_answers_with_what_it_is_coupled_to(capsys: pytest.CaptureFixture[str], tank: Path, tmp_path: Path) -> None:
    """Its own name or its probe's; 5:24 to 6:36 for a true 6:00; the probe's own lag is told."""
    words = ["--state", str(tmp_path), "--json"]
    status, data, _ = run(
        capsys, str(tank), "--vessel", "steel tank", *words, "--save", "--volume", "500 ml", "--agitation", "5 s a minute"
    )
    assert status == 0
    assert 324.0 < data["lag_s"] < 396.0
    assert data["sd_s"] < 20.0
    assert data["coupled_to"] == "bath"
    assert data["probe_lag_s"] == 8.0
    assert run(capsys, str(tank), "--vessel", "developer", *words)[1]["lag_s"] == data["lag_s"]
    stored = load_learned(tmp_path).vessel_lag("steel tank")
    assert stored is not None
    assert (stored.volume_ml, stored.agitation, stored.coupled_to) == (500.0, "5 s a minute", "bath")


def test_the_poured_off_developer_checks_the_lag_and_marks_it(capsys: pytest.CaptureFixture[str], tank: Path, tmp_path: Path) -> None:
    """From the session's last progress, or as told; more than 0.4 C away is remembered when asked."""
    run(capsys, str(tank), "--vessel", "tank", "--state", str(tmp_path), "--save")
    session = tmp_path / "session.jsonl"
    session.write_text('{"seq":1,"session":"s","t_s":600,"wall":"w","kind":"progress","stage":1,"developer_c":19.1}\n')
    base = ["--vessel", "tank", "--state", str(tmp_path)]
    status, data, _ = run(capsys, str(session), *base, "--poured-off", "19.3 C", "--json")
    assert (status, data["learn_again"]) == (0, False)
    status, text, _ = run(capsys, str(session), *base, "--poured-off", "18.5 C", "--save")
    assert "learn this vessel's lag again" in text
    stored = load_learned(tmp_path).vessel_lag("tank")
    assert stored is not None
    assert stored.learn_again is not None
    assert run(capsys, *base, "--poured-off", "18.5 C", "--estimated", "18.6 C", "--json")[1]["learn_again"] is False


@pytest.fixture
def watched(tmp_path: Path) -> Path:
    """A session that went by a witness, which said 19.1 C at the end."""
    session = tmp_path / "watched.jsonl"
    head = '"session":"s","wall":"w"'
    session.write_text(
        f'{{"seq":1,{head},"t_s":599,"kind":"reading","probe":"tank","role":"witness","raw_c":19.1,"celsius":19.1,"quality":"good"}}\n'
        f'{{"seq":2,{head},"t_s":600,"kind":"reading","probe":"bowl","role":"bath","raw_c":18.0,"celsius":18.0,"quality":"good"}}\n'
        f'{{"seq":3,{head},"t_s":600,"kind":"progress","stage":1,"developer_c":19.1,"source":"witness"}}\n'
    )
    return session


def test_the_poured_off_developer_shows_a_witness(capsys: pytest.CaptureFixture[str], watched: Path, tmp_path: Path) -> None:
    """Within 0.4 C it counts from then on as a probe in the film's own developer; only what is saved counts."""
    base = [str(watched), "--probe", "tank", "--state", str(tmp_path)]
    status, data, _ = run(capsys, *base, "--poured-off", "19.3 C", "--json")
    assert (status, data["shown"], data["stored"]) == (0, True, False)
    assert data["difference_c"] == pytest.approx(0.2)
    assert load_learned(tmp_path).witness_sd_c("tank") == 0.2
    text = run(capsys, *base, "--poured-off", "19.3 C", "--save")[1]
    assert "tank: poured off 19.3 C, witness 19.1 C: +0.2 C, within 0.4 C; it counts as a probe in the film's own developer" in text
    assert text.endswith("\nstored\n")
    assert load_learned(tmp_path).witness_sd_c("tank") == 0.0
    text = run(capsys, *base, "--poured-off", "18.5 C", "--save")[1]
    assert "-0.6 C, more than 0.4 C off; until a check is within 0.4 C it counts as +/- 0.6 C at best. Same vessel" in text
    assert load_learned(tmp_path).witness_sd_c("tank") == pytest.approx(0.3)
    assert run(capsys, "--probe", "tank", "--state", str(tmp_path), "--poured-off", "18.5 C", "--estimated", "18.6 C", "--save")[0] == 0
    assert load_learned(tmp_path).witness_sd_c("tank") == 0.0


def test_a_session_is_named_by_its_id_as_for_review(capsys: pytest.CaptureFixture[str], watched: Path, tank: Path, tmp_path: Path) -> None:
    """Whole or its end, in the state folder's journals; for what was poured off and for a lag. A name that fits none is told."""
    journals = tmp_path / "state" / "journals"
    journals.mkdir(parents=True)
    (journals / "261106-1910a.jsonl").write_bytes(watched.read_bytes())
    (journals / "261107-1910b.jsonl").write_bytes(tank.read_bytes())
    state = ["--state", str(tmp_path / "state")]
    for name in ("261106-1910a", "910a"):
        status, text, _ = run(capsys, name, "--probe", "tank", *state, "--poured-off", "19.3 C")
        assert status == 0
        assert text.startswith("tank: poured off 19.3 C, witness 19.1 C: +0.2 C")
    assert run(capsys, "910b", "--vessel", "steel tank", *state)[0] == 0
    status, out, err = run(capsys, "910c", "--probe", "tank", *state, "--poured-off", "19.3 C")
    assert (status, out) == (2, "")
    assert "910c: there is no such file, and no session in" in err


def test_what_the_witness_said_checks_no_lag_and_what_a_lag_said_no_witness(
    capsys: pytest.CaptureFixture[str], watched: Path, tmp_path: Path
) -> None:
    """Nor does a bath's probe become a witness."""
    state = ["--state", str(tmp_path), "--poured-off", "19.3 C", "--save"]
    for words, said in (
        ([str(watched), "--vessel", "tank", *state], "came from the witness"),
        ([str(watched), "--probe", "bowl", *state], "bowl is a bath probe"),
        ([str(watched), "--probe", "nobody", *state], 'no good reading of a probe "nobody"'),
    ):
        status, out, err = run(capsys, *words)
        assert (status, out) == (2, "")
        assert said in err
    watched.write_text(watched.read_text().replace('"source":"witness"', '"source":"vessel model"'))
    status, out, err = run(capsys, str(watched), "--probe", "tank", *state)
    assert (status, out) == (2, "")
    assert "the temperature at the end is vessel model, not the witness's" in err


def test_bad_input_is_refused_in_plain_lines(capsys: pytest.CaptureFixture[str], dip: Path, tank: Path, tmp_path: Path) -> None:
    """No such probe, no dip, no bath, no estimate: exit status 2."""
    for words in (
        [str(dip), "--probe", "nobody"],
        [str(tank), "--probe", "bowl"],
        [str(dip), "--vessel", "tank"],
        [str(tank), "--vessel", "tank", "--inside", "nobody"],
        [str(dip), "--probe", "jug", "--vessel", "tank"],
        [str(dip), "--probe", "jug", "--coupled-to", "bath"],
        [str(dip)],
        ["--vessel", "tank", "--poured-off", "19 C"],
        [str(dip), "--vessel", "tank", "--poured-off", "19 C"],
        [str(dip), "--vessel", "tank", "--poured-off", "19"],
    ):
        status, out, err = run(capsys, *words, "--state", str(tmp_path))
        assert (status, out) == (2, ""), words
        assert err


NOT_STORED = "not stored; use --save to store it for the station\n"


def test_without_save_the_last_line_says_that_nothing_is_stored(
    capsys: pytest.CaptureFixture[str], dip: Path, tank: Path, tmp_path: Path
) -> None:
    """Of a probe, of a vessel, and of a vessel that wants learning again; with --save, or with nothing to store, not."""
    state = ["--state", str(tmp_path)]
    again = ["--vessel", "tank", "--estimated", "20 C", *state]
    for words in ([str(dip), "--probe", "jug", *state], [str(tank), "--vessel", "tank", *state], [*again, "--poured-off", "18.5 C"]):
        assert run(capsys, *words)[1].endswith(f"\n{NOT_STORED}"), words
        assert "not stored" not in json.dumps(run(capsys, *words, "--json")[1])
        if "--poured-off" not in words:
            assert run(capsys, *words, "--save")[1].endswith("\nstored\n")
    assert "stored" not in run(capsys, *again, "--poured-off", "20.1 C")[1]
    assert run(capsys, *again, "--poured-off", "20.1 C", "--save", "--json")[1]["stored"] is False
