"""Records → stretches → fit: the parameters of the energy balance, with their uncertainty. Never in the
process that heats."""
