"""A small cabinet as an FMI 2.0 unit: one lump behind a lagging thermocouple. Built by the tests with pythonfmu."""

from pythonfmu import Boolean, Fmi2Causality, Fmi2Slave, Fmi2Variability, Real


class Cabinet2(Fmi2Slave):
    author = "kilnctl's tests"
    description = "4.5 kW into 30 kJ/K with 6 W/K of loss"

    def __init__(self, **kwargs):
        super().__init__(**kwargs)
        self.duty, self.contactor_closed = 0.0, False
        self.chamber_c = self.limit_c = self.true_chamber_c = self.part_c = 20.0
        self.cold_junction_c, self.door_open, self.airflow_proved = 23.0, False, True
        self.register_variable(Real("duty", causality=Fmi2Causality.input))
        for name in ("chamber_c", "limit_c", "part_c", "true_chamber_c", "cold_junction_c"):
            self.register_variable(Real(name, causality=Fmi2Causality.output))
        discrete = Fmi2Variability.discrete
        self.register_variable(Boolean("contactor_closed", causality=Fmi2Causality.input, variability=discrete))
        for name in ("door_open", "airflow_proved"):
            self.register_variable(Boolean(name, causality=Fmi2Causality.output, variability=discrete))

    def do_step(self, current_time, step_size):
        watts = 4500.0 * self.duty if self.contactor_closed else 0.0
        self.true_chamber_c += step_size * (watts - 6.0 * (self.true_chamber_c - 20.0)) / 30e3
        self.chamber_c += (self.true_chamber_c - self.chamber_c) * min(1.0, step_size / 8.0)
        self.limit_c = self.part_c = self.chamber_c
        return True
