"""Hardware of the inflator as data: circuit, pneumatics, limits and hazards, with their calculations and drawings."""
