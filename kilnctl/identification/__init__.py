"""Records → stretches → fit: the parameters of the energy balance, with their uncertainty. Uses scipy; never in the
process that heats."""
