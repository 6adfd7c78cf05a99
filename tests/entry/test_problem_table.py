"""Small spoiled vehicles: exactly one message each, at the marked place, with the marked text, what is wrong and what to write instead.

`«...»` stands around the text that the message must point at, `«»` where only a place is meant.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.golden import check_golden
from tests.typed import HEAD, VEHICLE, problems, write
from tracer.entry import Problem
from tracer.entry.problems import display_width
from tracer.report.plain_data import json_text, problems_data


def _run(line: str) -> tuple[str, ...]:
    return (HEAD + f"runs:\n  - {line}\n",)


def _part(line: str) -> tuple[str, ...]:
    return (HEAD + f"  {line}\n",)


def _second(text: str) -> tuple[str, ...]:
    return (HEAD, f"sheet: 2\n{text}\n")


def _vehicle(text: str) -> str:
    return f"vehicle: v\n{text}\n"


GIVEN = "Did you mean"

# what is typed (the sheets, or the text of vehicle.yaml), a piece of what is wrong, a piece of what to write instead
TABLE: dict[str, tuple[tuple[str, ...] | str, str, str]] = {
    # runs
    "wire missing": (_run("S1 -- «F1» -- RD 1 -- S2"), "the wire between `S1` and `F1` is missing", "S1 -- COLOUR SIZE -- F1"),
    "wire missing at the end": (_run("S1 -- RD 1 -- F1 -- «M.1»"), "the wire between `F1` and `M.1` is missing", "F1 -- COLOUR"),
    "point missing": (_run("S1 -- RD 1 -- «RD/GN 2.5» -- M.1"), "two wires with no point between them", "the splice, connector or pin"),
    "last point missing": (_run("S1 -- «RD 1»"), "its last point is missing", "`?` if that is not known"),
    "one piece": (_run("«S1»"), "at least two points and a wire", "POINT -- WIRE -- POINT"),
    "empty run": ((HEAD + "runs:\n  -«»\n",), "at least two points and a wire", "POINT -- WIRE -- POINT"),
    "no space at all": (_run("S1«--»RD 1--S2"), "no space around them", "a space on both sides"),
    "no space once": (_run("S1 -- RD 1«--»S2"), "no space around them", "a space on both sides"),
    "nothing between": (_run("S1 -- RD 1 -- «--» S2"), "something is missing beside these dashes", "`?` if it is not known"),
    "nothing after": (_run("S1 -- RD 1 «--»"), "something is missing beside these dashes", "`?` if it is not known"),
    "nothing before": (_run("«--» RD 1 -- S2"), "something is missing beside these dashes", "`?` if it is not known"),
    "comment cuts a run": (_run("S1 -- RD 1 -- S2 «#»4 -- RD 1 -- G1"), "begins a comment", "round brackets"),
    "comment cuts a run in quotes": (_run("'S1 -- RD 1 -- S2' «#»4 -- RD 1 -- G1"), "begins a comment", "round brackets"),
    "comment with long dashes": (_run("S1 – RD 1 – S2 «#»4 – RD 1 – G1"), "begins a comment", "round brackets"),
    "comment in a folded run": (_run("S1 -- RD 1 --\n      S2 «#»4 -- RD 1 -- G1"), "begins a comment", "round brackets"),
    "run begins with ?": (_run("«?» -- RD 1 -- S2"), "cannot begin with `?`", "begin it with `unknown`"),
    "colon in a run": (_run("S1 -- RD 1«:» -- S2"), "a colon followed by a space", "in quotes"),
    "run as a list": (_run("«»[S1, RD 1, S2]"), "one line of text, not a list", "without brackets"),
    "run as a mapping without run": (_run("«»{note: x}"), "`run` is missing", "Add `run:"),
    "run that is a list": (_run("{run: «»[a]}"), "one piece of text is wanted", "one word or sentence"),
    "runs as a mapping": ((HEAD + "runs:\n  «»S1: S2\n",), "`runs` must be a list", "with `- `"),
    "runs as text": ((HEAD + "runs: «»S1 -- RD 1 -- S2\n",), "`runs` must be a list", "with `- `"),
    "400 points": (_run("«" + (text := " -- ".join(["S1", "RD"] * 300))[:20] + "»" + text[20:]), "a run of 600 pieces", "Split it"),
    "not a colour": (_run("S1 -- «RE 1» -- S2"), "`RE` is not a wire colour (iec", "Did you mean `RD`?"),
    "no colour": (_run("S1 -- «2.5» -- S2"), "the colour is missing", "colour first"),
    "size too large": (_run("S1 -- RD «9999» -- S2"), "no conductor size", "Write a size"),
    "gauge too thin": (_run("S1 -- RD «99AWG» -- S2"), "no conductor size", "Write a size"),
    "length too long": (_run("S1 -- «RD 1 5000m» -- S2"), "5000 m long", "Between 0 and 1000 m"),
    "length of nothing": (_run("S1 -- «RD 1 0m» -- S2"), "0 m long", "Between 0 and 1000 m"),
    "there and back": (_run("M.2 -- RD 1 -- «M.2»"), "comes back to the point where it begins", "second point"),
    "folded run": (_run("S1 -- RD 1 -- S2 --\n      «RE 1» -- G1"), "`RE` is not a wire colour", GIVEN),
    "folded with >": (_run(">\n      S1 -- RD 1 -- S2\n      -- «RE 1» -- G1"), "`RE` is not a wire colour", GIVEN),
    "folded with |": (_run("|\n      S1 -- RD 1 -- S2\n      -- «RE 1» -- G1"), "`RE` is not a wire colour", GIVEN),
    "quoted run": (_run("'S1 -- RD 1 -- S2 -- «RE 1» -- G1'"), "`RE` is not a wire colour", GIVEN),
    "run in a mapping": (_run('{run: "S1 -- «RE 1» -- G1", note: x}'), "`RE` is not a wire colour", GIVEN),
    "run in a block mapping": (_run("run: S1 -- «RE 1» -- G1\n    note: x"), "`RE` is not a wire colour", GIVEN),
    # points
    "unknown pin": (_run("S1 -- RD 1 -- «M.7»"), "M has no pin 7", "Its pins are 1, 2, 3 and 4 (sheets/1.yaml:10:3)"),
    "unknown side": (_run("S1 -- RD 1 -- «F1.laod»"), "F1 has no pin laod", "Did you mean `F1.load`?"),
    "unknown cavity": (_run("S1 -- RD 1 -- «X1.7»"), "X1 has no cavity 7", "Its cavities are 1, 2"),
    "cavity missing": (_run("S1 -- RD 1 -- «X1»"), "the cavity is missing", "X1.CAVITY"),
    "pin missing": (_run("S1 -- RD 1 -- «M»"), "the pin is missing", "M.PIN"),
    "cavity used twice": (
        _run("S1 -- RD 1 -- X1.1 -- RD 1 -- M.1\n  - S1 -- RD 1 -- «X1.1» -- RD 1 -- M.2"), "cavity X1.1 is used twice", "name the half"),
    "cavity used three times": (_run("S1 -- RD 1 -- X1.1\n  - X1.1 -- RD 1 -- M.2\n  - S1 -- RD 1 -- «X1.1»"), "used twice on one half", "X1.1:a"),
    "umlaut before": (_run("S1 -- RD 1 -- Sü9 -- RD 1 -- «M.7»"), "M has no pin 7", "Its pins are 1, 2, 3 and 4"),
    "which side of a fuse": (_run("S1 -- RD 1 -- «F1»"), "which side is meant", "`F1.feed` or `F1.load`"),
    "free side of a fuse taken by a bare end": (_run("S1 -- RD 1 -- F1.feed\n  - S2 -- RD 1 -- F1\n  - E1.1 -- RD 1 -- «F1»"), "both sides of F1 already have a wire", "`F1.feed` or `F1.load`"),
    "both pins taken": (_run("S1 -- RD 1 -- E1 -- RD 1 -- G1\n  - S2 -- RD 1 -- «E1»"), "both pins of E1 already have a wire", "`E1.1`"),
    "not a half": (_run("S1 -- RD 1 -- «X1.1:c»"), "`c` is not a half", "`a` and `b`"),
    "halves of a module": (_run("S1 -- RD 1 -- «M.1:a»"), "M is a module: it has no halves", "`M.1`"),
    "mates that do not": (_run("S1 -- RD 1 -- «X1.1>2»"), "does not say that cavity 1 meets cavity 2", "mates: {1: 2}"),
    "pin of a splice": (_run("«S1.1» -- RD 1 -- M.1"), "it has no pins", "`S1` alone"),
    "pin of a ground point": (_run("M.1 -- RD 1 -- «G1.1»"), "it has no pins", "`G1` alone"),
    "pin of a rail": (_run("«30.1» -- RD 1 -- M.1"), "30 is a rail", "`30` alone"),
    "pin of a battery": (_run("«BAT.1» -- RD 1 -- M.1"), "not a pin of a battery", "`BAT.+...`"),
    "half a pin": (_run("«M.» -- RD 1 -- S1"), "cannot be the name of a pin", "one word"),
    "no part": (_run("«.2» -- RD 1 -- S1"), "`.2` is not a point", "PART.PIN"),
    "space in a point": (_run("«M 2» -- RD 1 -- S1"), "`M 2` is not a point", "PART.PIN"),
    "reference without marks": (_run("«ref» -- RD 1 -- S1"), "a reference needs its marks", "ref 47>12"),
    "half a reference": (_run("S1 -- RD 1 -- «ref 1>»"), "a reference needs its marks", "ref 47>12"),
    "reference to itself": (_run("S1 -- RD 1 -- «ref 1>1»"), "points at itself", "`ref A`"),
    "reference in the middle": (_run("S1 -- RD 1 -- «ref 1>2» -- RD 1 -- S2"), "in the middle of a run", "split the run"),
    "unknown in the middle": (_run("S1 -- RD 1 -- «?» -- RD 1 -- S2"), "in the middle of a run", "split the run"),
    "through three pins": ((HEAD + "  E2: {is: load, pins: [a, b, c]}\nruns:\n  - S1 -- RD 1 -- «E2» -- RD 1 -- G1\n",), "it has 3 pins", "its pins are a, b and c"),
    "bare diode at an end": ((HEAD + "  D1: diode\nruns:\n  - S1 -- RD 1 -- «D1»\n",), "is a diode", "`D1.A` (anode) or `D1.K` (cathode)"),
    "a panel as a point": ((HEAD + "  FB: {is: panel, positions: {A: 5}}\nruns:\n  - S1 -- RD 1 -- «FB»\n",), "FB is a panel", "Name the position"),
    # parts
    "unknown kind": (_part("Q: {is: «modul»}"), "`modul` is not a kind of part", "Did you mean `module`?"),
    "unknown kind, short": (_part("Q: «fusee»"), "`fusee` is not a kind of part", "Did you mean `fuse`?"),
    "kind as a list": (_part("Q: {is: «»[fuse]}"), "its kind is one word", "{is: module}"),
    "no kind": (_part("«Q»: {at: floor}"), "its kind is missing", "Add `is:"),
    "empty kind": (_part("«Q»: {is: }"), "its kind is missing", "Write `is:"),
    "nothing about a part": (_part("«Q»:"), "its kind is missing", "Write `is:"),
    "part as a list": (_part("Q: «»[fuse]"), "its kind is missing", "{is: module}"),
    "unknown key": (_part("Q: {is: fuse, «amp»: 10}"), "`amp` is not known here", "Did you mean `amps`?"),
    "no space after a colon": (_part("Q: {is: fuse, «amps:10»}"), "`amps:10` is not known here", "Put a space after the colon: `amps: 10`"),
    "comma in braces": (_part("Q: {is: splice, at: floor, «left»}"), "`left` is not known here", "in quotes"),
    "duplicate part": (_part("«S1»: splice"), "`S1` stands here a second time (first on line 5)", "Keep one"),
    "duplicate key": (_part("Q: {is: fuse, amps: 5, «amps»: 10}"), "`amps` stands here a second time", "Keep one"),
    "duplicate parts": (_run("S1 -- RD 1 -- S2\n«parts»: {}"), "`parts` stands here a second time (first on line 2)", "merge them"),
    "name with a dot": (_part("«Q.1»: splice"), "cannot be the name of a part", "without dots"),
    "name with a space": (_part('"«Q 1»": splice'), "cannot be the name of a part", "one word"),
    "name that is a word of the runs": (_part("«ref»: splice"), "cannot be the name of a part", "one word"),
    "parts as a list": (("sheet: 1\nparts: «»[A, B]\n",), "`parts` must be a mapping", "ALM: {is: module}"),
    "not a number": (_part("Q: {is: fuse, amps: «ten»}"), "amps: `ten` is not a rating in A", "Write a number"),
    "wrong unit": (_part("Q: {is: fuse, amps: «10 V»}"), "`10 V` is not a rating in A", "the unit `A`"),
    "negative": (_part("Q: {is: fuse, amps: «-3»}"), "`-3` is not a rating in A", "Write a number"),
    "absurd rating": (_part("Q: {is: fuse, amps: «99999»}"), "out of range", "Between 0.1 and 2000"),
    "backward range": (_part("Q: {is: connector, cavities: «9-1»}"), "runs backwards", "Write `1-9`"),
    "endless range": (_part("Q: {is: connector, cavities: «1-999999999»}"), "more than 2000 pins", "no connector has so many"),
    "range of a million digits": (_part(f"Q: {{is: connector, cavities: «1-{'9' * 50}»}}"), "more than 2000 pins", "no connector has so many"),
    "endless range in a list": (_part("Q: {is: connector, cavities: [1, «2-9999»]}"), "more than 2000 pins", "no connector has so many"),
    "pin twice": (_part("Q: {is: connector, cavities: [1, 3, «1-2»]}"), "pin 1 is listed twice", "each pin once"),
    "list in a list of pins": (_part("Q: {is: connector, cavities: «»[1, [2]]}"), "a pin or a range of pins is wanted", "[1, 5-8]"),
    "pins as a mapping": (_part("Q: {is: connector, cavities: «»{a: 1}}"), "a list of pins is wanted", "[1, 5-8]"),
    "an empty group": (_part("Q: {is: module, joined: «»[[], [1, 2]]}"), "a group of pins is empty", "Write the pins that are joined"),
    "flat groups": (_part("Q: {is: module, joined: «»[1, 2]}"), "a list of groups is wanted", "[[1-4], [5, 6]]"),
    "not a role": (_part("Q: {is: module, pins: {1: «suply» one}}"), "`suply` is not what a pin can be", "Did you mean `supply`?"),
    "no role": (_part("Q: {is: module, pins: {«1»: }}"), "what pin 1 is for is not said", "Write a role"),
    "a range with a role": (_part("Q: {is: module, pins: {«1-4»: ground}}"), "`1-4` is a range", "Write `1: ground, 2: ground` and so on"),
    "not a direction": (_part("Q: {is: module, outputs: {1: «up»}}"), "drives: `up` is not possible", "high, low, both, reference or signal"),
    "output without drives": (_part("Q: {is: module, outputs: {1: «»{from: [2]}}}"), "`drives` is missing", "Add `drives:"),
    "unknown key of an output": (_part("Q: {is: module, outputs: {1: {drives: low, «thru»: [1]}}}"), "`thru` is not known", "Did you mean `through`?"),
    "unused outside the cavities": (_part("Q: {is: module, cavities: 1-3, unused: [3, «7»]}"), "Q has no cavity 7", "add it to `cavities`"),
    "joined outside the cavities": (_part("Q: {is: module, cavities: 1-3, joined: [[1, «8»]]}"), "Q has no cavity 8", "add it to `cavities`"),
    "pin outside the cavities": (_part("Q: {is: module, cavities: 1-3, pins: {«9»: supply}}"), "Q has no cavity 9", "add it to `cavities`"),
    "mates outside the cavities": (_part("Q: {is: connector, cavities: 1-3, mates: {«9»: 1}}"), "Q has no cavity 9", "add it to `cavities`"),
    "one cavity in two groups": (_part("Q: {is: joint, bussed: «»[[1, 2], [2, 3]]}"), "cavity 2 stands in two groups", "one group"),
    "unknown relay kind": (_part("Q: {is: relay, kind: «normaly open»}"), "is not a kind of relay", "Did you mean `normally open`?"),
    "switch kind for a relay": (_part("Q: {is: relay, kind: «make switch»}"), "is not a kind of relay", "Known kinds"),
    "unknown relay position": (_part("Q: {is: relay, contacts: {«res»: [30-87]}}"), "`res` is not a position here", "Did you mean `rest`?"),
    "coil of three": (_part("Q: {is: relay, kind: normally open, coil: «86-85-84»}"), "a coil has two pins", "coil: 86-85"),
    "contact of one pin": (_part("Q: {is: switch, contacts: {on: [«1»]}}"), "`1` names one pin", "at least two"),
    "contact with itself": (_part("Q: {is: switch, contacts: {on: [1-2, «3-3»]}}"), "names a pin twice", "different pins"),
    "unknown follower": (_part("Q: {is: switch, follows: «light», contacts: {yes: [1-2]}}"), "neither `key` nor a condition", "Did you mean `lights`?"),
    "position that is no key state": (_part("Q: {is: switch, follows: key, contacts: {«rum»: [1-2]}}"), "`rum` is not a position here", "Did you mean `run`?"),
    "position that is neither yes nor no": (_part("Q: {is: switch, follows: lights, contacts: {«on»: [1-2]}}"), "`on` is not a position here", "yes or no"),
    "unknown state in a list": (_part("Q: {is: module, outputs: {1: {drives: low, when: [off, «rum»]}}}"), "`rum` is neither a key state", "Did you mean `run`?"),
    "meets with an unknown pin": (_part("Q: {is: fuse, meets: {«fed»: S1}}"), "Q has no pin fed", "Did you mean `Q.feed`?"),
    "meets the unknown": (_part('Q: {is: fuse, meets: {feed: "«?»"}}'), "a part's pin, a splice, a ground point or a rail", "`S1`"),
    # panels
    "not a rating": (_part("FB: {is: panel, positions: {A: «ten»}}"), "`ten` is not a rating in A", "`empty`, `unknown`"),
    "module in a position": (_part("FB: {is: panel, positions: {A: {is: «module»}}}"), "cannot sit in a position", "fuse, link, breaker"),
    "unknown key of a position": (_part("FB: {is: panel, positions: {A: {«amp»: 3}}}"), "`amp` is not known here", "Did you mean `amps`?"),
    "backward labels": (_part("FB: {is: panel, positions: {«F9-F1»: 3}}"), "runs backwards", "Write `F1-F9`"),
    "two buses with one name in readings": (_part("Q: {is: module, pins: {1: bus my bus H, 2: bus my bus L, 3: «bus my_bus H»}}"), "bus `my_bus` and bus `my bus`", "give one of them another name"),
    "a bus called bus beside one without a name": (_part("Q: {is: module, pins: {1: bus, 2: «bus bus H»}}"), "bus `bus` and a bus without a name (", "Write both alike"),
    "busbar to a bare relay": (_part("FB: {is: panel, positions: {K: {is: relay, kind: normally open}}, busbars: {S1: [«K»]}}"), "say which pin", "`K.PIN`; its pins are 30, 85, 86 and 87"),
    "busbar to an unknown pin": (_part("FB: {is: panel, positions: {K: {is: relay, kind: normally open}}, busbars: {S1: [«K.31»]}}"), "K has no pin 31", "its pins are 30, 85, 86 and 87"),
    "busbar to a side that is none": (_part("FB: {is: panel, positions: {A: 5}, busbars: {S1: [«A.in»]}}"), "A is a fuse: it has no pin in", "feed side"),
    "busbar to a part elsewhere": (_part("FB: {is: panel, positions: {F12: 5}, busbars: {S1: [«F1»]}}"), "panel FB has no position F1", "under `positions` of FB"),
    "busbar from a bare fuse": (_part("FB: {is: panel, positions: {A: 5, B: 5}, busbars: {«A»: [B]}}"), "which side is meant", "`A.load`"),
    "label in two panels": (
        (HEAD + "  FB: {is: panel, positions: {A: 5}}\n  FC: {is: panel, positions: {A: 5}}\nruns:\n  - S1 -- RD 1 -- «A»\n",), "in several panels", "FB/A or FC/A"),
    "label of two panels that is another part": (_part("FB: {is: panel, positions: {A: 5}}\n  FC: {is: panel, positions: {A: 5}}\n  «A»: splice"), "A is a part here and a position in several panels", "a name of its own"),
    "label that is another part": (_part("FB: {is: panel, positions: {A: 5}}\n  «A»: splice"), "A is a splice here, but a fuse in panel FB", "a name of its own"),
    # sheets
    "sheet twice": ((HEAD, "sheet: «1»\n"), "sheet 1 is already typed in (sheets/1.yaml)", "its own number"),
    "sheet without a number": ((HEAD, "«»title: x\n"), "`sheet` is missing", "such as `sheet: 4`"),
    "sheet with nothing": ((HEAD, "sheet:«»\n"), "sheet: nothing stands here", "Write its name"),
    "sheet as a list": ((HEAD, "sheet: «»[1]\n"), "one piece of text is wanted", "one word"),
    "unknown key of a sheet": (_second("«part»: {Q: splice}"), "`part` is not known here", "Did you mean `parts`?"),
    "unknown seen": (_second("seen: «diagramm»"), "`diagramm` is not possible", "Did you mean `diagram`?"),
    "other kind on another sheet": (_second("parts: {S1: «ground»}"), "S1 is a ground here, but a splice at sheets/1.yaml:5:7", "two names"),
    "other role on another sheet": (
        (HEAD.replace("cavities: 1-4", "pins: {1: supply}"), "sheet: 2\nparts: {M: {pins: {1: «ground»}}}\n"),
        "`pins` says something else about 1 than at sheets/1.yaml:10:29", "correct one of them"),
    "other mate on another sheet": (
        (HEAD + "  X2: {is: connector, mates: {1: 2}}\n", "sheet: 2\nparts: {X2: {mates: {1: «3»}}}\n"), "`mates` says something else about 1", "keep one"),
    "other coil on another sheet": (
        (HEAD + "  K: {is: relay, kind: normally open, coil: 86-85}\n", "sheet: 2\nparts: {K: {coil: «»85-86}}\n"), "`coil` is 85, 86 here, but 86, 85 at", "keep one"),
    "other kind of relay on another sheet": (
        (HEAD + "  K: {is: relay, kind: normally open}\n", "sheet: 2\nparts: {K: {kind: «»normally closed}}\n"), "`kind` is normally closed here, but normally open at", "keep one"),
    "contacts on another sheet than follows": (
        (HEAD + "  Q: {is: switch, follows: lights}\n", "sheet: 2\nparts: {Q: {contacts: «»{on: [1-2]}}}\n"), "Q has the position on, but follows `lights`", "Correct the position"),
    # vehicle.yaml
    "vehicle without a name": ("«»system: 12 V\n", "`vehicle` is missing", "such as `vehicle: white van, 2012`"),
    "vehicle with nothing": ("vehicle:«»\n", "vehicle: nothing stands here", "Write its name"),
    "unknown key of a vehicle": (_vehicle("«rail»: {}"), "`rail` is not known here", "Did you mean `rails`?"),
    "no such system": (_vehicle("system: «42 V»"), "`42 V` is not possible", "12 V, 24 V or 48 V"),
    "no such colours": (_vehicle("colours: «french»"), "`french` is not possible", "iec, din or american"),
    "no key state": (_vehicle("key: «»[]"), "no key state is named", "key: [off, acc, run, start]"),
    "key state twice": (_vehicle("key: [off, run, «off»]"), "`off` is named twice", "a name of its own"),
    "key state with nothing": (_vehicle('key: [off, "«»"]'), "key: nothing stands here", "Write its name"),
    "word as a key state": (_vehicle("key: [off, «always»]"), "cannot be the name of a key state", "another word"),
    "condition named as a state": (_vehicle("conditions: {«run»: engine runs}"), "`run` is named twice", "a name of its own"),
    "conditions as a list": (_vehicle("conditions: «»[a]"), "`conditions` is a list", "{key: value}"),
    "rails with nothing": (_vehicle("rails:«»"), "nothing stands under `rails`", "or remove the line"),
    "rail with a space": (_vehicle('rails: {"«3 0»": always}'), "cannot be the name of a rail", "one word"),
    "unknown state of a rail": (_vehicle('rails: {"15": [run, «strat»]}'), "`strat` is neither a key state nor a condition", "Did you mean `start`?"),
    "mistyped always": (_vehicle('rails: {"30": «alwais»}'), "`alwais` is neither", "Did you mean `always`?"),
    "always in a list": (_vehicle('rails: {"30": [run, «always»]}'), "`always` stands alone", "without brackets"),
    "or in a list": (_vehicle('rails: {"30": [«run or start»]}'), "is not understood", "separate entries"),
    "origin unknown": (_vehicle('rails: {"30": {live: always, from: "«?»"}}'), "where the rail begins is wanted", "from: IGN.15"),
    "switched ground by its number": (_vehicle('rails: {"«31b»": din}'), "terminal 31b is ground by way of a switch", "from: S7.31"),
    "rail and part": (_vehicle("rails: {«S1»: always}"), "S1 is the name of a rail and of a part (sheets/1.yaml:5:3)", "another name"),
    "condition in a state that is none": (_vehicle("conditions: {a: {text: x, when: [«rum»]}}"), "`rum` is neither", "Did you mean `run`?"),
    # text
    "colon in a text": (_part("Q: {is: splice, at: left«:» under}"), "a comma or closing bracket is missing (the brackets begin at 11:6)", "needs quotes"),
    "colon without braces": (_second("title: left«:» under"), "a colon followed by a space cannot stand here", "in quotes"),
    "bracket never closed": (_second("parts: {Q: splice«»"), "a comma or closing bracket is missing (the brackets begin at 2:8)", "Check the brackets"),
    "quotes never closed": (_second('title: «"»left'), "the quotes that begin here are never closed", "Close them"),
    "quotes in quotes": (_second('title: "left" «u»nder'), "does not continue", "quotes"),
    "begins with @": (_second("title: «@»home"), "cannot begin with `@`", "in quotes"),
    "begins with a comma": (_second("title: «,»x"), "begins with `,`", "in quotes"),
    "tab": (_second("parts:\n«\t»Q: splice"), "a tab is used for indentation", "spaces"),
    "tab after a dash": (_run("S1 -- RD 1 -- S2\n  -«\t»S1 -- RD 1 -- G1"), "a tab is used for indentation", "spaces"),
    "line without a colon": (_second("«p»arts"), "a colon is missing after this", "key: value"),
    "indented too far": (_second("title: x\n  note«:» y"), "a colon followed by a space cannot stand here", "indentation"),
    "indented too little": (_run("S1 -- RD 1 -- S2\n «-» S1 -- RD 1 -- G1"), "this line begins in column 2", "count the blanks"),
    "two pages in one file": (_second("«-»--\nsheet: 3"), "a second document begins", "a file of its own"),
    "alias": (_second("parts: {Q: &q splice, R: *q}".replace("&q", "«&q»").replace("*q", "splice")), "`&q` is an anchor", "in quotes"),
    "alias alone": (_second("title: «*left»"), "`*left` is an alias", "in quotes"),
    "tag": (_second("title: «!»left x"), "the tag `!left` is not used", "begins with `!`"),
    "python tag": (_second("title: «!»!python/object:os.system x"), "the tag `!!python/object:os.system`", "begins with `!`"),
    "merge key": (_second("«<<»: {title: x}"), "merge keys", "Type the keys out"),
    "list as a key": (_second("? «»[a, b]\n: x"), "a key must be a plain word", "in quotes"),
    "a list instead of a page": ((HEAD, "«»- a\n"), "must be a mapping", "`sheet: 4`"),
    "a word instead of a vehicle": ("«»hello\n", "must be a mapping", "`vehicle: NAME`"),
}  # fmt: skip


def _unmarked(text: str) -> tuple[str, tuple[int, int] | None, str]:
    """The text without its marks, with the marked line and column and the marked piece."""
    before, mark, rest = text.partition("«")
    if not mark:
        return text, None, ""
    piece, _, after = rest.partition("»")
    return before + piece + after, (before.count("\n") + 1, len(before) - (before.rfind("\n") + 1) + 1), piece


@pytest.mark.parametrize("name", TABLE)
def test_one_slip_gives_one_message_at_its_place(name: str, tmp_path: Path) -> None:
    typed, what, fix = TABLE[name]
    texts = (
        {"vehicle.yaml": typed} if isinstance(typed, str) else {f"sheets/{n}.yaml": t for n, t in enumerate(typed, 1)}
    )
    plain = {file: _unmarked(text) for file, text in texts.items()}
    ((file, (line, column), piece),) = ((file, mark, piece) for file, (_, mark, piece) in plain.items() if mark)
    write(tmp_path, HEAD, more={file: text for file, (text, _, _) in plain.items()})
    found = problems(tmp_path)
    assert len(found) == 1, "\n".join(problem.render() for problem in found)
    problem = found[0]
    assert str(problem.place) == f"{file}:{line}:{column}", problem.render()
    assert what in problem.what
    assert fix in problem.fix
    assert problem.text == piece
    assert problem.line_text == plain[file][0].splitlines()[line - 1]


def test_each_message_of_the_table_is_a_sentence_to_act_on() -> None:
    for typed, what, fix in TABLE.values():
        assert typed and len(what) > 5 and len(fix) > 2


# --- many at once ----------------------------------------------------------------------------------------------------

MANY_VEHICLE = """\
vehicle: Harrowgate Linnet
systen: 12 V
colours: iec
conditoins: {}
key: [off, acc, run, start, off]
conditions: {lights: side lights, and: x}
rails: {"30": alway, "15": [rum, start]}
"""
MANY_1 = """\
sheet: 1
titel: Supply
parts:
  BAT: batery
  F1: {is: fuse, amps: ten, at: engine bay, left}
  F1: {is: fuse, amps: 15}
  X1: {is: connector, cavities: 12-1}
  M: {is: module, cavities: 1-4, pins: {1: suply, 2: ground}}
  K1: {is: relay, kind: normaly open}
  FB: {is: panel, positions: {A1: 10, A2: tenn, A3: {is: modul}}}
  SW: {is: switch, follows: lihgts, contacts: {yes: [1-2]}}
runs:
  - BAT.+ -- RD 2.5 -- RD 1 -- M.1
  - F1.load -- ROT 1 -- M.2
  - F1.load -- RD 1 --M.2
  - ? -- RD 1 -- M.3
  - F1.load -- RD 1 -- S1 #12 -- RD 1 -- M.4
  - F1.load -- RD 1: x -- M.4
  - [F1, RD, M.1]
"""
MANY_2 = """\
sheet: 1
parts:
  M: splice
  Ö1: {is: load, watts: 60 A, name: Öffnungsmotor der hinteren linken Seitenscheibe}
runs:
  - {run: M.1 -- RD 1 -- "S 1", seen: diagramm}
"""


def _many(folder: Path) -> list[Problem]:
    more = {
        "sheets/3.yaml": b"",
        "sheets/4.yaml": "sheet: 4\ntitle: Fensterheber für vorn\n".encode("latin-1"),
        "sheets/5.yaml": b"sheet: 5\n- x\n",
    }
    return problems(write(folder, MANY_1, MANY_2, vehicle=MANY_VEHICLE, more=more))


def test_all_mistakes_of_a_vehicle_come_out_at_once_sorted_and_as_text(tmp_path: Path) -> None:
    found = _many(tmp_path)
    assert len(found) >= 25
    assert found == sorted(found)
    assert {problem.place.file for problem in found} == {
        "vehicle.yaml",
        *(f"sheets/{number}.yaml" for number in range(1, 6)),
    }
    check_golden("problems.txt", "\n".join(problem.render() for problem in found) + "\n")


def test_where_the_colours_are_not_known_not_every_wire_is_a_problem(tmp_path: Path) -> None:
    sheet = HEAD + "runs:\n  - S1 -- rt 1 -- S2\n  - S1 -- gn/ge 1 -- M.9\n"
    told = [str(problem.place) for problem in problems(write(tmp_path, sheet, vehicle="vehicle: v\ncolours: dim\n"))]
    assert told == ["vehicle.yaml:2:10"]
    (found, *_) = problems(write(tmp_path, sheet, vehicle="vehicle: v\ncolours: iec\n"))
    assert "It is one with `colours: din`" in found.fix


def test_problems_as_json_say_the_same_as_the_text(tmp_path: Path) -> None:
    found = _many(tmp_path)
    data = json.loads(json_text(problems_data(found)))
    assert data["schema"] == "tracer.problems/1"
    assert len(data["problems"]) == len(found)
    for one, problem in zip(data["problems"], found, strict=True):
        assert set(one) == {"file", "line", "column", "text", "message", "fix"}
        assert one["message"] in problem.render()
        assert one["file"] == problem.place.file
    check_golden("problems.json", json_text(data))


# --- the marker ------------------------------------------------------------------------------------------------------


def _marked(problem: Problem, width: int = 80) -> str:
    """The text that stands above the marker of a rendered problem, compared by columns of the terminal."""
    _, typed, marker = problem.render(width).splitlines()[:3]
    start, end = marker.index("^"), len(marker)
    columns = "".join(c + "\0" * (display_width(c) - 1) for c in typed)
    return columns[start:end].replace("\0", "")


@pytest.mark.parametrize("width", [40, 80, 200])
@pytest.mark.parametrize(
    "run",
    [
        "S1 -- RD 1 -- M.9 -- RD 1 -- S2",
        "S1 --\tRD 1\t--\tM.9\t-- RD 1 -- S2",
        "'S1 -- RD 1 -- M.9 -- RD 1 -- S2'",
        '{note: "窓の開閉用モーター 🚗", run: "S1 -- RD 1 -- M.9 -- RD 1 -- S2"}',
        '{note: "Kühlerlüfter, rückwärts", run: S1 -- RD 1 -- M.9 -- RD 1 -- S2}',
        "{note: " + "x" * 300 + ", run: S1 -- RD 1 -- M.9 -- RD 1 -- S2, seen: vehicle}",
        "{note: " + "窓" * 300 + ", run: S1 -- RD 1 -- M.9 -- RD 1 -- S2}",
        "{run: S1 -- RD 1 -- M.9 -- RD 1 -- S2, note: " + "x" * 300 + "}",
        "S1 -- RD 1 -- S2 --\n      RD 1 -- M.9 -- RD 1 -- S2",
    ],
)
def test_the_marker_stands_below_the_text_it_means(run: str, width: int, tmp_path: Path) -> None:
    (found,) = problems(write(tmp_path, *_run(run)))
    assert found.text == "M.9"
    assert _marked(found, width) == "M.9"
    for line in found.render(width).splitlines()[1:]:
        assert display_width(line) <= width


def test_a_line_that_is_cut_shows_that_it_is_cut(tmp_path: Path) -> None:
    (found,) = problems(
        write(tmp_path, *_run("{note: " + "x" * 99 + ", run: S1 -- RD 1 -- M.9, seen: vehicle, " + " " * 99 + "}"))
    )
    typed = found.render(80).splitlines()[1]
    assert typed.startswith("    …") and typed.endswith("…")


def test_a_file_name_with_a_line_break_keeps_the_message_on_one_line(tmp_path: Path) -> None:
    (found,) = problems(write(tmp_path, HEAD, more={"sheets/a\nb.yaml": "sheet: x: y\n"}))
    assert found.render().splitlines()[0].startswith("sheets/a b.yaml:1:9: ")


def test_a_good_vehicle_has_no_problem(tmp_path: Path) -> None:
    assert problems(write(tmp_path, HEAD, vehicle=VEHICLE)) == []
