"""Photographs of runs: only JPEG files, only so many, under names that lead nowhere else."""

import pytest

from kilnctl import KilnctlError
from kilnctl.panel import photos as module
from kilnctl.panel.photos import LARGEST_PHOTO, MOST_OF_A_RUN, Photos

RUN, OTHER = "0123456789abcdef", "f" * 16


def jpeg(size: int = 100, filling: int = 0) -> bytes:
    """Begins and ends as ITU-T T.81 has it: SOI and a marker, EOI."""
    return b"\xff\xd8\xff\xe0" + bytes([filling]) * (size - 6) + b"\xff\xd9"


@pytest.fixture
def photos(tmp_path):
    return Photos(tmp_path / "photos")


def test_a_photograph_is_kept_shown_and_removed(photos):
    assert photos.of(RUN) == []
    assert [photos.keep(RUN, jpeg(filling=k)) for k in (1, 2)] == ["01.jpg", "02.jpg"]
    assert photos.of(RUN) == ["01.jpg", "02.jpg"] and photos.of(OTHER) == []
    assert photos.file(RUN, "02.jpg").read_bytes() == jpeg(filling=2)
    photos.remove(RUN, "01.jpg")
    assert photos.of(RUN) == ["02.jpg"]
    # A name that was removed is not given again while a later one is there.
    assert photos.keep(RUN, jpeg()) == "03.jpg"


@pytest.mark.parametrize("data", [b"", b"<svg/>", b"\x89PNG" + bytes(99), jpeg()[:-1], jpeg(LARGEST_PHOTO + 1)])
def test_anything_else_is_refused(photos, data):
    with pytest.raises(KilnctlError, match="a JPEG file of 600 kB at most"):
        photos.keep(RUN, data)
    assert photos.of(RUN) == []


def test_there_is_an_end_to_them(photos, monkeypatch):
    for _ in range(MOST_OF_A_RUN):
        photos.keep(RUN, jpeg())
    with pytest.raises(KilnctlError, match="12 photographs at most"):
        photos.keep(RUN, jpeg())
    monkeypatch.setattr(module, "MOST_BYTES", 100 * MOST_OF_A_RUN + 50)
    with pytest.raises(KilnctlError, match="all photographs together"):
        photos.keep(OTHER, jpeg())


def test_names_are_found_for_the_hundredth_too(photos):
    before = photos.keep(RUN, jpeg())
    for _ in range(105):
        name = photos.keep(RUN, jpeg())
        assert name != before
        photos.remove(RUN, before)
        before = name
    assert photos.of(RUN) == [before]


@pytest.mark.parametrize("run", ["", "..", "../x", RUN.upper(), RUN + "0", "0123456789abcde/"])
def test_a_run_is_no_path(photos, run):
    for does in (photos.of, lambda r: photos.keep(r, jpeg()), lambda r: photos.file(r, "01.jpg")):
        with pytest.raises(KilnctlError, match="no such run"):
            does(run)


@pytest.mark.parametrize("name", ["", "..", "../01.jpg", "1.jpg", "01.jpg\x00", "02.jpg"])
def test_a_name_is_no_path(photos, name):
    photos.keep(RUN, jpeg())
    with pytest.raises(KilnctlError, match="no such photograph"):
        photos.file(RUN, name)
    with pytest.raises(KilnctlError, match="no such photograph"):
        photos.remove(RUN, name)
