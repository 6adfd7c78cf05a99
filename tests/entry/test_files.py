"""A file is written whole or not at all, and what was typed in is never written over."""

from __future__ import annotations

import os
import resource
import signal
import subprocess
import sys
import tempfile
import textwrap
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from tracer.entry.files import NotWritten, beside, write_whole

OLD, NEW = b"old and whole\n", b"new and whole\n" * 4096


def test_a_new_file_and_one_that_is_there_hold_the_whole_content_and_nothing_lies_beside(tmp_path: Path) -> None:
    file = tmp_path / "list.csv"
    for content in (OLD, NEW):
        write_whole(file, content)
        assert file.read_bytes() == content
    assert [path.name for path in tmp_path.iterdir()] == ["list.csv"]


def test_a_file_keeps_its_rights_and_a_new_one_has_the_usual_ones(tmp_path: Path) -> None:
    file, usual = tmp_path / "list.csv", tmp_path / "usual"
    usual.write_bytes(b"")
    write_whole(file, OLD)
    assert file.stat().st_mode == usual.stat().st_mode
    file.chmod(0o640)
    write_whole(file, NEW)
    assert file.stat().st_mode & 0o777 == 0o640


def test_a_link_stays_a_link_and_the_file_it_names_is_written(tmp_path: Path) -> None:
    (tmp_path / "real.csv").write_bytes(OLD)
    link = tmp_path / "link.csv"
    link.symlink_to("real.csv")
    write_whole(link, NEW)
    assert link.is_symlink()
    assert (tmp_path / "real.csv").read_bytes() == NEW


def test_a_full_disk_leaves_what_stood_there(tmp_path: Path) -> None:
    file = tmp_path / "list.csv"
    file.write_bytes(OLD)
    limits = resource.getrlimit(resource.RLIMIT_FSIZE)
    before = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (1000, limits[1]))  # writing stops in the middle, as on a full disk
    try:
        with pytest.raises(NotWritten, match="cannot write"):
            write_whole(file, NEW)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, limits)
        signal.signal(signal.SIGXFSZ, before)
    assert file.read_bytes() == OLD
    assert [path.name for path in tmp_path.iterdir()] == ["list.csv"]


def test_a_device_is_written_to_and_not_replaced() -> None:
    write_whole(Path(os.devnull), NEW)
    assert not Path(os.devnull).is_file()
    with pytest.raises(NotWritten, match="No space left"):
        write_whole(Path("/dev/full"), NEW)


def test_a_folder_a_missing_folder_and_an_impossible_name_are_said(tmp_path: Path) -> None:
    for file in (tmp_path, tmp_path / "no" / "such.csv", tmp_path / "nul\0l"):
        with pytest.raises(NotWritten, match="cannot write"):
            write_whole(file, NEW)
    assert list(tmp_path.iterdir()) == []


@pytest.fixture
def as_nobody() -> Iterator[Callable[[int, Callable[[Path], None]], Path]]:
    """Has something done in a folder with these rights, by somebody who is not root; the folder, in which a list stands already."""
    with tempfile.TemporaryDirectory() as name:  # the folders of pytest shut out all but their owner
        top = Path(name)
        top.chmod(0o755)

        def done(rights: int, work: Callable[[Path], None]) -> Path:
            folder = top / "folder"
            folder.mkdir()
            (folder / "list.csv").write_bytes(OLD)
            folder.chmod(rights)
            child = os.fork()
            if child == 0:
                status = 1
                try:
                    if os.geteuid() == 0:
                        os.setuid(65534)
                    work(folder)
                    status = 0
                finally:
                    os._exit(status)
            assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 0
            folder.chmod(0o755)
            return folder

        yield done


def test_a_folder_without_the_right_to_write_is_said_to_somebody_who_is_not_root(as_nobody: Any) -> None:
    def refused(folder: Path) -> None:
        with pytest.raises(NotWritten, match="Permission denied"):
            write_whole(folder / "list.csv", NEW)

    assert (as_nobody(0o555, refused) / "list.csv").read_bytes() == OLD


def test_in_a_folder_that_cannot_be_listed_a_file_is_written(as_nobody: Any) -> None:
    folder = as_nobody(0o333, lambda folder: write_whole(folder / "list.csv", NEW))
    assert [path.name for path in folder.iterdir()] == ["list.csv"]
    assert (folder / "list.csv").read_bytes() == NEW


def test_two_writers_at_once_leave_one_whole_file(tmp_path: Path) -> None:
    file = tmp_path / "list.csv"
    program = textwrap.dedent("""
        import sys
        from pathlib import Path
        from tracer.entry.files import write_whole
        for _ in range(60):
            write_whole(Path(sys.argv[1]), sys.argv[2].encode() * 50_000)
    """)
    writers = [subprocess.Popen([sys.executable, "-c", program, str(file), letter]) for letter in "ab"]
    seen = set()
    while any(writer.poll() is None for writer in writers):
        if file.exists():
            content = file.read_bytes()
            assert len(content) == 50_000
            seen.add(content[:1])
            assert len(set(content)) == 1
    assert [writer.wait() for writer in writers] == [0, 0]
    assert seen
    assert [path.name for path in tmp_path.iterdir()] == ["list.csv"]


def test_a_writer_killed_at_any_moment_leaves_the_old_file_or_the_new_one(tmp_path: Path) -> None:
    file = tmp_path / "list.csv"
    program = textwrap.dedent("""
        import sys
        from pathlib import Path
        from tracer.entry.files import write_whole
        print("begun", flush=True)
        number = 0
        while True:
            number += 1
            write_whole(Path(sys.argv[1]), str(number % 10).encode() * 200_000)
    """)
    for _ in range(8):
        with subprocess.Popen([sys.executable, "-c", program, str(file)], stdout=subprocess.PIPE) as writer:
            assert writer.stdout is not None
            writer.stdout.readline()
            while not file.exists():
                assert writer.poll() is None
            writer.kill()
        content = file.read_bytes()
        assert (len(content), len(set(content))) == (200_000, 1)


def left_by_a_killed_writer(file: Path) -> Path:
    """What lies beside a file when its writer is killed before the last step."""
    before = set(file.parent.iterdir())
    child = os.fork()
    if child == 0:
        try:
            with beside(file, OLD):
                os.kill(os.getpid(), signal.SIGKILL)
        finally:
            os._exit(0)
    os.waitpid(child, 0)
    (left,) = set(file.parent.iterdir()) - before
    return left


def test_what_a_killed_writer_left_is_swept_up_an_hour_later_by_the_next_write_of_the_same_file(tmp_path: Path) -> None:
    file, hour = tmp_path / "list*.csv", 3600
    old, young, of_another = (left_by_a_killed_writer(one) for one in (file, file, tmp_path / "list7.csv"))
    not_ours = [
        tmp_path / f".{file.name}.20240101",
        tmp_path / f"{old.name}.kept",
        tmp_path / old.name.replace(old.name[-14:-12], "zz"),
    ]
    for one in not_ours:
        one.write_bytes(OLD)
    folder, link = (tmp_path / old.name.replace(old.name[-14:-12], letters) for letters in ("ab", "cd"))
    folder.mkdir()
    link.symlink_to(not_ours[0])
    for one in (old, of_another, folder, *not_ours):
        os.utime(one, (one.stat().st_mtime - hour - 60,) * 2)
    os.utime(young, (young.stat().st_mtime - hour + 60,) * 2)
    write_whole(file, NEW)
    assert set(tmp_path.iterdir()) == {file, young, of_another, folder, link, *not_ours}
    os.utime(young, (young.stat().st_mtime - 120,) * 2)
    write_whole(file, NEW)
    assert set(tmp_path.iterdir()) == {file, of_another, folder, link, *not_ours}
    assert file.read_bytes() == NEW


def test_what_was_typed_in_is_spared_under_any_name(tmp_path: Path) -> None:
    sheets = tmp_path / "van" / "sheets"
    sheets.mkdir(parents=True)
    (sheets / "1.yaml").write_bytes(OLD)
    (tmp_path / "link.csv").symlink_to(sheets / "1.yaml")
    for file in (sheets / "1.yaml", sheets / "new.csv", tmp_path / "link.csv", sheets / ".." / "sheets" / "1.yaml"):
        with pytest.raises(NotWritten, match="belongs to the vehicle"):
            write_whole(file, NEW, spare=[tmp_path / "van" / "vehicle.yaml", sheets])
    assert (sheets / "1.yaml").read_bytes() == OLD
    write_whole(tmp_path / "van" / "list.csv", NEW, spare=[sheets])
