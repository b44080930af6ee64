"""JSON Schema (draft 2020-12) of both kinds of file, from the same field metadata that the reader uses."""

from dataclasses import MISSING

from .fields import examples_of, key_of, setting_fields
from .oven import Oven
from .schedule import Schedule

#: A number and something behind it; the exact grammar of units is the reader's.
_WITH_UNIT = r"^[±+−-]?\s*[0-9.¼½¾⅛⅜⅝⅞⅓⅔].*[A-Za-z°%\"″'′µΩ]"
#: The same, or an R-value, which has its letters in front.
_R_VALUE = rf"{_WITH_UNIT}|^R(SI)?[ -]?[0-9.]"


def schema_of(kind: str) -> dict:
    """The schema of "oven" or "schedule" files."""
    definitions: dict[str, dict] = {}
    root = _object({"oven": Oven, "schedule": Schedule}[kind], definitions)
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": f"kilnctl {kind} file",
        **root,
        "$defs": definitions,
    }


def _object(cls: type, definitions: dict) -> dict:
    properties, required = {}, []
    for f in setting_fields(cls):
        properties[key_of(f)] = _property(f, definitions)
        if f.default is MISSING:
            required.append(key_of(f))
    made = {"type": "object", "description": _first_line(cls), "properties": properties, "additionalProperties": False}
    return made | ({"required": required} if required else {})


def _first_line(cls: type) -> str:
    return (
        (cls.__doc__ or cls.__name__).strip().split("\n\n")[0].replace("\n", " ")
        if not (cls.__doc__ or "").startswith(cls.__name__ + "(")
        else cls.__name__
    )


def _reference(cls: type, definitions: dict) -> dict:
    if cls.__name__ not in definitions:
        definitions[cls.__name__] = {}
        definitions[cls.__name__] = _object(cls, definitions)
    return {"$ref": f"#/$defs/{cls.__name__}"}


def _property(f, definitions: dict) -> dict:
    meta = f.metadata
    kind, doc = meta["kind"], meta["doc"]
    described = {"description": doc}
    if kind == "quantity":
        examples = examples_of(f)
        described["description"] += f"; {meta['dimension']}, for example {' or '.join(examples)}"
        if meta["dimension"] == "fraction":
            return {**described, "type": ["number", "string"], "examples": examples}
        pattern = _R_VALUE if meta["dimension"] == "insulance" else _WITH_UNIT
        return {**described, "type": "string", "pattern": pattern, "examples": examples}
    if kind == "integer":
        return {**described, "type": "integer", "minimum": meta["low"], "maximum": meta["high"]}
    if kind == "text":
        return {**described, "type": ["string", "number", "boolean"], "maxLength": meta["longest"]}
    if kind == "choice":
        return {**described, "enum": list(meta["options"])}
    if kind == "flag":
        return {**described, "enum": [True, False, "yes", "no"]}
    if kind == "numbers":
        return {**described, "type": "array", "items": {"type": "number"}, "minItems": 1}
    if kind == "points":
        value = {"type": "string", "pattern": _WITH_UNIT}
        return {
            **described,
            "oneOf": [
                value,
                {
                    "type": "object",
                    "minProperties": 1,
                    "patternProperties": {_WITH_UNIT: value},
                    "additionalProperties": False,
                },
            ],
        }
    if kind == "many":
        return {
            **described,
            "type": "array",
            "items": _reference(meta["cls"], definitions),
            "minItems": meta["fewest"],
            "maxItems": meta["most"],
        }
    reference = _reference(meta["cls"], definitions)
    if meta["bare"]:
        bare = next(x for x in setting_fields(meta["cls"]) if x.name == meta["bare"])
        return {**described, "oneOf": [reference, _property(bare, definitions)]}
    return {**described, **reference}
