"""What a start needs that waits, with nobody there, to be ready at a time of day; and which moment that is. Pure."""

import datetime
import time

from ..errors import KilnctlError
from ..record.care import CareDone, due
from ..settings.schedule import Schedule

#: The test that an unattended start asks for: nobody is there to see an oven that gets too hot.
LIMITER = "limiter"
CARE = (
    "nobody is there to see smoke or a fault. Local rules, and your insurer, may forbid unattended heating; leave a "
    "smoke or heat detector on, and nothing that burns near the oven"
)


def next_time(text: str, now: datetime.datetime) -> float:
    """The next moment at which clocks show `text` ("17:30"), seconds of the epoch. Raises KilnctlError."""
    try:
        at = datetime.datetime.strptime(text.strip(), "%H:%M").time()
    except ValueError:
        raise KilnctlError(f"'{text}' is no time of day such as 17:30") from None
    if time.time() < 1.6e9:
        raise KilnctlError("this computer's clock is not set")
    moment = datetime.datetime.combine(now.date(), at).astimezone()
    if moment <= now:
        moment = datetime.datetime.combine(now.date() + datetime.timedelta(days=1), at).astimezone()
    return moment.timestamp()


def missing(schedule: Schedule, done: tuple[CareDone, ...], today: datetime.date, oven: str) -> list[str]:
    """What stands against that start, in words. `done`: what the oven's log says of the tests of SAFETY.md; `oven`: how
    a command names the oven."""
    limiter = next(d for d in due(done, today) if d.test.name == LIMITER)
    found = []
    if not schedule.unattended:
        found.append(f"{schedule.name} does not say 'unattended: yes'")
    if limiter.now:
        found.append(
            f"the limiter's test is due (every {limiter.test.every_days} days): do it as SAFETY.md says, then "
            f"kilnctl due {oven} --done limiter --by NAME"
        )
    return found
