"""What the desk shows, kept up to date: the list at once after a save, all the rest when it is worked out, and the current case."""

from __future__ import annotations

import contextlib
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from tracer.case.current import current
from tracer.circuit.join import joined_folder
from tracer.entry.problems import CannotAnswer, CannotCompute, CannotUse, fault
from tracer.entry.text import Kept
from tracer.page.at_once import list_of
from tracer.standards.figures import POINT, decimal_mark
from tracer.trace.lists.results import SupplyReport
from tracer.trace.lists.supplies import supplies_of
from tracer.trace.tracing import Tracing

LOOK_EVERY_S = 0.1
ENDS_WITHIN_S = 1.0
QUIET_S = 0.4  # so long nothing is saved before the whole page is worked out: a save that follows at once shows its list without waiting


@dataclass(frozen=True, slots=True)
class Versions:
    """How often each thing has changed since the desk was begun."""

    list: int = 0
    page: int = 0
    case: int = 0


@dataclass
class Desk:
    """One module of a vehicle over many saves, and the case that is current. Whoever asks gets whole values that are never changed afterwards."""

    folder: Path
    module: str
    decimal: str = POINT
    shop: Path | None = None
    versions: Versions = field(default_factory=Versions)
    listed: dict[str, Any] = field(default_factory=dict)
    page: dict[str, Any] = field(default_factory=dict)
    case: dict[str, Any] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self._kept = Kept()
        self._wanted: tuple[int, Tracing, SupplyReport] | None = None
        self._stop = threading.Event()
        self._saved_at = 0.0
        self._case_mark: object = ""  # nothing was looked at yet; None: no case
        self._threads: list[threading.Thread] = []
        self._publishing = threading.Lock()  # around whatever changes what is shown, with its version

    @property
    def complete(self) -> bool:
        """Whether the list, as it is now, is complete."""
        return bool(self.listed.get("complete"))

    def begin(self) -> None:
        """Look at the folder and the case from now on."""
        self._kept.something_saved(self.folder)  # asked before reading: what is saved meanwhile shows at the next look
        self._look()
        self._threads = [threading.Thread(target=self._over_and_over, args=(act,), daemon=True) for act in (self._watch, self._work, self._look_at_case)]  # fmt: skip
        for thread in self._threads:
            thread.start()

    def end(self) -> None:
        """Stop looking. What is being worked out is not waited for: a large page takes seconds, and nobody will see it."""
        self._stop.set()
        for thread in self._threads:
            thread.join(ENDS_WITHIN_S)

    def _over_and_over(self, act: Callable[[], None]) -> None:
        while not self._stop.wait(LOOK_EVERY_S):
            try:
                act()
            except Exception as error:  # a thread that ended without a word would leave the page as it is for ever
                words = f"{fault(error)}: begin the desk anew"
                with self._publishing:
                    self.listed = {**self.listed, "complete": False, "problems": [words]}
                    self.versions = replace(self.versions, list=self.versions.list + 1)
                self._stop.wait(1.0)

    # --- the vehicle -----------------------------------------------------------------------------------------------

    def _watch(self) -> None:
        if self._kept.something_saved(self.folder):
            self._look()

    def _look(self) -> None:
        """The list of the folder as it is now."""
        self._saved_at = time.monotonic()
        number = self.versions.list + 1
        wanted = None
        try:
            tracing = Tracing(joined_folder(self.folder, self._kept))
            report = supplies_of(tracing, tracing.circuit.spelt(self.module))
            found = {"problems": [], **list_of(tracing, report, mark=self.decimal)}
            wanted = number, tracing, report
        except CannotUse as error:
            found = self._cannot([problem.render(100) for problem in error.problems])
        except (CannotAnswer, CannotCompute) as error:
            found = self._cannot([str(error)])
        with self._publishing:
            self.listed, self._wanted = {"version": number, **found}, wanted
            self.versions = replace(self.versions, list=number)

    def _cannot(self, problems: list[str]) -> dict[str, Any]:
        return {"module": self.module, "complete": False, "problems": problems}

    def _work(self) -> None:
        """Work the whole page out once nothing was saved for a moment, what dies with each part last; where another save came meanwhile, it is of yesterday and is dropped."""
        wanted = self._wanted
        if wanted is None or time.monotonic() - self._saved_at < QUIET_S:
            return
        from tracer.electrics.limits_in_use import limits_of
        from tracer.entry.overrides import read_shop
        from tracer.page.content import content_of

        number, tracing, report = wanted
        for deep in (False, True):
            problems = []
            try:
                limits = limits_of(tracing.circuit, read_shop(self.shop) if self.shop is not None else None)
                found = {"version": number, **content_of(tracing, report, limits, mark=self.decimal, deep=deep)}
            except CannotUse as error:
                found, problems = self.page, [problem.render(100) for problem in error.problems]
            except CannotCompute as error:
                found, problems = self.page, [str(error)]
            with self._publishing:
                if self._wanted is not wanted:
                    return
                self.page, self.listed = found, {**self.listed, "problems": problems}
                self.versions = replace(self.versions, page=self.versions.page + 1)
                if deep or problems:
                    self._wanted = None
                    return

    # --- the case --------------------------------------------------------------------------------------------------

    def _look_at_case(self) -> None:
        mark = _mark_of_case()
        if mark == self._case_mark:
            return
        from tracer.case.case import case_in
        from tracer.page.case_view import case_data

        self._case_mark = mark
        number = self.versions.case + 1
        try:
            with decimal_mark(self.decimal):
                found = {"why_not": "", **case_data(case_in(current()))}
        except (CannotCompute, CannotAnswer) as error:
            found = {"why_not": str(error)}
        with self._publishing:
            self.case = {"version": number, **found}
            self.versions = replace(self.versions, case=number)


def _mark_of_case() -> object:
    """What changes whenever the current case is another one, or has grown."""
    with contextlib.suppress(CannotCompute, OSError):
        file = current()
        found = file.stat()
        return str(file), found.st_size, found.st_mtime_ns
    return None


__all__ = ["Desk", "Versions"]
