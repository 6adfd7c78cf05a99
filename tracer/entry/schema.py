"""JSON Schema of `vehicle.yaml` and of a sheet, made from the models, so that an editor completes and checks while typing.

The two files under `schemas/` are shipped with the package; `python -m tracer.entry.schema` writes them anew.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from pydantic import BaseModel

from tracer.entry.models import KINDS, SheetFacts, VehicleFacts

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
    schema = _of(VehicleFacts)
    rail = schema["$defs"]["RailFacts"]
    short = {
        "type": ["string", "array", "boolean", "null"],
        "description": "always, ground, din, unknown, or a list of key states",
    }
    schema["properties"]["rails"]["additionalProperties"] = {"anyOf": [short, rail]}
    condition = schema["$defs"]["ConditionFacts"]
    schema["properties"]["conditions"]["additionalProperties"] = {"anyOf": [{"type": "string"}, condition]}
    return {"$schema": _DRAFT, "title": "A vehicle", **schema}


def sheet_schema() -> dict[str, Any]:
    """Schema of a sheet."""
    schema = _of(SheetFacts)
    definitions: dict[str, Any] = {}
    kinds = []
    for kind, model in KINDS.items():
        facts = _of(model)
        definitions.update(facts.pop("$defs", {}))
        facts["properties"]["is"] = {"const": kind, "description": "the kind of part"}
        facts["required"] = sorted({*facts.get("required", []), "is"})
        definitions[f"part {kind}"] = facts
        kinds.append({"$ref": f"#/$defs/part {kind}"})
    output = definitions["OutputFacts"]
    definitions["OutputFacts"] = {"anyOf": [{"enum": ["high", "low", "both", "reference"]}, output]}
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
    run = {"type": "object", "additionalProperties": False, "required": ["run"]}
    run["properties"] = {"run": _RUN, "seen": {"enum": ["diagram", "vehicle", "assumed"]}, "note": {"type": "string"}}
    schema["properties"]["runs"] = {"type": ["array", "null"], "items": {"anyOf": [_RUN, run]}}
    schema["$defs"] = definitions
    return {"$schema": _DRAFT, "title": "A sheet", **schema}


def _of(model: type[BaseModel]) -> dict[str, Any]:
    schema = model.model_json_schema(by_alias=True)
    return _without_defaults(schema)  # type: ignore[no-any-return]


def _without_defaults(tree: Any) -> Any:
    """A schema without `default` (an editor would type it in) and without the titles pydantic makes up."""
    if isinstance(tree, dict):
        dropped = {"default", "title"} if "type" in tree or "anyOf" in tree or "$ref" in tree else set()
        return {
            key: _without_defaults(value)
            for key, value in tree.items()
            if key not in dropped or isinstance(value, dict)
        }
    return [_without_defaults(item) for item in tree] if isinstance(tree, list) else tree


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
