"""What a list rests on stands in its first words: COMPLETE, COMPLETE IF, or NOT COMPLETE; in text, JSON, CSV and exit status."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.cli.test_exit_status import invoke
from tests.typed import load, problems, write
from tracer.report.supplies import as_csv, verdict
from tracer.trace.lists.completeness import Assumption, Completeness, conditions
from tracer.trace.lists.results import SupplyReport
from tracer.trace.lists.supplies import supplies_of

VEHICLE = "vehicle: v\nkey: [off, run]\n"
PARTS = "BAT: battery, F1: {is: fuse, amps: 10}, G1: ground"
M = "M: {is: module, cavities: 1-2, pins: {1: supply, 2: ground}}"
RUNS = ("BAT.+ -- RD 1 -- F1 -- RD 1 -- M.1", "M.2 -- BN 1 -- G1", "BAT.- -- BK 16 -- G1")


RAIL = 'rails: {"30": always}\n'
ON_RAIL = ("30 -- RD 1 -- F1 -- RD 1 -- M.1", *RUNS[1:], "BAT.+ -- RD 1 -- E9 -- BN 1 -- G1")
M_E9 = M + ", E9: load"


def sheet(parts: str, *runs: str) -> str:
    return f"sheet: 1\nparts: {{{PARTS}, {parts}}}\nruns:\n" + "".join(f"- {run}\n" for run in runs)


def listed(
    folder: Path, parts: str = M, runs: tuple[str, ...] = RUNS, vehicle: str = VEHICLE, module: str = "M"
) -> SupplyReport:
    return supplies_of(load(folder, sheet(parts, *runs), vehicle=vehicle), module)


def codes(report: SupplyReport) -> set[str]:
    return {loose.code for loose in report.loose_ends}


def rests_on(report: SupplyReport) -> set[tuple[str, str]]:
    assert report.completeness.state == "complete if", [loose.message for loose in report.loose_ends]
    return {(one.kind, one.at) for one in report.completeness.rests_on}


# --- the value -------------------------------------------------------------------------------------------------------


def test_the_states_in_their_order_of_weight() -> None:
    rests = (Assumption("mass", "G1"),)
    assert Completeness().state == "complete"
    assert Completeness(uncounted=("S1",), elsewhere=4).complete
    assert Completeness(rests_on=rests).state == "complete if"
    assert Completeness(loose=1, rests_on=rests).state == "not complete"
    assert Completeness(differences=1, rests_on=rests).word == "NOT COMPLETE"
    with pytest.raises(ValueError, match="no such kind"):
        Assumption("mood", "G1")
    assert conditions([Assumption("mass", "G10"), Assumption("mass", "G9")]) == ("G9 and G10 sit on the body",)


# --- a supply and a ground -------------------------------------------------------------------------------------------

BOTH = "M: {is: module, cavities: [1], pins: {1: supply}%s}"


@pytest.mark.parametrize(
    ("gets", "expected"),
    [("", {"L152"}), (", gets: {ground: case}", set()), (", gets: {ground: N}", set()), (", gets: {supply: N}", {"L152"}),
     (", gets: {supply: N, ground: case}", {"L152"}), (", gets: passive", {"L152"})],
)  # fmt: skip
def test_a_list_without_ground_is_complete_only_where_the_module_says_how_it_is_grounded(
    gets: str, expected: set[str], tmp_path: Path
) -> None:
    other = "N: {is: module, cavities: [1], pins: {1: signal}, unused: [1], gets: passive}"
    report = listed(tmp_path, f"{BOTH % gets}, {other}", (RUNS[0], RUNS[2]))
    assert codes(report) - {"L117", "L123"} == expected


def test_neither_supply_nor_ground_was_once_complete(tmp_path: Path) -> None:
    parts = "M: {is: module, cavities: [1], unused: [1]%s}"
    assert codes(listed(tmp_path, parts % "", (RUNS[2],))) >= {"L152"}
    passive = listed(tmp_path, parts % ", gets: passive", (RUNS[2],))
    assert passive.complete and passive.gets == {"supply": "passive", "ground": "passive"}


def test_how_a_module_is_grounded_stands_where_its_grounds_would(tmp_path: Path) -> None:
    folder = write(tmp_path, sheet(BOTH % ", gets: {ground: case}", RUNS[0], RUNS[2]), vehicle=VEHICLE)
    status, out, _ = invoke("-C", str(folder), "supplies", "M", "--quick")
    assert status == 0
    assert "grounded by its case" in " ".join(out.split())
    assert json.loads(invoke("-C", str(folder), "supplies", "M", "--json")[1])["gets"] == {"ground": "case"}


@pytest.mark.parametrize(
    ("typed", "what", "fix"),
    [("{supply: case}", "no supply comes over the case", "the module that feeds it"), 
     ("{suply: N}", "how the module gets", "passive"), ("case", "how the module gets", "passive"), ("{ground: M}", "the module itself", "passive"),
     ("{ground: G1}", "G1 is no module", "case"), ("{}", "how the module gets", "passive"), ("[N]", "how the module gets", "passive")],
)  # fmt: skip
def test_what_may_stand_under_gets(typed: str, what: str, fix: str, tmp_path: Path) -> None:
    found = problems(write(tmp_path, sheet(BOTH % f", gets: {typed}", RUNS[0]), vehicle=VEHICLE))
    assert [(what in one.what, fix in one.fix) for one in found] == [(True, True)], found
    assert found[0].place.line == 2


def test_a_module_under_gets_that_is_not_declared_is_a_loose_end(tmp_path: Path) -> None:
    assert "L162" in codes(listed(tmp_path, BOTH % ", gets: {ground: Q}", (RUNS[0], RUNS[2])))


# --- only what touches a list ----------------------------------------------------------------------------------------


def test_a_coil_that_only_shares_a_wire_does_not_concern_a_list(tmp_path: Path) -> None:
    """The coil of K1 has no ground; it shares the ground splice of M, but M is not fed over its contact."""
    parts = f"{M}, S1: splice, S2: splice, E1: load, K1: {{is: relay, kind: normally open}}, N: {{is: module, cavities: 1-2, pins: {{1: supply, 2: ground}}}}"
    runs = (RUNS[0], RUNS[2], "M.2 -- BN 1 -- S1", "S1 -- BN 1 -- G1", "BAT.+ -- RD 1 -- K1.30", "K1.87 -- RD 1 -- N.1", "N.2 -- BN 1 -- G1",
            "S1 -- BN 1 -- K1.85", "K1.86 -- RD 1 -- S2", "S2 -- RD 1 -- E1 -- RD 1 -- BAT.+", "S2 -- RD 1 -- E2 -- RD 1 -- G1")  # fmt: skip
    circuit = load(tmp_path, sheet(parts + ", E2: load", *runs), vehicle=VEHICLE)
    assert supplies_of(circuit, "M").complete
    assert codes(supplies_of(circuit, "N")) == {"L128", "L133"}


# --- what a list rests on --------------------------------------------------------------------------------------------


def test_an_assumed_rail(tmp_path: Path) -> None:
    report = listed(tmp_path, M_E9, ON_RAIL, VEHICLE + RAIL)
    assert rests_on(report) == {("source", "30")}


def test_a_terminal_of_the_standard_in_a_key_state_of_the_vehicles_own(tmp_path: Path) -> None:
    vehicle = 'vehicle: v\nkey: [off, comfort, run]\nrails: {"15": din}\n'
    report = listed(tmp_path, M_E9, ("15 -- RD 1 -- F1 -- RD 1 -- M.1", *ON_RAIL[1:]), vehicle)
    assert report.supplies[0].live == {"off": "dead", "comfort": "unknown", "run": "live"}
    assert codes(report) == {"L129"}


def test_31_left_to_its_usual_meaning_is_a_ground_and_no_supply(tmp_path: Path) -> None:
    report = listed(tmp_path, M_E9, (*ON_RAIL[:1], "31 -- BN 1 -- M.2"), 'vehicle: v\nrails: {"30": din, "31": din}\n')
    assert ([row.pin for row in report.supplies], [row.pin for row in report.grounds]) == (["1"], ["2"])
    assert rests_on(report) == {("source", "30"), ("ground", "31")}


def test_an_assumed_ground(tmp_path: Path) -> None:
    report = listed(
        tmp_path,
        runs=("30 -- RD 1 -- F1 -- RD 1 -- M.1", RUNS[1]),
        vehicle=VEHICLE + 'rails: {"30": {live: always, from: BAT.+}}\n',
    )
    assert ("ground", "body") in {(one.kind, one.at) for one in report.completeness.rests_on}


def test_a_ground_point_without_its_mass_where_there_are_several(tmp_path: Path) -> None:
    engine = "GE: {is: ground, on: engine}, W: {is: strap, meets: {1: G2, 2: GE}}, G2: {is: ground, on: body}"
    assert rests_on(listed(tmp_path, f"{M}, {engine}")) == {("mass", "G1")}
    report = listed(tmp_path, f"{M}, W: {{is: strap, meets: {{1: G2, 2: GE}}}}, G2: ground, GE: ground")
    assert rests_on(report) == {("mass", "G1")}  # the mass of GE was forgotten: the strap tells that there are two


def test_a_key_state_that_a_contact_table_leaves_out(tmp_path: Path) -> None:
    runs = ("BAT.+ -- RD 1 -- F1 -- RD 1 -- SW.1", "SW.2 -- RD 1 -- M.1", *RUNS[1:])
    whole = listed(tmp_path, M + ", SW: {is: switch, follows: key, contacts: {off: [], run: [1-2]}}", runs)
    assert whole.complete
    part = listed(tmp_path, M + ", SW: {is: switch, follows: key, contacts: {run: [1-2]}}", runs)
    assert rests_on(part) == {("position", "SW in off")}
    assert part.supplies[0].live == {"off": "unknown", "run": "live"}  # the contact may be closed there
    assert part.supplies[0].why["off"] == ("what SW does in off (no such position in its contacts)",)
    hand = listed(tmp_path, M + ", SW: {is: switch, contacts: {pressed: [1-2]}}", runs)
    assert rests_on(hand) == {("position", "SW in a further position")}


@pytest.mark.parametrize(
    ("part", "pins", "key"),
    [
        ("{is: switch, follows: key, contacts: {off: unknown, run: [1-2]}}", ("1", "2"), "off"),
        ("{is: switch, follows: lights, contacts: {no: unknown, yes: [1-2]}}", ("1", "2"), "off"),  # no lights in off
        ("{is: switch, contacts: {up: unknown, down: [1-2]}}", ("1", "2"), "off"),
        ("{is: relay, coil: 86-85, contacts: {energised: [30-87], rest: unknown}}", ("30", "87"), "off"),
        ("{is: relay, coil: 86-85, contacts: {energised: unknown, rest: [30-87a]}}", ("30", "87a"), "run"),
    ],
)
def test_a_position_that_nobody_knows_is_not_dead_and_leaves_the_list_open(
    part: str, pins: tuple[str, str], key: str, tmp_path: Path
) -> None:
    vehicle = "vehicle: v\nkey: [off, run]\nconditions: {lights: {text: side lights, when: [run]}}\n"
    coil = ("15 -- RD 1 -- SW.86", "SW.85 -- BN 1 -- G1") if "relay" in part else ()
    runs = (f"BAT.+ -- RD 1 -- F1 -- RD 1 -- SW.{pins[0]}", f"SW.{pins[1]} -- RD 1 -- M.1", *RUNS[1:], *coil)
    report = listed(tmp_path, f"{M}, SW: {part}", runs, vehicle + ('rails: {"15": [run]}\n' if coil else ""))
    by_hand = "up:" in part
    assert report.supplies[0].live[key] == ("depends" if by_hand else "unknown")
    assert not report.complete


def test_a_pin_called_output_whose_output_is_not_entered(tmp_path: Path) -> None:
    """M.1 has a supply, and N.3 leads to it as well: what N.3 brings is on no row."""
    parts = M + ", S1: splice, N: {is: module, cavities: 1-3, pins: {1: supply, 2: ground, 3: output to M}%s}"
    runs = (
        "BAT.+ -- RD 1 -- F1 -- RD 1 -- S1",
        "S1 -- RD 1 -- M.1",
        "N.3 -- RD 1 -- S1",
        "BAT.+ -- RD 1 -- N.1",
        "N.2 -- BN 1 -- G1",
        *RUNS[1:],
    )
    assert rests_on(listed(tmp_path, parts % "", runs)) == {("output", "N.3")}
    assert listed(tmp_path, parts % ", outputs: {3: {drives: high, from: [1], when: [run]}}", runs).complete
    assert listed(tmp_path, parts % ", joined: [[1, 3]]", runs).complete


def test_an_output_of_its_own_that_leads_elsewhere_is_no_matter(tmp_path: Path) -> None:
    parts = "M: {is: module, cavities: 1-3, pins: {1: supply, 2: ground, 3: output lamp}}, E1: load"
    assert listed(tmp_path, parts, (*RUNS, "M.3 -- GN 1 -- E1 -- BN 1 -- G1")).complete


def test_a_net_that_nothing_drives(tmp_path: Path) -> None:
    parts = "M: {is: module, cavities: 1-3, pins: {1: supply, 2: ground, 3: signal}}, N: {is: module, cavities: [1], pins: {1: signal}, gets: passive%s}"
    runs = (*RUNS, "M.3 -- GN 0.5 -- N.1")
    assert rests_on(listed(tmp_path, parts % "", runs)) == {("net", "M.3, N.1")}
    assert listed(tmp_path, parts % ", outputs: {1: {drives: signal}}", runs).complete


def test_what_is_behind_a_contact_and_driven_by_nothing(tmp_path: Path) -> None:
    """M.1 is fed by F1; a second contact leads from it to a pin of N that only listens: a feed may be missing there."""
    parts = (
        M
        + ", S1: splice, SW: {is: switch, contacts: {a: [1-2], b: []}}, N: {is: module, cavities: [1], pins: {1: signal}, gets: passive}"
    )
    runs = (
        "BAT.+ -- RD 1 -- F1 -- RD 1 -- S1",
        "S1 -- RD 1 -- M.1",
        "S1 -- RD 1 -- SW.1",
        "SW.2 -- RD 1 -- N.1",
        *RUNS[1:],
    )
    assert listed(tmp_path, parts, runs).complete  # supply reaches N.1 through the contact: it is fed, not a feed


def test_a_run_that_is_only_assumed(tmp_path: Path) -> None:
    report = listed(tmp_path, runs=("{run: BAT.+ -- RD 1 -- F1 -- RD 1 -- M.1, seen: assumed}", *RUNS[1:]))
    assert rests_on(report) == {("assumed", "the run at sheets/1.yaml:4:9")}


# --- joints with a count ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("wires", "expected"), [("", set()), ("wires: 3", set()), ("wires: 4", {"L151"}), ("wires: 2", {"L151"}), ("wires: unknown", set())])  # fmt: skip
def test_a_count_that_is_not_met_is_a_loose_end(wires: str, expected: set[str], tmp_path: Path) -> None:
    parts = f"{M}, S1: {{is: splice{', ' + wires if wires else ''}}}, E1: load"
    runs = ("BAT.+ -- RD 1 -- F1 -- RD 1 -- S1", "S1 -- RD 1 -- M.1", "S1 -- RD 1 -- E1 -- BN 1 -- G1", *RUNS[1:])
    report = listed(tmp_path, parts, runs)
    assert codes(report) == expected
    counted = wires not in ("", "wires: unknown")
    assert report.completeness.uncounted == (("G1",) if counted else ("G1", "S1"))
    if not expected:
        assert report.complete
        number = "1 joint" if counted else "2 joints"
        assert f"{number} on these ways without a wire count" in verdict(report)


@pytest.mark.parametrize(("typed", "what"), [("-1", "number of wires"), ("2.5", "no whole number"), ("many", "number of wires"), ("100", "out of range")])  # fmt: skip
def test_a_count_is_a_whole_number(typed: str, what: str, tmp_path: Path) -> None:
    found = problems(write(tmp_path, sheet(f"{M}, S1: {{is: splice, wires: {typed}}}", *RUNS), vehicle=VEHICLE))
    assert [what in one.what for one in found] == [True], found


def test_two_counts_of_one_joint_are_both_shown(tmp_path: Path) -> None:
    first = sheet(
        f"{M}, S1: {{is: splice, wires: 2}}", "BAT.+ -- RD 1 -- F1 -- RD 1 -- S1", "S1 -- RD 1 -- M.1", *RUNS[1:]
    )
    circuit = load(tmp_path, first, "sheet: 2\nparts: {S1: {is: splice, wires: 3}}\n", vehicle=VEHICLE)
    assert codes(supplies_of(circuit, "M")) == {"L121"}


# --- in every output -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("command", [["supplies", "M"], ["states", "M"], ["volts", "M"]], ids=lambda words: words[0])
def test_complete_if_is_said_first_and_gives_3(command: list[str], tmp_path: Path) -> None:
    text = sheet(M_E9, *ON_RAIL)
    folder = str(write(tmp_path, text, vehicle=VEHICLE + RAIL))
    status, out, error = invoke("-C", folder, *command)
    assert (status, error) == (3, "")
    assert out.splitlines()[1].startswith("COMPLETE IF 30 is live as typed")
    status, out, error = invoke("-C", folder, *command, "--json")
    data = json.loads(out)
    assert (status, data["complete"], data["completeness"]["state"]) == (3, False, "complete if")
    assert data["completeness"]["rests_on"] == [{"kind": "source", "at": "30"}]


def test_complete_if_on_paper_and_in_csv(tmp_path: Path) -> None:
    text = sheet(M_E9, *ON_RAIL)
    folder = write(tmp_path, text, vehicle=VEHICLE + RAIL)
    page = str(tmp_path / "M.svg")
    assert invoke("-C", str(folder), "diagram", "M", "-o", page)[0] == 3
    drawn = Path(page).read_text(encoding="utf-8")
    assert "COMPLETE IF" in drawn and "30 is live as typed" in drawn
    form = str(tmp_path / "M.html")
    assert invoke("-C", str(folder), "worksheet", "M", "-o", form)[0] == 3
    assert "Wiring list COMPLETE IF 30 is live as typed" in Path(form).read_text(encoding="utf-8")
    assert invoke("-C", str(folder), "worksheet", "M", "--all", "-o", form)[0] == 3
    assert Path(form).read_text(encoding="utf-8").count("COMPLETE IF") >= 2
    lines = as_csv(listed(tmp_path / "again", M_E9, ON_RAIL, VEHICLE + RAIL)).splitlines()  # fmt: skip
    assert all(line.endswith(",COMPLETE IF") for line in lines[1:])
    assert any("RESTS ON" in line for line in lines)


def test_a_diagram_of_every_module_says_which_lists_rest_on_something(tmp_path: Path) -> None:
    text = sheet(M_E9, *ON_RAIL)
    folder = write(tmp_path, text, vehicle=VEHICLE + RAIL)
    status, _, error = invoke("-C", str(folder), "diagram", "--all", "-o", str(tmp_path / "out"))
    assert (status, "COMPLETE IF: M" in error) == (3, True)


def test_ground_through_the_inside_of_another_module_hides_no_supply(tmp_path: Path) -> None:
    """N joins its pins 1 and 2: M.1 is grounded through it, and over a contact it has supply too. Both are told."""
    parts = (
        M
        + ", N: {is: module, cavities: 1-3, joined: [[1, 2]]}, SW: {is: switch, follows: key, contacts: {off: [], run: [1-2]}}, S1: splice"
    )
    runs = ("BAT.+ -- RD 1 -- F1 -- RD 1 -- SW.1", "SW.2 -- RD 1 -- S1", "S1 -- RD 1 -- M.1", "S1 -- RD 1 -- N.2", "N.1 -- BN 1 -- G1", *RUNS[1:])  # fmt: skip
    report = listed(tmp_path, parts, runs)
    traced = {cavity.pin: cavity.traced for cavity in report.census}
    assert traced == {"1": "supply and ground", "2": "ground"}
    assert not report.complete
