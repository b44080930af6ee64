"""The queue is bounded, retries have growing pauses, and other messages never delay an urgent one."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kilnctl.notify import outbox
from kilnctl.notify.outbox import LONGEST_PAUSE_S, MOST_WAITING, Message, Outbox


def message(n, kind="warning", made_s=0.0):
    return Message(kind, f"message {n}", "words", "2026-01-01T00:00:00", made_s)


def filled(messages):
    box = Outbox()
    for m in messages:
        box = outbox.put(box, m)
    return box


def test_first_in_first_out_but_urgent_first():
    box = filled([message(1), message(2, "trip"), message(3)])
    order = []
    for _ in range(3):
        box, m = outbox.due(box, 1.0, 20)
        assert m is not None
        order.append(m.subject)
        box = outbox.sent(box, m, 1.0)
    assert order == ["message 2", "message 1", "message 3"] and outbox.due(box, 1.0, 20)[1] is None


def test_pauses_double_up_to_ten_minutes_and_end_with_a_success():
    box, pauses, now = filled([message(1)]), [], 0.0
    for _ in range(10):
        box = outbox.failed(box, now, "no route")
        pauses.append(box.next_s - now)
        now = box.next_s
    assert pauses[:4] == [5.0, 10.0, 20.0, 40.0] and pauses[-1] == LONGEST_PAUSE_S
    assert outbox.due(box, now - 0.1, 20)[1] is None
    box, m = outbox.due(box, now, 20)
    assert m is not None and outbox.sent(box, m, now).failures == 0


def test_a_trip_does_not_wait_for_the_end_of_a_pause():
    box = outbox.failed(filled([message(1)]), 0.0, "no route")
    assert outbox.due(box, 1.0, 20)[1] is None
    assert outbox.due(outbox.put(box, message(2, "trip")), 1.0, 20)[1] == message(2, "trip")


def test_a_full_outbox_gives_up_the_oldest_that_is_not_urgent():
    box = filled([message(0, "trip"), *[message(i) for i in range(1, MOST_WAITING + 10)]])
    assert len(box.waiting) == MOST_WAITING and box.dropped == 10
    assert box.waiting[0].kind == "trip" and box.waiting[1].subject == "message 11"


@pytest.mark.parametrize(
    "kind, hours, there", [("warning", 5.9, True), ("warning", 6.1, False), ("trip", 23.9, True), ("trip", 24.1, False)]
)
def test_what_is_too_old_is_given_up(kind, hours, there):
    box, m = outbox.due(filled([message(1, kind)]), hours * 3600.0, 20)
    assert (m is not None) == there and box.dropped == (0 if there else 1)


def test_the_hourly_limit_folds_the_rest_into_one_and_lets_trips_pass():
    box, out = filled([message(i) for i in range(10)]), []
    for _ in range(10):
        box, m = outbox.due(box, 10.0, 3)
        if m is None:
            break
        out.append(m.subject)
        box = outbox.sent(box, m, 10.0)
    assert out == ["message 0", "message 1", "8 messages; this hour's limit is reached"] and not box.waiting
    box = outbox.put(outbox.put(box, message(20)), message(21, "trip"))
    box, m = outbox.due(box, 20.0, 3)
    assert m is not None and m.kind == "trip"
    box = outbox.sent(box, m, 20.0)
    assert outbox.due(box, 20.0, 3)[1] is None
    assert outbox.due(box, 3611.0, 3)[1] == message(20)


@given(st.lists(st.tuples(st.sampled_from(["put", "trip", "good", "bad"]), st.floats(0.0, 900.0)), max_size=200))
def test_no_message_is_sent_twice_and_none_is_lost_but_as_counted(steps):
    box, now, sent, made = Outbox(), 0.0, [], 0
    for what, dt in steps:
        now += dt
        if what in ("put", "trip"):
            made += 1
            box = outbox.put(box, message(made, "trip" if what == "trip" else "warning", now))
            continue
        box, m = outbox.due(box, now, 10**6)
        if m is not None:
            box = outbox.sent(box, m, now) if what == "good" else outbox.failed(box, now, "x")
            sent += [m.subject] if what == "good" else []
    assert len(sent) == len(set(sent)) and len(sent) + len(box.waiting) + box.dropped == made
