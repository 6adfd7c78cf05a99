"""83 ordinary slips of one typing session, made one at a time in a sound vehicle of 93 wires: what is changed in which file.

An edit is `(file, old text, new text)`; without old text the whole file is written, with `None` for the new text it is taken away.
"""

from __future__ import annotations

from pathlib import Path

FOLDER = Path(__file__).parent / "typing_session"
Edit = tuple[str, str | None, str | bytes | None]


def text(name: str) -> str:
    return (FOLDER / name).read_text(encoding="utf-8")


P3, P5 = "sheets/03.yaml", "sheets/05.yaml"
P1, P2, P4, P6 = "sheets/01.yaml", "sheets/02.yaml", "sheets/04.yaml", "sheets/06.yaml"
NO_ENDS: Edit = ("vehicle.yaml", "terminations: {ECM: 120, GTW: 120}", "terminations: {ECM: 120}")
BULKHEAD = "BK/RD 2.5 -- X1.5 -- BK/RD 2.5 -- ECM.5"
SUPPLY = "F31 -- RD/BU 1.5 -- ECM.3"

SLIPS: dict[int, list[Edit]] = {
    1: [(P3, "ECM.2 --", "ECN.2 --")],
    2: [(P3, "ECM.2 --", "ECM.1 --")],
    3: [(P3, BULKHEAD, BULKHEAD.replace("-- BK/RD 2.5 -- ECM", "-- BK/RS 2.5 -- ECM"))],
    4: [(P3, BULKHEAD, BULKHEAD.replace("-- BK/RD 2.5 -- ECM", "-- BK/GN 2.5 -- ECM"))],
    5: [(P5, None, None)],
    6: [(P3, "ref 33>43", "ref 36>26!"), (P3, "ref 36>26 ", "ref 33>43 "), (P3, "ref 36>26!", "ref 36>26")],
    7: [(P3, "ref 36>26", "ref 36>27")],
    8: [(P3, "ref 36>26", "ref 36-26")],
    9: [(P3, "ref 36>26", "to page 2")],
    10: [(P3, f"  - {SUPPLY}", f"\t- {SUPPLY}")],
    11: [(P3, SUPPLY, SUPPLY.replace(" -- ", "\t--\t"))],
    12: [(P3, "      5: supply", "     5: supply")],
    13: [(P3, "  S21: {", " S21: {")],
    14: [(P3, "RD/BU 1.5", "RD/BU 1,5")],
    15: [(P4, "ohms: 2500", "ohms: 2500,5")],
    16: [(P3, "1.5 -- ECM.3", "1.5 -- ecm.3")],
    17: [(P3, "RD/BU", "rd/bu")],
    18: [(P4, "  S22: {is: splice, wires: 3, at: front harness}\n", "")],
    19: [(P3, SUPPLY, SUPPLY.replace("--", "–"))],
    20: [(P3, SUPPLY, SUPPLY.replace("--", "—"))],
    21: [(P3, SUPPLY, SUPPLY.replace("--", "-"))],
    22: [(P3, SUPPLY, SUPPLY.replace(" -- ", "--"))],
    23: [("sheets/05.yml", None, text(P5)), (P5, None, None)],
    24: [("sheets/05.yaml.txt", None, text(P5)), (P5, None, None)],
    25: [(P5, "sheet: 5", "sheet: 3")],
    26: [(P3, f"  - {SUPPLY}", f"  {SUPPLY}")],
    27: [(P3, "sheet: 3", "sheet:3")],
    28: [(P3, "    name: Engine control module", "    name: Engine: control module")],
    29: [(P3, "at: engine harness near the battery", "at: engine harness, behind jug")],
    30: [(P3, "engine harness near the battery}", "engine harness near the battery")],
    31: [(P3, SUPPLY, "F31 -- ECM.3")],
    32: [(P3, "RD/BU 1.5", "1.5 RD/BU")],
    33: [(P3, "ECM.10 --", "ECM.1O --")],
    34: [(P3, "X1.5 --", "X1.15 --")],
    35: [(P3, "X1.5 --", "X1.6 --")],
    36: [(P3, "X1.5 --", "X1.25 --")],
    37: [(P3, "- F31 --", "- F38 --")],
    38: [(P3, "S20: {is: splice", "S20: {is: spliec")],
    39: [(P4, "R2: {is: load", "R2: {is: sensor")],
    40: [(P3, "cavities: 1-24", "cavity: 1-24")],
    41: [(P4, "parts:\n", "parts:\n  S20: {is: splice, at: at the bulkhead}\n")],
    42: [(P3, "  S21: {", "  S20: {is: splice}\n  S21: {")],
    43: [(P3, "ECM.1 -- BN", "ECM -- BN")],
    44: [(P1, "F31: 15", "F31: 15A")],
    45: [(P1, "F31: 15", "F31: 150")],
    46: [(P1, '"15": [F1-F3]', "KL15: [F1-F3]")],
    47: [(P3, "RD/BU 1.5", "red/blue 1.5")],
    48: [(P1, "F34, F35]}", "F34, F35, D9.A], F30.load: [D9.K]}"), (P1, "      K2: {", "      D9: {is: diode}\n      K2: {")],
    49: [(P3, None, b"\xef\xbb\xbf" + text(P3).replace("\n", "\r\n").encode())],
    50: [(P3, None, text(P3).replace("on the bulkhead", "für alle").encode("latin-1"))],
    51: [(P3, "  - S21 -- RD/YE 1 -- ECM.8\n", "")],
    52: [(P3, f"  - {SUPPLY}\n", "")],
    53: [(P3, f"  - {SUPPLY}\n", ""), (P3, "      3: supply\n", "")],
    54: [(P1, "K2.87: [F34, F35]", "K2.87: [F35]")],
    55: [(P3, "K2.85 -- BN/YE", "K2.86 -- BN/YE"), (P2, "K2.86", "K2.85")],
    56: [(P3, "INS.4 --", "INS.X --"), (P3, "INS.5 --", "INS.4 --"), (P3, "INS.X --", "INS.5 --")],
    57: [(P3, "9: bus drive H", "9: bus drvie H"), (P3, "10: bus drive L", "10: bus drvie L")],
    58: [(P1, 'at: "engine bay, left"', "at: “engine bay, left”")],
    59: [(P3, f"  - {SUPPLY}\n", f"  - {SUPPLY}\n  - {SUPPLY}\n")],
    60: [(P3, SUPPLY, SUPPLY.replace(" -- ", "\u00a0-- "))],
    61: [(P5, "runs:", "run:")],
    62: [(P3, "through: [2]", "through: [66]")],
    63: [(P5, None, None), NO_ENDS],
    64: [(P5, None, "sheet: 5\ntitle: Gateway\n"), NO_ENDS],
    65: [("sheets/05.yaml.txt", None, text(P5)), (P5, None, None), NO_ENDS],
    66: [("sheets/05 - Copy.yaml", None, text(P5)), ("sheets/.~lock.05.yaml#", None, "x")],
    67: [("05.yaml", None, text(P5)), (P5, None, None), NO_ENDS],
    68: [(P2, "BK/RD 2.5 -- X1.1 -- BK/RD 2.5 -- K2.86", "BK/RD 2.5 -- X1.1 -- K2.86"), (P3, "X1.6 --", "X1.26 --"), (P4, "WH 0.5 -- R1.1", "WHT 0.5 -- R1.1"), (P6, "is: relay", "is: relais")],
    69: [(P5, "sheet: 5\n", "")],
    70: [(P3, "ref 36>26", "ref 2/26")],
    71: [(P2, "  - S2 -- BK/RD 2.5 -- ref 26>36\n", "")],
    72: [(P3, "3: supply", "3: suply")],
    73: [(P3, "3: supply", "3: 12V")],
    74: [(P3, "- F31 --", "- F31.1 --")],
    75: [(P2, "- K3.87 --", "- K3-87 --")],
    76: [(P2, "- K3.87 --", "- K3.88 --")],
    77: [(P3, "RD/BU 1.5 --", "RD/BU 1.5 #204 --")],
    78: [(P3, "RD/BU 1.5", "RD/BU 16 AWG")],
    79: [(P3, "RD/BU 1.5", "RD/BU 1.5mm2")],
    80: [(P1, '"15": [F1', "15: [F1")],
    81: [("vehicle.yaml", "live: [run, start]", "live: [on]")],
    82: [(P5, "  D1: {", "  DOOR SW: {"), (P5, "D1.", "DOOR SW.")],
    83: [(P5, "GTW.3 -- BN 1.5 -- S30", "GTW.3 -- BN 1.5 -- S12")],
}  # fmt: skip


def make(folder: Path, number: int) -> Path:
    """The vehicle with one slip in it."""
    for path in FOLDER.rglob("*.yaml"):
        target = folder / path.relative_to(FOLDER)
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(path.read_bytes())
    for file, old, new in SLIPS[number]:
        path = folder / file
        if old is not None:
            before = path.read_text(encoding="utf-8")
            assert old in before and isinstance(new, str), (number, old)
            path.write_text(before.replace(old, new), encoding="utf-8")
        elif new is None:
            path.unlink()
        else:
            path.write_bytes(new if isinstance(new, bytes) else new.encode())
    return folder
