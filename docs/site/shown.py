"""Which call of each command the documentation shows: run when it is built, each with the demo vehicles beside it."""

from __future__ import annotations

# Each command: what to type, in the order in which it is run. A case goes on from call to call, in the order of this table.
SHOWN: dict[str, tuple[str, ...]] = {
    "demo": ("demo",),
    "new": ("new my-van",),
    "missing": ("-C circuits/unfinished missing LIFT",),
    "watch": ("-C circuits/unfinished watch LIFT --saves 0",),
    "read-back": ("-C circuits/minibus read-back 4", "-C circuits/minibus read-back 4 --tick 1-3"),
    "write-out": ("-C circuits/minibus write-out -o wires.csv",),
    "take-in": ("-C from-a-list take-in wires.csv",),
    "compare": ("compare circuits/minibus second-typing",),
    "check": ("-C circuits/unfinished check",),
    "supplies": (
        "-C circuits/minibus supplies ALM",
        "-C circuits/minibus supplies ALM 2",
        "-C circuits/minibus supplies ALM --place FPC",
        "-C circuits/unfinished supplies LIFT",
    ),
    "states": ("-C circuits/minibus states ALM",),
    "affects": ("-C circuits/minibus affects F50",),
    "panel": ("-C circuits/minibus panel FPC", "-C circuits/minibus panel FPC --saw '12:15 13:- 14:20'"),
    "common": ("-C circuits/minibus common ALM CLM --working BDM",),
    "volts": ("-C circuits/minibus volts ALM --key run", "-C circuits/minibus volts ALM --add X4.1=0.5ohm"),
    "bus": ("-C circuits/minibus bus", "-C circuits/minibus bus drive --reading 120ohm --at ALM"),
    "draw": ("-C circuits/minibus draw --total 0.35A --mv F4=0.4 --mv F7=0.1",),
    "diagram": ("-C circuits/minibus diagram ALM -o alm.svg",),
    "worksheet": ("-C circuits/minibus worksheet ALM -o alm.pdf",),
    "pocket": ("-C circuits/minibus pocket ALM -o alm.html",),
    "case": (
        '-C circuits/minibus case open ALM --complaint "the rear sags overnight"',
        "case set key=off plug=out lamp=21W other=- symptom=yes",
    ),
    "read": ("read battery=12,62 3+=12,61/12,39", "read 5+=dead", "read 5+=dead"),
    "next": ("next",),
    "proof": ("proof",),
    "report": ("report",),
    "cautions": ("cautions",),
    "sources": ("sources",),
}

# It serves until Ctrl-C: its page shows it.
NOT_SHOWN = {"desk"}

# The page that says more of a command.
MORE = {
    "affects": "affects.md",
    "bus": "bus.md",
    "case": "case.md",
    "check": "rules.md",
    "common": "common.md",
    "compare": "wire-lists.md",
    "desk": "desk.md",
    "diagram": "diagram.md",
    "draw": "draw.md",
    "new": "start.md",
    "next": "next.md",
    "panel": "panel.md",
    "pocket": "pocket.md",
    "proof": "case.md",
    "read": "case.md",
    "read-back": "wire-lists.md",
    "report": "case.md",
    "supplies": "trust.md",
    "take-in": "wire-lists.md",
    "volts": "volts.md",
    "watch": "start.md",
    "worksheet": "worksheet.md",
    "write-out": "wire-lists.md",
}
