"""The folder of schedules: nothing is lost by a save, a rename or a deletion, and nothing outside it is reached."""

import os

import pytest

from kilnctl import KilnctlError
from kilnctl.panel.schedule_folder import MOST_KEPT, Exists, ScheduleFolder, sha256

TEXT = "schedule: Warm it\nsteps:\n  - {name: warm, to: 80 °C, hold: 5 min}\n"
HOTTER = TEXT.replace("80", "90")


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "schedules").mkdir()
    (tmp_path / "schedules" / "warm.yaml").write_text(TEXT)
    return ScheduleFolder(tmp_path / "schedules")


def test_saving_checks_first_and_stays_in_its_folder(folder, tmp_path):
    assert folder.save("../../My new One!.yaml", TEXT) == "my-new-one.yaml"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["schedules"]
    with pytest.raises(KilnctlError):
        folder.save("warm.yaml", "schedule: x\nsteps: none\n", sha256(TEXT))
    assert folder.text("warm.yaml") == TEXT
    with pytest.raises(KilnctlError, match="longer than"):
        folder.save("big.yaml", TEXT + "#" * 40_000)


def test_a_save_never_overwrites_what_it_has_not_opened(folder):
    """Two new ones with one name, and a name without its ending: the second needs a confirmation, and nothing is
    written."""
    for name in ("warm.yaml", "warm", "Warm"):
        with pytest.raises(Exists, match="already") as found:
            folder.save(name, HOTTER)
        assert found.value.name == "warm.yaml" and found.value.sha256 == sha256(TEXT)
    assert folder.text("warm.yaml") == TEXT
    assert folder.save("warm.yaml", HOTTER, sha256(TEXT)) == "warm.yaml"
    with pytest.raises(Exists, match="changed since"):
        folder.save("warm.yaml", TEXT.replace("80", "70"), sha256(TEXT))
    assert folder.text("warm.yaml") == HOTTER
    # Named after the schedule, each new one gets a name of its own.
    assert [folder.save("", TEXT) for _ in range(3)] == ["warm-it.yaml", "warm-it-2.yaml", "warm-it-3.yaml"]


def test_the_last_versions_are_kept_and_come_back(folder):
    text = TEXT
    for k in range(MOST_KEPT + 5):
        new = TEXT.replace("80", str(40 + k))
        folder.save("warm.yaml", new, sha256(text))
        text = new
    kept = folder.versions("warm.yaml")
    assert len(kept) == MOST_KEPT and kept[0]["why"] == "saved over"
    assert folder.earlier("warm.yaml", kept[0]["version"]) == TEXT.replace("80", str(40 + MOST_KEPT + 3))
    folder.restore("warm.yaml", kept[-1]["version"])
    assert folder.earlier("warm.yaml", folder.versions("warm.yaml")[0]["version"]) == text
    for name, version in (("warm.yaml", "../warm"), ("..", "warm"), ("warm.yaml", ""), ("nothing.yaml", "x")):
        with pytest.raises(KilnctlError, match="no such earlier"):
            folder.earlier(name, version)


def test_copied_renamed_deleted_and_brought_back(folder):
    assert folder.copy("warm.yaml", "Second") == "second.yaml" and folder.text("second.yaml") == TEXT
    for what in (folder.copy, folder.rename):
        with pytest.raises(Exists):
            what("warm.yaml", "second")
    assert folder.rename("second.yaml", "third") == "third.yaml"
    assert set(folder.files()) == {"warm.yaml", "third.yaml"}
    version = folder.delete("warm.yaml")
    assert set(folder.files()) == {"third.yaml"} and "warm.yaml" in {d["file"] for d in folder.deleted()}
    assert folder.restore("warm.yaml", version) == "warm.yaml" and folder.text("warm.yaml") == TEXT
    assert "warm.yaml" not in {d["file"] for d in folder.deleted()}


def test_links_and_pipes_are_not_followed(folder, tmp_path):
    secret = tmp_path / "secret.yaml"
    secret.write_text("schedule: secret\n")
    (folder.folder / "link.yaml").symlink_to(secret)
    os.mkfifo(folder.folder / "pipe.yaml")
    (folder.folder / "sub.yaml").mkdir()
    assert set(folder.files()) == {"warm.yaml"}
    for name in ("link.yaml", "pipe.yaml", "sub.yaml"):
        with pytest.raises(KilnctlError, match="no schedule"):
            folder.text(name)
        with pytest.raises(KilnctlError):
            folder.save(name, TEXT)
    assert secret.read_text() == "schedule: secret\n"
