"""Shared by the tests of studies: a short run, a slow oven, one study."""

import pytest

import kilnctl
from kilnctl.studies import case_of, run_case
from kilnctl.studies.draw import Case
from tests.studies.study_cases import CONFIGS, WARM


@pytest.fixture(scope="module")
def oven(tmp_path_factory):
    """The workshop's, at 2 s a tick: half the work of each draw, and every number is compared with others of the same
    tick."""
    folder = tmp_path_factory.mktemp("ovens")

    def slow(name):
        path = folder / f"{name}.yaml"
        path.write_text(
            (CONFIGS / "ovens" / path.name).read_text(encoding="utf-8") + "\ncontrol: {tick: 2 s}\n", encoding="utf-8"
        )
        return kilnctl.load_oven(path)

    return slow


@pytest.fixture(scope="module")
def case(oven) -> Case:
    return case_of(oven("curing-cabinet"), WARM, seed=3)


@pytest.fixture(scope="module")
def alone(case):
    """Computed here, one after another: the reference for all other executors."""
    return run_case(case, 4, jobs=1)
