# What `vulture` calls unused and is not: a name a line, with who uses it. The file is read, never run.
# ruff: noqa: F821, B018

# Python itself asks for these: `kilnctl.__getattr__` loads what is named only when it is asked for.
__getattr__
__dir__

# settings/yaml_reader: found by getattr, from the kind that a field's description states.
_integer
_choice
_flag
_many
_numbers
_points

# rig: attributes of pyserial's Serial and of spidev's SpiDev, set before the line opens.
baudrate
dtr
exclusive
rts
write_timeout
max_speed_hz

# rig/contract: a rig's capability, told by every rig; who writes a rig has to know and state it.
lease_s

# safety/fault_table: data; tools/safety_table prints them into SAFETY.md, the tests and the fault campaign read them.
detect_within_s
reaction
latched
needs
hardware
rationale
by_id

# safety/limits: part of what `likeness` compares, by the names of the fields.
control_sensor

# run/summary: written into run.json with all fields of the record.
undershoot_k

# record: what `clear_old` answers, for its caller; and a whole journal at once, which tools/trials/journal and
# tools/trials/service read.
left_bytes
read_journal

# model and identification: what a fit tells. tools/bench/fit, tools/trials/fit_draws and learning_draws read the first
# two, the tests of identification the others.
free_in
extrapolated_k
standard_errors
news_k

# plants: the truth of the virtual oven, for checks from outside: conservation of energy, the core of a part.
ledger_j
part_core_c

# terms: members of an enumeration that are made from their word: stages of the learning run, and the end of a record
# that has none (record/run_record tells it, report/run_report has its sentence).
COAST
LEVEL
FALL
UNFINISHED
# notify: names that libraries call.
on_connect
redirect_request

# model: of the uncertainty, what comes from the model's low order; the tests of generated ovens and tools/zoo read it.
structure_loss
structure_time

# thermal/psychrometrics and the virtual oven: the chamber's air in the terms of psychrometric tables, for tests.
share_of
wet_bulb_c
vapour_share
