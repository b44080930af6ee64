"""What the service says of itself when it is asked for its status: plain values, made once a tick."""

import time

from ..reading import Reading
from ..record.folder import plain
from ..safety import hot_surface
from . import forecast


def of(service, act, reading: Reading) -> dict:
    """All of it. Called by the tick, after the rig has been commanded."""
    d, session = act.decision, service.session
    late = service.pace.late
    trips = service.trips()
    state = "tripped" if trips else "idle" if session is None else d.phase
    usable = act.verdict.usable
    record = service.recorder.state() if service.recorder is not None else None
    return {
        "ok": True,
        "oven": service.oven.name,
        "state": state,
        "running": session is not None,
        "outcome": service.outcome,
        "reason": act.verdict.reason if act.verdict.permit is None and (d.demand_w > 0.0 or trips) else d.reason,
        "danger": act.verdict.danger,
        "trips": [plain(t) for t in trips],
        "warnings": list(act.verdict.warnings),
        "notice": hot_surface.notice(
            service.hot, time.time(), reading.chamber_c if usable and not service.doubted() else None
        ),
        "chamber_c": reading.chamber_c if usable else None,
        "limit_c": reading.limit_c,
        "part_c": reading.part_c,
        "part_estimate_c": d.part_c,
        "part_sd_k": d.part_sd_k,
        "element_estimate_c": d.element_c,
        "reference_c": d.reference_c,
        "duty": act.duty,
        "demand_w": d.demand_w,
        "feedforward_w": d.feedforward_w,
        "trim_w": d.trim_w,
        "unexplained_w": d.unexplained_w,
        "ledger_w": forecast.ledger(session, d),
        "full_w": d.full_w,
        "supply_v": reading.supply_v,
        "contactor": act.contactor,
        "door_open": reading.door_open,
        "airflow_proved": reading.airflow_proved,
        "faults": list(reading.faults),
        "run_s": session.time_s if session else 0.0,
        "left_s": d.left_s,
        "energy_j": session.chain.energy_j if session else 0.0,
        "schedule": session.order.schedule.name if session else "",
        "schedule_file": session.order.schedule.file if session else "",
        "step": d.step + 1 if session else 0,
        "held": bool(session and session.chain.control.held),
        "model": session.order.model_words if session else "",
        "folder": str(service.folder or ""),
        "started": service.started if session else "",
        "rows": len(service.curve),
        "refusal": "" if session else service.refusal(),
        "rig": {
            "kind": service.rig.facts.kind,
            "name": service.rig.facts.name,
            "unproved": list(service.rig.facts.unproved),
        },
        "record": None
        if record is None
        else {
            "written": record.written,
            "dropped": record.dropped,
            "lost": record.lost,
            "failure": record.failure,
            "slowest_s": record.slowest_s,
        },
        "ticks": {
            "count": late.count,
            "overruns": late.overruns,
            "p50_s": late.quantile_s(0.5),
            "p99_s": late.quantile_s(0.99),
            "worst_s": late.worst_s,
        },
        "answered": time.strftime("%Y-%m-%d %H:%M:%S"),
    }
