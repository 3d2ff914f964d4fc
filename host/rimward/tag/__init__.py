"""Wheel tags: what stands on them, the code that carries the profile, and reading one back from a picture."""
