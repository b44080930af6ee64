"""One tick, whole: reading → safety → control → gate → firing. Rehearsals, commissioning and real runs go through here.

Nothing in this file knows a clock, a file or a heater; it is given measured time and returns what the rig should do.
"""

from dataclasses import replace
from typing import NamedTuple

from .. import firing, safety
from ..control import ControlState, Decision, StepInput
from ..firing import Burst
from ..reading import Reading
from ..safety import Tick, Verdict, start_test
from ..safety.extremes import greater, lesser
from ..safety.state import latch
from ..terms import HOLD, PROCEED, Phase, Request
from ..thermal.electric_power import electric_w
from .prepare import PreparedRun

#: After a trip an oven is watched and recorded for so long before the record is closed, s: longer than a rise past
#: relay and contactor needs to show (`unasked_rise_s` and the rise itself).
AFTER_TRIP_S = 300.0
#: Without this sentence an oven would stay cold for a reason that no rule gives.
REFUSED = (
    "heat is wanted and allowed, and the gate lets none pass: what was asked of it is not plainly a duty. "
    "A fault of this program; please report it"
)


class Actuation(NamedTuple):
    """The result of one tick. `fired` is what the relay shall do in the coming tick, `contactor` what the contactor's
    coil shall do. Of the tick that has passed: the share of full power that was `commanded`, and the electric power,
    `power_w`, by the best meters there are."""

    fired: float
    burst: Burst
    contactor: bool
    duty: float
    decision: Decision
    verdict: Verdict
    commanded: float = 0.0
    power_w: float = 0.0


class _Passed(NamedTuple):
    """The tick that has just passed: the reading at its end, the share of full power that was fired and commanded in
    it, and its electric power, W."""

    reading: Reading
    now_s: float
    dt_s: float
    step: int
    fired: float
    commanded: float
    power_w: float


class Chain:
    """The state of one oven's run, from tick to tick. With `prove` the start test of `kilnctl.safety.start_test`
    comes first: the schedule is held until relay, contactor, elements and sensor have shown what they can."""

    def __init__(self, run: PreparedRun, *, prove: bool = False):
        self.run = run
        self.controller, self.programme, self.policy, self.pattern = (
            run.controller,
            run.programme,
            run.policy,
            run.pattern,
        )
        self.safety, self.gate = safety.SafetyState(), safety.Gate()
        self.firing = firing.ready(self.pattern)
        self.control: ControlState | None = None
        self.energy_j = 0.0
        self.last: Actuation | None = None
        self.prove = prove
        self.test: start_test.StartTest | None = None
        # Set when the start test begins, and asked in it only.
        self._command: start_test.Command
        self._was_held: bool
        self._kept: tuple[Request, ...] = ()  # what a person asked for during the start test
        #: Set before each tick by the service, which has a record and a wall clock; see `Tick`.
        self.recording: bool | None = None
        self.wall_s: float | None = None
        #: How long the run had lasted before this chain continued it after a power cut, s.
        self.before_s = 0.0
        # Set in the first tick. `_ahead_s`: what the firing has given beyond what was asked, full-power seconds.
        self._start_s: float
        self._ahead_s: float

    def tick(
        self, reading: Reading, now_s: float, dt_s: float, step: int, requests: tuple[Request, ...] = ()
    ) -> Actuation:
        """Decide for the coming dt_s. `now_s` is measured; `dt_s` the length of the tick that has just passed and of
        the next."""
        if self.control is None:
            self._begin(reading, now_s)
        passed = self._passed(reading, now_s, dt_s, step)
        self.energy_j += passed.power_w * dt_s
        self.safety, verdict = safety.judge(self.safety, self.policy, reading, self._told(passed))
        proving = self.proving
        if proving:
            verdict = self._prove(reading, now_s, verdict)
            requests = self._after_test(requests)
        uneven = self._uneven(passed.commanded, dt_s)
        given = StepInput(reading, dt_s, passed.fired, requests, verdict.usable, uneven)
        self.control, decision = self.controller.step(self.programme, self.control, given)
        # The first tick is judged before anything is decided, and so is the one in which a cooling begins.
        contactor = verdict.contactor_allowed and decision.wants_heat
        if proving:
            contactor = contactor and self._command.contactor
        duty = self.gate.pass_duty(self._command.duty if proving else decision.duty, verdict.permit, now_s, step)
        if not proving and duty == 0.0 and decision.duty > 0.0 and verdict.permit is not None:
            verdict = verdict._replace(warnings=(*verdict.warnings, REFUSED))
        if not (contactor and self.last is not None and self.last.contactor) and not self._against_open(proving):
            # The contactor moves while the relay is off: it closes one tick before the first heat, and opens with none.
            duty = 0.0
        if duty > 0.0:
            self.firing, burst = firing.fire(self.pattern, self.firing, duty, dt_s, runs_wanted=False)
        else:
            self.firing = firing.cut(self.pattern, self.firing)
            burst = Burst(0, (0,) * self.pattern.groups, (), 0.0)
        decision = self._named(decision, verdict, proving, now_s)
        self.last = Actuation(burst.fired, burst, contactor, duty, decision, verdict, passed.commanded, passed.power_w)
        return self.last

    def _uneven(self, commanded: float, dt_s: float) -> float | None:
        """Share of full power that the bursts of the tick that has passed gave beyond its duty; None with the heat off,
        where nothing is owed any more. The pattern is never ahead or behind by more than half of a shortest run (and a
        tick's rounding); a larger difference has another cause."""
        last = self.last
        if last is None or last.duty == 0.0:
            self._ahead_s = 0.0
            return None
        most_s = 0.5 * self.pattern.shortest_run / self.pattern.frequency_hz + dt_s
        before_s = self._ahead_s
        self._ahead_s = lesser(most_s, greater(-most_s, before_s + (commanded - last.duty) * dt_s))
        return (self._ahead_s - before_s) / dt_s

    def _begin(self, reading: Reading, now_s: float) -> None:
        state: ControlState = self.controller.start(self.programme, reading, now_s)
        self.control = state
        self._start_s = now_s - self.before_s
        if self.prove:
            self.test, self._command = start_test.begin(now_s, self.programme.noise_k)
            self._was_held = state.held

    def _passed(self, reading: Reading, now_s: float, dt_s: float, step: int) -> _Passed:
        last = self.last
        fired = reading.fired_or(last.fired if last else 0.0)
        # A rig that times the mains cycles itself runs on the mains' own frequency: its bursts drift against the ones
        # planned here.
        commanded = reading.commanded
        if commanded is None:
            commanded = last.fired if last and last.contactor else 0.0
        power_w = self._power_w(last.decision, reading, fired) if last else 0.0
        return _Passed(reading, now_s, dt_s, step, fired, commanded, power_w)

    def _told(self, passed: _Passed) -> Tick:
        """What the rules are given: what was read, unfiltered, and what was decided a tick ago."""
        last, reading = self.last, passed.reading
        return Tick(
            passed.now_s,
            passed.step,
            passed.fired if reading.fired is None else reading.fired,
            last.decision.unexplained_w if last and not reading.door_is_open else None,
            last.decision.full_w if last else self.programme.model.power_w,
            # The steady power, or, while a cold lining still takes up heat, the larger power of the decision.
            greater(self.run.holding(reading.chamber_c), last.decision.holding_w if last else 0.0),
            self.energy_j,
            passed.now_s - self._start_s,
            last is None or last.decision.wants_heat,
            commanded=passed.commanded,
            contactor=last.contactor if last else False,
            recording=self.recording,
            wall_s=self.wall_s,
            power_w=passed.power_w,
        )

    def _power_w(self, decision: Decision, reading: Reading, share: float) -> float:
        """Electric power since the last reading, W, with the elements as hot as the model has them."""
        model = self.programme.model
        element_c = model.rated_c if decision.element_c is None else decision.element_c
        hot = 1.0 + model.resistance_rise_per_k * (element_c - model.rated_c)
        return electric_w(
            share,
            model.power_w / hot if hot > 0.1 else model.power_w,
            model.voltage_v,
            reading.supply_v,
            reading.current_a,
            reading.mean_current_a,
        )

    def _named(self, decision: Decision, verdict: Verdict, proving: bool, now_s: float) -> Decision:
        """The decision, with start test or purge as its phase while the run waits for them."""
        test = self.test if proving else None
        if test is not None:
            reason = f"start test: {test.waiting or test.phase}"
            return replace(decision, phase=Phase.START_TEST, reason=reason)
        purging = self.policy.airflow_required and now_s < self.safety.purge_until_s
        if purging and not verdict.trips and decision.wants_heat:
            decision.phase = Phase.PURGE  # nobody has seen it yet, and a copy takes a fiftieth of such a tick
        return decision

    # ---- the start test --------------------------------------------------------------------------------------------

    @property
    def proving(self) -> bool:
        """Whether the start test is going on."""
        return self.test is not None and not self.test.over

    def _prove(self, reading: Reading, now_s: float, verdict: Verdict) -> Verdict:
        """One step of the start test; a failure latches like any other trip, and there is no heat from this tick on."""
        assert self.test is not None
        waiting = "" if verdict.permit is not None else f"waiting, {verdict.reason}"
        self.test, self._command = start_test.step(self.test, reading, now_s, waiting)
        found = self.test.trip
        if found is None:
            return verdict
        self.safety = latch(self.safety, found)
        return verdict._replace(
            permit=None,
            contactor_allowed=False,
            trips=(*verdict.trips, found),
            new_trips=(*verdict.new_trips, found),
            reason=found.seen,
        )

    def _after_test(self, requests: tuple[Request, ...]) -> tuple[Request, ...]:
        """The schedule is held by the test. What people ask for during the test is kept and done once it is passed,
        after the request that ends the hold."""
        assert self.test is not None
        self._kept += requests
        if not self.proving and self.test.trip is None:
            return self._kept if self._was_held else (PROCEED, *self._kept)
        return (HOLD,) if self.last is None else ()

    def _against_open(self, proving: bool) -> bool:
        """Whether the test fires the relay against the open contactor."""
        return proving and not self._command.contactor
