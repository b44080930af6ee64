"""The fault table: what can break, what is seen of it, which rule answers, how soon, and what only hardware can do.

One row a fault. SAFETY.md's table is made from it (`kilnctl.safety.table`) and the tests read it: a row with rules needs a
scene that trips the first of them in time and a scene that does not; a row without rules must say what hardware or which
other part of the program carries it. The first 31 are numbered as in the analysis they come from.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """`rules`: ids of the trips (`words.WORDS`) that answer, the quickest first; empty: none of ours does. `threshold`: in words.
    `detect_within_s`: from when the fault can be seen (a relay that conducts at full power cannot) to the trip; None: not by these rules. `latched`:
    heat stays off until acknowledged (`latch`: in words, where yes or no does not tell it). `needs`: what must be wired for the rules and the time
    to hold, and what is left without; empty: the control sensor alone. `elsewhere`: the part of the program that answers instead. `hardware`: what only
    hardware can do. `inject`: kinds of the virtual oven's faults that bring it about, for the fault campaign. `start`: the
    start test finds it too."""

    id: str
    cause: str
    seen: str
    rules: tuple[str, ...] = ()
    threshold: str = ""
    detect_within_s: float | None = None
    reaction: str = ""
    latched: bool = True
    latch: str = ""
    needs: str = ""
    elsewhere: str = ""
    hardware: str
    rationale: str
    inject: tuple[str, ...] = ()
    start: bool = False


CUT = "heat off, contactor open"
COAST = "heat off at once; goes on if it heals within 10 s"
CURRENT = "current sensing for the seconds; without it the minutes"
SECOND = "second sensor"
READ_BACK = "contactor read-back"
MAINS = "supply meter, else contactor read-back; with neither as F04"
BOARD = "I/O board (own pins: the pulse-fed timer)"
LIMITER = "independent limiter with its own sensor"

FAULTS: tuple[Fault, ...] = (
    Fault(id="F01", needs=CURRENT,
          cause="relay fails conducting while a temperature is held", seen="power without command; heat the model cannot explain",
          rules=("relay-on-unasked", "unexplained-heat", "over-schedule", "over-oven"), detect_within_s=240.0, start=True,
          threshold="2.5 s of full power unasked (with current sensing, some 5 s); else unexplained heat 25 % + 35 % of the power fired "
          "lately, summed to 15 full-power seconds. One of several relays adds only its share: as F03, up to 15 min", reaction=CUT, inject=("relay shorted",),
          hardware="contactor in series; limiter; semiconductor fuse", rationale="the usual way a solid-state relay dies"),
    Fault(id="F02", needs=CURRENT,
          cause="relay conducts while idle, contactor closed", seen="power, or a rise, without command",
          rules=("relay-on-unasked", "rise-no-heat", "unexplained-heat"), detect_within_s=240.0, start=True,
          threshold="2.5 s of full power unasked; else, after 120 s without heat, 6 K of rise above where the chamber has lately been (that "
          "is forgotten at 72 K/h; 3 K/h, and what warms no further than the terminals, is the room)", reaction=CUT, inject=("relay shorted",),
          hardware="a contactor that is open when idle isolates", rationale="ours opens the contactor whenever no heat is wanted"),
    Fault(id="F03", needs=CURRENT,
          cause="relay half-shorted (one thyristor): half-wave current", seen="about half power between the bursts",
          rules=("relay-on-unasked", "unexplained-heat"), detect_within_s=900.0, start=True,
          threshold="2.5 s of full power unasked; else the unexplained heat of F01", reaction=CUT, inject=("relay half-shorted",),
          hardware="fuse; residual-current device that sees direct current (type A or better)",
          rationale="direct current saturates transformers and blinds plain residual-current devices"),
    Fault(id="F04", needs=CURRENT,
          cause="relay or its driver never conducts", seen="no power, or no rise, on command",
          rules=("relay-open", "missing-heat", "heat-no-rise"), detect_within_s=600.0, start=True,
          threshold="below 10 % of the commanded power for 5 s; else 600 s of full power for less than 5 K", reaction=CUT,
          inject=("relay open",), hardware="–", rationale="no danger, but the part is not cured"),
    Fault(id="F05", needs="current sensing for the 30 s; without it the 5 min",
          cause="one of several elements broken", seen="less power than commanded; heat missing",
          rules=(), elsewhere="warning of the rules: below 85 % of the commanded power for 30 s, or 30 % of the heat missing for 5 min; the "
          "run goes on", reaction="warning", latched=False, inject=("element group broken",),
          hardware="–", rationale="safe; whether the run is worth finishing is the owner's choice"),
    Fault(id="F06", needs=MAINS,
          cause="element shorts to earth", seen="the residual-current device opens: mains lost",
          rules=("supply-lost", "contactor-open"), detect_within_s=15.0,
          threshold="below 30 % of nominal voltage: no heat at once; 10 s (15 min where the schedule resumes): trip; without a supply meter its read-back unlike "
          "command for 2 s", reaction=CUT,
          inject=("supply lost",), hardware="residual-current device, fuse, protective earth on the cabinet",
          rationale="hot ceramic conducts; the cabinet must not become live"),
    Fault(id="F07", needs=READ_BACK + "; without it nothing shows until F33 does",
          cause="contactor welded", seen="its read-back stays closed after it was told to open",
          rules=("contactor-welded",), detect_within_s=5.0, threshold="read-back unlike command for 2 s", start=True,
          reaction="relay held off; loud alarm: pull the plug", inject=("contactor welded",),
          hardware="second contactor, or a breaker with shunt trip, where the stake is high",
          rationale="then only the relay keeps the heat out"),
    Fault(id="F08", needs=READ_BACK + "; without it as F04",
          cause="contactor does not pull in", seen="its read-back stays open", rules=("contactor-open",), detect_within_s=5.0,
          threshold="read-back unlike command for 2 s", reaction=CUT, inject=("contactor not pulling in",), start=True,
          hardware="–", rationale="limiter, emergency stop or door switch may have opened its coil: somebody has to look"),
    Fault(id="F09", cause="thermocouple open, for good or now and then", seen="fault word of the converter", rules=("sensor-open", "sensor-unsteady"), detect_within_s=15.0,
          threshold="first bad reading: no heat; 10 s: trip; when it comes and goes, warning from 3 % of the last 2 min, trip at 20 % (open 8 s of every "
          "10 s: within 40 s)", reaction=COAST, inject=("thermocouple open",), hardware=LIMITER,
          rationale="blind heating is never right, and wires do flicker"),
    Fault(id="F10", needs="the converter's fault word; without one a jump, else " + SECOND + " (40 K for 60 s), else nothing",
          cause="thermocouple shorted to earth or supply", seen="fault word, sometimes none",
          rules=("sensor-short-ground", "sensor-short-supply", "sensor-jump", "sensors-disagree"), detect_within_s=15.0,
          threshold="first bad reading or jump: no heat; 10 s: trip; a short that shows as neither takes 75 s", reaction=COAST, inject=("thermocouple short to ground",), hardware=LIMITER,
          rationale="converters do not report every short: the jump and the second sensor stand behind"),
    Fault(id="F11", needs=SECOND + " near room temperature",
          cause="the two wires touch: reads its terminals", seen="falls in one tick to the terminals' temperature",
          rules=("sensor-shorted", "sensors-disagree", "reading-fell", "missing-heat"), detect_within_s=300.0,
          threshold="further than 10 K + 25 K/s in one reading and within 8 K of the terminals: no heat; 10 s: trip; near room temperature, where there is "
          "nothing to fall from, the second sensor's 40 K for 60 s", reaction=COAST, inject=("thermocouple shorted",), hardware=LIMITER,
          rationale="the loop would answer a cold reading with full power"),
    Fault(id="F12", needs="– (" + SECOND + " is quicker)",
          cause="thermocouple fell out of the chamber", seen="falls faster than a closed oven cools, and stays away",
          rules=("sensor-jump", "sensors-disagree", "reading-fell", "missing-heat"), detect_within_s=360.0,
          threshold="jump beyond 10 K + 25 K/s (200 K per time constant of a quicker sensor, 200 K/s at most) for 10 s; else second sensor not following for 20 s; else 300 s of wanted heat (60 s where a "
          "door switch says shut) in which it does not rise again by 3 K and a quarter of the fall", reaction="no more heat than before from the first seconds, then " + CUT,
          inject=("thermocouple pulled out",), hardware=LIMITER,
          rationale="a falling reading is never answered with more heat than physics explains"),
    Fault(id="F13", needs="– (" + SECOND + " helps)",
          cause="thermocouple reversed", seen="falls when heated", rules=("falls-when-heated", "sensor-jump", "sensors-disagree"),
          detect_within_s=120.0, threshold="3 K of fall below the terminals' temperature after 20 full-power seconds", reaction=CUT, start=True,
          inject=("thermocouple reversed",), hardware=LIMITER, rationale="found at the start test, and in the run if that was skipped"),
    Fault(id="F14", needs=SECOND,
          cause="thermocouple drifts or ages", seen="parts from the second sensor over hours or weeks",
          rules=("sensors-disagree",), detect_within_s=4.0 * 3600.0, reaction=CUT, inject=("thermocouple drifting",),
          threshold="the greater of 40 K and 6 % for 60 s (warning from 80 % of it), beyond what the slower one's lag explains; time is for 20 K/h",
          hardware="the limiter is coarse; only comparison with a reference shows a small drift",
          rationale="two sensors of one kind may drift together: check them yearly"),
    Fault(id="F15", cause="converter dead or unplugged", seen="all-zero, all-one or impossible words",
          rules=("sensor-no-chip", "sensor-bus-error"), detect_within_s=15.0, threshold="first bad reading: no heat; 10 s: trip",
          reaction=COAST, inject=("front end dead",), hardware=LIMITER, rationale="an absent chip looks like 0 °C"),
    Fault(id="F16", needs="conversion counter",
          cause="reading frozen", seen="conversion counter stands; not one bit changes", rules=("sensor-frozen",), detect_within_s=10.0,
          threshold="counter 5 s; a counter that runs on: F41", reaction=CUT, inject=("thermocouple frozen",), hardware=LIMITER,
          rationale="a frozen reading below the setpoint means full power for ever"),
    Fault(id="F17", cause="noise bursts", seen="jumps among good readings; jitter; wild conversions that the rig's median hides",
          rules=("sensor-noisy", "sensor-unsteady", "sensor-jump"), detect_within_s=120.0,
          threshold="4 separate jumps within 30 s; or jitter to and fro above 2 K (6 × the described noise) for 5 s; or, hidden by the median or not, "
          "20 % of the conversions of the last 2 min (one in three: after 110 s; warning from 3 %)", reaction=CUT,
          inject=("thermocouple noisy",), hardware="shield, isolation, distance", rationale="a noisy sensor hides every other fault"),
    Fault(id="F18", needs="terminals' temperature from the converter",
          cause="cold junction wrong, or box too hot", seen="terminals out of range, or moving impossibly",
          rules=("cold-junction", "sensor-cold-junction"),
          detect_within_s=10.0, threshold="outside −20…80 °C, or a sudden change of 5 K, for 3 s; warning from 65 °C", reaction=CUT,
          inject=("cold junction wrong",), hardware="thermostat and ventilation of the box",
          rationale="every kelvin of the terminals is a kelvin of the chamber; an error present from the start needs a comparison"),
    Fault(id="F19", latch="by the board, until `kilnctl board OVEN --clear`", needs=BOARD,
          cause="control process killed", seen="the board gets no frame", elsewhere="the I/O board's lease, 0.5 s",
          reaction="board drops relay and contactor", hardware="watchdog; pull-downs on every heat line",
          rationale="the dead cannot act: the lease is the board's"),
    Fault(id="F20", needs="– (" + BOARD + " where the program hangs for good)",
          cause="control loop hung or computer overloaded", seen="the step counter stands; a gap between ticks",
          rules=("loop-stalled", "clock"), detect_within_s=2.5, threshold="permit lapses after 2 s; gap above 2.5 s: trip", reaction=CUT,
          inject=("loop stalled",), hardware="the board's lease of 2 s, tied to the step counter",
          rationale="a heartbeat thread would go on; a counter cannot"),
    Fault(id="F21", needs=BOARD,
          cause="cable to the board unplugged, line noise", seen="lost answers, checksum errors", rules=("board-lost",),
          detect_within_s=3.0, threshold="the rig's word, after three lost answers", reaction=CUT, inject=("board lost",),
          hardware="the board's lease of 0.5 s", rationale="host and board each act alone"),
    Fault(id="F22", needs=BOARD,
          cause="board hangs or resets", seen="no answer; new boot counter", rules=("board-lost", "board-fault"), detect_within_s=3.0,
          threshold="the rig's word", reaction=CUT, inject=("board lost",), hardware="the board's watchdog; outputs low at reset",
          rationale="a board that restarts must not go on heating"),
    Fault(id="F23", latch="by the board, until `kilnctl board OVEN --clear`", needs=BOARD,
          cause="computer crashes or loses its power", seen="silence", elsewhere="the I/O board's lease, 0.5 s",
          reaction="board drops relay and contactor", hardware="watchdog resets the computer; pull-downs", rationale="as F19"),
    Fault(id="F24", needs=MAINS,
          cause="mains outage during a run", seen="supply sense; a gap in time", rules=("supply-lost", "contactor-open"), detect_within_s=15.0,
          threshold="no heat at once; 10 s (15 min where the schedule resumes): trip; without a supply meter the read-back of F06", reaction=CUT, inject=("supply lost",),
          hardware="the contactor drops by itself", rationale="the part's history is what counts: a person decides"),
    Fault(id="F25", latch="an open door: no; a fall that stays: yes", needs="door switch for the quick answer",
          cause="door opened hot", seen="door switch; else a fast fall", rules=("reading-fell", "missing-heat"), latched=False, detect_within_s=None,
          threshold="switch: no heat and contactor open at once; without a switch no more heat than before, where the fall is faster than a closed oven's; a furnace "
          "with little air cools as fast by itself when its heat is cut, and its door is missed as heat (20 full-power seconds)", inject=("door open",),
          reaction="heat off while open; goes on when shut; without a switch a fall that stays for 300 s in which heat is wanted trips, and so does missing heat",
          hardware="switch with forced opening in the coil circuit", rationale="elements are live to touch"),
    Fault(id="F26", needs="airflow switch, and a schedule marked `flammable vapour`: no other is watched",
          cause="fan or ventilation failed", seen="airflow input off", rules=("ventilation",), detect_within_s=35.0,
          threshold="no heat and contactor open at once; a purge of four air changes before the first heat, and again after 2 s without air; "
          "30 s: trip", reaction=CUT,
          inject=("ventilation lost",), hardware="flow switch in the coil circuit",
          rationale="solvent vapour must stay below a quarter of its lower explosive limit"),
    Fault(id="F27", needs="the part's limit: sensor on the part",
          cause="wrong schedule (1200 for 120, °F for °C)", seen="above the oven's, schedule's or part's limit",
          rules=("over-schedule", "over-part", "over-oven"), detect_within_s=5.0, threshold="2 s above the limit; no heat at once. A schedule without `highest` that follows the chamber: 50 K or 5 % above its hottest step", reaction=CUT,
          elsewhere="refused when loaded and before the start", hardware="the limiter's setting", rationale="refusal comes first, the trip behind it"),
    Fault(id="F28", latched=False,
          cause="wrong or damaged configuration", seen="checks of the file; limits unlike the last run's",
          elsewhere="settings are refused as a whole; `likeness` asks for confirmation", reaction="no start", hardware="the limiter's setting",
          rationale="an oven file of another oven is a valid file"),
    Fault(id="F29", cause="clock jumps, computer suspended", seen="tick clock back or far forward; wall clock apart",
          rules=("clock", "loop-stalled"), detect_within_s=3.0, threshold="any step back; a gap above 2.5 s, time in suspend "
          "counted where the system has such a clock (Linux); wall clock only warns", reaction=CUT,
          inject=("clock jump",), hardware="the board keeps its own time", rationale="rates and leases mean nothing without a clock"),
    Fault(id="F30", cause="disk full or broken", seen="the record is not being written", latched=False,
          elsewhere="warning of the rules after 10 s; no new start", reaction="the run goes on", hardware="–",
          rationale="cutting the heat would not save the record, and would cost the part"),
    Fault(id="F31", latched=False,
          cause="a stranger or hostile page starts the heat", seen="request without local arming",
          elsewhere="the panel: host, origin, PIN, local arming", reaction="refused", hardware="key switch in the coil circuit",
          rationale="an oven is started by somebody who stands before it"),
    Fault(id="F32", needs=CURRENT,
          cause="all elements broken, fuse blown behind the supply sense", seen="no power, no rise",
          rules=("relay-open", "missing-heat", "heat-no-rise"), detect_within_s=600.0, threshold="as F04", reaction=CUT, start=True,
          inject=("element broken",), hardware="–", rationale="no danger, but the part is not cured"),
    Fault(id="F33", needs=READ_BACK + " or current sensing; without either the minutes",
          cause="contactor welded and relay shorted", seen="power after everything was told to stop",
          rules=("contactor-welded", "relay-on-unasked", "rise-no-heat", "unexplained-heat"), detect_within_s=240.0, threshold="as F01, F07; without "
          "any read-back 15 full-power seconds that the model cannot explain, counted from 30 s after the contactor was told to open, or the rise of F02, "
          "measured anew from then on (while a hot oven cools: once it passes where it lately was)",
          reaction="nothing of ours can cut the heat: it says so, loudly: pull the plug", inject=("contactor welded", "relay shorted"),
          hardware="second contactor or shunt trip driven by the limiter; a person", rationale="two contacts in series can both be closed"),
    Fault(id="F34", cause="numbers that are none (NaN, infinity) anywhere", seen="finite checks", rules=("sensor-not-a-number", "clock", "energy"),
          detect_within_s=15.0, threshold="no heat at once; 10 s: trip; in the clock at once", reaction=COAST, hardware="–",
          rationale="NaN passes every comparison that is written the wrong way round"),
    Fault(id="F35", needs=SECOND + ", sensor on the part",
          cause="second or part sensor lost", seen="no reading, fault word", rules=("limit-sensor", "part-sensor"), detect_within_s=15.0,
          threshold="no heat at once; 10 s: trip (part: where it has a limit)", reaction=COAST, hardware=LIMITER,
          rationale="who watches the watcher must be there"),
    Fault(id="F36", needs=SECOND,
          cause="load touches the control sensor", seen="the two sensors part", rules=("sensors-disagree", "missing-heat"),
          detect_within_s=None, threshold="the greater of 40 K and 6 % for 60 s", reaction=CUT, inject=("load against the sensor",),
          hardware=LIMITER, rationale="seen only while load and chamber differ by that much"),
    Fault(id="F37", needs="supply meter",
          cause="supply sags or surges", seen="supply sense", elsewhere="warning of the rules beyond 15 %; the control reckons with it",
          reaction="warning", latched=False, inject=("supply sag",), hardware="–", rationale="power goes with the square of the voltage"),
    Fault(id="F38", cause="run without end", seen="energy and time of the run", rules=("energy", "run-time"), detect_within_s=3.0,
          threshold="ceilings of oven and schedule", reaction=CUT, hardware="a timer in the coil circuit, if left alone",
          rationale="a soak whose band is never reached would last for ever"),
    Fault(id="F39", cause="rise beyond what full power can do", seen="rate of the reading", rules=("rise-too-fast", "sensor-jump"),
          detect_within_s=30.0, threshold="2.5 × the model's fastest, at least 1 K/s, for 5 s, above where the chamber has lately been", reaction=CUT, hardware="smoke detector; extinguisher",
          rationale="a burning load, or a sensor that lies"),
    Fault(id="F40", needs=SECOND,
          cause="circulation fan stopped", seen="heat reaches the chamber more slowly; layers of unequal warmth",
          elsewhere="the control reckons with it; the second sensor's disagreement, if it grows that far", reaction="none of its own",
          latched=False, inject=("fan stopped",), hardware="airflow switch; thermostat on sheathed elements",
          rationale="the part may be uneven; elements without their air get hotter"),
    Fault(id="F41", needs="the converter's bits (board and own pins give them), whatever its counter does; without them " + SECOND,
          cause="converter repeats itself while its counter runs (a board counts how often it asked)", seen="not one bit of its answers changes under heat",
          rules=("sensor-frozen", "sensors-disagree", "missing-heat"), detect_within_s=125.0,
          threshold="identical bits while more than 2 % is fired: 15 s with steps of 1/128 K, 120 s with steps of 1/4 K (longer, where so little noise is described "
          "that chance would do it; not at all with steps of 1/4 K and noise below 0.09 K at a tick of 1 s)",
          reaction=CUT, inject=("converter repeating",), hardware=LIMITER, rationale="as F16; at rest and while it cools a quiet sensor may well stand still"),
)  # fmt: skip


def by_id(fault: str) -> Fault:
    """Raises KeyError for an id that is not in the table."""
    return {f.id: f for f in FAULTS}[fault]
