"""The desk opened: its address, its key, and the server on it."""

from __future__ import annotations

import io
import os
import socket
import time
from collections.abc import Callable
from dataclasses import dataclass
from secrets import token_urlsafe
from typing import TYPE_CHECKING

from tracer.case.current import state_folder
from tracer.entry.files import NotWritten
from tracer.entry.problems import CannotCompute
from tracer.page.desk import Desk
from tracer.page.server import KEPT_FOR_S, Doors, application
from tracer.report.interrupts import interrupts

if TYPE_CHECKING:
    from typing import TextIO

PORT = 8737
MOST_AT_ONCE = 64  # connections: a dozen phones, each with one that waits


@dataclass(frozen=True, slots=True)
class Opened:
    """Where the desk is reached: an address, with the key in it where it is open to the network."""

    address: str
    lan: bool

    def qr(self, out: TextIO, columns: int) -> None:
        """The address as a QR code (ISO/IEC 18004), in the half blocks of a terminal; nothing where these columns cannot hold it.

        The white around it is four modules wide; on a narrow terminal less, since a line that is broken can be read by no phone.
        """
        import segno

        code = segno.make(self.address, error="l")
        border = min(4, (columns - int(code.symbol_size(border=0)[0])) // 2)
        if border >= 2:
            drawn = io.StringIO()
            code.terminal(out=drawn, border=border, compact=True)
            for line in (
                drawn.getvalue().splitlines()
            ):  # white on black, whatever the terminal's own colours: turned around, many phones cannot read it
                out.write(f"\x1b[97;40m{line}\x1b[0m\n")


def serve(desk: Desk, say: Callable[[Opened], None], *, lan: bool = False, port: int = PORT) -> None:
    """Serve the desk until it is interrupted; `say` is told the address once it can be reached.

    Raises
    ------
    CannotCompute : the port is taken
    NotWritten : the key cannot be kept
    """
    import uvicorn

    try:
        listening = socket.create_server(("0.0.0.0" if lan else "127.0.0.1", port), backlog=MOST_AT_ONCE)
    except OSError as error:
        raise CannotCompute(f"port {port} cannot be used: {error.strerror}. Another one: --port {port + 1 if port < 65535 else 8738}.") from error  # fmt: skip
    port = listening.getsockname()[1]
    here = _own_address() if lan else "127.0.0.1"
    doors = Doors(frozenset(f"{name}:{port}" for name in (here, "127.0.0.1", "localhost")), _key() if lan else "")
    server: uvicorn.Server | None = None
    served = application(desk, doors, lambda: server is not None and server.should_exit)
    server = uvicorn.Server(
        uvicorn.Config(
            served, log_level="critical", access_log=False, server_header=False, limit_concurrency=MOST_AT_ONCE, timeout_keep_alive=30, timeout_graceful_shutdown=2,
            lifespan="off", h11_max_incomplete_event_size=32_768,
        )
    )  # fmt: skip
    desk.begin()
    try:
        # what is raised while a module is being loaded may be dropped there, and nobody would end
        with interrupts(lambda *_: setattr(server, "should_exit", True)):
            say(Opened(f"http://{here}:{port}/" + (f"key/{doors.key}" if lan else ""), lan))
            server.run(sockets=[listening])
    finally:
        desk.end()


def _own_address() -> str:
    """The address of this machine in its network: the one that it would send from (nothing is sent)."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
        try:
            asking.connect(("192.0.2.1", 9))  # an address that belongs to nobody (RFC 5737)
            return str(asking.getsockname()[0])
        except OSError:
            return "127.0.0.1"


def _key() -> str:
    """The key of today: kept for a long day, so that phones find a desk again that was begun anew."""
    file = state_folder() / "desk-key"
    try:
        if time.time() - file.stat().st_mtime < KEPT_FOR_S and len(kept := file.read_text(encoding="ascii").strip()) >= 22:  # fmt: skip
            return kept
    except (OSError, ValueError):
        pass  # none yet, or spoilt: a new one
    key = token_urlsafe(16)
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        file.unlink(missing_ok=True)
        with os.fdopen(os.open(file, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w", encoding="ascii") as stream:
            stream.write(f"{key}\n")  # nobody else on this machine may read it
    except OSError as error:
        raise NotWritten(f"cannot keep the key in {file}: {error.strerror}") from error
    return key


__all__ = ["PORT", "Opened", "serve"]
