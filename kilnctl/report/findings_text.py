"""Findings as people read them: what is wrong first, what is not described last."""

from collections.abc import Iterable

from ..output import Units
from ..terms import Finding, Mark

_ORDER = (Mark.WRONG, Mark.TIGHT, Mark.FINE, Mark.ASKED)


def findings_lines(findings: Iterable[Finding], units: Units) -> list[str]:
    """One line each, its mark in front; the worst first."""
    found = list(findings)
    return [f"  {mark.upper():<13} {units.words(str(f))}" for mark in _ORDER for f in found if f.mark is mark]


def brief_lines(findings: Iterable[Finding], units: Units) -> list[str]:
    """The same for a short report that has told what is wrong already: tight in full, of the rest what it is about."""
    found = list(findings)
    lines = findings_lines([f for f in found if f.mark is Mark.TIGHT], units)
    for mark, said in (
        (Mark.WRONG, "WRONG, see above"),
        (Mark.FINE, "fine"),
        (Mark.ASKED, "not described, so not judged"),
    ):
        names = ", ".join(f.about for f in found if f.mark is mark)
        lines += [f"  {said}: {names}"] if names else []
    return lines
