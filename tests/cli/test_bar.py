"""The progress bar of what takes longer than a second: on a terminal only, and never in the answer."""

from __future__ import annotations

import io
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from tracer.cli import app
from tracer.cli.answer import Bar

DEMO = str(Path(__file__).parents[2] / "circuits" / "minibus")


class _Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_each_answer_is_one_more_that_is_done(monkeypatch: pytest.MonkeyPatch) -> None:
    terminal = _Terminal()
    monkeypatch.setattr("tracer.cli.answer.BAR_AFTER_S", -1.0)
    monkeypatch.setattr(sys, "stderr", terminal)
    with Bar("lists", 3) as bar:
        assert list(bar.over("abc")) == ["a", "b", "c"]
        assert bar._shown is not None
        assert bar._shown.tasks[0].completed == 3
    assert "lists" in terminal.getvalue()


def test_there_is_no_bar_where_nobody_looks_or_nothing_takes_long(monkeypatch: pytest.MonkeyPatch) -> None:
    with Bar("lists", 1) as bar:
        assert list(bar.over("a")) == ["a"] and bar._shown is None
    monkeypatch.setattr(sys, "stderr", _Terminal())
    with Bar("lists", 1) as bar:
        assert list(bar.over("a")) == ["a"] and bar._shown is None


@pytest.mark.parametrize("words", [["supplies"], ["supplies", "--place", "FPC"]])
def test_every_list_goes_over_the_bar(words: list[str], monkeypatch: pytest.MonkeyPatch) -> None:
    done: list[str] = []
    monkeypatch.setattr(Bar, "advance", lambda bar: done.append(bar._what))
    plain = CliRunner().invoke(app, ["-C", DEMO, *words], catch_exceptions=False)
    assert plain.exit_code in (0, 3)
    assert len(done) > 3 and set(done) == {"lists"}
