"""What programs may read: every answer is as openapi.yaml describes it (OpenAPI 3.1.0, schemas by JSON Schema
2020-12)."""

import pytest

pytest.importorskip("starlette", reason="the extra 'panel' is not installed")
pytest.importorskip("uvicorn", reason="the extra 'panel' is not installed")

import jsonschema
from openapi_spec_validator import validate

from kilnctl.panel.app import description

TOLD = description()
#: Path → what is asked of it: the query, and the status that the description must know.
ASKED = {
    "/openapi.json": [("", 200)],
    "/api/status": [("", 200)],
    "/api/runs": [("", 200)],
    "/api/schedules": [("", 200)],
    "/api/schedule": [("?file=warm.yaml", 200), ("?file=../x", 400), ("?file=none.yaml", 400)],
    "/api/sizing": [("", 200)],
    "/api/care": [("", 200)],
    "/metrics": [("", 200)],
}


def as_described(path: str, status: int, answer) -> None:
    content = TOLD["paths"][path]["get"]["responses"][str(status)]["content"]
    schema = {**content["application/json"]["schema"], "components": TOLD["components"]}
    jsonschema.Draft202012Validator(schema).validate(answer)


def test_it_is_valid_openapi_and_every_path_is_asked_below():
    validate(TOLD)
    assert set(TOLD["paths"]) == set(ASKED)
    assert all(set(path) == {"get"} for path in TOLD["paths"].values()), "read-only"


def test_every_path_answers_as_described(bed):
    bed.rest()
    for path, asked in ASKED.items():
        for query, status in asked:
            said, answer, headers = bed.ask("GET", path + query)
            assert said == status, (path, query, answer)
            kind = next(iter(TOLD["paths"][path]["get"]["responses"][str(status)]["content"]))
            assert headers["content-type"].startswith(kind)
            if kind == "application/json":
                as_described(path, status, answer)
        refused = bed.ask("POST", path)[0]
        assert refused in (403, 405, 415), f"{path} is read-only"


def test_a_status_that_lacks_what_is_promised_is_found(bed):
    bed.rest()
    answer = bed.ask("GET", "/api/status")[1]
    as_described("/api/status", 200, answer)
    for key in ("chamber_c", "trips", "age_s"):
        with pytest.raises(jsonschema.ValidationError):
            as_described("/api/status", 200, {k: v for k, v in answer.items() if k != key})
    with pytest.raises(jsonschema.ValidationError):
        as_described("/api/status", 200, answer | {"duty": 1.5})
