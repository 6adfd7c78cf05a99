"""JSON Schema of `vehicle.yaml` and of a sheet, made from the models, so that an editor completes and checks while typing.

The two files under `schemas/` are shipped with the package; `python -m tracer.entry.schema` writes them anew.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from tracer.entry.models import KINDS, RunFacts, SheetFacts, VehicleFacts
from tracer.entry.shapes import facts_schema

FOLDER = Path(__file__).parent / "schemas"
VEHICLE_FILE = "vehicle.schema.json"
SHEET_FILE = "sheet.schema.json"

_DRAFT = "https://json-schema.org/draft/2020-12/schema"
_RUN = {
    "type": "string",
    "description": "POINT -- WIRE -- POINT, such as: F9 -- RD/GN 2.5 -- X31.1 -- RD/GN 2.5 3.1m -- ALM.4",
    "pattern": r"\S\s+--\s+\S",
}


def vehicle_schema() -> dict[str, Any]:
    """Schema of `vehicle.yaml`."""
    return {"$schema": _DRAFT, "title": "A vehicle", **facts_schema(VehicleFacts)}


def sheet_schema() -> dict[str, Any]:
    """Schema of a sheet."""
    schema = facts_schema(SheetFacts)
    definitions: dict[str, Any] = {}
    for kind, model in KINDS.items():
        facts = facts_schema(model)
        facts["properties"]["is"] = {"const": kind, "description": "the kind of part"}
        facts["required"] = ["is"]
        definitions[f"part-{kind}"] = facts
    kinds = [{"$ref": f"#/$defs/part-{kind}"} for kind in KINDS]
    more = {
        "type": "object",
        "not": {"required": ["is"]},
        "description": "more about a part whose kind stands on another sheet",
    }
    schema["properties"]["parts"] = {
        "type": ["object", "null"],
        "additionalProperties": {"anyOf": [{"enum": list(KINDS)}, *kinds, more]},
        "description": "{NAME: {is: KIND, ...}}, or {NAME: KIND}",
    }
    run = facts_schema(RunFacts)
    run["properties"]["run"] = _RUN
    schema["properties"]["runs"] = {"type": ["array", "null"], "items": {"anyOf": [_RUN, run]}}
    return {"$schema": _DRAFT, "title": "A sheet", **schema, "$defs": definitions}


def schema_texts() -> dict[str, str]:
    """File name and text of both schemas."""
    made = {VEHICLE_FILE: vehicle_schema(), SHEET_FILE: sheet_schema()}
    return {name: json.dumps(schema, indent=1, ensure_ascii=False) + "\n" for name, schema in made.items()}


def write() -> None:
    """Write both schemas into the package."""
    FOLDER.mkdir(exist_ok=True)
    for name, text in schema_texts().items():
        (FOLDER / name).write_text(text, encoding="utf-8")


if __name__ == "__main__":
    write()
