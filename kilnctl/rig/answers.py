"""What the I/O board says: its answer as numbers and words, and what flowed between two answers."""

from collections.abc import Sequence
from dataclasses import dataclass

from ..firmware import frames, logic
from ..settings.oven import Oven

STATES = {logic.START: "starting", logic.SAFE: "safe", logic.ARMED: "armed", logic.FAULT: "fault"}
FAULTS = {
    logic.F_HEARTBEAT: "nobody spoke to it for 0.5 s",
    logic.F_STEP: "the control loop stood still for 2 s",
    logic.F_CEILING: "a thermocouple was above its ceiling",
    logic.F_BLIND: "neither the control nor the limit thermocouple can be read",
    logic.F_WELDED: "the contactor read closed although its coil was off",
    logic.F_LATE: "its own mains cycles came late",
}
REFUSALS = {
    logic.R_NOT_SAFE: "it is not in the state for it",
    logic.R_NOT_SET: "its ceiling is not set",
    logic.R_FAULT: "a fault is latched",
    logic.R_ARMED: "it is armed",
    logic.R_RANGE: "a value was out of range",
    logic.R_CAUSE: "the cause of a fault still stands",
    logic.R_RAISED: "its ceiling may only be raised after it has been without supply",
}
#: The board's counters wrap around at this value (30 bits).
ROUND = 1 << 30
#: Below this share of the nominal voltage the full current cannot be derived from the supply: the voltmeter is not
#: wired, or the supply is off.
LEAST_SUPPLY = 0.3


@dataclass(frozen=True, slots=True)
class Answer:
    """What the board says with every answer.

    `raw`: (chip, conversions, six bytes) for control, limit and part. `flow_a`: sum of the current over the mains
    cycles, A; `flowing`: how many of them had any; `fired`: how many relay cycles the board commanded behind a closed
    contactor.
    """

    kind: int
    sequence: int
    version: int
    state: int
    faults: int
    inputs: int
    outputs: int
    reset_cause: int
    refused: int
    boot: int
    uptime_ms: int
    step: int
    cycles: int
    fired: int
    supply_v: float
    current_a: float
    ceiling_c: int
    duty: float
    raw: tuple[tuple[int, int, bytes], ...]
    bad_frames: int
    flow_a: float
    flowing: int
    mains_hz: int
    meters: int

    @property
    def state_word(self) -> str:
        return STATES.get(self.state, "unknown")

    def fault_words(self) -> tuple[str, ...]:
        return tuple(words for bit, words in FAULTS.items() if self.faults & bit)

    def refusal_words(self, unknown: str) -> str:
        """Why the board refused; `unknown` where it does not say."""
        return REFUSALS.get(self.refused, unknown)


def parse_answer(payload: Sequence[int]) -> Answer | None:
    """The answer in a payload of `frames.ANSWER` bytes; None if no board of ours can have sent it."""
    f, get16, get32 = frames, frames.get16, frames.get32
    kind, duty = payload[f.A_KIND], get16(payload, f.A_DUTY)
    if kind & 0x7F not in f.KINDS or not kind & 0x80 or payload[f.A_STATE] > logic.FAULT or duty > 10000:
        return None
    return Answer(
        kind=kind & 0x7F,
        sequence=payload[f.A_SEQ],
        version=payload[f.A_VERSION],
        state=payload[f.A_STATE],
        faults=get16(payload, f.A_FAULTS),
        inputs=payload[f.A_INPUTS],
        outputs=payload[f.A_OUTPUTS],
        reset_cause=payload[f.A_RESET],
        refused=payload[f.A_REFUSED],
        boot=get16(payload, f.A_BOOT),
        uptime_ms=get32(payload, f.A_UPTIME),
        step=get16(payload, f.A_STEP),
        cycles=get32(payload, f.A_CYCLES),
        fired=get32(payload, f.A_FIRED),
        supply_v=get16(payload, f.A_SUPPLY) / 10.0,
        current_a=get16(payload, f.A_CURRENT) / 100.0,
        ceiling_c=get16(payload, f.A_CEILING),
        duty=duty / 10000.0,
        raw=tuple(_channel(payload, f.A_CHANNELS + f.CHANNEL * i) for i in range(3)),
        bad_frames=get16(payload, f.A_BAD),
        flow_a=get32(payload, f.A_FLOW) / 100.0,
        flowing=get32(payload, f.A_FLOWING),
        mains_hz=payload[f.A_HZ],
        meters=payload[f.A_METERS],
    )


def _channel(payload: Sequence[int], place: int) -> tuple[int, int, bytes]:
    return payload[place], payload[place + 1], bytes(payload[place + 2 : place + frames.CHANNEL])


@dataclass(frozen=True, slots=True)
class Flow:
    """What flowed over some mains cycles: measured and commanded, as shares of full power; and the current in the
    cycles that had any, and over all of them, A."""

    fired: float
    current_a: float
    commanded: float
    mean_current_a: float


def flow_between(before: Answer, after: Answer, oven: Oven) -> Flow | None:
    """From the counts of two answers; None when no cycle lies between them.

    The board counts measured and commanded cycles over the same mains cycles: only the board knows how its bursts lie
    in the mains. Share of full power is share of full current, since the supply's voltage is common to both.
    """
    cycles = (after.cycles - before.cycles) % ROUND
    flow = (after.flow_a - before.flow_a) % (ROUND / 100.0)
    if not cycles:
        return None
    flowing, commanded = (after.flowing - before.flowing) % ROUND, (after.fired - before.fired) % ROUND
    full_a = oven.elements.power_w / oven.supply.voltage_v
    if after.meters & frames.HAS_SUPPLY and after.supply_v > LEAST_SUPPLY * oven.supply.voltage_v:
        full_a *= after.supply_v / oven.supply.voltage_v
    return Flow(
        min(1.0, flow / cycles / full_a),
        flow / flowing if flowing else 0.0,
        min(1.0, commanded / cycles / oven.switching.relays),
        flow / cycles,
    )
