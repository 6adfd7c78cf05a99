"""The options that every command has may stand before the command or behind it."""

from __future__ import annotations

import pytest

from tests.cli.test_volts_on_the_command_line import run

SHARED = [["--width", "40"], ["--width=40"], ["--decimal", "comma"], ["--plain"]]


@pytest.mark.parametrize("option", SHARED, ids=" ".join)
@pytest.mark.parametrize("command", [["supplies", "SDM"], ["bus"]], ids=" ".join)
def test_before_or_behind_is_the_same(option: list[str], command: list[str]) -> None:
    before, behind = run(*option, *command), run(*command, *option)
    assert (before.returncode, before.stdout) == (behind.returncode, behind.stdout)
    assert (before.stdout != run(*command).stdout) == (option != ["--plain"])


def test_a_value_that_is_missing_or_wrong_is_said_and_another_commands_option_is_not_taken() -> None:
    assert "--width: a value is missing behind it" in run("supplies", "SDM", "--width").stderr
    assert "--width: 20 is not in the range" in run("supplies", "SDM", "--width", "20").stderr
    assert "No such option: --widths" in run("supplies", "SDM", "--widths", "40").stderr


def test_what_stands_behind_two_dashes_is_no_option() -> None:
    done = run("supplies", "--", "--plain")
    assert done.returncode == 2
    assert "--plain" in done.stderr
