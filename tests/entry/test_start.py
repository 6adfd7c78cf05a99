"""`tracer new`: files that already pass, written whole or not at all, and never over anything."""

from __future__ import annotations

import os
import stat
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
import yaml
from jsonschema import Draft202012Validator

import tracer
from tracer.entry import files
from tracer.entry.schema import schema_texts, sheet_schema, vehicle_schema
from tracer.entry.start import CannotStart, start_vehicle
from tracer.trace.rules.registry import loose_ends
from tracer.trace.tracing import Tracing


def _content(folder: Path) -> dict[str, bytes | str]:
    """Every file, folder and link below, by name."""
    return {
        str(path.relative_to(folder)): os.readlink(path)
        if path.is_symlink()
        else path.read_bytes()
        if path.is_file()
        else "folder"
        for path in sorted(folder.rglob("*"))
    }


@contextmanager
def _umask(mask: int) -> Iterator[None]:
    before = os.umask(mask)
    try:
        yield
    finally:
        os.umask(before)


def test_a_start_passes_and_its_module_is_complete(tmp_path: Path) -> None:
    written = start_vehicle(tmp_path / "van")
    assert [str(path.relative_to(tmp_path)) for path in written] == [
        "van/vehicle.yaml", "van/sheets/01.yaml", "van/schemas/vehicle.schema.json", "van/schemas/sheet.schema.json"]  # fmt: skip
    assert all(path.is_file() for path in written)
    tracing = Tracing(tracer.load(str(tmp_path / "van")))
    assert loose_ends(tracing) == []
    report = tracer.supplies(tracing, "MOD")
    assert report.complete
    assert [row.code for row in report.supplies] == ["S1"]
    assert [row.code for row in report.grounds] == ["G1"]


def test_a_start_has_the_schemas_that_its_comments_name(tmp_path: Path) -> None:
    folder = tmp_path / "van"
    start_vehicle(folder)
    for name, schema in (("vehicle.yaml", vehicle_schema()), ("sheets/01.yaml", sheet_schema())):
        text = (folder / name).read_text(encoding="utf-8")
        named = text.splitlines()[0].partition("$schema=")[2]
        assert (folder / name).parent.joinpath(named).resolve().read_text(encoding="utf-8") in schema_texts().values()
        assert Draft202012Validator(schema).is_valid(yaml.load(text, Loader=yaml.BaseLoader))


@pytest.mark.parametrize("key", ["conditions", "lights", "15"])
def test_what_a_start_shows_as_a_comment_works_when_the_mark_is_taken_away(key: str, tmp_path: Path) -> None:
    folder = tmp_path / "van"
    start_vehicle(folder)
    text = (folder / "vehicle.yaml").read_text(encoding="utf-8")
    assert key in text
    opened = (
        text.replace("# conditions:", "conditions:")
        .replace("#   lights", "  lights")
        .replace("#   after-run", "  after-run")
    )
    opened = opened.replace('  # "15"', '  "15"')
    (folder / "vehicle.yaml").write_text(opened, encoding="utf-8")
    vehicle = tracer.load(str(folder)).typed.vehicle
    assert (list(vehicle.conditions), list(vehicle.rails)) == (["lights", "after-run"], ["30", "15", "31"])


@pytest.mark.parametrize(
    "name",
    [
        "Länge 2.5 mm² van",
        "a'b\"c",
        "-C",
        "--help",
        "[x]",
        "#1",
        "line\nbreak",
        "x" * 200,
        "…",
        ".hidden",
        "a b/../a b",
        "\udcff",
    ],
    ids=ascii,
)
def test_unusual_names_of_a_folder_work(name: str, tmp_path: Path) -> None:
    if "/" in name:
        (tmp_path / "a b").mkdir()
    start_vehicle(tmp_path / name)
    assert tracer.load(str(tmp_path / name)).parts["MOD"].kind == "module"


def test_a_name_that_the_disk_cannot_hold_is_told(tmp_path: Path) -> None:
    for name in ("x" * 300, "a\0b"):
        with pytest.raises(CannotStart):
            start_vehicle(tmp_path / name)
    assert _content(tmp_path) == {}


@pytest.mark.parametrize(
    ("mask", "folder_mode", "file_mode"),
    [(0o022, 0o755, 0o644), (0o077, 0o700, 0o600), (0o002, 0o775, 0o664), (0, 0o777, 0o666)],
)
def test_the_umask_is_kept(mask: int, folder_mode: int, file_mode: int, tmp_path: Path) -> None:
    with _umask(mask):
        written = start_vehicle(tmp_path / "van")
        assert os.umask(mask) == mask
    for folder in (tmp_path / "van", tmp_path / "van" / "sheets"):
        assert stat.S_IMODE(folder.stat().st_mode) == folder_mode
    assert {stat.S_IMODE(path.stat().st_mode) for path in written} == {file_mode}


def test_an_empty_folder_is_filled(tmp_path: Path) -> None:
    (tmp_path / "van").mkdir()
    start_vehicle(tmp_path / "van")
    assert (tmp_path / "van" / "vehicle.yaml").is_file()


def test_the_current_folder_is_filled_when_it_is_empty(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "van").mkdir()
    monkeypatch.chdir(tmp_path / "van")
    start_vehicle(Path())
    assert (tmp_path / "van" / "vehicle.yaml").is_file()
    assert Path("vehicle.yaml").is_file()


def test_nothing_is_ever_overwritten(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("mine", encoding="utf-8")
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / ".kept").write_text("mine", encoding="utf-8")
    (tmp_path / "empty").mkdir()
    for name, target in (
        ("to-file", "file"),
        ("to-full", "full"),
        ("to-empty", "empty"),
        ("to-nothing", "nothing"),
        ("to-itself", "to-itself"),
    ):
        (tmp_path / name).symlink_to(target)
    before = _content(tmp_path)
    for name in ("file", "full", "to-file", "to-full", "to-empty", "to-nothing", "to-itself"):
        with pytest.raises(CannotStart):
            start_vehicle(tmp_path / name)
        assert _content(tmp_path) == before, name


def test_a_folder_that_is_nowhere_is_told(tmp_path: Path) -> None:
    with pytest.raises(CannotStart, match="nothing was written"):
        start_vehicle(tmp_path / "no" / "where")
    (tmp_path / "file").write_text("mine", encoding="utf-8")
    with pytest.raises(CannotStart, match="nothing was written"):
        start_vehicle(tmp_path / "file" / "van")
    assert set(_content(tmp_path)) == {"file"}


@pytest.mark.parametrize("fails_at", range(4))
def test_a_write_that_fails_leaves_nothing_behind(
    fails_at: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    writes = 0
    real = files._replace

    def full_disk(target: Path, content: bytes) -> None:
        nonlocal writes
        writes += 1
        if writes > fails_at:
            raise OSError(28, "No space left on device")
        real(target, content)

    (tmp_path / "van").mkdir()
    monkeypatch.setattr(files, "_replace", full_disk)
    with pytest.raises(CannotStart, match=r"No space left on device\. Nothing was written"):
        start_vehicle(tmp_path / "van")
    assert _content(tmp_path) == {"van": "folder"}


def test_a_rename_that_fails_leaves_nothing_behind(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refused(self: Path, target: Path) -> Path:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "rename", refused)
    with pytest.raises(CannotStart, match="Permission denied"):
        start_vehicle(tmp_path / "van")
    assert _content(tmp_path) == {}


def test_an_interruption_leaves_nothing_behind(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def interrupted(self: Path, target: Path) -> Path:
        raise KeyboardInterrupt

    monkeypatch.setattr(Path, "rename", interrupted)
    with pytest.raises(KeyboardInterrupt):
        start_vehicle(tmp_path / "van")
    assert _content(tmp_path) == {}


def test_somebody_who_is_quicker_keeps_what_is_theirs(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    real = Path.chmod

    def meanwhile(self: Path, mode: int, **more: bool) -> None:
        (tmp_path / "van").mkdir(exist_ok=True)
        (tmp_path / "van" / "theirs").write_bytes(b"theirs")
        real(self, mode)

    monkeypatch.setattr(Path, "chmod", meanwhile)
    with pytest.raises(CannotStart):
        start_vehicle(tmp_path / "van")
    assert _content(tmp_path) == {"van": "folder", "van/theirs": b"theirs"}


def test_the_page_of_the_readme_gives_the_list_that_it_promises(tmp_path: Path) -> None:
    readme = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    sheet = readme.partition("```yaml\n# yaml-language-server")[2].partition("```")[0]
    start_vehicle(tmp_path / "van")
    (tmp_path / "van" / "sheets" / "01.yaml").write_text(f"#{sheet}", encoding="utf-8")
    (tmp_path / "van" / "vehicle.yaml").write_text('vehicle: van\nrails: {"30": always}\n', encoding="utf-8")
    assert '`rails: {"30": always}`' in readme
    report = tracer.supplies(tracer.load(tmp_path / "van"), "RMP")
    assert [row.point for row in (*report.supplies, *report.grounds)] == ["RMP.1", "RMP.2", "RMP.3"]
    assert (list(report.loose_ends), report.complete) == ([], False)
