"""A case's file only grows: nothing recorded is lost or half there, whatever happens while it is written."""

from __future__ import annotations

import json
import os
import resource
import signal
import subprocess
import sys
import textwrap
from pathlib import Path

import pytest

from tracer.case import file as file_module
from tracer.case.file import append, append_all, create, read_case
from tracer.entry.files import NotWritten
from tracer.entry.problems import CannotCompute

OPENING = {"kind": "open", "at": "2026-03-31T10:00:00+00:00", "plan": {}}


@pytest.fixture
def file(tmp_path: Path) -> Path:
    name = tmp_path / "a.case"
    create(name, OPENING)
    return name


def numbers(file: Path) -> list[int]:
    return [entry["n"] for entry in read_case(file).entries]


def test_entries_come_back_in_order_and_a_case_is_never_written_over(file: Path) -> None:
    assert [append(file, {"kind": "x", "text": "Überlauf\n\u2028"}) for _ in range(3)] == [2, 3, 4]
    assert numbers(file) == [1, 2, 3, 4]
    assert read_case(file).damaged == ()
    assert read_case(file).entries[1]["text"] == "Überlauf  "
    with pytest.raises(NotWritten, match="never written over"):
        create(file, OPENING)
    assert numbers(file) == [1, 2, 3, 4]
    assert [path.name for path in file.parent.iterdir()] == ["a.case"]
    assert file.stat().st_mode & 0o077 == 0  # a customer's data


def test_a_line_cut_off_at_any_byte_is_seen_and_nothing_before_it_is_lost(file: Path) -> None:
    append(file, {"kind": "x", "text": "first"})
    whole = file.read_bytes()
    append(file, {"kind": "x", "text": "second"})
    last = file.read_bytes()[len(whole) :]
    for length in range(1, len(last) - 1):
        file.write_bytes(whole + last[:length])
        found = read_case(file)
        assert [entry["n"] for entry in found.entries] == [1, 2]
        assert "was cut off while it was written" in found.cut[0] and found.damaged == ()
    assert append(file, {"kind": "x", "text": "third"}) == 3
    assert numbers(file) == [1, 2, 3]
    assert "was cut off while it was written" in read_case(file).cut[0]
    assert read_case(file).damaged == ()  # it was never recorded, so nothing is lost


def test_an_altered_line_and_a_missing_one_are_named(file: Path) -> None:
    for text in ("one", "two", "three"):
        append(file, {"kind": "x", "text": text})
    lines = file.read_text(encoding="utf-8").splitlines(keepends=True)
    file.write_text("".join([*lines[:2], lines[2].replace("two", "tow"), lines[3]]), encoding="utf-8")
    assert numbers(file) == [1, 2, 4]
    assert read_case(file).damaged == ("line 3 is damaged: it does not count", "entries missing: 3")
    file.write_text("".join([*lines[:2], lines[3]]), encoding="utf-8")
    assert read_case(file).damaged == ("entries missing: 3",)


def test_numbers_that_jump_and_very_many_lines_that_are_not_whole_are_told_in_few_words(file: Path) -> None:
    line = file.read_text(encoding="utf-8")
    far = file_module._line({"n": 10**12, "kind": "x"}).decode()  # each number in between took memory of its own
    file.write_text(line + far, encoding="utf-8")
    assert read_case(file).damaged == ("entries missing: 2 to 999999999999",)
    near = "".join(file_module._line({"n": n, "kind": "x"}).decode() for n in (3, 4, 8))
    file.write_text(line + near, encoding="utf-8")
    assert read_case(file).damaged == ("entries missing: 2 and 5 to 7",)
    file.write_text(line + '{"n":2,"sum":"0123456789abcdef"}\n' * 30, encoding="utf-8")
    found = read_case(file).damaged
    assert (len(found), found[0], found[-1]) == (
        21,
        "line 2 is damaged: it does not count",
        "10 more lines are not whole either",
    )


def test_a_line_of_lists_in_lists_does_not_count(file: Path) -> None:
    body = '{"n":2,"x":' + "[" * 100_000 + "]" * 100_000 + "}"
    deep = f'{body[:-1]},"sum":"{file_module._sum(body)}"}}\n'
    file.write_text(file.read_text(encoding="utf-8") + deep, encoding="utf-8")
    assert read_case(file).damaged == ("line 2 is damaged: it does not count",)


def test_several_entries_are_added_together_and_of_one_name_only_the_first(file: Path) -> None:
    handed = [{"kind": "x", "handed": name} for name in ("a-1", "a-2", "a-1")]
    assert append_all(file, handed) == [2, 3, 0]
    assert append_all(file, handed) == [0, 0, 0]
    assert append_all(file, []) == []
    assert numbers(file) == [1, 2, 3]


def test_a_line_that_lost_its_end_after_it_was_recorded_is_damaged(file: Path) -> None:
    for text in ("one", "two", "three"):
        append(file, {"kind": "x", "text": text})
    lines = file.read_bytes().splitlines(keepends=True)
    file.write_bytes(b"".join([*lines[:2], lines[2][:30] + b"\n", lines[3]]))
    found = read_case(file)
    assert found.damaged == ("entries missing: 3", "line 3 was cut off while it was written (30 bytes)")
    assert found.cut == ()


def test_what_is_no_case_is_said(tmp_path: Path) -> None:
    for content in (b"", b"{}\n", b"\xff\x00\n", json.dumps({"n": 1, "schema": "tracer.case/1"}).encode()):
        (tmp_path / "b").write_bytes(content)
        with pytest.raises(CannotCompute, match="is no case"):
            read_case(tmp_path / "b")
        with pytest.raises(CannotCompute, match="is no case"):
            append(tmp_path / "b", {"kind": "x"})
        assert (tmp_path / "b").read_bytes() == content
    with pytest.raises(CannotCompute, match="cannot read"):
        read_case(tmp_path / "none")
    with pytest.raises(NotWritten, match="Nothing is recorded"):
        append(tmp_path / "none", {"kind": "x"})


def test_a_full_disk_records_nothing_and_says_so(file: Path) -> None:
    append(file, {"kind": "x"})
    before = file.read_bytes()
    limits = resource.getrlimit(resource.RLIMIT_FSIZE)
    handler = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (len(before) + 100, limits[1]))  # writing stops in the middle of the line
    try:
        with pytest.raises(NotWritten, match="Nothing is recorded"):
            append(file, {"kind": "x", "text": "y" * 1000})
        with pytest.raises(NotWritten, match="cannot write"):
            create(file.with_name("new.case"), {**OPENING, "text": "y" * 5000})
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, limits)
        signal.signal(signal.SIGXFSZ, handler)
    assert file.read_bytes() == before
    assert [path.name for path in file.parent.iterdir()] == ["a.case"]


WRITER = textwrap.dedent("""
    import sys
    from pathlib import Path
    from tracer.case.file import append
    print("begun", flush=True)
    for number in range(int(sys.argv[3])):
        append(Path(sys.argv[1]), {"kind": "x", "who": sys.argv[2], "number": number, "text": "z" * 500})
        print(number, flush=True)
""")


def writer(file: Path, who: str, count: int) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-c", WRITER, str(file), who, str(count)], stdout=subprocess.PIPE, text=True
    )


def test_two_writers_at_once_lose_nothing(file: Path) -> None:
    both = [writer(file, who, 40) for who in "ab"]
    assert [one.wait() for one in both] == [0, 0]
    for one in both:
        assert one.stdout is not None
        one.stdout.close()
    found = read_case(file)
    assert [entry["n"] for entry in found.entries] == list(range(1, 82))
    for who in "ab":
        assert [entry["number"] for entry in found.entries[1:] if entry["who"] == who] == list(range(40))
    assert found.damaged == ()


def test_a_writer_killed_at_any_moment_loses_nothing_that_it_said_was_recorded(file: Path) -> None:
    for _ in range(6):
        before = len(read_case(file).entries)
        with writer(file, "k", 100_000) as killed:
            assert killed.stdout is not None
            said = [killed.stdout.readline() for _ in range(5)]
            killed.kill()
            said += killed.stdout.readlines()
        recorded = len([line for line in said if line.strip().isdigit()])
        assert len(read_case(file).entries) - before >= recorded
        append(file, {"kind": "x"})  # and the file can be written on
    assert numbers(file) == list(range(1, len(numbers(file)) + 1))


def test_a_file_that_may_not_be_written_is_said(file: Path) -> None:
    file.chmod(0o400)
    if os.geteuid() != 0:
        with pytest.raises(NotWritten, match="Nothing is recorded"):
            append(file, {"kind": "x"})
    with pytest.raises(NotWritten, match="is no folder"):
        create(file / "below.case", OPENING)
