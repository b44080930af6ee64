"""A run, made ready and followed: `prepare`, the chain of one tick, rehearsals, results."""
