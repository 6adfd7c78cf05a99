"""Readings that a page hands over as text: each is taken, was there, or is refused by name."""

from __future__ import annotations

import random
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from pathlib import Path
from zlib import crc32

import pytest

from tests.case.making import NOON, demo_plan, opened
from tracer.case.case import Case, case_in
from tracer.case.handed import take_handed
from tracer.case.notes import note
from tracer.case.readings import BadWord
from tracer.case.rows import rows_of

ON = "key=off plug=out lamp=21W other=- symptom=yes engine=off asleep=no out=none battery=12.60 read=35s"


def line(number: int, said: str, on: str = ON, *, at: int = 0, who: str = "k7m2qd") -> str:
    """A line as a page writes it; `at` in minutes after noon."""
    when = (NOON + timedelta(minutes=at)).isoformat()
    words = f"at={when} {on} : {said}".replace("  ", " ")
    return f"{who}-{number} {crc32(words.encode()):08x} {words}"


def text(*lines: str, count: int | None = None) -> str:
    plan = demo_plan()
    head = f"tracer readings 1 ALM {plan['edition']} of {plan['vehicle']}"
    return "\n".join([head, *lines, f"end {len(lines) if count is None else count}", ""])


@pytest.fixture
def case(tmp_path: Path) -> Case:
    return opened(tmp_path)


def test_each_line_is_recorded_under_its_own_conditions(case: Case) -> None:
    other = "key=run plug=in lamp=none other=+ battery=12.31 read=10s"
    taken = take_handed(case, text(line(1, "ALM.3:+=12.58/12.31"), line(2, "2+=0.11", other, at=3), line(3, "look F52=20", "")), NOON + timedelta(hours=1))  # fmt: skip
    assert taken.complete and not taken.refused
    first, second = taken.readings
    assert (first.name, [one.number for one in first.values], first.at) == ("ALM.3:+", [12.58, 12.31], NOON.isoformat())
    assert (first.conditions.key, first.conditions.plugged, first.conditions.lamp_w, first.conditions.symptom) == ("off", False, 21.0, True)  # fmt: skip
    assert (second.conditions.key, second.conditions.plugged, second.conditions.other, second.conditions.battery_v) == ("run", True, "+", 12.31)  # fmt: skip
    assert [(one.kind, dict(one.words)) for one in taken.notes] == [("look", {"F52": "20"})]


def test_what_holds_at_the_terminal_stays_as_it_was(case: Case) -> None:
    taken = take_handed(case, text(line(1, "3+=12.58/12.31")), NOON)
    assert taken.case.conditions == case.conditions


def test_what_two_phones_read_good_before_a_bad_reading_does_not_outweigh_it_when_handed_over_after_it(
    case: Case,
) -> None:
    hour = NOON + timedelta(hours=1)
    take_handed(case, text(line(1, "3+=12.58/12.36/lit", at=30)), hour)
    take_handed(case_in(case.file), text(line(2, "3+=dead", at=20)), hour)
    for who in ("aaaaaa", "bbbbbb", "cccccc"):
        taken = take_handed(case_in(case.file), text(line(1, "3+=12.58/12.36/lit", at=2, who=who)), hour)
    row = next(one for one in rows_of(taken.case) if one.short == "3+")
    assert row.repeat and "read good" in row.reason
    for number in (3, 4):
        taken = take_handed(case_in(case.file), text(line(number, "3+=12.58/12.36/lit", at=40)), hour)
    row = next(one for one in rows_of(taken.case) if one.short == "3+")
    assert not row.repeat and row.passed


def test_handing_over_twice_adds_nothing_twice(case: Case) -> None:
    once = text(line(1, "3+=12.58/12.31"), line(2, "5+=dead"))
    take_handed(case, once, NOON)
    before = case.file.read_bytes()
    again = take_handed(case_in(case.file), once, NOON + timedelta(hours=2))
    assert again.there == ("k7m2qd-1", "k7m2qd-2") and not again.recorded and again.complete
    assert case.file.read_bytes() == before


def test_several_calls_at_once_lose_nothing_and_add_nothing_twice(case: Case) -> None:
    """Two phones and a laptop, each handing over its own and, once more, those of another."""
    lines = [line(n, "3+=12.58/12.31", who=who) for who in ("aaaaaa", "bbbbbb", "cccccc") for n in range(1, 6)]

    def hand_over(seed: int) -> None:
        some = random.Random(seed).sample(lines, len(lines))
        take_handed(case_in(case.file), text(*some), NOON)

    with ThreadPoolExecutor(6) as pool:
        list(pool.map(hand_over, range(6)))
    after = case_in(case.file)
    assert len(after.readings) == len(lines) == len(after.handed) and not after.damaged


@pytest.mark.parametrize(
    ("said", "on", "why"),
    [
        ("99+=12.5/12.1", ON, "99\\+ is not in this list"),
        ("3+=12.5", ON, "wants two values"),
        ("3+=12.5/x", ON, "is no value"),
        ("look F99=20", "", "F99"),
        ("3+=12.5/12.1 4+=12/12", ON, "more than one reading"),
        ("3+=12.5/12.1", ON.replace("read=35s", "read=901s"), "the battery was read 15 minutes before it"),
        ("3+=12.5/12.1", ON.replace("battery=12.60 read=35s", ""), "the battery was not read"),
        ("3+=12.5/12.1", ON.replace("key=off", "key=moon"), "this vehicle has"),
        ("2+=not-reached", ON, "wants a reason"),
        ("waive 8+", "", "waive wants --why"),
        ("3+=12.5/12.1", f"{ON} instead-of=k7m2qd-9", "k7m2qd-9, which it corrects, is not in the case"),
    ],
)  # fmt: skip
def test_a_line_that_does_not_fit_is_refused_by_name_and_the_others_are_taken(case: Case, said: str, on: str, why: str) -> None:  # fmt: skip
    taken = take_handed(case, text(line(1, "5+=dead"), line(2, said, on), line(3, "4+=not-reached # sealed")), NOON)
    assert taken.recorded == ("k7m2qd-1", "k7m2qd-3") and not taken.complete
    [(name, reason)] = taken.refused
    assert name == "k7m2qd-2"
    with pytest.raises(AssertionError, match=why):
        raise AssertionError(reason)


def test_every_letter_that_is_altered_on_the_way_is_seen(case: Case) -> None:
    """A mail program, or a thumb: the line is refused, never read as something else."""
    whole = line(1, "3+=12.58/12.31")
    before = case.file.read_bytes()
    for place in range(len("k7m2qd-1 "), len(whole)):
        altered = whole[:place] + ("7" if whole[place] != "7" else "1") + whole[place + 1 :]
        taken = take_handed(case, text(altered), NOON)
        assert not taken.recorded and not taken.complete, altered
    assert case.file.read_bytes() == before


def test_lines_that_were_broken_are_read_all_the_same(case: Case) -> None:
    broken = text(line(1, "3+=12.58/12.31"), line(2, "5+=dead")).replace(" lamp", "\n   lamp").replace(" : ", " :\r\n")
    assert take_handed(case, broken, NOON).complete


@pytest.mark.parametrize("lost", [0, 1, 2])
def test_a_text_that_was_cut_off_says_so(case: Case, lost: int) -> None:
    lines = text(line(1, "3+=12.58/12.31"), line(2, "5+=dead"), line(3, "4+=12.5/12.2")).splitlines()
    shorter = "\n".join(lines[:-1] if lost == 0 else [*lines[: -1 - lost], lines[-1]])
    taken = take_handed(case, shorter, NOON)
    assert not taken.complete and "hand" in taken.remarks[0] and len(taken.recorded) == 3 - lost


@pytest.mark.parametrize("spoilt", ["", "hello", "3+=12.5/12.1", "x" * 1_000_001])
def test_what_is_no_such_text_is_refused_as_a_whole(case: Case, spoilt: str) -> None:
    with pytest.raises(BadWord, match=r"no text of readings|longer than"):
        take_handed(case, spoilt, NOON)


def test_readings_of_another_module_or_vehicle_are_refused(case: Case) -> None:
    good = text(line(1, "3+=12.58/12.31"))
    with pytest.raises(BadWord, match="readings of BDM, the case is on ALM"):
        take_handed(case, good.replace(" ALM ", " BDM ", 1), NOON)
    with pytest.raises(BadWord, match="another vehicle"):
        take_handed(case, good.replace("minibus", "tractor", 1), NOON)


def test_a_list_of_another_edition_is_named(case: Case) -> None:
    taken = take_handed(case, text(line(1, "3+=12.58/12.31")).replace(demo_plan()["edition"], "OTHER"), NOON)
    assert taken.recorded and not taken.complete and "by list OTHER" in taken.remarks[0]


def test_a_correction_takes_the_place_of_what_it_corrects_under_the_same_conditions(case: Case) -> None:
    mended = line(2, "3+=12.58/12.31", f"{ON.replace('key=off', 'key=run')} instead-of=k7m2qd-1", at=1)
    taken = take_handed(case, text(line(1, "3+=1.25/12.31"), mended), NOON + timedelta(minutes=5))
    [one] = taken.case.readings
    assert [value.number for value in one.values] == [12.58, 12.31] and one.conditions.key == "off"
    assert len(taken.case.corrected) == 1
    twice = take_handed(taken.case, text(line(3, "3+=12.5/12.3", f"{ON} instead-of=k7m2qd-1", at=2)), NOON + timedelta(minutes=5))  # fmt: skip
    assert "it was corrected or taken back before" in twice.refused[0][1]


def test_what_was_read_before_a_repair_and_handed_over_after_it_does_not_count_as_read_after_it(case: Case) -> None:
    note(case, "repair", ["X3"], NOON + timedelta(minutes=30))
    late = text(line(1, "3+=12.58/12.31", at=29), line(2, "3+=12.58/12.31", at=31))
    taken = take_handed(case_in(case.file), late, NOON + timedelta(hours=1))
    assert taken.recorded == ("k7m2qd-2",) and "before entry 2 (repair X3)" in taken.refused[0][1]


def test_a_clock_that_is_ahead_is_refused(case: Case) -> None:
    taken = take_handed(case, text(line(1, "3+=12.58/12.31", at=3)), NOON)
    assert not taken.recorded and "clock is ahead" in taken.refused[0][1]
