"""What the read-backs prove after heat was switched off. A command proves nothing; only what was read is claimed."""

from ..reading import Reading
from .rules_supply import flowing

BLIND = "Relay and contactor are told off; nothing here can see whether they are. Watch the temperature"


def heat_proof(reading: Reading) -> str:
    """After relay and contactor were switched off: what the read-backs show, as a sentence without its full stop."""
    closed, flows = reading.contactor_closed, flowing(reading)
    bad = [words for seen, words in ((closed, "the contactor reads closed"), (flows, "current flows")) if seen is True]
    good = [
        words for seen, words in ((closed, "the contactor reads open"), (flows, "no current flows")) if seen is False
    ]
    if bad:
        return f"Relay and contactor are told off, but {' and '.join(bad)}"
    return f"Relay and contactor are told off; {' and '.join(good)}" if good else BLIND
