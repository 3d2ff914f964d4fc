"""Simulated world: physics of source, hose, valve, tyre and room, transducers, and their faults."""

from rimward.simulation.plant.params import PlantParams, compressor, line, tyre_ml
from rimward.simulation.plant.world import Plant, Reading

__all__ = ["Plant", "PlantParams", "Reading", "compressor", "line", "tyre_ml"]
