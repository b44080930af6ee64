"""The physical constants of this room, as plain numbers: importing scipy for four of them would double the start-up
time.

SI brochure, 9th edition (2019): k, h, c and N_A are exact, so σ and R are too; g is the standard acceleration of free
fall. `tests/thermal/test_constants.py` compares them with scipy's CODATA values.
"""

STEFAN_BOLTZMANN = 5.6703744191844314e-08  # W/(m²·K⁴), 2π⁵k⁴/(15 h³ c²)
GAS_CONSTANT = 8.31446261815324  # J/(mol·K)
GRAVITY = 9.80665  # m/s²
ZERO_C = 273.15  # K
