"""What each trip says: what was seen, what to check, and what was done. One entry a rule's id."""

_CUT = "The heat was cut and the contactor opened."
_STAND = "The heat was cut and the contactor opened; wait until the oven is cold."
LOUD = "The relay is held off. SWITCH OFF AT THE BREAKER OR PULL THE PLUG NOW."
#: A contactor that tripped leaves its supply side live, and a relay leaks: only the plug or a locked isolator makes the
#: oven dead.
_DEAD = "(plug out or isolator locked off, and cold) "
_FIRE = (
    f"{_CUT} IF SOMETHING MAY BE BURNING: keep the door shut, pull the plug, have an extinguisher at hand; if it does "
    "not die down, leave and call the fire brigade."
)
_RELAY_STUCK = f"{_DEAD}the relay: it may conduct all the time, or half of it may be shorted"
_LOAD_UNLIKE = "the load or the lining is unlike what the file says: describe it, or fit the model anew"
#: What "unexplained-heat" says to check while nearly full power is fired: a stuck relay adds little to that, and a load
#: that is not there explains much.
LOAD_FIRST = (
    "the load: less of it seems to be in the oven than the files say; describe what is really in, or fit the model "
    f"anew. If that is right: {_RELAY_STUCK}"
)

#: Rule id → (seen, check, done). `seen` is filled in with the figures of the moment.
WORDS = {
    "over-oven": (
        "a sensor of the chamber reads {value:.0f} °C, above the oven's trip at {limit:.0f} °C",
        _DEAD + "the relay (does it conduct with its input off?), the sensor's place, the hardware limiter",
        _CUT,
    ),
    "over-schedule": (
        "a sensor of the chamber reads {value:.0f} °C, above this schedule's trip at {limit:.0f} °C",
        f"whether the right schedule was chosen; {_DEAD}the relay, the sensor's place",
        _CUT,
    ),
    "over-part": (
        "the part reads {value:.0f} °C, above its limit of {limit:.0f} °C",
        _DEAD + "the part, and where its thermocouple sits",
        _CUT,
    ),
    "part-sensor": (
        "the part has a limit of its own, and its sensor gives no reading",
        _DEAD + "the part's thermocouple, its plug and its converter",
        _CUT,
    ),
    "limit-sensor": ("the second sensor gives no reading", _DEAD + "the second thermocouple and its converter", _CUT),
    "sensors-disagree": (
        "the two sensors disagree: {first:.0f} °C and {second:.0f} °C",
        _DEAD + "whether one has slipped out, and each one's wiring",
        _CUT,
    ),
    "sensor-open": (
        "the control thermocouple has been open for {time:.0f} s; its last good reading was {last}",
        _DEAD + "its wires and terminals, and whether it sits in the chamber",
        _CUT,
    ),
    "sensor-short-ground": (
        "the control thermocouple has been shorted to earth for {time:.0f} s; its last good reading was {last}",
        _DEAD + "its insulation where it passes the wall",
        _CUT,
    ),
    "sensor-short-supply": (
        "the control thermocouple has been shorted to a supply for {time:.0f} s; its last good reading was {last}",
        _DEAD + "its wiring inside the electronics box",
        _CUT,
    ),
    "sensor-no-chip": (
        "the thermocouple converter has not answered for {time:.0f} s; its last good reading was {last}",
        _DEAD + "its plug, its supply and its wires",
        _CUT,
    ),
    "sensor-bus-error": (
        "the thermocouple converter has answered nonsense for {time:.0f} s; its last good reading was {last}",
        _DEAD + "its wires, their length and screening",
        _CUT,
    ),
    "sensor-cold-junction": (
        (
            "the converter has reported an impossible terminal temperature for {time:.0f} s; the last good "
            "reading was {last}"
        ),
        _DEAD + "the converter and the box around it",
        _CUT,
    ),
    "sensor-not-a-number": (
        "the control sensor gave no possible temperature for {time:.0f} s; its last good reading was {last}",
        _DEAD + "the converter and its wiring",
        _CUT,
    ),
    "sensor-jump": (
        "the control reading jumped away from {last} and stayed away for {time:.0f} s, faster than any oven",
        _DEAD + "whether the thermocouple is still in the chamber, its terminals, a short between its wires",
        _STAND,
    ),
    "sensor-shorted": (
        (
            "the control reading fell at once from {last} to the temperature of its own terminals and has stayed "
            "there for {time:.0f} s"
        ),
        _DEAD + "a short between the two wires of the thermocouple, at the terminals or under its insulation",
        _STAND,
    ),
    "sensor-frozen": (
        "the control reading has not been renewed for {time:.0f} s",
        _DEAD + "the converter and the program that reads it",
        _CUT,
    ),
    "sensor-noisy": ("{noise}", _DEAD + "screening, earthing, the distance to power wires", _CUT),
    "sensor-unsteady": (
        "the control sensor comes and goes: {share:.0f} % of its answers of the last minutes could not be used",
        _DEAD + "its plug, terminals and wires for a loose contact; screening, earthing, the distance to power wires",
        _CUT,
    ),
    "cold-junction": (
        "the thermocouple's terminals {what}",
        _DEAD + "ventilation of the electronics box, the converter",
        _CUT,
    ),
    "rise-too-fast": (
        "the chamber reading rises by {rate:.1f} K/s, faster than full power could ({limit:.1f} K/s)",
        _DEAD + "what was in the oven; the sensor and its converter",
        _FIRE,
    ),
    "reading-fell": (
        (
            "the control reading fell by {fall:.0f} K faster than a closed oven cools and did not come back "
            "within {time:.0f} s"
        ),
        _DEAD + "whether the thermocouple has slipped out of the chamber, and the door",
        _STAND,
    ),
    "falls-when-heated": (
        "the control reading fell by {fall:.0f} K during {time:.0f} full-power seconds of heating",
        _DEAD
        + "plus and minus of the thermocouple: they are most likely swapped; and whether any heat reaches the chamber",
        _CUT,
    ),
    "heat-no-rise": (
        "after {time:.0f} s at full power the chamber rose by only {rise:.1f} K",
        _DEAD + "elements, relay, contactor, fuse, and that the sensor sits in the chamber",
        _CUT,
    ),
    "energy-says-hotter": (
        (
            "by the energy given, the chamber is at {least:.0f} °C at least; that is above its trip, or more than its "
            "sensor, which reads {value:.0f} °C, can mean"
        ),
        _DEAD
        + "the control sensor against another: its type, calibration, place and wires; then whether load and lining "
        "are as the files say",
        _CUT,
    ),
    "rise-no-heat": (
        "the chamber rose by {rise:.1f} K although no heat had been asked for {time:.0f} s",
        _DEAD + "the relay: it most likely conducts with its input off. Do not use the oven before it is replaced",
        _CUT,
    ),
    "unexplained-heat": (
        "{watts:.0f} W more than commanded have been reaching the chamber",
        f"{_RELAY_STUCK}. If it does not, {_LOAD_UNLIKE}",
        _CUT,
    ),
    "missing-heat": (
        "{watts:.0f} W that should have reached the chamber have been missing",
        _DEAD + "elements (one may be broken), the door, the sensor's place, the supply",
        _CUT,
    ),
    "relay-on-unasked": (
        "power reached the elements for {given:.0f} % of the time while {asked:.0f} % was asked for",
        _DEAD + "the relay: it conducts unasked, all of it or half of it. Do not use the oven before it is replaced",
        _CUT,
    ),
    "relay-open": (
        "no power reaches the elements although {asked:.0f} % is asked for",
        _DEAD + "relay and its driver, fuse, elements and their terminals",
        _CUT,
    ),
    # An element that touches earth shows like this.
    "supply-lost": (
        "there was no mains for {time:.0f} s",
        (
            f"{_DEAD}which of breaker, residual-current device and fuse opened. Do not close a residual-current device "
            "again before an electrician has found why it opened: an element may touch earth. If none has, the mains "
            "itself was away"
        ),
        _CUT,
    ),
    "ventilation": (
        "the ventilation is not proved, and this load gives off flammable vapour",
        (
            "that the fan runs, the duct, and the flow switch. Leave the extraction running: its fan belongs on a "
            "supply of its own. Air the oven out before it is heated again"
        ),
        _CUT,
    ),
    "contactor-welded": (
        "the contactor stays closed although it was told to open",
        _DEAD + "the contactor's contacts: they are probably welded. Replace it before the oven is used again",
        LOUD,
    ),
    "contactor-open": (
        "the contactor did not close when told to",
        _DEAD + "limiter, emergency stop, door switch, coil and its fuse",
        _CUT,
    ),
    "energy": (
        "this run has used {energy:.1f} kWh, its limit is {limit:.1f} kWh",
        "whether the schedule or its limit is wrong",
        _CUT,
    ),
    "run-time": (
        "this run has lasted {hours:.1f} h, its limit is {limit:.1f} h",
        "whether the schedule or its limit is wrong",
        _CUT,
    ),
    "loop-stalled": ("the control loop stood still for {gap:.1f} s", "what else this computer was doing", _CUT),
    "clock": ("{what}", "the computer's clock and load; restart the program", _CUT),
    "board-lost": (
        "the I/O board does not answer",
        _DEAD + "its cable and supply",
        "The board drops relay and contactor by itself.",
    ),
    "board-fault": (
        "the I/O board reports a fault of its own",
        "`kilnctl board` shows which; before anything is touched: " + _DEAD + "the board, its sensors, the contactor",
        _CUT,
    ),
    "start-contactor": (
        "at the start test, {what}",
        _DEAD + "the contactor: its contacts may be welded, or its read-back wired wrongly",
        LOUD,
    ),
    "start-relay": (
        "at the start test, {what}",
        _DEAD + "the relay: it conducts with its input off. Replace it before the oven is used",
        _CUT,
    ),
    "start-no-rise": (
        "at the start test, {what}",
        _DEAD + "elements, relay, contactor, fuse; that the sensor sits in the chamber, plus and minus not swapped",
        _CUT,
    ),
}

#: Rule id → (seen, check) when what it counts is no number: it is over no limit, its value is unknown.
UNKNOWN = {
    "energy": (
        "the energy of this run is not known any more: what was measured is no number",
        _DEAD + "the meters of current and supply and their wiring; then restart the program",
    ),
    "run-time": (
        "it is not known any more how long this run has lasted: its time is no number",
        "the computer's clock and load; restart the program",
    ),
}
