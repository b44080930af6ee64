"""How heavy the page is on the wire: 150 kB compressed at most for the first view, also in a run of twelve hours."""

import asyncio
import json
import socket
import zlib
from importlib.resources import files
from pathlib import Path

import pytest

pytest.importorskip("starlette", reason="the extra 'panel' is not installed")
pytest.importorskip("uvicorn", reason="the extra 'panel' is not installed")

from kilnctl.panel.live import compressed_stream
from kilnctl.panel.service_client import ServiceClient

from .test_client_and_catalogue import twelve_hours

MOST = 150_000


def test_the_first_view_is_light(bed):
    total = 0
    for name in (f.name for f in files("kilnctl.panel").joinpath("page").iterdir()):
        # Another language, and the page of samples, are no part of the first view.
        if name.startswith(("parts", "words_", "told_")):
            continue
        path = "/" if name == "index.html" else f"/page/{name}"
        status, _, headers = bed.ask("GET", path, Accept_Encoding="gzip, deflate")
        assert status == 200 and headers["content-encoding"] == "gzip" and headers["vary"] == "accept-encoding"
        total += int(headers["content-length"])
        assert "content-encoding" not in bed.ask("GET", path)[2], "only for who can read it"
    client = ServiceClient(Path("/nonexistent"))
    client.columns, client.epoch = twelve_hours(), 3
    first = json.dumps(client.since(-1, 0), separators=(",", ":")).encode()

    async def packed() -> bytes:
        async def stream():
            yield first

        return b"".join([part async for part in compressed_stream(stream())])

    total += len(asyncio.run(packed()))
    print(f"{total / 1000:.0f} kB")
    assert total < MOST


@pytest.mark.slow
def test_events_come_compressed_and_whole(bed):
    bed.rest()
    with socket.create_connection(("127.0.0.1", bed.port), timeout=20.0) as s:
        head = f"GET /api/events HTTP/1.1\r\nHost: 127.0.0.1:{bed.port}\r\nAccept-Encoding: gzip\r\n\r\n"
        s.sendall(head.encode())
        reader = s.makefile("rb")
        answer = b""
        while not answer.endswith(b"\r\n\r\n"):
            answer += reader.readline()
        assert b"content-encoding: gzip" in answer.lower()
        unpacker, text = zlib.decompressobj(31), b""
        # Each chunk is read as soon as it is there: no event waits for the next one.
        while text.count(b"\n\n") < 3:
            text += unpacker.decompress(reader.read(int(reader.readline(), 16)))
            reader.readline()
            assert text.endswith(b"\n\n")
    last = text.decode().split("\n\n")[-2].split("data: ")[1]
    assert json.loads(last)["status"]["oven"] == "Curing cabinet"
