"""Answers of commands compared with their JSON schema, which is checked itself once for each part of it."""

import json
from functools import cache
from pathlib import Path
from typing import Any

import jsonschema
from rimward import cli

SCHEMA = json.loads((Path(cli.__file__).parent / "answers.schema.json").read_text(encoding="utf-8"))


@cache
def _validator(part: str) -> Any:
    schema = SCHEMA | {"$ref": f"#/$defs/{part}"}
    kind = jsonschema.validators.validator_for(schema)
    kind.check_schema(schema)
    return kind(schema)


def validate(found: object, part: str) -> None:
    """ValidationError if `found` is not what the schema's part says."""
    _validator(part).validate(found)
