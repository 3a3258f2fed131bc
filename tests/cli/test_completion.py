"""Completion in the shells themselves: each promise is asked of every shell that is installed."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from monitor.cli.completion import SHELLS, commands, script
from monitor.cli.main import COMMANDS, main

BASH = """
source {script}
evenbath() {{ :; }}
COMP_WORDS=({words}); COMP_CWORD=$(( ${{#COMP_WORDS[@]}} - 1 ))
_evenbath
printf '%s\\n' "${{COMPREPLY[@]}}"
"""
ZSH = """
autoload -Uz compinit; compinit -u -d {dump}
source {script}
compadd() {{
  local from=0 word
  for word in "$@"; do
    if [[ $word == -a ]]; then from=1; elif (( from )); then print -rl -- ${{(P)word}}; fi
  done
}}
_files() {{
  if [[ $1 == -g ]]; then print -rl -- ${{~2}}(N) *(N/); elif [[ $1 == -/ ]]; then print -rl -- *(N/); else print -rl -- *(N); fi
}}
compset() {{ : }}
words=({words}); CURRENT=$#words
_evenbath
"""
FISH = """
source {script}
complete -C "{line}" | string split -f 1 \\t
"""


@pytest.fixture
def room(tmp_path: Path) -> Path:
    """A folder with one file of each kind, and a folder."""
    for name in ("roll.toml", "trace.csv", "evening.jsonl", "card.html", "notes.txt"):
        (tmp_path / name).touch()
    (tmp_path / "sub").mkdir()
    return tmp_path


def offered(shell: str, room: Path, *words: str) -> set[str]:
    """What the shell offers for the last word; whole words alone, for zsh filters what its own `compadd` is given."""
    if shutil.which(shell) is None:
        pytest.skip(f"no {shell} on this machine")
    at = room.parent / f"{room.name}-{shell}.completion"
    at.write_text(script(shell), encoding="utf-8")
    line = " ".join(("evenbath", *words))
    quoted = " ".join(f"'{word}'" for word in ("evenbath", *words))
    text = {"bash": BASH, "zsh": ZSH, "fish": FISH}[shell].format(script=at, words=quoted, line=line, dump=room.parent / "zcompdump")
    command = {"bash": ["bash", "--norc"], "zsh": ["zsh", "-f"], "fish": ["fish", "--no-config"]}[shell]
    done = subprocess.run([*command, "-c", text], cwd=room, capture_output=True, text=True, check=False, timeout=60)
    assert done.stderr == ""
    return {word for word in done.stdout.splitlines() if word and word.startswith(words[-1])}


@pytest.mark.parametrize("shell", SHELLS)
def test_commands_are_completed(shell: str, room: Path) -> None:
    """All of them, and by their beginning; those of a command too."""
    assert offered(shell, room, "") >= set(COMMANDS)
    assert offered(shell, room, "re") == {"rehearse", "record", "review"}
    assert offered(shell, room, "bottle", "") >= {"add", "use", "test", "discard", "list", "undo"}


@pytest.mark.parametrize("shell", SHELLS)
def test_options_are_those_of_the_command(shell: str, room: Path) -> None:
    """Also where a word or a value stands before."""
    assert offered(shell, room, "plan", "roll.toml", "--ca") == {"--card", "--cautions"}
    assert offered(shell, room, "plan", "--card", "card.html", "--js") == {"--json"}
    assert "--dilution" not in offered(shell, room, "plan", "--")
    assert offered(shell, room, "bottle", "add", "fixer", "--rol") == {"--role"}
    assert not offered(shell, room, "bottle", "list", "--rol")


@pytest.mark.parametrize("shell", SHELLS)
def test_files_are_those_of_the_kind_that_is_wanted(shell: str, room: Path) -> None:
    """A recipe, a trace, a journal, a page, a folder; folders always, for a file may lie in one; nothing where a number is wanted."""
    assert _names(offered(shell, room, "plan", "")) == {"roll.toml", "sub"}
    assert _names(offered(shell, room, "rehearse", "roll.toml", "--trace", "")) == {"trace.csv", "sub"}
    assert _names(offered(shell, room, "plan", "roll.toml", "--card", "")) == {"card.html", "sub"}
    assert _names(offered(shell, room, "review", "")) == {"evening.jsonl", "sub"}
    assert _names(offered(shell, room, "plan", "roll.toml", "--state", "")) == {"sub"}
    assert offered(shell, room, "mix", "--dilution", "") == set()


@pytest.mark.parametrize("shell", SHELLS)
def test_values_are_those_that_are_allowed(shell: str, room: Path) -> None:
    """Also those of two words, quoted where the shell wants that."""
    assert offered(shell, room, "completion", "") >= set(SHELLS)
    roles = {word.replace("\\", "") for word in offered(shell, room, "bottle", "add", "fixer", "--role", "")}
    assert roles >= {"develop", "fix", "bleach-fix", "wash aid"}
    assert offered(shell, room, "judge", "--seen", "bla") == {"blank", "blank-numbers", "black"}
    assert offered(shell, room, "guide", "") >= {"shopping", "water", "drying", "ways", "hazards"}
    assert offered(shell, room, "archive", "") >= {"add", "note", "table", "exposure", "find", "sleeve", "undo"}


def _names(words: set[str]) -> set[str]:
    return {word.rstrip("/") for word in words}


def test_in_a_zsh_at_work_the_tab_key_completes(room: Path) -> None:
    """By compinit, from a folder of $fpath, in a shell on a terminal of its own."""
    if shutil.which("zsh") is None:
        pytest.skip("no zsh on this machine")
    (room / "sub" / "_evenbath").write_text(script("zsh"), encoding="utf-8")
    text = """
zmodload zsh/zpty
zpty -b z zsh -f -i
zpty -w z "fpath=(sub \\$fpath); autoload -Uz compinit; compinit -u -D; echo re''ady"
zpty -r z seen '*ready*'
zpty -n -w z $'evenbath pl\\tro\\t--cau\\t'
zpty -r z seen '*--cautions*'
print -r -- "$seen"
zpty -d z
"""
    done = subprocess.run(["zsh", "-f", "-c", text], cwd=room, capture_output=True, text=True, check=False, timeout=60)
    assert "--cautions" in done.stdout, done


def test_every_argument_of_every_command_is_in_the_script() -> None:
    """It is read from the commands themselves: what they accept is offered, and nothing else."""
    told = {word.name: word for word in commands()}
    assert set(told) == set(COMMANDS)
    text = script("bash")
    for word in told.values():
        assert all(option.name in text for option in word.options)
    assert "--red" not in text


def test_completing_costs_the_start_nothing() -> None:
    """`--version` loads neither what reads arguments nor what completes or guesses them; the scripts start no program of ours."""
    code = (
        "import sys; from monitor.cli.main import main; main(['--version']); "
        "print([m for m in ('argparse', 'difflib', 'monitor.cli.completion', 'monitor.cli.nearest') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=Path(__file__).parents[2])
    assert done.stdout.splitlines()[-1] == "[]"
    for shell in SHELLS:
        assert "$(evenbath" not in script(shell)


def test_a_shell_that_is_not_known_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    """With those that are."""
    assert main(["completion", "bsh"]) == 2
    err = capsys.readouterr().err
    assert 'did you mean "bash"?' in err
    assert err.count("\n") == 1
