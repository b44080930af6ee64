"""SAFETY.md's fault table, written from `faults.FAULTS` between two markers."""

from ..errors import KilnctlError
from .fault_table import FAULTS, Fault

BEGIN, END = "<!-- fault table -->", "<!-- end of fault table -->"
HEADS = (
    "id",
    "fault",
    "what is seen",
    "rule and threshold",
    "within",
    "needs",
    "reaction",
    "latched",
    "what only hardware can do",
    "why",
)


def _seconds(value: float | None) -> str:
    if value is None:
        return "–"
    return f"{value:g} s" if value < 600.0 else f"{value / 60.0:g} min" if value < 7200.0 else f"{value / 3600.0:g} h"


def _row(f: Fault) -> tuple[str, ...]:
    rules = ", ".join(f"`{r}`" for r in f.rules)
    parts = [p for p in (rules, f.threshold, f.elsewhere, "also at the start test" if f.start else "") if p]
    return (
        f.id,
        f.cause,
        f.seen,
        "; ".join(parts),
        _seconds(f.detect_within_s),
        f.needs or "–",
        f.reaction,
        f.latch or ("yes" if f.latched else "no"),
        f.hardware,
        f.rationale,
    )


def markdown() -> str:
    """The table, one line a row, with a head."""
    lines = [HEADS, ("---",) * len(HEADS), *(_row(f) for f in FAULTS)]
    return "\n".join("| " + " | ".join(cell.replace("|", "\\|") for cell in line) + " |" for line in lines)


def placed(text: str) -> str:
    """`text` with the table between its markers renewed. Raises KilnctlError when it lacks them or has them twice."""
    head, _, rest = text.partition(BEGIN)
    _, end, tail = rest.partition(END)
    if not end or BEGIN in rest or END in head or END in tail:
        raise KilnctlError(f"the text needs one line '{BEGIN}' and, after it, one line '{END}'")
    return f"{head}{BEGIN}\n{markdown()}\n{END}{tail}"
