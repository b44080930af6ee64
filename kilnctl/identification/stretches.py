"""From a record to even stretches that the model can be run through: gaps, wild readings, open doors,
starting states."""

import math
from dataclasses import dataclass

import numpy as np

from ..model.energy import CHAMBER, CONTENTS, ELEMENT, LINING, SENSOR, EnergyModel, N
from .free_run import Extra, Stretch
from .records import Log

#: A pause longer than this starts a new stretch: what was fired during it is unknown.
LONGEST_GAP_S = 60.0
#: A reading so many spreads off the running median of its neighbours is wild.
WILD = 8.0
#: After a door has closed, readings do not count for so long: the air in front of the sensor is not the
#: chamber.
DOOR_SETTLES_S = 45.0
#: Shorter stretches are left out, s.
SHORTEST_STRETCH_S = 300.0
#: A cold start: every temperature by this spread from the room, the lining's inside by this much, K, growing with depth
#: by these shares; chamber and sensor by this much.
COLD_SD_K, COLD_INSIDE = (0.5, 1.0, 0.2), {LINING + 1: 0.3, LINING + 2: 0.7, LINING + 3: 1.0}
#: A warm start: the lining's lumps and the contents have come to these shares of the steady rise, the elements to this
#: share of theirs above the chamber; and spreads of all, as shares of the chamber's rise, and at least, K (estimates).
WARMED, WARMED_ELEMENT, LEAST_SD_K = (0.97, 0.92, 0.85, 0.7), 0.5, 0.5
WARMED_SD = {ELEMENT: 0.3, LINING: 0.08, LINING + 1: 0.15, LINING + 2: 0.25, LINING + 3: 0.35, CONTENTS: 0.15}
#: An opening of the door: the reading falls within so long, s, by so many usual falls and by this share of its rise
#: above the room; at most so many are looked for in one record.
FALL_S, FALL_TIMES, FALL_SHARE, MOST_DOORS = 30.0, 8.0, 0.03, 12
#: A median absolute deviation times this is the standard deviation of a normal distribution (common practice).
NORMAL_MAD = 1.4826


@dataclass(frozen=True)
class Piece:
    """A stretch with its readings (NaN where they do not count) and its own unknowns, each with a prior
    spread.

    `block` steps are averaged before they are compared; `samples` of the record make one block; `cold`: it
    begins at room temperature; `doors` in grid steps."""

    log: Log
    stretch: Stretch
    reading_c: np.ndarray
    block: int
    samples: float
    time_s: np.ndarray
    cold: bool
    extras: tuple[Extra, ...]
    spreads: tuple[float, ...]
    doors: tuple[tuple[int, int], ...]
    wild: int


def noise_of(reading_c: np.ndarray) -> float:
    """Standard deviation of the noise from second differences, which a smooth curve hardly has (scaled
    median, K)."""
    second = np.diff(reading_c, 2)
    second = second[np.isfinite(second)]
    if len(second) < 20:
        return 0.1
    return float(max(0.01, NORMAL_MAD * np.median(np.abs(second)) / math.sqrt(6.0)))


def wild_readings(reading_c: np.ndarray, noise_k: float) -> np.ndarray:
    """True for single readings far from the median of the seven around them (Hampel's test)."""
    y = np.where(np.isfinite(reading_c), reading_c, np.nan)
    padded = np.concatenate((np.full(3, np.nan), y, np.full(3, np.nan)))
    windows = np.lib.stride_tricks.sliding_window_view(padded, 7)
    filled = np.isfinite(windows).sum(axis=1) > 2
    middle = np.full(len(y), np.nan)
    middle[filled] = np.nanmedian(windows[filled], axis=1)
    slope = np.abs(np.gradient(np.where(np.isfinite(middle), middle, np.nanmedian(y)))) if len(y) > 2 else 0.0
    return np.abs(y - middle) > WILD * noise_k + 3.0 * slope + 0.05


def pieces_of(log: Log, model: EnergyModel, dt_s: float, block: int, ambient_c: float) -> list[Piece]:
    """Cut a record at its gaps and bring each part to whole blocks of `block` steps of dt_s: mean power over
    each step, mean reading around each sample."""
    t, y, p = log.time_s, log.reading_c.copy(), log.power_w
    sampling = float(np.median(np.diff(t)))
    noise = noise_of(y)
    wild = wild_readings(y, max(noise, 0.03)) if sampling <= 15.0 else np.zeros(len(y), bool)
    y[wild] = np.nan
    doors = log.doors
    for a, b in doors:
        y[(t >= a) & (t <= b + DOOR_SETTLES_S)] = np.nan
    p = np.where(np.isfinite(p), p, np.interp(t, t[np.isfinite(p)], p[np.isfinite(p)]))
    cuts = np.flatnonzero(np.diff(t) > max(LONGEST_GAP_S, 4.0 * sampling)) + 1
    out = []
    for part in np.split(np.arange(len(t)), cuts):
        if len(part) < 10 or t[part[-1]] - t[part[0]] < SHORTEST_STRETCH_S or not np.isfinite(y[part]).any():
            continue
        out.append(
            _piece(
                log,
                model,
                t[part],
                y[part],
                p[part],
                None if log.ambient_c is None else log.ambient_c[part],
                dt_s,
                block,
                sampling,
                ambient_c,
                int(wild[part].sum()),
                doors,
            )
        )
    return out


def _piece(log, model, t, y, p, room, dt, block, sampling, ambient_c, wild, doors) -> Piece:
    steps = int((t[-1] - t[0]) / dt + 1e-6) // block * block
    grid = t[0] + dt * np.arange(steps + 1)
    energy = np.concatenate(([0.0], np.cumsum(p[1:] * np.diff(t))))
    power = np.maximum(0.0, np.diff(np.interp(grid, t, energy)) / dt)
    reading = _means(t, y, grid, dt, sampling) if dt > 1.5 * sampling else _interpolated(t, y, grid, dt)
    finite = np.flatnonzero(np.isfinite(reading))
    first = float(np.median(reading[finite[: max(1, min(len(finite), round(8.0 / dt)))]]))
    early = bool(t[0] <= log.time_s[0] + 1.0)
    known = np.isfinite(room) if room is not None else np.zeros(len(t), bool)
    known_room = bool(known.any())
    around = np.full(steps, ambient_c)
    if room is not None and known_room:
        around = np.interp(grid[:-1], t[known], room[known])
    cold = early and abs(first - float(around[0])) < 12.0
    if cold and not known_room:
        around = np.full(steps, first)
    extras, spreads, start = _start(model, first, float(around[0]), cold)
    extras.append(Extra(room=1.0))
    spreads.append(0.3 if known_room else 1.0 if cold else 3.0)
    marked = []
    for a, b in doors:
        span = (int(max(0, math.floor((a - t[0]) / dt))), int(min(steps, math.ceil((b - t[0]) / dt))))
        if span[1] > span[0]:
            marked.append(span)
            extras.append(Extra(span=span))
            spreads.append(5.0 * model.power_w)
    return Piece(
        log=log,
        stretch=Stretch(dt, power, around, start),
        reading_c=reading,
        block=block,
        samples=max(1.0, block * dt / sampling),
        time_s=grid,
        cold=cold,
        extras=tuple(extras),
        spreads=tuple(spreads),
        doors=tuple(marked),
        wild=wild,
    )


def _means(t: np.ndarray, y: np.ndarray, grid: np.ndarray, dt: float, sampling: float) -> np.ndarray:
    """Mean of the samples within half a step of each grid point, moved by the mean of their times, so that a slope
    makes no error. NaN where there are too few."""
    steps = len(grid) - 1
    place = np.round((t - t[0]) / dt).astype(int)
    good = np.isfinite(y) & (place <= steps)
    count = np.bincount(place[good], minlength=steps + 1)
    total = np.bincount(place[good], y[good], steps + 1)
    middle = np.bincount(place[good], (t - grid[np.minimum(place, steps)])[good], steps + 1)
    with np.errstate(invalid="ignore"):
        reading, late = total / count, middle / count
    rate = np.gradient(np.interp(grid, t[np.isfinite(y)], y[np.isfinite(y)]), dt)
    return np.where(count > 0.4 * dt / sampling, reading - rate * np.nan_to_num(late), np.nan)


def _interpolated(t: np.ndarray, y: np.ndarray, grid: np.ndarray, dt: float) -> np.ndarray:
    """The sample itself on the record's own grid; between samples a straight line, NaN next to a missing one."""
    place = np.clip(np.searchsorted(t, grid), 1, len(t) - 1)
    left, right = t[place - 1], t[place]
    share = np.clip((grid - left) / (right - left), 0.0, 1.0)
    near = np.where(share < 0.5, place - 1, place)
    between = y[place - 1] + (y[place] - y[place - 1]) * share
    return np.where(np.abs(grid - t[near]) < 1e-6 * dt, y[near], between)


def _start(model: EnergyModel, first_c: float, room_c: float, cold: bool):
    """All temperatures at the first sample, and their uncertainty: at rest at room temperature, or warmed through for a
    while."""
    everything = dict.fromkeys(range(N), 1.0)
    if cold:
        return (
            [Extra(states=everything), Extra(states=COLD_INSIDE), Extra(states={CHAMBER: 1.0, SENSOR: 1.0})],
            list(COLD_SD_K),
            (first_c,) * N,
        )
    warm = max(5.0, first_c - room_c)
    soaked, _ = model.steady(first_c, room_c)
    start = list(soaked)
    start[ELEMENT] = first_c + WARMED_ELEMENT * (soaked[ELEMENT] - first_c)
    for i, share in zip(range(LINING, CONTENTS), WARMED):
        start[i] = room_c + share * (soaked[i] - room_c)
    extras = [Extra(states={s: 1.0}) for s in WARMED_SD] + [Extra(states={CHAMBER: 1.0, SENSOR: 1.0})]
    spreads = [LEAST_SD_K + share * warm for share in WARMED_SD.values()] + [LEAST_SD_K]
    return extras, spreads, tuple(start)


def averaged(values: np.ndarray, block: int) -> np.ndarray:
    """Means over blocks of samples 1…, NaN where less than half of a block counts. Row 0, the start itself,
    is left out."""
    rest = values[1:].reshape(-1, block, *values.shape[1:])
    good = np.isfinite(rest)
    count = good.sum(axis=1)
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = np.where(good, rest, 0.0).sum(axis=1) / count
    return np.where(2 * count >= block, mean, np.nan)


def find_doors(piece: Piece, predicted_c: np.ndarray, noise_k: float) -> tuple[tuple[float, float], ...]:
    """Openings that the record does not note: the reading itself falls, and away from the prediction by more than a
    closed oven can.

    From where it begins to fall to where it has stopped. Times in s of the record; none where the record has
    a door column."""
    dt = piece.stretch.dt_s
    error = piece.reading_c - predicted_c
    good = np.isfinite(error)
    if good.sum() < 50:
        return ()
    error = np.interp(np.arange(len(error)), np.flatnonzero(good), error[good])
    window = max(1, round(FALL_S / dt))
    reading = error + predicted_c
    fall = np.zeros(len(error))
    fall[window:] = np.minimum(error[:-window] - error[window:], reading[:-window] - reading[window:])
    above = np.maximum(5.0, piece.reading_c - piece.stretch.ambient_c[0])
    usual = NORMAL_MAD * float(np.median(np.abs(fall - np.median(fall))))
    limit = np.maximum(FALL_TIMES * max(usual, noise_k), FALL_SHARE * np.where(np.isfinite(above), above, 5.0))
    found, i = [], window
    while i < len(fall) and len(found) < MOST_DOORS:
        if fall[i] > limit[i]:
            start = i - window
            while start < i and error[start] - error[start + 1] < 0.1 * fall[i] / window:
                start += 1
            end = i
            while (
                end + 1 < len(error)
                and error[min(len(error) - 1, end + max(1, window // 3))] < error[end] - 0.5 * noise_k
            ):
                end += 1
            found.append((float(piece.time_s[start] - 2.0 * dt), float(piece.time_s[min(end, len(error) - 1)])))
            i = end + 3 * window
        i += 1
    return tuple(found)
