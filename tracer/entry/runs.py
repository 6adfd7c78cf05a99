"""The run grammar: one line of points and wires, as the finger follows the conductor.

F9 -- RD/GN 2.5 -- X31.1 -- RD/GN 2.5 3.1m -- ALM.4
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache

from tracer.entry.values import UNKNOWN_WORDS, Misread, pin_list, pin_name
from tracer.standards import figures
from tracer.standards.colours import ColourSystem, OwnLetters, UnknownColour, colour_of_words, parse_colour
from tracer.standards.conductors import BadSize, parse_size

MAX_POINTS = 400
MAX_LENGTH_M = 1000.0
NOT_A_COLOUR = "abbreviations, as vehicle.yaml says)"
NOT_COLOURED = ("track", "bare")
SAME = "same"

_ONE_DASH = re.compile(r"\s-(?=\s)")
_LEAVES = re.compile(r"\b(?:page|sheet|diagram|continued|cont)\b", re.IGNORECASE)
_DASH = re.compile(r"\s+(?:--+|—|–)(?=\s|$)|^(?:--+|—|–)(?=\s)")
_LENGTH = re.compile(r"^(\d+(?:[.,]\d+)?)(m|cm|mm|ft)$", re.IGNORECASE)
_NUMBER = re.compile(r"^\(([^()]+)\)$")
_SIZES = re.compile(r"^(\d+(?:[.,]\d+)?)-(\d+(?:[.,]\d+)?)(?:\s*(?:mm2|mm²|sqmm))?$", re.IGNORECASE)
_SIZE = re.compile(r"^(?:AWG\s*)?\d+(?:[.,/]\d+)?(?:\s*(?:mm2|mm²|sqmm|AWG|ga))?$", re.IGNORECASE)
_METRES = {"m": 1.0, "cm": 0.01, "mm": 0.001, "ft": 0.3048}
_SEVERAL = re.compile(r"^([^\s.:<>?,\[\]{}]+)\.\[([^\[\]]*)\]$")
_PART = re.compile(r"^[^\s.:<>?,/\[\]{}]+(?:/[^\s.:<>?,/\[\]{}]+)?$")


@dataclass(frozen=True, slots=True)
class Wire:
    """One conductor as typed. `colours` are canonical codes, base colour first; empty when not known."""

    text: str
    colours: tuple[str, ...] = ()
    area_mm2: float | None = None
    size_text: str | None = None
    length_m: float | None = None
    number: str | None = None
    medium: str = "wire"  # wire | track | bare


@dataclass(frozen=True, slots=True)
class Point:
    """One point of a run as typed, split but not yet looked up."""

    text: str
    part: str = ""
    pin: str | None = None
    half: str | None = None  # a | b
    mate: str | None = None  # X31.1>7: the cavity of half b
    here: str | None = None  # ref HERE>THERE
    there: str | None = None
    several: tuple[str, ...] = ()  # ALM.[5-8]: pins that each have such a wire

    @property
    def is_reference(self) -> bool:
        return self.here is not None

    @property
    def is_unknown(self) -> bool:
        return not self.part and self.here is None


@dataclass(frozen=True, slots=True)
class Run:
    """One run: `points` and the `wires` between them, with where it was typed."""

    sheet: int
    text: str
    line: int
    column: int
    points: tuple[Point, ...]
    wires: tuple[Wire, ...]
    seen: str
    note: str | None = None


@dataclass(frozen=True, slots=True)
class Slip:
    """One thing wrong inside a run: where it starts in the run's text, the piece of text, what and fix."""

    offset: int
    text: str
    what: str
    fix: str


def spread(points: tuple[Point, ...]) -> list[tuple[Point, ...]]:
    """A run over several pins as one run for each: `ALM.[5-8] -- BN 1 -- G3`. Groups in one run are gone through side by side.

    Raises
    ------
    Misread : the groups of one run have not the same number of pins
    """
    if not any([point.several for point in points]):
        return [points]
    sizes = {len(point.several) for point in points if point.several}
    if len(sizes) > 1:
        wrong = [point for point in points if point.several][-1]
        raise Misread(
            "the groups of pins in this run are not of one size",
            "Each pin goes with the one at the same place in the other group: write as many.",
            wrong.text,
        )
    return [
        tuple(
            Point(f"{point.part}.{point.several[number]}", point.part, point.several[number])
            if point.several
            else point
            for point in points
        )
        for number in range(sizes.pop())
    ]


def has_dashes(text: str) -> bool:
    """Whether dashes that join a point and a wire stand in the text."""
    return _DASH.search(text) is not None


def split_run(text: str) -> list[tuple[int, str]]:
    """The pieces between the dashes, each with its offset."""
    pieces: list[tuple[int, str]] = []
    start = 0
    if text.count("--") == text.count(" -- ") and "—" not in text and "–" not in text:  # as nearly every run is typed
        for piece in text.split(" -- "):
            pieces.append((start + len(piece) - len(piece.lstrip()), piece.strip()))
            start += len(piece) + 4
        if all(piece for _, piece in pieces):
            return pieces
        pieces, start = [], 0
    for match in _DASH.finditer(text):
        pieces.append((start, text[start : match.start()]))
        start = match.end()
    pieces.append((start, text[start:]))
    return [(offset + len(piece) - len(piece.lstrip()), piece.strip()) for offset, piece in pieces]


def read_run(text: str, colours: ColourSystem) -> tuple[tuple[Point, ...], tuple[Wire, ...], list[Slip]]:
    """Points, wires and slips of one run. With slips, points and wires are not to be used.

    `colours` is how the diagram abbreviates them: iec, din, american or letters of its own.
    """
    return _as_nearly_every(text, colours) or _read_closely(text, colours)


def _as_nearly_every(text: str, colours: ColourSystem) -> tuple[tuple[Point, ...], tuple[Wire, ...], list[Slip]] | None:
    """A run in which nothing can be wrong but its points and wires, and none of these is; None for any other, which is to be looked at closely."""
    pieces = [piece.strip() for piece in text.split(" -- ")]
    count = len(pieces)
    plain = text.isascii() and text.isprintable() and " - " not in text and text.count("--") == count - 1
    if not plain or not 3 <= count <= MAX_POINTS or count % 2 == 0 or "" in pieces or SAME in pieces[1::2]:
        return None
    try:
        points = tuple([read_point(piece) for piece in pieces[::2]])
        wires = tuple([read_wire(piece, colours) for piece in pieces[1::2]])
    except Misread:
        return None
    if not all([point.part for point in points[1:-1]]) or (count == 3 and points[0].text == points[1].text):
        return None
    return points, wires, []


def _read_closely(text: str, colours: ColourSystem) -> tuple[tuple[Point, ...], tuple[Wire, ...], list[Slip]]:
    pieces = split_run(text)
    slips: list[Slip] = []
    if len(pieces) > MAX_POINTS:
        return (
            (),
            (),
            [Slip(0, text[:20], f"a run of {len(pieces)} pieces", "Split it at a splice or connector.")],
        )
    if len(pieces) == 1:
        if "--" in text:
            at = text.index("--")
            slips.append(_no_space(at))
        elif _ONE_DASH.search(text) and not text.startswith("ref "):
            slips.append(_one_dash(text, 0))
        else:
            slips.append(
                Slip(
                    0,
                    text,
                    "a run needs at least two points and a wire",
                    "Write `POINT -- WIRE -- POINT`, such as `F9 -- RD 2.5 -- ALM.4`.",
                )
            )
        return (), (), slips
    for offset, piece in pieces:
        if not piece:
            slips.append(
                Slip(
                    _dash_near(text, offset),
                    "--",
                    "something is missing beside these dashes",
                    "Write what stands there on the diagram, or `?` if it is not known.",
                )
            )
        elif "--" in piece:
            slips.append(_no_space(offset + piece.index("--")))
        elif _ONE_DASH.search(piece) and not piece.startswith("ref "):
            slips.append(_one_dash(piece, offset))
    if slips:
        return (), (), slips
    if len(pieces) % 2 == 0:
        slips.append(_missing(pieces, colours))
        return (), (), slips
    points: list[Point] = []
    wires: list[Wire] = []
    for index, (offset, piece) in enumerate(pieces):
        try:
            if index % 2 and piece == SAME:
                wires.append(_same(wires))
            elif index % 2:
                wires.append(read_wire(piece, colours))
            else:
                points.append(read_point(piece))
        except Misread as misread:
            start = piece.find(misread.text) if misread.text else -1
            at, text = (offset + start, misread.text) if start >= 0 else (offset, piece)
            slips.append(Slip(at, text, misread.what, misread.fix))
    for index in range(1, len(points) - 1):
        if points[index].is_reference or points[index].is_unknown:
            offset, piece = pieces[2 * index]
            slips.append(
                Slip(
                    offset,
                    piece,
                    f"`{piece}` stands in the middle of a run",
                    "It can only be the first or the last point: split the run here.",
                )
            )
    if len(points) == 2 and points[0].text == points[1].text and not points[0].is_unknown:
        slips.append(
            Slip(
                pieces[2][0],
                points[1].text,
                "the run comes back to the point where it begins",
                "Check the second point.",
            )
        )
    return tuple(points), tuple(wires), slips


def _no_space(at: int) -> Slip:
    return Slip(at, "--", "the dashes have no space around them", "Write ` -- ` with a space on both sides.")


def _one_dash(piece: str, offset: int) -> Slip:
    """One dash, with space around it, where two belong."""
    match = _ONE_DASH.search(piece)
    assert match is not None
    fix = f"Write ` -- `: `{_ONE_DASH.sub(' --', piece)}`."
    return Slip(offset + match.start() + 1, "-", "one dash where two belong", fix)


def _dash_near(text: str, offset: int) -> int:
    """Where the dashes are beside which nothing stands: those after the offset, or the last ones."""
    after = text.find("--", offset)
    return after if after >= 0 else max(0, text.rfind("--"))


def _same(wires: list[Wire]) -> Wire:
    """The wire before, going on behind a connector or joint: as that one, but with a length and number of its own, which are not known."""
    if not wires:
        raise Misread("`same` stands for the wire before, and there is none", "Write its colour and size.")
    before = wires[-1]
    words = [word for word in before.text.split() if not _NUMBER.match(word) and not _LENGTH.match(word)]
    return Wire(" ".join(words), before.colours, before.area_mm2, before.size_text, None, None, before.medium)


def _missing(pieces: list[tuple[int, str]], colours: ColourSystem) -> Slip:
    """Where an even number of pieces lost its point or wire: the first piece that is of the wrong sort."""
    for index, (offset, piece) in enumerate(pieces):
        if index % 2 and not _is_wire(piece, colours) and _is_point(piece):
            before = pieces[index - 1][1]
            return Slip(
                offset,
                piece,
                f"the wire between `{before}` and `{piece}` is missing",
                f"Write `{before} -- COLOUR SIZE -- {piece}`, or `?` for a wire that is not known.",
            )
        if not index % 2 and _is_wire(piece, colours) and index and " " in piece:
            return Slip(
                offset,
                piece,
                f"two wires with no point between them: `{pieces[index - 1][1]}` and `{piece}`",
                "Write the splice, connector or pin where they meet.",
            )
    offset, piece = pieces[-1]
    return Slip(
        offset,
        piece,
        "the run ends with a wire: its last point is missing",
        "Write the point where it ends, or `?` if that is not known.",
    )


def _is_wire(piece: str, colours: ColourSystem) -> bool:
    if piece == SAME:
        return True
    try:
        read_wire(piece, colours)
    except Misread:
        return False
    return True


def _is_point(piece: str) -> bool:
    try:
        read_point(piece)
    except Misread:
        return False
    return True


@lru_cache(maxsize=65536)
def read_wire(text: str, colours: ColourSystem) -> Wire:
    """A wire: `COLOUR [SIZE] [LENGTH] [(NUMBER)]`. Cached: a vehicle has few different ones."""
    words = text.split()
    number = length_m = None
    if words and (match := _NUMBER.match(words[-1])):
        number = match[1]
        words.pop()
    if words and (match := _LENGTH.match(words[-1])):
        length_m = float(match[1].replace(",", ".")) * _METRES[match[2].lower()]
        words.pop()
    elif len(words) > 1 and words[-1].lower() in _METRES and _LENGTH.match(words[-2] + words[-1]):
        length_m = float(words[-2].replace(",", ".")) * _METRES[words[-1].lower()]
        del words[-2:]
    if length_m is not None and not 0 < length_m <= MAX_LENGTH_M:
        raise Misread(
            f"a wire {figures.stated(length_m, 'm')} long is not possible",
            f"Between 0 and {figures.stated(MAX_LENGTH_M, 'm')} is possible: check the number.",
        )
    size = two_sizes = None
    for count in (2, 1):
        typed = " ".join(words[-count:])
        two_sizes = _SIZES.match(typed) if len(words) > count else None
        if two_sizes:  # the diagram leaves it open: the thinner one, so that no wire is taken for better than it may be
            typed = min(two_sizes.groups(), key=lambda one: float(one.replace(",", ".")))
        if len(words) > count - 1 and _SIZE.match(typed):
            try:
                size = parse_size(typed)
            except BadSize as error:
                raise Misread(
                    str(error).partition(";")[0], "Write a size such as `2.5` (mm²) or `14AWG`.", typed
                ) from None
            del words[-count:]
            break
    colour = " ".join(words)
    if not colour:
        raise Misread(
            "the colour is missing",
            "Write the colour first, then the size: `RD/GN 2.5`; `?` if the colour is not known.",
        )
    if colour in UNKNOWN_WORDS:
        codes: tuple[str, ...] = ()
    elif colour.lower() in NOT_COLOURED:
        codes = ()
    else:
        turned = " ".join([*words[1:], words[0]])
        if size is None and len(words) > 1 and _SIZE.match(words[0]) and _is_wire(turned, colours):
            raise Misread(f"`{text}`: the size stands before the colour", f"Write the colour first: `{turned}`.")
        codes = _colour_codes(colour, colours)
    medium = colour.lower() if colour.lower() in NOT_COLOURED else "wire"
    return Wire(
        " ".join(text.split()),
        codes,
        size.area_mm2 if size else None,
        (f"{size.text} (drawn as {two_sizes[1]}-{two_sizes[2]})" if two_sizes else size.text) if size else None,
        length_m,
        number,
        medium,
    )


def _near_colour(colour: str, system: ColourSystem, nearest: list[str]) -> str:
    """A proposal for a colour; of several, only those that are not known are replaced."""
    pieces = re.split(r"([/-])", colour)
    for at in range(0, len(pieces), 2):
        try:
            parse_colour(pieces[at], system)
        except UnknownColour as error:
            if not error.nearest:
                return f"`{pieces[at]}` is the piece that is not known. " if len(pieces) > 1 else ""
            pieces[at] = error.nearest[0]
    if len(pieces) > 1:
        return f"Did you mean `{''.join(pieces)}`? "
    several = [one for one in nearest if one.replace("/", "").casefold() == colour.casefold()]
    if len(several) > 1:  # one of them would be a guess at which wire it is
        return f"It can be {' or '.join(f'`{one}`' for one in several)}: write the one that is drawn. "
    return f"Did you mean `{nearest[0]}`? " if nearest else ""


def _colour_codes(colour: str, system: ColourSystem) -> tuple[str, ...]:
    try:
        return parse_colour(colour, system)
    except UnknownColour as error:
        if codes := colour_of_words(colour):
            return codes
        near = _near_colour(colour, system, error.nearest)
        if isinstance(system, OwnLetters):
            near += "If the diagram has it, give it a line below `colours` in vehicle.yaml (`P: pink`). "
        elif error.valid_in:
            near += f"It is one with `colours: {error.valid_in[0]}`: see whether vehicle.yaml is right. "
        raise Misread(
            f"`{colour}` is not a wire colour ({system} {NOT_A_COLOUR}",
            f"{near}Write COLOUR SIZE LENGTH, such as `RD/GN 2.5 3.1m`; `?` if the colour is not known.",
        ) from None


@lru_cache(maxsize=262144)
def read_point(text: str) -> Point:
    """A point: part, pin, half, reference or `?`. Cached, because the same points come back in other runs."""
    if text in UNKNOWN_WORDS:
        return Point(text)
    if text == "ref" or text.startswith("ref "):
        return _reference(text)
    if group := _SEVERAL.match(text):
        pins = pin_list(group[2])
        return Point(text, group[1], pins[0], several=pins) if len(pins) > 1 else read_point(f"{group[1]}.{pins[0]}")
    name, dot, pin = text.partition(".")
    half = mate = None
    if dot:
        pin, colon, half_typed = pin.partition(":")
        if colon:
            half = half_typed
            if half not in ("a", "b"):
                raise Misread(f"`{half_typed}` is not a half of a connector", "The halves are `a` and `b`: `X31.1:a`.")
        pin, arrow, mate_typed = pin.partition(">")
        if arrow:
            mate = pin_name(mate_typed)
        pin_name(pin)
    if not _PART.match(name):
        if _LEAVES.search(text):
            raise Misread(
                f"`{text}` is not a point",
                "A wire that leaves the page: `ref MARK_HERE>MARK_THERE`, the two marks printed at its arrow. Where none is printed: `?`.",
            )
        if " " in text:
            raise Misread(
                f"`{text}` is not a point",
                "A point is `PART.PIN`, a part, a rail, `ref HERE>THERE` or `?`; a wire stands between two points.",
            )
        raise Misread(f"`{text}` is not a point", "Write `PART.PIN`, such as `ALM.4`.")
    return Point(text, name, pin if dot else None, half, mate)


_TWO_MARKS = re.compile(r"^(\w*\d\w*)\s*(-|/|,|\s|=|to|->|→)\s*(\w*\d\w*)$")


def _reference(text: str) -> Point:
    if two := _TWO_MARKS.match(text[3:].strip()):
        here, sign, there = two.groups()
        if sign == "/":
            what, fix = (
                f"`{text}` holds a sheet and a mark, or two marks",
                f"Write the mark of this page and the mark where it goes on: `ref HERE>{there}`; or `ref {here}>{there}` if {here} is the mark here.",
            )
        else:
            what, fix = f"`>` is missing between the two marks of `{text}`", f"Write `ref {here}>{there}`."
        raise Misread(what, fix)
    marks = text[3:].replace(" ", "")
    here, arrow, there = marks.partition(">")
    if not here or (arrow and not there) or ">" in there:
        raise Misread(
            "a reference needs its marks",
            "Write `ref HERE>THERE`, such as `ref 47>12`, or `ref A` for two equal letters.",
        )
    if arrow and here == there:
        raise Misread(
            f"the reference {marks} points at itself",
            "Write the other mark after `>`; for two equal letters write `ref A`.",
        )
    return Point(text, "", None, None, None, here, there if arrow else here)
