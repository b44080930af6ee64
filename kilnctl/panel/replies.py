"""What requests bring as JSON, and what they get back."""

import asyncio
import json
from collections.abc import Mapping

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, Response

from ..errors import KilnctlError
from ..record.folder import plain
from .guard import LARGEST_BODY
from .schedule_folder import Exists

#: A request's body must arrive within this time, s.
BODY_S = 10.0


async def body(request: Request, largest: int = LARGEST_BODY) -> bytes:
    """The bytes of a request. Raises KilnctlError where they are too many or too slow."""
    data = bytearray()
    try:
        async with asyncio.timeout(BODY_S):
            async for part in request.stream():
                # The guard has checked the announced length; the bytes that arrive are counted too.
                data += part
                if len(data) > largest:
                    raise KilnctlError(f"longer than {largest // 1000} kB")
    except TimeoutError:
        raise KilnctlError("the request took too long to arrive") from None
    return bytes(data)


async def json_body(request: Request, wanted: Mapping[str, type | tuple], needed: bool = True) -> dict:
    """The JSON object of a request, with these keys and types. Raises KilnctlError."""
    data = await body(request)
    try:
        said = json.loads(data)
    except (ValueError, RecursionError):
        raise KilnctlError("not JSON") from None
    if (
        not isinstance(said, dict)
        or any(k not in wanted for k in said)
        or (needed and any(k not in said for k in wanted))
    ):
        raise KilnctlError(f"a JSON object with {', '.join(wanted)} is wanted")
    for key, value in said.items():
        kind = wanted[key]
        if not isinstance(value, kind) or (isinstance(value, bool) and kind is not bool):
            raise KilnctlError(f"'{key}' is of the wrong kind")
    return said


def takes_gzip(request: Request) -> bool:
    """Whether the browser says that it reads gzip."""
    return "gzip" in [c.split(";")[0].strip() for c in request.headers.get("accept-encoding", "").split(",")]


def reply(value: dict, status: int = 200) -> JSONResponse:
    return JSONResponse(plain(value), status)


def refuse(words: str, status: int, **more) -> JSONResponse:
    return JSONResponse({"ok": False, "words": words, **more}, status)


async def told(request: Request, error: Exception) -> Response:
    if isinstance(error, Exists):
        return refuse(str(error), 409, exists=error.name, over=error.sha256)
    return refuse(str(error), 400)


async def missing(request: Request, error: Exception) -> Response:
    return refuse("there is nothing here", error.status_code if isinstance(error, HTTPException) else 404)


async def fault(request: Request, error: Exception) -> Response:
    return PlainTextResponse("kilnctl met a fault of its own; the oven's service is not touched by it", 500)
