"""A simulated loudspeaker in a room, as a device: a model with physics in it, and never a measurement."""

from distort.capture.devices.simulated.loudspeaker import State
from distort.capture.devices.simulated.monitor import SimulatedMonitor
from distort.capture.devices.simulated.parameters import Parameters
from distort.capture.devices.simulated.truth import SteadyTone, steady_state_harmonics

__all__ = ["Parameters", "SimulatedMonitor", "State", "SteadyTone", "steady_state_harmonics"]
