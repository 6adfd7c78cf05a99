"""`tracer demo`: what somebody without make sees first, and paths as they are on any desk."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from typer.testing import CliRunner

from tracer.cli import app
from tracer.entry import start

ROOT = Path(__file__).resolve().parents[2]


def call(*arguments: str) -> tuple[int, str]:
    done = CliRunner().invoke(app, [*arguments], catch_exceptions=False)
    return done.exit_code, done.output


def test_the_demo_is_the_list_of_its_module_and_says_how_it_is_asked_for(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:  # fmt: skip
    monkeypatch.chdir(tmp_path)
    folder, module = start.demo_folder(), start.DEMO[1]
    status, shown = call("demo")
    assert status == 0
    assert shown == f'tracer -C "{folder}" supplies {module}\n' + call("-C", str(folder), "supplies", module)[1]
    makefile = (ROOT / "Makefile").read_text(encoding="utf-8")
    assert f"DEMO   ?= circuits/{start.DEMO[0]}\nMODULE ?= {module}\n" in makefile


def test_an_installed_program_has_the_demo_inside_itself(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    package = tmp_path / "site-packages" / "tracer"
    (package / "entry").mkdir(parents=True)
    shutil.copytree(ROOT / "circuits" / "minibus", package / "_circuits" / "minibus")
    monkeypatch.setattr(start, "__file__", str(package / "entry" / "start.py"))
    assert start.demo_folder() == package / "_circuits" / "minibus"


@pytest.mark.parametrize("name", ["My Documents", "Büro Nr. 3", "日本", "a'b & c", "%TEMP%", "x" * 120])
def test_a_folder_may_be_called_anything(name: str, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("TRACER_STATE", str(tmp_path / name / "state"))
    monkeypatch.chdir(tmp_path)
    (tmp_path / name).mkdir()
    folder = f"{name}/van"
    assert call("new", folder)[0] == 0
    for file in (tmp_path / folder).rglob("*.yaml"):  # as an editor on Windows saves them
        file.write_bytes(b"\xef\xbb\xbf" + file.read_bytes().replace(b"\n", b"\r\n"))
    assert call("-C", folder, "check")[0] in (0, 3)
    assert call("-C", folder, "worksheet", "MOD", "-o", f"{name}/w.html")[0] in (0, 3)
    assert call("-C", folder, "case", "open", "MOD")[0] == 0
    assert call("read", "battery=12.5")[0] == 0
