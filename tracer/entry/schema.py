"""JSON Schema of `vehicle.yaml` and of a sheet, made from the models, so that an editor completes and checks while typing.

The two files under `schemas/` are shipped with the package; `python -m tracer.entry.schema` writes them anew.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from pydantic.json_schema import GenerateJsonSchema, JsonSchemaValue, models_json_schema
from pydantic_core import core_schema

from tracer.entry.facts import Facts
from tracer.entry.file_models import RunFacts, SheetFacts, VehicleFacts
from tracer.entry.models import KINDS

FOLDER = Path(__file__).parent / "schemas"
VEHICLE_FILE = "vehicle.schema.json"
SHEET_FILE = "sheet.schema.json"

_DRAFT = "https://json-schema.org/draft/2020-12/schema"
_RUN = {
    "type": "string",
    "description": "POINT -- WIRE -- POINT, such as: F9 -- RD/GN 2.5 -- X31.1 -- RD/GN 2.5 3.1m -- ALM.4",
    "pattern": r"\S\s+--\s+\S",
}


class _Generator(GenerateJsonSchema):
    """JSON Schema as pydantic makes it, without what tells nothing to somebody who types: titles made from names, defaults inside the program, `null`."""

    def default_schema(self, schema: core_schema.WithDefaultSchema) -> JsonSchemaValue:
        return self.generate_inner(schema["schema"])

    def nullable_schema(self, schema: core_schema.NullableSchema) -> JsonSchemaValue:
        return self.generate_inner(schema["schema"])

    def field_title_should_be_set(self, schema: Any) -> bool:
        return False

    def model_schema(self, schema: core_schema.ModelSchema) -> JsonSchemaValue:
        made = super().model_schema(schema)
        made.pop("title", None)
        return made


def _schema_of(model: type[Facts]) -> dict[str, Any]:
    made = model.model_json_schema(schema_generator=_Generator)
    del made["description"]  # the file as a whole has a title
    return made


def vehicle_schema() -> dict[str, Any]:
    """Schema of `vehicle.yaml`."""
    return {"$schema": _DRAFT, "title": "A vehicle", **_schema_of(VehicleFacts)}


def sheet_schema() -> dict[str, Any]:
    """Schema of a sheet."""
    schema = _schema_of(SheetFacts)
    models: list[type[Facts]] = [*KINDS.values(), RunFacts]
    _, made = models_json_schema([(model, "validation") for model in models], schema_generator=_Generator)
    definitions = made["$defs"]
    for kind, model in KINDS.items():
        part = definitions[model.__name__]
        part["properties"]["is"] = {"const": kind, "description": "the kind of part"}
        part["required"] = ["is"]
    kinds = [{"$ref": f"#/$defs/{model.__name__}"} for model in KINDS.values()]
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
    definitions["RunFacts"]["properties"]["run"] = _RUN
    schema["properties"]["runs"] = {"type": ["array", "null"], "items": {"anyOf": [_RUN, {"$ref": "#/$defs/RunFacts"}]}}
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
