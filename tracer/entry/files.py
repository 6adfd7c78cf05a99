"""Files are written whole or not at all: beside the wanted name, on the disk, then renamed over it. Nor are they read by halves."""

from __future__ import annotations

import contextlib
import errno
import os
import re
import stat
import time
from collections.abc import Iterable, Iterator
from pathlib import Path


class NotWritten(Exception):
    """A file was not written, and what stood there is as it was; the text says why."""


def write_whole(file: Path, content: bytes, *, spare: Iterable[Path] = (), spare_endings: tuple[str, ...] = ()) -> None:
    """Write a file so that nobody ever sees half of it.

    A link is followed, and the file that it names is replaced. A device or a pipe is written to as it is. Nothing below the folders and none of the
    files in `spare` is touched, whatever link leads there, nor a file with one of the endings.

    Raises
    ------
    NotWritten : no room, no right, no such folder, or a file that is to be spared
    """
    try:
        target = file.resolve()
        if target.suffix.lower() in spare_endings:
            raise NotWritten(f"{file} is a link to {target.name}, which somebody typed in: nothing is written over it. Choose another name.")  # fmt: skip
        for kept in spare:
            if target == kept.resolve() or kept.resolve() in target.parents:
                raise NotWritten(
                    f"{file} belongs to the vehicle: nothing is written over what was typed in. Choose another name."
                )
        if target.exists() and not target.is_file():
            if stat.S_ISDIR(target.stat().st_mode):
                raise NotWritten(f"cannot write {file}: it is a folder")
            target.write_bytes(content)
            return
        _replace(target, content)
    except (OSError, ValueError) as error:  # ValueError: a name that no disk can hold
        raise NotWritten(f"cannot write {file}: {getattr(error, 'strerror', None) or error}") from error


def read_settled(path: Path) -> bytes:
    """What stands in a file that nobody is writing just now; half a page would read as a shorter one.

    Raises
    ------
    OSError : it is being written all the time, or cannot be read
    """
    for _ in range(20):
        before = path.stat()
        data = path.read_bytes()
        after = path.stat()
        if (before.st_size, before.st_mtime_ns, before.st_ino) == (len(data), after.st_mtime_ns, after.st_ino):
            return data
        time.sleep(0.05)
    raise OSError(errno.EBUSY, "it is being written by another program")


def _replace(target: Path, content: bytes) -> None:
    with beside(target, content) as whole:
        if target.exists():
            whole.chmod(stat.S_IMODE(target.stat().st_mode))
        whole.replace(target)
    sync_folder(target.parent)


@contextlib.contextmanager
def beside(target: Path, content: bytes, mode: int = 0o666) -> Iterator[Path]:
    """A file beside the wanted one with all of it, on the disk; it is gone again unless it was given a name meanwhile.

    So are those that killed writers left beside the same one: no write takes an hour, and of two at once neither is that old.
    """
    front = f".{target.name[:50]}."
    whole = target.with_name(f"{front}{os.urandom(4).hex()}{_LEFT}")
    handle = os.open(whole, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), mode)
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(content)
            stream.flush()
            os.fsync(stream.fileno())
        _sweep(whole, front)
        yield whole
    finally:
        with contextlib.suppress(OSError):
            whole.unlink()


_LEFT = ".tracer-part"
_OLD_S = 3600


def _sweep(whole: Path, front: str) -> None:
    """Both times are those of the disk, whose clock need not be that of this machine."""
    ours = re.compile(re.escape(front) + "[0-9a-f]{8}" + re.escape(_LEFT))
    with contextlib.suppress(
        OSError
    ):  # a folder that may not be listed, a file that another sweeps: what is written is whole all the same
        now = whole.stat().st_mtime
        for entry in os.scandir(whole.parent):
            if (
                ours.fullmatch(entry.name)
                and entry.is_file(follow_symlinks=False)
                and now - entry.stat().st_mtime > _OLD_S
            ):
                os.unlink(entry.path)


def sync_folder(folder: Path) -> None:
    """The new name is on the disk too, where the system lets a folder be opened (Windows does not)."""
    if not hasattr(os, "O_DIRECTORY"):
        return
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
