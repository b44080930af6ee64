# True rms of one mains cycle from an analogue input's readings. Pure; whole numbers that fit a small integer of a
# 32-bit board.


class Rms:
    """Readings of 0 to 4095 around a zero level that is learned. `per_thousand`: the value of a thousand counts rms, in
    the unit wanted."""

    MOST = 120  # readings a cycle that are used: 120 · 2048² still fits

    def __init__(self, per_thousand, middle=2048):
        self.per_thousand = per_thousand
        self.middle = middle * 16  # 1/16 count
        self.total = 0
        self.squares = 0
        self._count = 0

    def add(self, reading):
        """One reading; at most MOST of them a cycle, evenly spread: a part of a cycle has another rms."""
        if self._count < self.MOST:
            # An input far from its zero level is not an alternating current; its square would not fit.
            d = min(2048, max(-2048, reading - (self.middle >> 4)))
            self.total += d
            self.squares += d * d
            self._count += 1

    def end(self):
        """The rms since the last `end`, rounded down; None with fewer than 8 readings."""
        n, total, squares = self._count, self.total, self.squares
        self.total = self.squares = self._count = 0
        if n < 8:
            return None
        self.middle += total * 2 // n  # an eighth of the way
        mean = total // n
        # In 1/4 count, so that small currents keep some digits.
        return root((squares // n - mean * mean) * 16) * self.per_thousand // 4000


def root(value):
    """Whole part of the square root; 0 for what is below 1. Newton's method, whole numbers only."""
    if value < 1:
        return 0
    guess = 1
    while guess * guess < value and guess < 32768:
        guess *= 2
    while guess > value // guess:
        guess = (guess + value // guess) // 2
    return guess
