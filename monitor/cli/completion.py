"""`evenbath completion bash|zsh|fish`: a script that lets the shell complete commands, options, their values and kinds of file.

It is made from the commands' own arguments, once, when this is asked for; completing then starts no program of ours at all. What an
argument takes is told by its choices, or by what its name in the help ends in: RECIPE.toml a .toml, JOURNAL a .jsonl, FOLDER a folder.
Tests: tests/cli/test_completion.py, which runs the scripts in the shells that are installed.
"""

from __future__ import annotations

import argparse
import shlex
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

SHELLS = ("bash", "zsh", "fish")
WHERE = {
    "bash": "${XDG_DATA_HOME:-~/.local/share}/bash-completion/completions/evenbath",
    "zsh": "a folder of your $fpath, as _evenbath",
    "fish": "~/.config/fish/completions/evenbath.fish",
}
"""Where each shell looks for such a script by itself (the manuals of bash-completion, zsh and fish)."""
ENDINGS = ("toml", "csv", "jsonl", "html", "parquet")
FOLDERS = ("FOLDER", "DIR")


@dataclass(frozen=True, slots=True)
class Takes:
    """What may stand in one place: one of `choices`, a file that ends in `ending`, a `folder`, any `file`; else nothing can be told."""

    choices: tuple[str, ...] = ()
    ending: str = ""
    folder: bool = False
    file: bool = False

    @property
    def spec(self) -> str:
        """In one line for a shell: the kind, then what belongs to it."""
        if self.ending:
            return f"ending {self.ending}"
        return "folder" if self.folder else "file" if self.file else ""


@dataclass(frozen=True, slots=True)
class Word:
    """A command, a command's command or an option. `takes`: the value of an option; `places`: what stands behind a command."""

    name: str
    says: str
    takes: Takes | None = None
    options: tuple[Word, ...] = ()
    places: tuple[Takes, ...] = ()
    below: tuple[Word, ...] = field(default=())


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("shell", choices=SHELLS, help="the shell that the script is for")
    parser.epilog = "Put it where the shell finds it by itself. " + "; ".join(f"{shell}: {where}" for shell, where in WHERE.items()) + "."


def run(args: argparse.Namespace) -> int:
    """Print the script."""
    sys.stdout.write(script(args.shell))
    return 0


def script(shell: str) -> str:
    """The whole script for one of `SHELLS`."""
    made = {"bash": _bash, "zsh": _zsh, "fish": _fish}[shell](list(commands()))
    first = "#compdef evenbath\n" if shell == "zsh" else ""  # zsh reads the first line of a file of its $fpath
    return f"{first}# evenbath: completion for {shell}, made by `evenbath completion {shell}`. Place: {WHERE[shell]}\n{made}"


def commands() -> Iterator[Word]:
    """Every command with its arguments, as it declares them itself."""
    import importlib

    from monitor.cli.main import COMMANDS

    for name, (module, says) in COMMANDS.items():
        parser = argparse.ArgumentParser(prog=f"evenbath {name}", allow_abbrev=False)
        importlib.import_module(module).configure(parser)
        yield _read(name, says, parser)


def _read(name: str, says: str, parser: argparse.ArgumentParser) -> Word:
    options: list[Word] = []
    places: list[Takes] = []
    below: list[Word] = []
    for action in parser._actions:  # argparse has no public way to list them
        if isinstance(action, argparse._SubParsersAction):
            helps = {choice.dest: choice.help or "" for choice in action._choices_actions}
            below += [_read(sub, helps.get(sub, ""), told) for sub, told in action.choices.items()]
        elif action.option_strings:
            takes = None if action.nargs == 0 else _takes(action)
            help_text = "" if action.help in (None, argparse.SUPPRESS) else str(action.help).replace("%%", "%")
            options.append(Word(max(action.option_strings, key=len), help_text, takes))
        elif (takes := _takes(action)) not in places:
            places.append(takes)
    return Word(name, says, None, tuple(options), tuple(places), tuple(below))


def _takes(action: argparse.Action) -> Takes:
    if action.choices is not None:
        return Takes(choices=tuple(map(str, action.choices)))
    name = action.metavar if isinstance(action.metavar, str) else action.dest
    ending = name.rpartition(".")[2]
    if "." in name and ending in ENDINGS:
        return Takes(ending=ending)
    if "JOURNAL" in name:
        return Takes(ending="jsonl")
    return Takes(folder=name in FOLDERS, file=name == "FILE")


def _paths(words: Sequence[Word], above: str = "") -> Iterator[tuple[str, Word]]:
    """Each command with its path, such as "bottle add"."""
    for word in words:
        path = f"{above} {word.name}".strip()
        yield path, word
        yield from _paths(word.below, path)


def _cases(name: str, rows: Sequence[tuple[str, Sequence[str]]]) -> str:
    """A function of the shell that prints the lines that belong to its argument."""
    told = "".join(f"    {shlex.quote(key)}) printf '%s\\n' {' '.join(map(shlex.quote, lines))} ;;\n" for key, lines in rows if lines)
    return f'{name}() {{\n  case "$1" in\n{told}  esac\n}}\n'


def _tables(words: Sequence[Word]) -> str:
    """What bash and zsh share: which words, options, values and places there are, by the path of the command."""
    paths = list(_paths(words))
    below = [("", [w.name for w in words]), *((path, [w.name for w in word.below]) for path, word in paths)]
    options = [(path, [o.name for o in word.options]) for path, word in paths]
    choices = [(f"{path} {o.name}", o.takes.choices) for path, word in paths for o in word.options if o.takes is not None]
    choices += [(path, tuple(c for place in word.places for c in place.choices)) for path, word in paths]
    values = [(f"{path} {o.name}", [o.takes.spec or "text"]) for path, word in paths for o in word.options if o.takes is not None]
    places = [(path, [p.spec for p in word.places if p.spec]) for path, word in paths]
    return "".join((
        _cases("_evenbath_below", below), _cases("_evenbath_options", options), _cases("_evenbath_choices", choices),
        _cases("_evenbath_value", values), _cases("_evenbath_places", places),
    ))  # fmt: skip


_WALK = """\
# Follows the words before the cursor: sets `where` to the command's path, `value` to the option whose value comes next.
_evenbath_walk() {
  local word
  where= value=
  for word in "$@"; do
    if [ -n "$value" ]; then value=; continue; fi
    case "$word" in
      --*=*) ;;
      -*) if [ -n "$(_evenbath_value "$where $word")" ]; then value=$word; fi ;;
      *) if _evenbath_below "$where" | grep -qxF -e "$word"; then where="${where:+$where }$word"; fi ;;
    esac
  done
}
"""


def _bash(words: Sequence[Word]) -> str:
    return (
        _tables(words)
        + _WALK
        + """\
_evenbath() {
  local cur=${COMP_WORDS[COMP_CWORD]} where value line kind before
  before=("${COMP_WORDS[@]:1:COMP_CWORD-1}")
  if [ "$cur" = "=" ]; then cur=
  elif [ "${COMP_WORDS[COMP_CWORD-1]}" = "=" ]; then before=("${COMP_WORDS[@]:1:COMP_CWORD-2}"); fi
  _evenbath_walk "${before[@]}"
  COMPREPLY=()
  _evenbath_offer() { if [ "${1#"$cur"}" != "$1" ] || [ -z "$cur" ]; then COMPREPLY+=("$(printf %q "$1")"); fi; }
  _evenbath_files() {
    compopt -o filenames 2>/dev/null
    while IFS= read -r line; do COMPREPLY+=("$line"); done < <(
      compgen -d -- "$cur"
      case "$1" in ending\\ *) compgen -f -X "!*.${1#ending }" -- "$cur" ;; file) compgen -f -- "$cur" ;; esac)
  }
  if [ -n "$value" ]; then
    while IFS= read -r line; do _evenbath_offer "$line"; done < <(_evenbath_choices "$where $value")
    kind=$(_evenbath_value "$where $value")
    case "$kind" in ending\\ *|folder|file) _evenbath_files "$kind" ;; esac
    return
  fi
  case "$cur" in
    -*) while IFS= read -r line; do _evenbath_offer "$line"; done < <(_evenbath_options "$where") ;;
    *)
      while IFS= read -r line; do _evenbath_offer "$line"; done < <(_evenbath_below "$where"; [ -z "$where" ] || _evenbath_choices "$where")
      while IFS= read -r kind; do _evenbath_files "$kind"; done < <(_evenbath_places "$where") ;;
  esac
}
complete -F _evenbath evenbath
"""
    )


def _zsh(words: Sequence[Word]) -> str:
    return (
        _tables(words)
        + _WALK
        + """\
_evenbath() {
  local where value kind cur=${words[CURRENT]}
  local -a found
  _evenbath_walk "${(@)words[2,CURRENT-1]}"
  if [[ $cur == --*=* ]]; then value=${cur%%=*}; compset -P '*='; fi
  _evenbath_files() {
    case $1 in
      ending\\ *) _files -g "*.${1#ending }" ;;
      folder) _files -/ ;;
      file) _files ;;
    esac
  }
  if [[ -n $value ]]; then
    found=(${(f)"$(_evenbath_choices "$where $value")"})
    (( $#found )) && compadd -a found
    _evenbath_files "$(_evenbath_value "$where $value")"
  elif [[ $cur == -* ]]; then
    found=(${(f)"$(_evenbath_options "$where")"})
    compadd -a found
  else
    found=(${(f)"$(_evenbath_below "$where"; [[ -z $where ]] || _evenbath_choices "$where")"})
    (( $#found )) && compadd -a found
    for kind in ${(f)"$(_evenbath_places "$where")"}; do _evenbath_files "$kind"; done
  fi
}
if [[ ${funcstack[1]} == _evenbath ]]; then _evenbath "$@"; else compdef _evenbath evenbath; fi
"""
    )


_FISH_FILES = """\
function __evenbath_files
    set -l start (commandline -ct)
    for found in $start*.$argv[1] $start*/
        echo $found
    end
end
"""
"""Files of one kind and folders; fish's own function offers all files, those of the kind first."""


def _fish(words: Sequence[Word]) -> str:
    lines = [_FISH_FILES + "complete -c evenbath -f"]
    lines += [f"complete -c evenbath -n __fish_use_subcommand -a {_single(w.name)} -d {_single(w.says)}" for w in words]
    for path, word in _paths(words):
        seen = "; and ".join(f"__fish_seen_subcommand_from {part}" for part in path.split())
        if word.below:
            names = " ".join(w.name for w in word.below)
            free = _single(f"{seen}; and not __fish_seen_subcommand_from {names}")
            lines += [f"complete -c evenbath -n {free} -a {w.name} -d {_single(w.says)}" for w in word.below]
        for option in word.options:
            value = (
                ""
                if option.takes is None
                else (" -r" if option.takes.file else " -x") + "".join(f" {given}" for given in _fish_given(option.takes))
            )
            lines.append(f"complete -c evenbath -n {_single(seen)} -l {option.name.lstrip('-')}{value} -d {_single(option.says)}")
        for place in word.places:
            lines += [f"complete -c evenbath -n {_single(seen)} {given}" for given in _fish_given(place)]
    return "\n".join(lines) + "\n"


def _fish_given(takes: Takes) -> Iterator[str]:
    if takes.choices:
        yield "-a " + _single(" ".join(_single(choice) for choice in takes.choices))
    elif takes.ending:
        yield f"-a {_single(f'(__evenbath_files {takes.ending})')}"
    elif takes.folder:
        yield f"-a {_single('(__fish_complete_directories)')}"
    elif takes.file:
        yield "-F"


def _single(text: str) -> str:
    """Quoted for fish, where a backslash and a quote alone have to be escaped."""
    return "'" + text.replace("\\", "\\\\").replace("'", "\\'") + "'"
