"""Places for connections and streams, and what the worker gives up: many clients cannot lock one out."""

import asyncio
import time

import pytest

pytest.importorskip("starlette", reason="the extra 'panel' is not installed")

from kilnctl.panel.connections import Places, Streams
from kilnctl.panel.worker import MOST_WAITING, Worker


class Transport:
    """The part of a transport that the places use."""

    def __init__(self):
        self.aborted = False

    def abort(self):
        self.aborted = True


def taken(places, address, count, busy=False):
    made = []
    for port in range(count):
        transport = Transport()
        peer = (address, 1000 + len(places) + port * 1000)
        places.take(peer, transport)
        if busy:
            places.asks(peer)
        made.append(transport)
    return made


def in_a_loop(does):
    async def run():
        does()

    asyncio.run(run())


def test_the_screen_at_the_oven_has_places_of_its_own():
    def does():
        places = Places(most_each=6, most_away=30, most_here=5)
        here = taken(places, "127.0.0.1", 5, busy=True)
        for k in range(20):
            taken(places, f"10.0.0.{k}", 6, busy=True)
        assert len(places) == 35 and not any(t.aborted for t in here)
        late = taken(places, "127.0.0.1", 1)
        assert not late[0].aborted and here[0].aborted

    in_a_loop(does)


def test_who_comes_when_all_places_are_taken_gets_one():
    def does():
        places = Places(most_each=6, most_away=12, most_here=5)
        many, few = taken(places, "10.0.0.1", 6, busy=True), taken(places, "10.0.0.2", 5, busy=True)
        waits = taken(places, "10.0.0.3", 1)
        assert not taken(places, "10.0.0.4", 1, busy=True)[0].aborted
        assert waits[0].aborted and not any(t.aborted for t in many + few)
        assert not taken(places, "10.0.0.5", 1)[0].aborted
        assert many[0].aborted and not any(t.aborted for t in few)

    in_a_loop(does)


def test_streams_are_capped_apart_and_the_oldest_of_the_crowd_goes():
    ended = []
    streams = Streams(ended.append, most_each=3, most_away=10, most_here=2)
    streams.begin(("127.0.0.1", 1), "127.0.0.1", True)
    for k in range(300):
        streams.begin((f"10.0.0.{k % 10}", k + 2), f"10.0.0.{k % 10}", False)
    assert len(streams) == 11 and ("127.0.0.1", 1) not in ended
    streams.begin(("127.0.0.1", 900), "127.0.0.1", True)
    streams.begin(("127.0.0.1", 901), "127.0.0.1", True)
    assert ended[-1] == ("127.0.0.1", 1) and len(streams) == 12


@pytest.fixture
def worker():
    made = Worker(idle_s=0.3)
    yield made
    made.close()


def until(condition):
    end = time.monotonic() + 60.0
    while not condition():
        assert time.monotonic() < end, "it did not come"
        time.sleep(0.02)


def test_what_nobody_waits_for_is_given_up(worker):
    """Seven pages that were left: their requests do not delay the others for minutes."""
    jobs = [worker.ask(("nap", k), time.sleep, 600.0) for k in range(7)]
    until(lambda: worker.going is not None)
    for job in jobs:
        worker.leave(job)
    assert worker.work_out("after", abs, -2) == 2
    assert all(job.answer.done() for job in jobs)


def test_only_so_many_questions_wait(worker):
    jobs = [worker.ask(("nap", k), time.sleep, 600.0) for k in range(MOST_WAITING + 4)]
    assert [job.answer.cancelled() for job in jobs].count(True) == 3
    for job in jobs:
        worker.leave(job)


def test_its_process_ends_when_there_is_nothing_to_do(worker):
    """Its memory is a third of what the unit allows."""
    assert worker.work_out("one", abs, -1) == 1
    (process,) = worker.processes
    until(lambda: not process.is_alive())
    assert worker.work_out("two", abs, -2) == 2
