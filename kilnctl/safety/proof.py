"""What the read-backs prove after heat was switched off. A command proves nothing; only what was read is claimed."""

from ..reading import Reading
from .rules_supply import flowing

BLIND = "Relay and contactor are told off; nothing here can see whether they are. Watch the temperature"
#: While the newest reading was taken before they were told off.
NOT_YET = "Relay and contactor are told off; no read-back is newer than that. Watch the temperature"


def heat_proof(reading: Reading, newer: bool = True) -> str:
    """After relay and contactor were switched off: what the read-backs show, as a sentence without its full stop.
    `newer`: whether the reading was taken after that."""
    if not newer:
        return NOT_YET
    closed, flows = reading.contactor_closed, flowing(reading)
    bad = [words for seen, words in ((closed, "the contactor reads closed"), (flows, "current flows")) if seen is True]
    good = [
        words for seen, words in ((closed, "the contactor reads open"), (flows, "no current flows")) if seen is False
    ]
    if bad:
        return f"Relay and contactor are told off, but {' and '.join(bad)}"
    return f"Relay and contactor are told off; {' and '.join(good)}" if good else BLIND
