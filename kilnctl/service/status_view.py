"""What the service answers when it is asked for its status: JSON values, made once a tick."""

import time

from ..clock import passed_s
from ..reading import Reading
from ..record.folder import plain
from ..run.chain import Actuation
from ..safety import hot_surface
from ..safety.proof import heat_proof
from ..terms import Phase
from . import forecast
from .view import ServiceView


def of(service: ServiceView, act: Actuation, reading: Reading, before: dict) -> dict:
    """The status after a tick that read `reading` and decided `act`; `before`: the status of the last tick."""
    return (
        _oven(service, act, reading, before) | _measured(service, act, reading) | _run(service, act) | _service(service)
    )


def _oven(service: ServiceView, act: Actuation, reading: Reading, before: dict) -> dict:
    """State, trips and warnings."""
    d, trips = act.decision, service.trips
    refused = act.verdict.permit is None and (d.demand_w > 0.0 or trips)
    told_off = bool(trips) and not act.contactor and not act.duty
    # This tick's reading is older than its command: what it shows is of before the first tick that told them off.
    newer = bool(before.get("heat_proof"))
    through_door = reading.door_open is True and service.hot is not None
    trusted_c = None if service.doubted or through_door else service.chamber_c
    return {
        "ok": True,
        "oven": service.oven.name,
        "state": "tripped" if trips else "idle" if service.session is None else d.phase,
        "running": service.session is not None,
        "outcome": service.outcome,
        "reason": act.verdict.reason if refused else service.waiting or d.reason,
        "danger": act.verdict.danger,
        "heat_proof": heat_proof(reading, newer) if told_off else "",
        "trips": [plain(t) for t in trips],
        "warnings": [*act.verdict.warnings, *service.troubles],
        "notice": hot_surface.notice(service.hot, passed_s(), trusted_c),
    }


def _measured(service: ServiceView, act: Actuation, reading: Reading) -> dict:
    """What is measured, estimated and commanded."""
    d = act.decision
    return {
        "chamber_c": service.chamber_c,
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
        "ledger_w": forecast.ledger(service.session, d),
        "full_w": d.full_w,
        "supply_v": reading.supply_v,
        "contactor": act.contactor,
        "contactor_closed": reading.contactor_closed,
        "fired": reading.fired,
        "door_open": reading.door_open,
        "airflow_proved": reading.airflow_proved,
        "faults": list(reading.faults),
    }


def _run(service: ServiceView, act: Actuation) -> dict:
    """How far the run is."""
    d, session = act.decision, service.session
    return {
        "run_s": session.time_s if session else 0.0,
        "left_s": d.left_s,
        "energy_j": session.chain.energy_j if session else 0.0,
        "schedule": session.order.schedule.name if session else "",
        "schedule_file": session.order.schedule.file if session else "",
        "step": d.step + 1 if session else 0,
        # The start test holds the schedule too, and ends that by itself.
        "held": bool(session and session.chain.control is not None and session.chain.control.held)
        and d.phase != Phase.START_TEST,
        "model": session.order.model_words if session else "",
        "folder": service.folder,
        "started": service.started if session else "",
        "rows": service.rows,
        "refusal": service.refusal,
        "waiting": service.waiting,
        "models": service.models,
        "lesson": service.lesson,
    }


def _service(service: ServiceView) -> dict:
    """Rig, record and ticks."""
    late, record = service.late, service.record
    return {
        "rig": {"kind": service.rig.kind, "name": service.rig.name, "unproved": list(service.rig.unproved)},
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
        "answered": time.strftime("%Y-%m-%d %H:%M:%S %z"),
    }
