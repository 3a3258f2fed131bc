"""A slip of the finger is answered by what was probably meant."""

from __future__ import annotations

import pytest

from monitor.cli.main import main


@pytest.mark.parametrize(
    ("words", "meant"),
    [
        (["paln"], "plan"),
        (["reherse"], "rehearse"),
        (["plan", "r.toml", "--jsno"], "--json"),
        (["mix", "--dilution", "1+31", "--total", "1 l", "--jsonn"], "--json"),
        (["rehearse", "r.toml", "--trase=t.csv"], "--trace"),
        (["bottle", "ad"], "add"),
        (["bottle", "list", "--jsn"], "--json"),
        (["completion", "fihs"], "fish"),
    ],
)
def test_the_nearest_command_or_option_is_named(words: list[str], meant: str, capsys: pytest.CaptureFixture[str]) -> None:
    """In the one line, with status 2; it is never taken for what was meant."""
    assert main(words) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.count("\n") == 1
    assert f'; did you mean "{meant}"?' in err


@pytest.mark.parametrize("words", [["dance"], ["plan", "r.toml", "--zzz"], ["bottle", "zzzzz"], ["plan", "a", "b"], ["mix"]])
def test_where_nothing_is_near_nothing_is_guessed(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    """The line is as ever."""
    assert main(words) == 2
    err = capsys.readouterr().err
    assert "did you mean" not in err
    assert err.count("\n") == 1
