"""What programs may read: every answer is as openapi.yaml describes it (OpenAPI 3.1.0, schemas by JSON Schema
2020-12)."""

import time

import pytest

pytest.importorskip("starlette", reason="the extra 'panel' is not installed")
pytest.importorskip("uvicorn", reason="the extra 'panel' is not installed")

import jsonschema
from openapi_spec_validator import validate

from kilnctl.panel.app import description

TOLD = description()
#: Begins and ends as a JPEG file does (ITU-T T.81: markers SOI, APP0 and EOI).
JPEG = b"\xff\xd8\xff\xe0" + bytes(300) + b"\xff\xd9"
#: Path → what is asked of it: the query, and the status that the description must know.
ASKED = {
    "/openapi.json": [("", 200)],
    "/api/status": [("", 200)],
    "/api/runs": [("", 200)],
    "/api/run/{run}": [("", 200)],
    "/api/run/{run}/samples.csv": [("", 200)],
    "/api/run/{run}/photo/{name}": [("", 200)],
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
    assert all(set(path) - {"parameters"} == {"get"} for path in TOLD["paths"].values()), "read-only"


def recorded(bed) -> str:
    """The id of a run that is over and whose files are made."""
    bed.rest()
    cookie = bed.unlocked()
    bed.start("warm.yaml", cookie)
    bed.wait_for(lambda s: s["run_s"] > 20.0)
    bed.rest()
    run = bed.ask("GET", "/api/runs")[1]["runs"][0]["id"]
    status, said, _ = bed.ask("POST", f"/api/photo/{run}", JPEG, cookie=cookie, Content_Type="image/jpeg")
    assert status == 200 and said["name"] == "01.jpg", said
    end = time.monotonic() + 40.0
    while bed.ask("GET", f"/api/run/{run}/samples.csv")[0] != 200:
        assert time.monotonic() < end, "its samples are not made"
        time.sleep(0.2)
    return run


def test_every_path_answers_as_described(bed):
    run = recorded(bed)
    for path, asked in ASKED.items():
        for query, status in asked:
            said, answer, headers = bed.ask("GET", path.format(run=run, name="01.jpg") + query)
            assert said == status, (path, query, answer)
            kind = next(iter(TOLD["paths"][path]["get"]["responses"][str(status)]["content"]))
            assert headers["content-type"].startswith(kind)
            if kind == "application/json":
                as_described(path, status, answer)
        refused = bed.ask("POST", path.format(run=run, name="01.jpg"))[0]
        assert refused in (403, 405, 415), f"{path} is read-only"


def test_a_run_that_is_not_there_is_refused_as_described(bed):
    for path in ("/api/run/{run}", "/api/run/{run}/samples.csv", "/api/run/{run}/photo/{name}"):
        for run in ("0" * 16, "..", "x"):
            assert bed.ask("GET", path.format(run=run, name="01.jpg"))[0] in (400, 404), run
        as_described(path, 400, bed.ask("GET", path.format(run="0" * 16, name="01.jpg"))[1])


def test_a_status_that_lacks_what_is_promised_is_found(bed):
    bed.rest()
    answer = bed.ask("GET", "/api/status")[1]
    as_described("/api/status", 200, answer)
    for key in ("chamber_c", "trips", "age_s"):
        with pytest.raises(jsonschema.ValidationError):
            as_described("/api/status", 200, {k: v for k, v in answer.items() if k != key})
    with pytest.raises(jsonschema.ValidationError):
        as_described("/api/status", 200, answer | {"duty": 1.5})
