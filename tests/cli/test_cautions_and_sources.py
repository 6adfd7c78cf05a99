"""`tracer cautions` and `tracer sources`: everything once, and from no vehicle."""

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

import tracer
from tracer.cli import app
from tracer.standards.cautions import WORK_KINDS, cautions_for


def run(*words: str) -> str:
    done = CliRunner().invoke(app, list(words), catch_exceptions=False)
    assert done.exit_code == 0
    return done.stdout


def test_every_caution_stands_once_and_the_makers_procedure_first(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)  # no vehicle is asked for
    text = " ".join(run("--width", "120", "cautions").split())
    every = {one.text for kind in WORK_KINDS for one in cautions_for(kind)}
    assert every == {one.text for one in tracer.cautions()}
    assert [words for words in every if text.count(words) != 1] == []
    first = tracer.cautions()[0]
    assert first.id == "maker-first" and min(text.index(words) for words in every) == text.index(first.text)
    data = json.loads(run("cautions", "--json"))
    assert data["schema"] == "tracer.cautions/1" and {one["text"] for one in data["cautions"]} == every


def test_every_document_stands_once_under_its_kind() -> None:
    text = " ".join(run("--width", "120", "sources").split())
    assert [one.title for one in tracer.sources() if one.title not in text] == []
    data = json.loads(run("sources", "--json"))
    assert [one["id"] for one in data["sources"]] == [one.id for one in tracer.sources()]
    assert {one["kind"] for one in data["sources"]} <= {"standard", "handbook", "maker"}


@pytest.mark.parametrize("width", ["40", "80"])
def test_no_line_of_several_words_is_wider_than_asked_for(width: str) -> None:
    for command in ("cautions", "sources"):
        lines = run("--width", width, command).splitlines()
        assert [line for line in lines if len(line) > int(width) and len(line.split()) > 2] == []
