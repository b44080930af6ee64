"""What carries or interlocks the power: relay, contactor, supply, door and ventilation."""

import math

from ..reading import Reading
from .extremes import greater
from .rule import Look, Rule, at_a_persons_word
from .state import endanger, finite

#: Tolerated difference between commanded and conducted share (tick boundaries, contactor delay), share of full power.
UNASKED_ALLOWANCE = 0.05  # ±30 %: none
#: A current above this, A, is more than a relay's leakage.
CURRENT_A = 0.2  # ±30 %: none
#: Share of full power from which on power counts as flowing.
FLOWING = 0.02  # ±30 %: none
#: Time constant of the commanded and conducted means, s, and the commanded share from which on they are compared.
MEAN_S, COMPARED_FROM = 10.0, 0.05  # ±30 %: none
#: Below this share of the commanded power, for this long, s, no power flows; below the next, for this long, s, too
#: little.
NO_POWER, NO_POWER_S, LITTLE_POWER, LITTLE_POWER_S = 0.1, 5.0, 0.85, 30.0  # ±30 %: none
#: Shares of the nominal voltage: below the first there is no mains; a deviation beyond the second gives a warning.
NO_MAINS, OFF_NOMINAL = 0.3, 0.15  # ±30 %: none
#: Ventilation that is not proved for this long, s, while heat is wanted trips.
AIRLESS_TRIP_S = 30.0  # ±30 %: none
#: From here on the rest of a purge is told in minutes, s.
MINUTES_FROM_S = 120.0  # ±30 %: none


def flowing(reading: Reading) -> bool | None:
    """Whether power reaches the elements; None where the rig cannot tell."""
    if finite(reading.fired):
        return reading.fired > FLOWING
    if reading.current_a is None:
        return None
    return not (finite(reading.current_a) and reading.current_a < CURRENT_A)


# ---- relay-on-unasked, relay-open ------------------------------------------------------------------------------------


def relay(look: Look) -> None:
    """Compares what the relay was commanded with what it conducted, where the rig can tell."""
    commanded = look.tick.commanded
    conducted = conducted_share(look)
    if not finite(commanded) or conducted is None:
        return
    relay_on_unasked(look, commanded, conducted)
    relay_open(look, commanded, conducted)


def conducted_share(look: Look) -> float | None:
    """Share of full power that reached the elements; None where the rig cannot tell. A current shows only whether the
    relay conducts, so it is used only while no power is asked for."""
    reading, flows = look.reading, flowing(look.reading)
    if finite(reading.fired):
        return reading.fired
    if look.tick.commanded == 0.0 and flows is not None:
        return 1.0 if flows else 0.0
    return None


def relay_on_unasked(look: Look, commanded: float, conducted: float) -> None:
    """Power beyond what was asked for, as a sum of full-power seconds."""
    state = look.state
    state.unasked = greater(0.0, state.unasked + (conducted - commanded - UNASKED_ALLOWANCE) * look.dt_s)
    if state.unasked > look.policy.unasked_on_s:
        look.trip("relay-on-unasked", given=100.0 * conducted, asked=100.0 * commanded)
    # The power that tripped may have flowed before the contactor opened: only looks that begin after that count.
    if state.coil is False and look.now_s - look.dt_s - state.coil_s >= look.policy.contactor_s:
        more = (conducted - commanded - UNASKED_ALLOWANCE) * look.dt_s
        state.unasked_open = greater(0.0, state.unasked_open + more)
    else:
        state.unasked_open = 0.0
    if state.unasked_open > look.policy.unasked_on_s:
        endanger(state, "power")


def nothing_flows(look: Look) -> bool:
    return flowing(look.reading) is not True


def relay_open(look: Look, commanded: float, conducted: float) -> None:
    """No power, or too little, although the contactor is closed and the supply is live."""
    state, share = look.state, 1.0 - math.exp(-look.dt_s / MEAN_S)
    state.asked += (commanded - state.asked) * share
    state.given += (conducted - state.given) * share
    told_shut = coil_settled(look) and state.coil is True
    reads_open = look.reading.contactor_closed is False
    ready = state.asked > COMPARED_FROM and told_shut and not reads_open and look.powered
    if look.lasting("no-heat", ready and state.given < NO_POWER * state.asked, NO_POWER_S):
        look.trip("relay-open", asked=100.0 * state.asked)
    elif look.lasting("part-heat", ready and state.given < LITTLE_POWER * state.asked, LITTLE_POWER_S):
        percent = 100.0 * state.given / state.asked
        look.warn(f"only {percent:.0f} % of the power asked for reaches the elements: one of them may be broken")


# ---- supply-lost -----------------------------------------------------------------------------------------------------


def supply(look: Look) -> bool:
    """False while there is no mains. A longer outage trips, and only a person's confirmation lets the run go on."""
    volts, nominal, lost = look.reading.supply_v, look.policy.nominal_v, not mains_is_on(look)
    lost = lost and volts is not None
    if look.lasting("supply", lost, look.policy.outage_s):
        look.trip("supply-lost", time=look.now_s - look.state.over["supply"])
    if not lost and volts is not None and nominal is not None and abs(volts - nominal) > OFF_NOMINAL * nominal:
        look.warn(f"the supply is at {volts:.0f} V instead of {nominal:.0f} V")
    return not lost


def mains_is_on(look: Look) -> bool:
    """As far as a meter shows it; also true where the nominal voltage is unknown."""
    volts, nominal = look.reading.supply_v, look.policy.nominal_v
    return nominal is None or (finite(volts) and volts > NO_MAINS * nominal)


# ---- ventilation -----------------------------------------------------------------------------------------------------


def door_and_air(look: Look) -> str:
    """Why there must be no heat just now; empty when there may be."""
    answered = look.state.door_told
    look.state.door_told |= look.reading.door_open is not None
    return ventilation(look) or door(look, answered)


def ventilation(look: Look) -> str:
    """Why the air forbids heat: it is not proved, or the chamber is not purged. Empty where no air is required."""
    state, policy, now_s = look.state, look.policy, look.now_s
    if not policy.airflow_required:
        return ""
    proved = air_is_proved(look)
    if look.lasting("airflow", not proved and look.tick.heating, AIRLESS_TRIP_S):
        look.trip("ventilation")
    state.airless_s = 0.0 if proved else state.airless_s + look.dt_s
    if state.airless_s > policy.airflow_s or state.purge_until_s == math.inf:
        state.purge_until_s = now_s + policy.purge_s
    elif not proved:
        state.purge_until_s += look.dt_s  # only proved air purges
    if not proved:
        return "the ventilation is not proved"
    left_s = state.purge_until_s - now_s
    if left_s > 0.0:
        left = f"{left_s / 60.0:.0f} min" if left_s >= MINUTES_FROM_S else f"{left_s:.0f} s"
        return f"purging the chamber with fresh air for another {left} before there is heat"
    return ""


def air_is_proved(look: Look) -> bool:
    """Also true where none is required."""
    return not look.policy.airflow_required or look.reading.airflow_proved is True


def door(look: Look, answered: bool) -> str:
    """Why the door forbids heat. `answered`: its switch has answered before. A switch that never answered gives a
    warning; one that no longer answers means no heat. The switch also breaks the contactor's coil by itself."""
    if look.door_is_open:
        return "the door is open"
    if look.policy.door_switch and look.reading.door_open is None:
        if answered:
            return "the door switch no longer answers"
        look.warn("the door switch does not answer")
    return ""


# ---- contactor-welded, contactor-open --------------------------------------------------------------------------------


def contactor(look: Look) -> None:
    """Compares the contactor's read-back with its coil."""
    state, tick, closed = look.state, look.tick, look.reading.contactor_closed
    # `state.coil` is what the last verdict allowed; the caller may know the command that the coil really got.
    if tick.contactor is not None and tick.contactor != state.coil:
        state.coil, state.coil_s = tick.contactor, look.now_s - look.dt_s
    if closed is None:
        return
    settled = coil_settled(look)
    if look.lasting("welded", settled and state.coil is False and closed, look.policy.contactor_s):
        look.trip("contactor-welded")
        endanger(state, "contactor")
    if look.lasting("absent", settled and state.coil is True and not closed and look.powered, look.policy.contactor_s):
        look.trip("contactor-open", members=coil_circuit(look.reading, look.policy.pulse_timer))


def coil_circuit(reading: Reading, pulse_timer: bool) -> str:
    """The contacts in the coil's circuit of this oven, as far as its inputs and its file show, in words."""
    members = ["limiter", "emergency stop"]
    if reading.door_open is not None:
        members.append("door switch")
    if reading.airflow_proved is not None:
        members.append("airflow switch")
    timer = ["pulse timer"] if pulse_timer else []
    return ", ".join([*members, "heat sink's thermostat", *timer, "the coil and its fuse"])


def coil_settled(look: Look) -> bool:
    """Whether the contactor has had time to follow its coil."""
    return look.now_s - look.state.coil_s >= look.policy.contactor_s


def contactor_reads_open(look: Look) -> bool:
    return look.reading.contactor_closed is False


RULES = (
    Rule("relay-on-unasked", relay_on_unasked, nothing_flows),
    Rule("relay-open", relay_open, at_a_persons_word),
    Rule("supply-lost", supply, mains_is_on),
    Rule("ventilation", ventilation, air_is_proved),
    Rule("contactor-welded", contactor, contactor_reads_open),
    Rule("contactor-open", contactor, at_a_persons_word),
)
