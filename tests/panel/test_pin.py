"""PIN, throttle, sessions and arm."""

import json

import pytest

from kilnctl import KilnctlError
from kilnctl.panel import pin as module
from kilnctl.panel.pin import ARM_S, FREE_TRIES, SESSION_MOST_S, SESSION_S, Keys, wait_s


class Clock:
    def __init__(self):
        self.now = 1000.0

    def __call__(self):
        return self.now


@pytest.fixture(autouse=True)
def cheap(monkeypatch):
    monkeypatch.setattr(module, "COST", dict(n=16, r=1, p=1))


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def keys(tmp_path, clock):
    made = Keys(tmp_path / "panel", clock)
    made.make_pin("123456")
    return made


def test_the_right_pin_opens_and_a_wrong_one_does_not(keys):
    token = keys.open("123456")
    assert (
        token
        and keys.session(token)
        and not keys.session("x" + token)
        and not keys.session(None)
        and not keys.session("")
    )
    for wrong in ("123457", "", "1234567", "１２３４５６", "x" * 5000):
        assert keys.open(wrong) is None
    assert (
        token not in json.dumps([p.read_text() for p in keys.folder.iterdir()])
        and "123456" not in (keys.folder / "pin").read_text()
    )


def test_pins_are_six_digits(keys):
    for bad in ("12345", "1234567", "abcdef", "１２３４５６", ""):
        with pytest.raises(KilnctlError, match="6 digits"):
            keys.make_pin(bad)
    assert len({keys.make_pin() for _ in range(30)}) > 25
    assert oct((keys.folder / "pin").stat().st_mode & 0o777) == "0o600"


def test_wrong_tries_are_counted_on_the_disk_and_wait_longer_and_longer(keys, clock):
    for _ in range(FREE_TRIES):
        assert keys.open("000000") is None
    assert keys.locked_s() == pytest.approx(30.0)
    # Locked: the right one is not even looked at, from nowhere, and not after a restart of the panel.
    assert keys.open("123456") is None and Keys(keys.folder, clock).open("123456") is None
    clock.now += 30.1
    assert keys.open("000000") is None and keys.locked_s() == pytest.approx(60.0)
    clock.now += 60.1
    assert keys.open("123456") and keys.locked_s() == 0.0
    assert keys.open("000000") is None and keys.locked_s() == 0.0


def test_thirty_four_tries_on_the_first_day_and_0_07_percent_of_all_pins_in_a_month():
    """Arithmetic of the project's hardware notes, section 10: 5 free, then 30 s doubling to 1 h."""
    tries, now = 0, 0.0
    while now < 86400.0:
        tries += 1
        now += wait_s(tries)
    assert tries == pytest.approx(34, abs=1)
    while now < 30 * 86400.0:
        tries += 1
        now += wait_s(tries)
    assert tries / 1e6 == pytest.approx(0.0007, abs=0.0001)


def test_the_wait_survives_a_restart_of_the_computer_and_a_damaged_file_locks(keys, clock):
    for _ in range(FREE_TRIES + 2):
        keys.open("000000")
        clock.now += 3600.0
    keys.open("000000")
    waited = keys.locked_s()
    clock.now = 5.0  # the computer was started again: its clock begins at 0 again
    assert 0.0 < Keys(keys.folder, clock).locked_s() <= waited
    (keys.folder / "tries").write_text("{broken")
    assert keys.locked_s() > 0.0 and keys.open("123456") is None


def test_sessions_end_by_themselves_and_by_a_new_pin(keys, clock):
    token = keys.open("123456")
    clock.now += SESSION_S - 1.0
    assert (
        keys.left_s(token) == pytest.approx(1.0)
        and keys.session(token)
        and keys.left_s(token) == pytest.approx(SESSION_S)
    )
    clock.now += SESSION_S + 1.0
    assert not keys.session(token)
    token = keys.open("123456")
    keys.close(token)
    assert not keys.session(token)
    many = [keys.open("123456") for _ in range(30)]
    assert sum(keys.session(t) for t in many) <= module.MOST_SESSIONS and keys.session(many[-1])
    keys.make_pin("654321")
    assert not any(keys.session(t) for t in many)


def test_an_arm_is_good_once_for_one_schedule_and_not_for_long(keys, clock):
    assert keys.armed_s() == 0.0 and not keys.use_arm() and keys.armed_for() == ("", "")
    keys.arm("abc", "Cure")
    assert keys.armed_s() == pytest.approx(ARM_S) and keys.armed_for() == ("abc", "Cure")
    assert keys.use_arm() and not keys.use_arm()
    keys.arm("abc", "Cure")
    clock.now += ARM_S + 1.0
    assert keys.armed_s() == 0.0 and not keys.use_arm() and keys.armed_for() == ("", "")
    keys.arm("abc", "Cure")
    clock.now = 3.0  # after a restart of the computer an old arm is none
    assert not keys.use_arm()


def test_an_arm_that_started_nothing_goes_on_to_its_own_end_and_no_further(keys, clock):
    keys.arm("abc", "Cure")
    for _ in range(20):
        clock.now += 12.0
        taken = keys.use_arm()
        assert taken is not None
        keys.give_back_arm(taken)
    assert keys.armed_s() == pytest.approx(ARM_S - 240.0)
    clock.now += ARM_S - 240.0 + 1.0
    assert keys.use_arm() is None


def test_a_new_pin_ends_sessions_also_of_another_process(keys, clock):
    token = keys.open("123456")
    Keys(keys.folder, clock).make_pin("654321")  # `kilnctl panel OVEN --new-pin` while the panel runs
    assert not keys.session(token) and keys.left_s(token) == 0.0


def test_a_session_has_an_absolute_end(keys, clock):
    token, began = keys.open("123456"), clock.now
    while clock.now - began < SESSION_MOST_S - SESSION_S / 2.0:
        clock.now += SESSION_S / 2.0
        assert keys.session(token)
    assert keys.left_s(token) <= SESSION_S / 2.0
    clock.now = began + SESSION_MOST_S + 1.0
    assert not keys.session(token)


def test_strangers_do_not_lock_the_screen_at_the_oven(keys):
    for _ in range(FREE_TRIES):
        assert keys.open("000000", here=False) is None
    assert keys.locked_s(here=False) > 20.0 and keys.open("123456", here=False) is None
    assert keys.locked_s() == 0.0 and keys.open("123456")
