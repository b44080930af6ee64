"""One tick, whole: reading → safety → control → gate → firing. Rehearsals, commissioning and real runs all go through here.

Nothing in this file knows a clock, a file or a heater; it is given measured time and returns what the rig should do.
"""

from dataclasses import dataclass, replace

from .. import firing, safety
from ..firing import Burst, Pattern
from ..reading import Reading
from ..safety import Policy, Tick, Trip, Verdict, start_test
from ..thermal.electric_power import electric_w

#: After a trip an oven is watched and recorded for so long before the record is closed, s: longer than a rise past relay and contactor needs to
#: show (`unasked_rise_s` and the rise itself).
AFTER_TRIP_S = 300.0
#: An oven that stays cold for no reason that a rule gives would puzzle a person for hours.
REFUSED = "heat is wanted and allowed, and the gate lets none pass: what was asked of it is not plainly a duty. A fault of this program; please report it"


@dataclass(frozen=True, slots=True)
class Actuation:
    """What one tick came to. `fired` is what the relay shall do in the coming tick; `contactor` what its coil shall do. Of the tick that has
    passed: the share of full power that was `commanded`, and the electric power, `power_w`, by the best that the meters tell."""

    fired: float
    burst: Burst
    contactor: bool
    duty: float
    decision: object
    verdict: Verdict
    commanded: float = 0.0
    power_w: float = 0.0


class Chain:
    """The state of one oven's run, from tick to tick. `controller` has `start(programme, reading, time_s)` and
    `step(programme, state, reading, dt_s, fired, requests, usable, uneven)`; see `kilnctl.control`. With `prove` the start test of
    `kilnctl.safety.start_test` comes first: the schedule is held until relay, contactor, elements and sensor have shown what they can."""

    def __init__(self, controller, programme, policy: Policy, pattern: Pattern, holding=None, *, prove: bool = False):
        self.controller, self.programme, self.policy, self.pattern = controller, programme, policy, pattern
        self.safety, self.gate = safety.SafetyState(), safety.Gate()
        self.firing = firing.ready(pattern)
        self.control = None
        self.energy_j = 0.0
        self.last: Actuation | None = None
        self.prove, self.test = prove, None
        self._command, self._was_held = start_test.OFF, False
        self._kept: tuple[str, ...] = ()  # what a person asked for during the start test
        #: Set by whoever keeps a record and a wall clock, before each tick; see `Tick`.
        self.recording: bool | None = None
        self.wall_s: float | None = None
        #: What the run had lasted before this chain took it up, s (a power cut lay between).
        self.before_s = 0.0
        self._start_s = 0.0
        self._holding = holding or (lambda chamber_c: 0.0)
        #: What the firing has given beyond what was asked of it, full-power seconds.
        self._ahead_s = 0.0

    def tick(self, reading: Reading, now_s: float, dt_s: float, step: int, requests: tuple[str, ...] = ()) -> Actuation:
        """Decide for the coming dt_s. `now_s` is measured; `dt_s` the length of the tick that has just passed and of the next."""
        last = self.last
        if self.control is None:
            self.control = self.controller.start(self.programme, reading, now_s)
            self._start_s = now_s - self.before_s
            if self.prove:
                self.test, self._command = start_test.begin(now_s, self.programme.noise_k)
                self._was_held = getattr(self.control.position, "held", False)
        fired = reading.fired_or(last.fired if last else 0.0)
        full = last.decision.full_w if last else self.programme.model.power_w
        power = self._power_w(reading, fired) if last else 0.0
        self.energy_j += power * dt_s
        unexplained = last.decision.unexplained_w if last and reading.door_open is not True else None
        heating = last is None or last.decision.wants_heat
        # A rig that times the mains cycles itself runs on the mains' own frequency: its bursts drift against the ones planned here.
        commanded = reading.commanded
        if commanded is None:
            commanded = last.fired if last and (last.contactor or not self.proving) else 0.0
        # Steadily, and as long as a lining that is still cold takes up most of what there is.
        holding = max(self._holding(reading.chamber_c), last.decision.holding_w if last else 0.0)
        # The rules are told what was read, whatever it is.
        tick = Tick(
            now_s,
            step,
            fired if reading.fired is None else reading.fired,
            unexplained,
            full,
            holding,
            self.energy_j,
            now_s - self._start_s,
            heating,
            commanded=commanded,
            contactor=last.contactor if last else False,
            recording=self.recording,
            wall_s=self.wall_s,
        )
        self.safety, verdict = safety.judge(self.safety, self.policy, reading, tick)
        proving = self.proving
        if proving:
            verdict = self._prove(reading, now_s, verdict)
            # The schedule is held by the test. What a person asks for meanwhile is theirs, and done once the test is passed: our own "go on" comes first.
            self._kept += requests
            requests = ("hold",) if last is None else ()
            if not self.proving and self.test.trip is None:
                requests = self._kept if self._was_held else ("go on", *self._kept)
        self.control, decision = self.controller.step(
            self.programme, self.control, reading, dt_s, fired, requests, verdict.usable, self._uneven(commanded, dt_s)
        )

        # The first tick is judged before anything is decided, and so is the one in which a cooling begins.
        contactor = verdict.contactor_allowed and decision.wants_heat
        if proving:
            contactor = contactor and self._command.contactor
            duty = self.gate.pass_duty(self._command.duty, verdict.permit, now_s, step)
            decision = replace(
                decision, phase="start test", reason=f"start test: {self.test.waiting or self.test.phase}"
            )
            if self._command.contactor and not (contactor and last is not None and last.contactor):
                duty = 0.0
        else:
            purging = self.policy.airflow_required and now_s < self.safety.purge_until_s
            if purging and not verdict.trips and decision.wants_heat:
                decision = replace(decision, phase="purge")
            duty = self.gate.pass_duty(decision.duty, verdict.permit, now_s, step)
            if duty == 0.0 and decision.duty > 0.0 and verdict.permit is not None:
                verdict = replace(verdict, warnings=(*verdict.warnings, REFUSED))
            if last is None or not last.contactor or not contactor:
                # The contactor moves while the relay is off: it closes one tick before the first heat, and opens with none.
                duty = 0.0
        if duty > 0.0:
            self.firing, burst = firing.fire(self.pattern, self.firing, duty, dt_s)
        else:
            self.firing = firing.cut(self.pattern, self.firing)
            burst = Burst(0, (0,) * self.pattern.groups, (), 0.0)
        self.last = Actuation(burst.fired, burst, contactor, duty, decision, verdict, commanded, power)
        return self.last

    def _uneven(self, commanded: float, dt_s: float) -> float:
        """Share of full power that the bursts of the tick that has passed gave beyond its duty. What they are ahead or behind is never more than half of
        a shortest run (and a tick's rounding): the rest is no work of the pattern."""
        last = self.last
        if last is None or last.duty == 0.0:
            self._ahead_s = 0.0
            return 0.0
        most_s = 0.5 * self.pattern.shortest_run / self.pattern.frequency_hz + dt_s
        before_s = self._ahead_s
        self._ahead_s = min(most_s, max(-most_s, before_s + (commanded - last.duty) * dt_s))
        return (self._ahead_s - before_s) / dt_s

    def _power_w(self, reading: Reading, share: float) -> float:
        """Electric power since the last reading, W, with the elements as hot as the model has them."""
        model, element_c = self.programme.model, self.last.decision.element_c
        hot = 1.0 if element_c is None else 1.0 + model.resistance_rise_per_k * (element_c - model.rated_c)
        return electric_w(
            share,
            model.power_w / hot if hot > 0.1 else model.power_w,
            model.voltage_v,
            reading.supply_v,
            reading.current_a,
            reading.mean_current_a,
        )

    @property
    def proving(self) -> bool:
        """Whether the start test is going on."""
        return self.test is not None and not self.test.over

    def _prove(self, reading: Reading, now_s: float, verdict: Verdict) -> Verdict:
        """One step of the start test; a failure latches like any other trip, and there is no heat from this tick on."""
        waiting = "" if verdict.permit is not None else f"waiting, {verdict.reason}"
        self.test, self._command = start_test.step(self.test, reading, now_s, waiting)
        found: Trip | None = self.test.trip
        if found is None:
            return verdict
        self.safety.trips.setdefault(found.fault, found)
        return replace(
            verdict,
            permit=None,
            contactor_allowed=False,
            trips=(*verdict.trips, found),
            new_trips=(*verdict.new_trips, found),
            reason=found.seen,
        )
