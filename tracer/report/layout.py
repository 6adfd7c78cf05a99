"""Plain text for people: headings, wrapped lines and tables that fit a given width, with or without bold.

Nothing is told by colour or bold alone; what is bold is also in words or in capitals.
"""

from __future__ import annotations

import textwrap
from collections.abc import Collection, Iterable, Mapping, Sequence

from tracer.entry.problems import display_width as display_width

NARROWEST = 40


class Page:
    """Lines of text of at most `width` columns (a single long word may stick out, it is never cut)."""

    def __init__(self, width: int = 80, *, bold: bool = False) -> None:
        self.width = max(NARROWEST, width)
        self._bold = bold
        self._lines: list[str] = []

    def text(self) -> str:
        """Everything written so far, ending in a newline."""
        return "\n".join(line.rstrip() for line in self._lines) + "\n"

    def strong(self, text: str) -> str:
        """Text made bold where the terminal can."""
        return f"\x1b[1m{text}\x1b[0m" if self._bold and text else text

    def blank(self) -> None:
        """An empty line, unless there is one already."""
        if self._lines and self._lines[-1] != "":
            self._lines.append("")

    def heading(self, text: str) -> None:
        """A heading in capitals."""
        self.blank()
        for line in self._wrapped(text.upper(), 0, 0):
            self._lines.append(self.strong(line))

    def line(self, text: str, *, indent: int = 0, hang: int | None = None, strong: bool = False) -> None:
        """A wrapped paragraph; `hang` is the indent of its further lines."""
        for line in self._wrapped(text, indent, indent if hang is None else hang):
            self._lines.append(self.strong(line) if strong else line)

    def first(self, lines: Sequence[str], most: int = 100, *, indent: int = 0, hang: int | None = None) -> None:
        """The first of several paragraphs, and how many more there are; for what JSON lists in full."""
        for line in lines[:most]:
            self.line(line, indent=indent, hang=hang)
        if len(lines) > most:
            self.line(f"and {len(lines) - most} more: --json lists all", indent=indent)

    def as_it_is(self, line: str) -> None:
        """A line that was laid out already."""
        self._lines.append(line)

    def labelled(self, label: str, text: str, *, indent: int = 4, column: int = 10) -> None:
        """`label     text`, the text wrapped under itself."""
        start = indent + column
        first = f"{' ' * indent}{label:<{column}}"
        body = self._beside(text, start)
        self._lines.append(first + body[0])
        self._lines.extend(" " * start + line for line in body[1:])

    def height_of(self, text: str, column: int) -> int:
        """How many lines a text takes from a column on."""
        return len(self._beside(text, column))

    def _beside(self, text: str, start: int) -> list[str]:
        return textwrap.wrap(text, max(16, self.width - start), break_long_words=False, break_on_hyphens=False) or [""]

    def cautions(self, texts: Iterable[str]) -> None:
        """The last heading of a list, and what to mind."""
        self.heading("Cautions")
        for text in texts:
            self.line(f"- {text}", indent=2, hang=4)

    def table(
        self,
        rows: Sequence[Sequence[str]],
        *,
        indent: int = 0,
        head: Sequence[str] = (),
        gap: int = 2,
        stretch: int | None = None,
        stacked_names: Collection[str] = (),
    ) -> None:
        """Columns as wide as their widest cell; when they do not fit, the `stretch` column (default: the last) is wrapped.

        When even that does not fit, each row becomes a paragraph; there, columns of `stacked_names` say their name.
        """
        everything = [list(row) for row in ([head, *rows] if head else rows)]
        if not everything:
            return
        count = max(len(row) for row in everything)
        everything = [row + [""] * (count - len(row)) for row in everything]
        titles = everything[0] if head else [""] * count
        widths = [max(display_width(row[i]) for row in everything) for i in range(count)]
        used = [i for i in range(count) if widths[i]]
        flexible = count - 1 if stretch is None else stretch
        spare = self.width - indent - gap * (len(used) - 1) - sum(widths[i] for i in used if i != flexible)
        if widths[flexible] > spare and spare < min(
            widths[flexible], 12
        ):  # too narrow for columns: one row after the other
            for row in everything[1:] if head else everything:
                named = [
                    f"{title}: {cell}" if title in stacked_names else cell
                    for title, cell in zip(titles, row, strict=True)
                    if cell
                ]
                self.line("  ".join(named), indent=indent, hang=indent + 4)
            return
        widths[flexible] = min(widths[flexible], spare)
        for number, row in enumerate(everything):
            cells = [
                textwrap.wrap(row[i], max(1, widths[i]), break_long_words=False, break_on_hyphens=False) or [""]
                if i == flexible
                else [row[i]]
                for i in range(count)
            ]
            for level in range(max((len(cells[i]) for i in used), default=0)):
                parts = []
                for i in used:
                    cell = cells[i][level] if level < len(cells[i]) else ""
                    parts.append(cell + " " * (widths[i] - display_width(cell)))
                line = " " * indent + (" " * gap).join(parts).rstrip()
                self._lines.append(self.strong(line) if head and number == 0 else line)

    def _wrapped(self, text: str, indent: int, hang: int) -> list[str]:
        lines = textwrap.wrap(
            text,
            self.width,
            initial_indent=" " * indent,
            subsequent_indent=" " * hang,
            break_long_words=False,
            break_on_hyphens=False,
        )
        return lines or [""]


# How a level stands in a column of its own, one sign for each key state.
SIGNS = {"live": "L", "dead": "-", "depends": "d", "unknown": "?"}
GROUND_SIGNS = {**SIGNS, "live": "G"}


def signs_meaning(signs: Collection[str]) -> str:
    """'L live, - dead', of the signs that stand somewhere."""
    words = {"L": "live", "G": "grounded", "-": "dead", "d": "depends", "?": "not known"}
    return ", ".join(f"{sign} {word}" for sign, word in words.items() if sign in signs)


def when_words(live: Mapping[str, str], why: Mapping[str, Sequence[str]]) -> str:
    """'always', 'run, start', 'off: depends (lights)': the levels of all key states, those alike together."""
    levels = set(live.values())
    if levels == {"live"}:
        return "always"
    if levels == {"dead"}:
        return "never"
    words = []
    if on := [key for key, level in live.items() if level == "live"]:
        words.append(", ".join(on))
    uncertain: dict[str, list[str]] = {}
    for key, level in live.items():
        if level in ("depends", "unknown"):
            reasons = "; ".join(why.get(key, ()))
            uncertain.setdefault(f"{level} ({reasons})" if reasons else level, []).append(key)
    every = len(uncertain) == 1 and not on and len(next(iter(uncertain.values()))) == len(live)
    words += [text if every else f"{', '.join(keys)}: {text}" for text, keys in uncertain.items()]
    return "; ".join(words)


def level_sign(level: str) -> str:
    """'+' of a supply, '-' of a ground: what stands behind a pin."""
    return "+" if level == "supply" else "-"


def counted(number: int, singular: str, plural: str | None = None) -> str:
    """'1 supply', '3 supplies'."""
    return f"{number} {singular if number == 1 else plural or singular + 's'}"


def also_words(names: Sequence[str]) -> str:
    """Rows that have a place as well: 'also S3, C1'; empty where there are none."""
    return f"also {codes(names)}" if names else ""


def codes(names: Sequence[str]) -> str:
    """Row codes drawn together: S1 S2 S3 G1 becomes 'S1-S3, G1'.

    >>> codes(["S1", "S2", "S3", "G1", "C4"])
    'S1-S3, G1, C4'
    """
    groups: list[list[str]] = []
    for name in names:
        last = groups[-1][-1] if groups else ""
        if (
            last
            and last[0] == name[0]
            and last[1:].isdigit()
            and name[1:].isdigit()
            and int(name[1:]) == int(last[1:]) + 1
        ):
            groups[-1].append(name)
        else:
            groups.append([name])
    return ", ".join(
        group[0] if len(group) == 1 else f"{group[0]}, {group[1]}" if len(group) == 2 else f"{group[0]}-{group[-1]}"
        for group in groups
    )


def elsewhere_words(count: int) -> str:
    """What is loose in the vehicle, but as far as is typed in on no way to this module."""
    return f"{counted(count, 'loose end')} elsewhere in the vehicle; `tracer check` lists them."
