"""A simulated loudspeaker in a room, as a device: a model with physics in it, and never a measurement."""

from distort.capture.simulated.loudspeaker import State
from distort.capture.simulated.monitor import SimulatedMonitor
from distort.capture.simulated.parameters import Parameters
from distort.capture.simulated.truth import SteadyTone, steady_state_harmonics

__all__ = ["Parameters", "SimulatedMonitor", "State", "SteadyTone", "steady_state_harmonics"]
