"""What each trip says, in the order in which a person needs it: what to do now, what was seen, what to check.

What to do and what was seen have fewer than 25 words together. No text claims that something is off: only
`kilnctl.safety.proof` does, from the read-backs. "Main switch" is SAFETY.md's word for the one switch that makes the
oven dead.
"""

#: For a trip after which there may be unwanted heat, or no sensor shows the chamber any more.
OFF = "Leave it shut. Switch off at the main switch."
#: For a trip after which a sensor still shows the chamber and no unwanted heat is suspected.
WATCH = "Leave it shut. If it gets hotter, switch off at the main switch."
#: There is heat that neither relay nor contactor keeps out, or neither of them answers.
LOUD = "SWITCH OFF AT THE MAIN SWITCH NOW. Leave it shut."
_FIRE = "Leave it shut. Switch off at the main switch. Smoke? Get out, call the fire brigade."
_AIR = "Leave it shut. No flame, no switch nearby. Get the extraction going."
#: The supply side of an open contactor stays live, a relay leaks, and a switch may fail: only what was tested dead is
#: dead.
DEAD = "Before you touch anything: main switch off and locked, proved dead, cold. Then check"
_RELAY_STUCK = f"{DEAD} the relay: it may conduct all the time, or half of it may be shorted"
_LESS_TAKES_IT = (
    "less takes up heat than the file says (less load, a lighter lining), the supply is high, or the sensor is near an "
    "element. Describe it, or fit the model again"
)
_REPLACE = "Do not use the oven before it is replaced."
#: What "unexplained-heat" says to check while nearly full power is fired: a stuck relay adds little to that, and a load
#: that is not there explains much.
LOAD_FIRST = (
    "Check the load: less of it seems to be in the oven than the files say. Describe what is in, or fit the model "
    f"again. If the load is right: {_RELAY_STUCK[0].lower()}{_RELAY_STUCK[1:]}."
)
_LAST = "; last good reading {last}"

#: Rule id → (act, seen, check). `seen` and `check` are filled in with the facts of the moment.
WORDS = {
    "over-oven": (
        OFF,
        "a chamber sensor reads {value:.0f} °C; the oven's trip is {limit:.0f} °C",
        (
            f"{DEAD} the relay (does it conduct with its input off?), the sensor's place, and the limiter. If that has "
            "opened too, find out why before you reset it."
        ),
    ),
    "over-schedule": (
        OFF,
        "a chamber sensor reads {value:.0f} °C; this schedule's trip is {limit:.0f} °C",
        f"Was it the right schedule? {DEAD} the relay and the sensor's place.",
    ),
    "over-part": (
        WATCH,
        "the part reads {value:.0f} °C; its limit is {limit:.0f} °C",
        f"{DEAD} the part, and where its thermocouple sits.",
    ),
    "part-sensor": (
        WATCH,
        "the part has a limit, and its sensor gives no reading",
        f"{DEAD} the part's thermocouple, its plug and its converter.",
    ),
    "limit-sensor": (
        WATCH,
        "the second sensor gives no reading",
        f"{DEAD} the second thermocouple and its converter.",
    ),
    "sensors-disagree": (
        OFF,
        "the two sensors disagree: {first:.0f} °C and {second:.0f} °C",
        f"{DEAD} whether one has slipped out, and the wiring of each.",
    ),
    "sensor-open": (
        OFF,
        "the control thermocouple is open for {time:.0f} s" + _LAST,
        f"{DEAD} its wires and terminals, and whether it sits in the chamber.",
    ),
    "sensor-short-ground": (
        OFF,
        "the control thermocouple touches earth for {time:.0f} s" + _LAST,
        f"{DEAD} its insulation where it passes the wall, and that it touches no element.",
    ),
    "sensor-short-supply": (
        OFF,
        "the control thermocouple touches a supply for {time:.0f} s" + _LAST,
        f"{DEAD} its wiring inside the electronics box, and that it touches no element.",
    ),
    "sensor-no-chip": (
        OFF,
        "the thermocouple converter is silent for {time:.0f} s" + _LAST,
        f"{DEAD} its plug, its supply and its wires.",
    ),
    "sensor-bus-error": (
        OFF,
        "the thermocouple converter answers nonsense for {time:.0f} s" + _LAST,
        f"{DEAD} its wires, their length and screening.",
    ),
    "sensor-cold-junction": (
        OFF,
        "the converter's terminals read impossibly for {time:.0f} s" + _LAST,
        f"{DEAD} the converter and the box around it.",
    ),
    "sensor-not-a-number": (
        OFF,
        "the control sensor gives no temperature for {time:.0f} s" + _LAST,
        f"{DEAD} the converter and its wiring.",
    ),
    "sensor-jump": (
        OFF,
        "the control reading jumped from {last} and stayed away for {time:.0f} s",
        f"{DEAD} whether the thermocouple is still in the chamber, its terminals, and a short between its wires.",
    ),
    "sensor-shorted": (
        OFF,
        "the control reading fell from {last} to its terminals' temperature for {time:.0f} s",
        f"{DEAD} the thermocouple: its two wires may touch, at the terminals or under the insulation.",
    ),
    "sensor-frozen": (
        OFF,
        "the control reading has stood still for {time:.0f} s",
        f"{DEAD} the converter and its wires. If they are good, restart this program.",
    ),
    "sensor-noisy": (OFF, "{noise}", f"{DEAD} screening, earthing, and the distance to power wires."),
    "sensor-unsteady": (
        OFF,
        "the control sensor comes and goes: {share:.0f} % of its answers are lost",
        (
            f"{DEAD} its plug, terminals and wires for a loose contact, screening, earthing, and the distance to power "
            "wires."
        ),
    ),
    "cold-junction": (
        OFF,
        "the thermocouple's terminals {what}",
        f"{DEAD} the ventilation of the electronics box, and the converter.",
    ),
    "rise-too-fast": (
        _FIRE,
        "it rises {rate:.1f} K/s; full power: {limit:.1f} K/s",
        (
            "If it burns: do not open it for hours, air feeds it. No water. Turn the extraction off if you need not "
            f"pass the oven. {DEAD} what was in the oven, the sensor and its converter."
        ),
    ),
    "reading-fell": (
        OFF,
        "the reading fell by {fall:.0f} K, and stayed down for {time:.0f} s",
        f"Look at the door, from a distance. {DEAD} whether the thermocouple has slipped out of the chamber.",
    ),
    "falls-when-heated": (
        OFF,
        "the reading fell by {fall:.0f} K in {time:.0f} full-power seconds",
        (
            f"{DEAD} plus and minus of the thermocouple: they are most likely swapped. Then whether any heat reaches "
            "the chamber."
        ),
    ),
    "heat-no-rise": (
        WATCH,
        "{time:.0f} s at full power, and only {rise:.1f} K of rise",
        f"{DEAD} elements, relay, contactor, fuse, and that the sensor sits in the chamber.",
    ),
    "energy-says-hotter": (
        OFF,
        "the energy given says {least:.0f} °C at least; the sensor reads {value:.0f} °C",
        (
            f"{DEAD} the control sensor against another: its type, calibration, place and wires. Or the load is "
            "heavier than the file says (write what it weighs, or 'known within'), or elements and lining are "
            "('elements: mass' with what carries the wire)."
        ),
    ),
    "rise-no-heat": (
        OFF,
        "the chamber rose by {rise:.1f} K; no heat was asked for {time:.0f} s",
        f"{DEAD} the relay: it most likely conducts with its input off. {_REPLACE}",
    ),
    "unexplained-heat": (
        OFF,
        "{watts:.0f} W more than commanded reach the chamber",
        f"{_RELAY_STUCK}. If it does not, {_LESS_TAKES_IT}.",
    ),
    "missing-heat": (
        WATCH,
        "{watts:.0f} W that were commanded are missing in the chamber",
        (
            f"Look at the door, from a distance. {DEAD} elements (one may be broken), the sensor's place, the supply. "
            "If they are right, more takes up heat than the file says: more load, a wet one, heavy elements, what "
            "carries them. Describe it, or fit the model again."
        ),
    ),
    "relay-on-unasked": (
        OFF,
        "power flowed for {given:.0f} % of the time; {asked:.0f} % was asked for",
        f"{DEAD} the relay: it conducts unasked, all of it or half of it. {_REPLACE}",
    ),
    "relay-open": (
        WATCH,
        "no power flows, and {asked:.0f} % is asked for",
        f"{DEAD} relay and its driver, fuse, elements and their terminals.",
    ),
    # An element that touches earth shows like this.
    "supply-lost": (
        OFF,
        "there was no mains for {time:.0f} s",
        (
            f"{DEAD} what opened. A residual-current device: leave it open until an electrician has found why, for an "
            "element may touch earth. A fuse or breaker: why. If none did, the mains itself was away."
        ),
    ),
    "ventilation": (
        _AIR,
        "no airflow is proved, and this load gives off flammable vapour",
        (
            "If the extraction cannot be got going, leave the oven shut until it is cold. Then check the fan, the duct "
            "and the flow switch. The extraction's fan belongs on a supply of its own, and stays on."
        ),
    ),
    "contactor-welded": (
        LOUD,
        "the contactor reads closed after it was told to open",
        f"{DEAD} the contactor: its contacts are probably welded. {_REPLACE}",
    ),
    "contactor-open": (
        WATCH,
        "the contactor reads open after it was told to close",
        (
            "Was start pressed? The holding relay drops at every power cut. Which of the coil's circuit opened it: "
            "{members}? If the limiter has opened, find out why before you reset it. "
            f"{DEAD} that circuit."
        ),
    ),
    "energy": (
        WATCH,
        "this run has used {energy:.1f} kWh; its limit is {limit:.1f} kWh",
        "Check the schedule, its limit, and whether the door closes.",
    ),
    "run-time": (
        WATCH,
        "this run has lasted {hours:.1f} h; its limit is {limit:.1f} h",
        "Check the schedule and its limit.",
    ),
    "loop-stalled": (
        WATCH,
        "the program stood still for {gap:.1f} s",
        (
            "Close other programs on this computer, and restart it. If it comes again, give the oven a computer of "
            "its own."
        ),
    ),
    "clock": (
        WATCH,
        "{what}",
        "Restart this computer. If it comes again, it is no computer for an oven.",
    ),
    "board-lost": (
        OFF,
        "the I/O board does not answer",
        f"Is the contactor's lamp dark? {DEAD} the board's cable and supply.",
    ),
    "board-fault": (
        OFF,
        "the I/O board reports a fault of its own",
        f"`kilnctl board` says which. {DEAD} the board, its sensors, the contactor.",
    ),
    "start-contactor": (
        LOUD,
        "start test: {what}",
        f"{DEAD} the contactor: its contacts may be welded, or its read-back wired wrongly.",
    ),
    "start-relay": (
        OFF,
        "start test: {what}",
        f"{DEAD} the relay: it conducts with its input off. {_REPLACE}",
    ),
    "start-no-rise": (
        WATCH,
        "start test: {what}",
        f"{DEAD} elements, relay, contactor and fuse; that the sensor sits in the chamber, plus and minus not swapped.",
    ),
}

#: Rule id → (seen, check) when the value that the rule judges is not a number: it is not above a limit, it is unknown.
UNKNOWN = {
    "energy": (
        "this run's energy is unknown: what was measured is no number",
        f"{DEAD} the meters of current and supply and their wiring. Then restart the program.",
    ),
    "run-time": (
        "this run's length is unknown: its time is no number",
        "Restart this computer. If it comes again, it is no computer for an oven.",
    ),
}


def lines(act: str, seen: str, check: str) -> tuple[str, str, str]:
    """The three sentences of a trip in their order; the same text for terminal, page and message."""
    return act, f"{seen[:1].upper()}{seen[1:]}." if seen else "", check
