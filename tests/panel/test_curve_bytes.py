"""What a long run's curve costs: nothing that a page has is sent again when all rows are thinned."""

import asyncio
import json
import math

import pytest

from kilnctl.panel.service_client import ServiceClient
from kilnctl.record.columns import COLUMNS, INDEX
from kilnctl.service import live_curve
from kilnctl.service.live_curve import KEPT, LiveCurve


class Told(ServiceClient):
    """A client whose service is a curve in this process; counts the rows that it is sent."""

    def __init__(self, curve: LiveCurve, tmp_path) -> None:
        super().__init__(tmp_path / "socket")
        self.curve, self.sent, self.named = curve, 0, "a run"

    async def ask(self, request: dict, patience_s: float = 5.0) -> dict:
        if request["ask"] != "curve":
            return {"ok": True}
        first, columns = self.curve.since(request["since"], request["most"])
        columns = {n: [None if v != v else v for v in values] for n, values in columns.items()}
        said = {"ok": True, "from": first, "count": len(self.curve), "thinned": self.curve.thinned, "run": self.named}
        said = json.loads(json.dumps({**said, "columns": columns}))
        self.sent += len(said["columns"]["time_s"])
        return said


def row(second: int) -> tuple:
    made = [0.0] * len(COLUMNS)
    made[INDEX["time_s"]] = float(second)
    made[INDEX["chamber_c"]] = math.nan if second % 97 == 0 else 300.0 + 200.0 * math.sin(0.01 * second)
    return tuple(made)


class Page:
    """What a page keeps, and what it was sent."""

    def __init__(self) -> None:
        self.epoch, self.row, self.wholes, self.sent, self.bytes = -1, 0, 0, 0, 0
        self.times: list[float] = []

    def hear(self, client: ServiceClient) -> None:
        said = client.since(self.epoch, self.row)
        times = said["columns"]["time_s"]
        self.times = list(times) if said["whole"] else self.times + times
        self.wholes += said["whole"]
        self.sent, self.bytes = self.sent + len(times), self.bytes + len(json.dumps(said["columns"]))
        self.epoch, self.row = said["epoch"], said["rows"]


@pytest.fixture
def curve(monkeypatch):
    monkeypatch.setattr(live_curve, "MOST_ROWS", 400)
    return LiveCurve()


def test_a_long_run_is_sent_once(curve, tmp_path):
    client, pages = Told(curve, tmp_path), [Page(), Page()]
    for second in range(3200):
        curve.add(row(second))
        if second % 3 == 0:
            asyncio.run(client.refresh())
            pages[0].hear(client)
        if second % 30 == 0:
            pages[1].hear(client)
    assert curve.thinned == 4
    asyncio.run(client.refresh())
    theirs = curve.since(0, 10**6)[1]
    assert all(len(client.columns[n]) == len(theirs[n]) for n in KEPT) and client.columns["time_s"] == theirs["time_s"]
    for page in pages:
        page.hear(client)
        assert page.wholes == 1, "only the first time"
        assert all(b > a for a, b in zip(page.times, page.times[1:])), "no row twice"
        assert page.times[0] == 0.0 and page.times[-1] == client.columns["time_s"][-1]
    ever = len(curve) + curve.thinned * 200  # all rows that the curve was ever given
    assert client.sent <= ever and all(page.sent <= ever for page in pages)
    each = len(json.dumps({name: [-123.45678901234567] for name in KEPT}))
    assert all(page.bytes < each * (ever + 1100) for page in pages), "a row for each row, and some for each second"


def test_a_page_that_slept_through_two_thinnings_gets_the_picture(curve, tmp_path):
    client, page = Told(curve, tmp_path), Page()
    for second in range(2000):
        curve.add(row(second))
        asyncio.run(client.refresh())
        if second == 300:
            page.hear(client)
    page.hear(client)
    assert page.wholes == 2 and page.times == client.columns["time_s"]


def test_another_run_and_a_client_that_slept_begin_anew(curve, tmp_path):
    client, page = Told(curve, tmp_path), Page()
    for second in range(300):
        curve.add(row(second))
    asyncio.run(client.refresh())
    page.hear(client)
    for second in range(300, 2000):
        curve.add(row(second))
    asyncio.run(client.refresh())
    assert client.columns["time_s"] == curve.since(0, 10**6)[1]["time_s"]
    client.named = "another"
    asyncio.run(client.refresh())
    page.hear(client)
    assert page.wholes == 2
