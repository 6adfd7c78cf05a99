"""The file of a case: one entry a line, only ever added to.

A line is a JSON object that ends in the checksum of what stands before it (`"sum":"..."`, the first 16 hex digits of its SHA-256). So a line that was cut off
or altered is seen, and every other one still counts. Lines are numbered from 1; the first says which format it is. Writers lock the file, write one whole
line, and see it on the disk before they say that it is recorded; a line for which there was no room is taken back. Order is by number, never by clock.
"""

from __future__ import annotations

import contextlib
import errno
import json
import os
import re
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import Any

from tracer.entry.files import NotWritten, beside, sync_folder
from tracer.entry.problems import CannotCompute, listed
from tracer.entry.visible import all_visible

SCHEMA = "tracer.case/1"
_PATIENCE_S = 10.0
_MARK = ',"sum":"'
_MOST = 20  # lines that are not whole, or gaps, which are named one by one
_TO_ITS_END = re.compile(rb',"sum":"[0-9a-f]{16}"}$')  # a line that was written to its end

Entry = dict[str, Any]


@dataclass(frozen=True, slots=True)
class CaseFile:
    """What stands in a case's file: the entries that are whole, in order, and in words what is not.

    `damaged` is what was recorded once and is lost, `cut` what was never recorded: a line whose writing was broken off, and no number is missing.
    """

    file: Path
    entries: tuple[Entry, ...]
    damaged: tuple[str, ...]
    cut: tuple[str, ...] = ()


def read_case(file: Path) -> CaseFile:
    """Every whole entry of a case.

    Raises
    ------
    CannotCompute : there is no such file, it cannot be read, or its first line is not that of a case
    """
    try:
        if file.exists() and not file.is_file():
            raise CannotCompute(f"{file} is no file, and so no case.")
        content = file.read_bytes()
    except (OSError, ValueError) as error:  # ValueError: a name that no disk can hold
        raise CannotCompute(f"cannot read the case {file}: {getattr(error, 'strerror', None) or error}") from error
    return _parsed(file, content)


def create(file: Path, opening: Entry) -> None:
    """A new case with its first entry; nothing is ever written over.

    Raises
    ------
    NotWritten : the file is there already, or cannot be written
    """
    try:
        make_folder(file.parent)
        with beside(file, _line({"n": 1, "schema": SCHEMA, **opening}), 0o600) as whole:
            _named(whole, file)
        sync_folder(file.parent)
    except FileExistsError:
        raise NotWritten(f"{file} is there already: a case is never written over. Choose another name with -o.") from None  # fmt: skip
    except (OSError, ValueError) as error:
        raise NotWritten(f"cannot write {file}: {getattr(error, 'strerror', None) or error}") from error


def _named(whole: Path, file: Path) -> None:
    """Give a file that is whole its name; FileExistsError where that is taken."""
    try:
        os.link(whole, file)
    except OSError as error:
        if error.errno not in (errno.EPERM, errno.ENOTSUP, errno.ENOSYS):
            raise
        os.close(
            os.open(file, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        )  # a disk without second names, such as that of a stick
        whole.replace(file)


def make_folder(folder: Path) -> None:
    """A folder and those above it, where they are not there yet.

    Raises
    ------
    NotWritten : it cannot be made; what stands in the way is named
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except (FileExistsError, NotADirectoryError):
        other = next((one for one in (folder, *folder.parents) if one.exists() and not one.is_dir()), folder)
        raise NotWritten(f"cannot make the folder {folder}: {other} is no folder") from None
    except OSError as error:
        raise NotWritten(f"cannot make the folder {folder}: {error.strerror}") from error


class Grown(Exception):
    """Another call has added to the file since it was read: nothing is written."""


def append(file: Path, entry: Entry, *, after: int | None = None) -> int:
    """Add one entry; its number. It is on the disk when this returns. With `after`, only where that entry is still the last one.

    Raises
    ------
    Grown : it is not
    NotWritten : nothing was recorded; the text says why
    CannotCompute : the file is no case
    """
    return append_all(file, [entry], after=after)[0]


def append_all(file: Path, entries: Sequence[Entry], *, after: int | None = None) -> list[int]:
    """Add several entries, all or none, as `append` adds one. Of entries with the same `handed` only the first is ever added; another one gives 0."""
    try:
        handle = os.open(file, os.O_RDWR | getattr(os, "O_BINARY", 0))
    except OSError as error:
        raise NotWritten(f"cannot write to the case {file}: {error.strerror}. Nothing is recorded.") from error
    try:
        with _locked(handle, file):
            content = _all(handle)
            before = _parsed(file, content).entries
            known = {one["handed"] for one in before if "handed" in one}
            last: int = max(one["n"] for one in before)
            if after not in (None, last):
                raise Grown
            numbers, lines = list[int](), list[bytes]()
            for entry in entries:
                if entry.get("handed") in known:
                    numbers.append(0)
                    continue
                last += 1
                numbers.append(last)
                lines.append(_line({"n": last, **entry}))
                known |= {entry["handed"]} if "handed" in entry else set()
            if content and not content.endswith(b"\n"):  # the line before was cut off: it stays, closed
                lines.insert(0, b"\n")
            if any(numbers):
                _write(handle, len(content), b"".join(lines), file)
            return numbers
    finally:
        os.close(handle)


def _write(handle: int, at: int, line: bytes, file: Path) -> None:
    try:
        os.lseek(handle, at, os.SEEK_SET)
        written = 0
        while written < len(line):
            written += os.write(handle, line[written:])
        os.fsync(handle)
    except OSError as error:
        with contextlib.suppress(OSError):
            os.ftruncate(handle, at)
        raise NotWritten(f"cannot write to the case {file}: {error.strerror}. Nothing is recorded.") from error


def _all(handle: int) -> bytes:
    os.lseek(handle, 0, os.SEEK_SET)
    pieces = []
    while piece := os.read(handle, 1 << 20):
        pieces.append(piece)
    return b"".join(pieces)


def _line(entry: Entry) -> bytes:
    body = json.dumps(all_visible(entry), ensure_ascii=False, separators=(",", ":"))
    return f'{body[:-1]}{_MARK}{_sum(body)}"}}\n'.encode()


def _sum(body: str) -> str:
    return sha256(body.encode()).hexdigest()[:16]


def _entry(line: bytes) -> Entry | None:
    """The entry of a line; None where it is not whole."""
    try:
        text = line.decode()
        before, mark, after = text.rpartition(_MARK)
        if not mark or after != f'{_sum(before + "}")}"}}':
            return None
        entry = json.loads(text)
    except (ValueError, RecursionError):  # RecursionError: lists in lists, as none is written here
        return None
    return entry if isinstance(entry, dict) and isinstance(entry.get("n"), int) else None


def _parsed(file: Path, content: bytes) -> CaseFile:
    entries, damaged, cut = [], [], []
    for number, line in enumerate(content.split(b"\n"), 1):
        entry = _entry(line) if line else None
        if entry is not None:
            entries.append(entry)
        elif _TO_ITS_END.search(line):
            damaged.append(f"line {number} is damaged: it does not count")
        elif line:
            cut.append(f"line {number} was cut off while it was written ({len(line)} bytes): it was not recorded, everything else is")  # fmt: skip
    if not entries or entries[0].get("schema") != SCHEMA or entries[0]["n"] != 1:
        raise CannotCompute(f"{file} is no case of this program ({SCHEMA}).")
    damaged, cut = (_first(words) for words in (damaged, cut))
    if missing := list(_gaps(sorted({entry["n"] for entry in entries}))):
        damaged.append(f"entries missing: {listed(missing, most=_MOST, joiner='and')}")
        damaged, cut = [*damaged, *(words.partition(":")[0] for words in cut)], []
    return CaseFile(file, tuple(entries), tuple(damaged), tuple(cut))


def _first(words: list[str]) -> list[str]:
    """Of many lines that are not whole the first."""
    more = len(words) - _MOST
    return words if more <= 0 else [*words[:_MOST], f"{more} more lines are not whole either"]


def _gaps(known: list[int]) -> Iterator[str]:
    """The numbers that are missing, those in a row together."""
    for before, after in zip([0, *known], known, strict=False):
        if after - before == 2:
            yield str(before + 1)
        elif after - before > 2:
            yield f"{before + 1} to {after - 1}"


@contextlib.contextmanager
def _locked(handle: int, file: Path) -> Iterator[None]:
    """Alone with the file; other writers wait."""
    try:
        import fcntl
    except ImportError:  # Windows: its lock is on bytes, here on one that is never written
        import msvcrt

        lock: Any = msvcrt
        os.lseek(handle, 1 << 40, os.SEEK_SET)
        _patiently(lambda: lock.locking(handle, lock.LK_NBLCK, 1), file)
        try:
            yield
        finally:
            os.lseek(handle, 1 << 40, os.SEEK_SET)
            lock.locking(handle, lock.LK_UNLCK, 1)
        return
    _patiently(lambda: fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB), file)
    try:
        yield
    finally:
        fcntl.flock(handle, fcntl.LOCK_UN)


def _patiently(take: Any, file: Path) -> None:
    end = time.monotonic() + _PATIENCE_S
    while True:
        try:
            take()
            return
        except OSError as error:
            if not isinstance(error, (BlockingIOError, PermissionError)):  # no lock at all on this disk
                raise NotWritten(f"cannot lock the case {file}: {error.strerror}. Nothing is recorded.") from error
            if time.monotonic() > end:
                raise NotWritten(f"{file} is being written by another call. Nothing is recorded.") from error
            time.sleep(0.01)


__all__ = ["SCHEMA", "CaseFile", "Entry", "Grown", "append", "append_all", "create", "make_folder", "read_case"]
