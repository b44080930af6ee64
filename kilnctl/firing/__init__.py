"""Duty → whole mains cycles. Pure and cheap: runs every tick, needs nothing but floats."""

from .cycles import Burst, FiringState, Pattern, cut, fire, pattern_for, ready

__all__ = ["Burst", "FiringState", "Pattern", "cut", "fire", "pattern_for", "ready"]
