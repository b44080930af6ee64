"""The run and its equipment: energy and time of the run, the loop's clock, the I/O board and the record."""

from .rule import Look, Rule, at_a_persons_word
from .state import EachTime, finite, number, trip

#: A record that is not written for this long, s, gives a warning.
RECORD_S = 10.0  # ±30 %: none


# ---- energy, run-time ------------------------------------------------------------------------------------------------


def run_limits(look: Look) -> None:
    """Hard limits of energy and time of one run."""
    tick, policy = look.tick, look.policy
    if not energy_is_left(look):
        look.trip("energy", energy=number(tick.energy_j) / 3.6e6, limit=policy.most_energy_j / 3.6e6)
    if not finite(tick.run_s) or (tick.heating and tick.run_s > policy.longest_s):
        look.trip("run-time", hours=number(tick.run_s) / 3600.0, limit=policy.longest_s / 3600.0)


def energy_is_left(look: Look) -> bool:
    return finite(look.tick.energy_j) and look.tick.energy_j <= look.policy.most_energy_j


def time_is_left(look: Look) -> bool:
    return finite(look.tick.run_s) and look.tick.run_s <= look.policy.longest_s


# ---- loop-stalled, clock ---------------------------------------------------------------------------------------------


def clock(look: Look) -> bool:
    """Whether this tick's time can be used at all. A jump back or a step counter that does not advance trips, and all
    timers start again."""
    state, tick = look.state, look.tick
    if not finite(tick.time_s) or type(tick.step) is not int:
        last_s = 0.0 if state.time_s is None else state.time_s
        trip(state, "clock", last_s, what="the program's clock gives no number")
        return False
    if state.time_s is None:
        return True
    gap_s = tick.time_s - state.time_s
    if gap_s > 0.0 and tick.step > state.step:
        loop_stalled(look, gap_s)
        return True
    look.trip("clock", what="the program's clock went back or stood still")
    state.restart_timers()
    state.time_s, state.step = tick.time_s, tick.step
    return False


def loop_stalled(look: Look, gap_s: float) -> None:
    """Too long a gap between two ticks: all timers start again."""
    if gap_s > look.policy.stall_s:
        look.trip("loop-stalled", gap=gap_s)
        look.state.restart_timers()


def wall_clock(look: Look) -> None:
    """Warn when the wall clock was set. Control uses the tick clock."""
    state, wall_s = look.state, look.tick.wall_s
    if not finite(wall_s):
        return
    ahead_s = wall_s - look.now_s
    if state.wall_ahead_s is not None and abs(ahead_s - state.wall_ahead_s) > look.policy.clock_step_s:
        set_by = ahead_s - state.wall_ahead_s
        look.warn(
            EachTime(f"the wall clock was set by {set_by:+.0f} s; control goes by its own clock and is not affected")
        )
    state.wall_ahead_s = ahead_s


# ---- board-lost, board-fault -----------------------------------------------------------------------------------------


def board(look: Look) -> None:
    """What the I/O board reports, through its rig."""
    for fault in ("board-lost", "board-fault") if look.reading.faults else ():
        if fault in look.reading.faults:
            look.trip(fault)


def board_answers(look: Look) -> bool:
    return "board-lost" not in look.reading.faults


def board_is_well(look: Look) -> bool:
    return "board-fault" not in look.reading.faults


def record(look: Look) -> None:
    """Warn when the record is not written."""
    if look.lasting("record", look.tick.recording is False, RECORD_S):
        look.warn("the record is not being written: disk full or broken; no new run can be started")


RULES = (
    Rule("energy", run_limits, energy_is_left),
    Rule("run-time", run_limits, time_is_left),
    Rule("loop-stalled", loop_stalled, at_a_persons_word),
    Rule("clock", clock, at_a_persons_word),
    Rule("board-lost", board, board_answers),
    Rule("board-fault", board, board_is_well),
)
