"""Virtual inflator: the unchanged firmware on a real interpreter, its pins joined in lockstep to the simulated plant."""

from rimward.simulation.virtual.inflator import VirtualInflator, Where
from rimward.simulation.virtual.interpreter import Interpreter, find_interpreter

__all__ = ["Interpreter", "VirtualInflator", "Where", "find_interpreter"]
