"""What is expected of a run from now on, and where the watts go. Reads what the last tick left; changes nothing."""

from ..control import Decision, Programme, reference
from ..model.energy import CONTENTS
from ..model.ledger import ledger_w
from .session import Session

HORIZON_S = 30 * 86400.0


def ahead(session: Session | None) -> dict:
    """The reference from now on, the chamber (or the part) by the plan in force, and how much of the present soak has
    not counted yet, s; None for what does not exist."""
    # Read once: the tick may replace the state in the meantime.
    state = session.chain.control if session is not None else None
    programme = session.chain.programme if session is not None else None
    if session is None or state is None or state.position is None or not isinstance(programme, Programme):
        return {"ok": True, "run_s": 0.0, "reference": None, "expected": None, "soak_left_s": None}
    plan = state.plan
    times, values = reference.preview(programme.legs, state.position, HORIZON_S)
    expected = None
    if plan is not None:
        late = state.time_s - plan.time_s
        at = [(i + 1) * plan.step_s - late for i in range(len(plan.predicted_c))]
        coming = [(t, c) for t, c in zip(at, plan.predicted_c, strict=True) if t > 0.0]
        expected = {
            "in_s": [t for t, _ in coming],
            "chamber_c": [c for _, c in coming],
            "follows": "part" if programme.follows == CONTENTS else "chamber",
        }
    return {
        "ok": True,
        "run_s": session.time_s,
        "reference": {"in_s": times, "reference_c": values},
        "expected": expected,
        "soak_left_s": reference.soak_left_s(programme.legs, state.position),
    }


def ledger(session: Session | None, decision: Decision) -> dict[str, float] | None:
    """Where the elements' power goes, by the model, W; None without a run."""
    state = session.chain.control if session is not None else None
    last = session.chain.last if session is not None else None
    if session is None or state is None or state.estimate is None or last is None:
        return None
    programme = session.chain.programme
    return ledger_w(
        programme.model, state.estimate.now, last.fired * decision.full_w, decision.unexplained_w, programme.ambient_c
    )
