"""The command `rehearse`: bad input, a full disk, Ctrl-C, and what it prints."""

from __future__ import annotations

import errno
import json
import subprocess
import sys
from pathlib import Path

import pytest

from monitor.cli.main import main
from monitor.live.disk import journal_file
from tests.live.liquids import trace
from tests.live.test_rehearsal import PLAN, ramp_c


@pytest.fixture
def files(tmp_path: Path) -> tuple[str, str, str]:
    """A recipe, a trace, and where the journal goes."""
    (tmp_path / "plan.toml").write_text(PLAN)
    trace(tmp_path / "t.csv", ramp_c, ramp_c, 1200)
    return str(tmp_path / "plan.toml"), str(tmp_path / "t.csv"), str(tmp_path / "out.jsonl")


def test_the_summary_says_what_happened_and_where_the_journal_is(files: tuple[str, str, str], capsys: pytest.CaptureFixture[str]) -> None:
    """In plain words; never `compensated`, never a bare temperature."""
    plan, liquids, out = files
    assert main(["rehearse", plan, "--trace", liquids, "--journal", out]) == 0
    said = capsys.readouterr().out
    assert "end moved 51 s later" in said
    assert f"Journal: {out}" in said
    assert "compensated" not in said.lower()


@pytest.mark.parametrize(("options", "compared"), [([], False), (["--comparison-sd-c", "0.3"], True), (["--comparison-sd-c", "0.1"], True)])
def test_a_comparison_is_one_however_unsure_it_left_the_probe(
    files: tuple[str, str, str], options: list[str], compared: bool, capsys: pytest.CaptureFixture[str]
) -> None:
    """By glass to 0.3 C, which is no surer than none: the record and the words say compared."""
    plan, liquids, out = files
    assert main(["rehearse", plan, "--trace", liquids, "--journal", out, *options]) == 0
    opening = json.loads(Path(out).read_text().splitlines()[0])
    assert opening["compared"] is compared
    assert [p["compared"] for p in opening["probes"][:2]] == [compared, compared]
    assert ("probe not compared" in capsys.readouterr().out) is not compared


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--speed", "fast"], "--speed"),
        (["--speed", "0"], "--speed"),
        (["--probe-lag-s", "-1"], "--probe-lag-s"),
        (["--probe-noise-c", "nan"], "--probe-noise-c"),
        (["--pour-c", "20.3"], "is not a temperature"),
        (["--vessel-lag-s", "0"], "--vessel-lag-s"),
        (["--vessel-lag-s", "360", "--vessel-in", "room"], "room_c"),
        (["--override-gate", " "], "--override-gate"),
        (["--comparison-sd-c", "9"], "--comparison-sd-c"),
    ],
)
def test_a_wrong_option_is_one_line_and_status_2(
    files: tuple[str, str, str], options: list[str], words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Nothing is begun and no journal is left."""
    plan, liquids, out = files
    assert main(["rehearse", plan, "--trace", liquids, "--journal", out, *options]) == 2
    said = capsys.readouterr().err
    assert words in said
    assert len(said.splitlines()) == 1
    assert not Path(out).exists()


@pytest.mark.parametrize(
    "rows",
    [
        "t_s,developer_c,bath_c\n0,20,20\n0,20,20\n",
        "t_s,developer_c,bath_c\n0,,20\n",
        "t_s,developer_c,bath_c\n0,warm,20\n",
        "t_s,developer_c,bath_c\n0,inf,20\n",
        "t_s,bath_c\n0,20\n",
        "",
    ],
)
def test_a_wrong_trace_is_refused_with_file_and_line(
    files: tuple[str, str, str], rows: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """FILE:LINE, status 2, no journal."""
    plan, _, out = files
    bad = tmp_path / "bad.csv"
    bad.write_text(rows)
    assert main(["rehearse", plan, "--trace", str(bad), "--journal", out]) == 2
    assert capsys.readouterr().err.startswith(f"{bad}:")
    assert not Path(out).exists()


def test_a_journal_that_is_there_is_kept_unless_it_may_be_overwritten(
    files: tuple[str, str, str], capsys: pytest.CaptureFixture[str]
) -> None:
    """Status 2 and nothing lost."""
    plan, liquids, out = files
    Path(out).write_text("mine")
    assert main(["rehearse", plan, "--trace", liquids, "--journal", out]) == 2
    assert Path(out).read_text() == "mine"
    assert "--overwrite" in capsys.readouterr().err
    assert main(["rehearse", plan, "--trace", liquids, "--journal", out, "--overwrite"]) == 0


def test_a_journal_path_that_cannot_be_written_is_one_line(files: tuple[str, str, str], capsys: pytest.CaptureFixture[str]) -> None:
    """A folder that is not there."""
    plan, liquids, out = files
    assert main(["rehearse", plan, "--trace", liquids, "--journal", out + "/none/x.jsonl"]) == 2
    assert len(capsys.readouterr().err.splitlines()) == 1


def test_a_full_disk_keeps_whole_records_and_closes_with_the_reason(
    files: tuple[str, str, str], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The fake stands at the file's own write."""
    plan, liquids, out = files
    write = journal_file.JournalFile.write

    def until_full(self: journal_file.JournalFile, record: dict[str, object]) -> None:
        if record["seq"] == 500:
            self._file.flush()
            raise OSError(errno.ENOSPC, "No space left on device")
        write(self, record)

    monkeypatch.setattr(journal_file.JournalFile, "write", until_full)
    assert main(["rehearse", plan, "--trace", liquids, "--journal", out]) == 2
    assert "No space left" in capsys.readouterr().err
    records = [json.loads(line) for line in Path(out).read_text().splitlines()]
    assert [r["seq"] for r in records] == list(range(1, 501))
    assert records[-1]["event"] == "close"
    assert "No space left" in records[-1]["why"]


def test_ctrl_c_closes_the_journal_with_its_reason(
    files: tuple[str, str, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Status 130, as shells have it."""
    plan, liquids, out = files
    write = journal_file.JournalFile.write

    def interrupted(self: journal_file.JournalFile, record: dict[str, object]) -> None:
        write(self, record)
        if record["seq"] == 300:
            raise KeyboardInterrupt

    monkeypatch.setattr(journal_file.JournalFile, "write", interrupted)
    assert main(["rehearse", plan, "--trace", liquids, "--journal", out]) == 130
    last = json.loads(Path(out).read_text().splitlines()[-1])
    assert last["event"] == "close"
    assert last["why"] == "stopped by the keyboard"


def test_overwrite_never_reaches_what_is_read(files: tuple[str, str, str], capsys: pytest.CaptureFixture[str]) -> None:
    """A journal named like the recipe or the trace is refused, and both files stay as they are."""
    plan, liquids, _ = files
    before = Path(plan).read_bytes(), Path(liquids).read_bytes()
    for name in (plan, liquids):
        assert main(["rehearse", plan, "--trace", liquids, "--journal", name, "--overwrite"]) == 2
        assert "is the file that is read" in capsys.readouterr().err
    assert (Path(plan).read_bytes(), Path(liquids).read_bytes()) == before


def test_a_reader_that_has_gone_does_not_end_the_rehearsal(files: tuple[str, str, str]) -> None:
    """With the pipe closed before the first line, the journal still goes to its end."""
    plan, liquids, out = files
    command = [sys.executable, "-u", "-m", "monitor.cli.main", "rehearse", plan, "--trace", liquids, "--journal", out, "--speed", "1000000"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as playing:
        assert playing.stdout is not None
        assert playing.stderr is not None
        playing.stdout.close()
        said = playing.stderr.read()
        assert playing.wait() == 0
    assert said == b""
    assert json.loads(Path(out).read_text().splitlines()[-1])["why"] == "finished"


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no /dev/full here")
def test_a_full_output_is_one_line_and_not_the_programs_fault() -> None:
    """Exit 2, not 1; and a closed output is no fault at all."""
    command = [sys.executable, "-m", "monitor.cli.main", "fit", "18 C=12:10", "20 C=10:00", "--json"]
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(command, stdout=full, stderr=subprocess.PIPE, text=True, check=False)
    assert done.returncode == 2
    assert len(done.stderr.splitlines()) == 1
    closed = subprocess.run(["sh", "-c", 'exec "$@" >&-', "sh", *command], stderr=subprocess.PIPE, text=True, check=False)
    assert (closed.returncode, closed.stderr) == (0, "")


@pytest.mark.parametrize("words", [["rehearse", "--vessel-in", "air"], ["mix", "--total"], ["bottle", "add", "--shelf"]])
def test_a_usage_error_is_one_line(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    """It names the command and where to read on, without the whole usage before it."""
    assert main(words) == 2
    said = capsys.readouterr().err.splitlines()
    assert len(said) == 1
    assert said[0].startswith(f"evenbath {words[0]}")


def test_a_recipe_without_a_trace_is_refused(files: tuple[str, str, str], capsys: pytest.CaptureFixture[str]) -> None:
    """Neither or both."""
    assert main(["rehearse", files[0]]) == 2
    assert "--trace" in capsys.readouterr().err


def test_version_and_help_load_nothing_heavy() -> None:
    """They answer without numpy, pandas, matplotlib, gpiozero, paho or w1thermsensor."""
    code = (
        "import sys; from monitor.cli.main import main; main(['--version']); main(['--help']);"
        "heavy = {'numpy', 'pandas', 'matplotlib', 'gpiozero', 'paho', 'w1thermsensor', 'rich'} & set(sys.modules); assert not heavy, heavy"
    )
    subprocess.run([sys.executable, "-W", "error", "-c", code], check=True, capture_output=True)


def test_a_gate_that_never_opens_says_what_it_wanted_and_what_it_saw(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """And how to begin all the same; the journal is there."""
    demo = Path(__file__).parents[2] / "demo_logs"
    words = [str(demo / "colour.toml"), "--trace", str(demo / "04-colour-left-its-band.csv"), "--journal", str(tmp_path / "g.jsonl")]
    assert main(["rehearse", *words]) == 0
    told = capsys.readouterr().out
    assert "within 0.15 C of 37.8 C for 1:00; at the end it was at 36." in told
    assert '--override-gate "why"' in told
    assert (tmp_path / "g.jsonl").stat().st_size > 0
