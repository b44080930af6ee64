"""The file of `kilnctl notify`: every wrong line at its place, and no secret in it."""

from pathlib import Path

import pytest

from kilnctl.settings.document import SettingsError
from kilnctl.settings.notification import KINDS, URGENT, load_notify

EXAMPLE = Path(__file__).resolve().parents[2] / "configs/notify.yaml"
GOOD = """notify: yard
channels:
  - {{name: a, by: {by}, {more}}}
"""


def read(tmp_path, text):
    path = tmp_path / "notify.yaml"
    path.write_text(text)
    return load_notify(path)


def test_the_example_reads_and_has_every_way():
    file = load_notify(EXAMPLE)
    assert [c.by for c in file.channels] == ["mail", "web hook", "mqtt", "command"]
    assert [c.at_port for c in file.channels] == [587, 0, 8883, 0]
    assert file.channels[1].kinds == tuple(KINDS) and set(URGENT) <= set(KINDS)


@pytest.mark.parametrize(
    "by, more, place",
    [
        ("mail", "server: s, to: a@b.c", "a channel by mail needs this"),
        ("mail", "server: s, from: a@b.c, to: a@b.c, user: u", "secret file"),
        ("mail", "server: s, from: a@b.c, to: a@b.c, user: u, secret variable: X, security: none", "clear text"),
        ("mqtt", "server: s, topic: 'a/#'", "no # or +"),
        ("mqtt", "server: s, topic: a, security: starttls", "mqtt knows"),
        ("web hook", "address: 'ftp://x'", "http://"),
        ("web hook", "address: 'http://x', secret file: a, secret variable: b", "not by both"),
        ("command", "command: ring, tells: 'trip, lunch'", "lunch"),
        ("command", "command: ring, tells: ','", "names nothing"),
        ("pigeon", "", "pigeon"),
    ],
)
def test_what_is_wrong_is_told_at_its_place(tmp_path, by, more, place):
    with pytest.raises(SettingsError) as refused:
        read(tmp_path, GOOD.format(by=by, more=more))
    assert "notify.yaml:3:" in str(refused.value)
    assert place in str(refused.value)


def test_two_channels_of_one_name_are_refused(tmp_path):
    with pytest.raises(SettingsError, match="the same name"):
        read(tmp_path, GOOD.format(by="command", more="command: a") + "  - {name: a, by: command, command: b}\n")


def test_a_secret_is_read_from_file_or_variable(tmp_path, monkeypatch):
    (tmp_path / "s").write_text("one line\nanother\n")
    text = GOOD.format(by="web hook", more=f"address: 'http://x', secret file: {tmp_path / 's'}")
    assert read(tmp_path, text).channels[0].secret() == "one line"
    monkeypatch.setenv("KEY", "k")
    assert (
        read(tmp_path, GOOD.format(by="web hook", more="address: 'http://x', secret variable: KEY"))
        .channels[0]
        .secret()
        == "k"
    )
