"""The simulated world: physics of source, hose, valve, tyre and room, transducers, and the faults that can befall them."""

from rimward.plant.params import PlantParams, compressor, line, tyre_ml
from rimward.plant.world import Plant, Reading

__all__ = ["Plant", "PlantParams", "Reading", "compressor", "line", "tyre_ml"]
