"""The same lump as an FMI 3.0 unit, in kelvin, with two element groups. Built by the tests with pythonfmu3."""

from pythonfmu3 import Boolean, Float64, Fmi3Causality, Fmi3Slave, Fmi3Variability, Unit


class Cabinet3(Fmi3Slave):
    author = "kilnctl's tests"
    description = "two groups of 2.25 kW into 30 kJ/K with 6 W/K of loss"

    def __init__(self, **kwargs):
        super().__init__(**kwargs)
        self.time, self.duty_1, self.duty_2, self.contactor_closed = 0.0, 0.0, 0.0, False
        self.chamber_c = self.true_chamber_c = 293.15
        continuous, discrete = Fmi3Variability.continuous, Fmi3Variability.discrete
        self.register_units([Unit(name="K", K=1)])
        self.register_variable(Float64("time", causality=Fmi3Causality.independent, variability=continuous))
        for name in ("duty_1", "duty_2"):
            self.register_variable(Float64(name, causality=Fmi3Causality.input))
        self.register_variable(Boolean("contactor_closed", causality=Fmi3Causality.input, variability=discrete))
        for name in ("chamber_c", "true_chamber_c"):
            self.register_variable(Float64(name, causality=Fmi3Causality.output, unit="K"))

    # The library's own examples return a bool, which its annotation does not tell.
    def do_step(self, current_time, step_size):  # pyright: ignore[reportIncompatibleMethodOverride]
        watts = 2250.0 * (self.duty_1 + self.duty_2) if self.contactor_closed else 0.0
        self.true_chamber_c += step_size * (watts - 6.0 * (self.true_chamber_c - 293.15)) / 30e3
        self.chamber_c += (self.true_chamber_c - self.chamber_c) * min(1.0, step_size / 8.0)
        return True
