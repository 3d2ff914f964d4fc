"""The inflator as data: circuit, pneumatics, limits and hazards, and what is computed and drawn from them."""
