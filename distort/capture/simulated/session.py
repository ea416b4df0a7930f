"""A session with the simulated loudspeaker: its own calibrator, its own microphone, never mixed with a real one."""

from dataclasses import replace

from distort.capture.calibration.calibrating import calibrate_from_samples
from distort.capture.calibration.calibrator import CalibratorReading
from distort.capture.simulated import Parameters, SimulatedMonitor
from distort.errors import UsageError
from distort.session.calibration.calibration_file import read_calibration
from distort.session.files.folder import SessionFolder
from distort.session.plan.keys import Plan

CALIBRATOR_DB_SPL, CALIBRATOR_S = 94.0, 5.0


def simulated_monitor(plan: Plan, condition: str, *, seed: int = 1, takes_before: int = 0) -> SimulatedMonitor:
    """The simulated loudspeaker at the distance and temperature that the plan states; `takes_before` were recorded."""
    plan = plan.of(condition)
    if plan.near_field_of is not None:
        raise UsageError(
            f"{condition} is in the near field, and the simulated loudspeaker is heard at a distance alone: measure it "
            f"with a sound card, or add recordings of it"
        )
    parameters = Parameters()
    room = replace(parameters.room, distance_m=plan.setup.distance_m, temperature_c=plan.setup.temperature_c)
    parameters = replace(parameters, room=room)
    return SimulatedMonitor(condition=condition, seed=seed, parameters=parameters, takes_before=takes_before)


def calibrate_simulated(folder: SessionFolder, monitor: SimulatedMonitor) -> CalibratorReading | None:
    """Let the simulated microphone hear a simulated calibrator, once; None when it has been done.

    Raises UsageError when the session was calibrated with a real microphone: its recordings are measurements, and a
    simulation must not stand among them.
    """
    there = read_calibration(folder.calibration_path())
    if there is None:
        samples = monitor.calibrator_recording(db_spl=CALIBRATOR_DB_SPL, seconds=CALIBRATOR_S)
        return calibrate_from_samples(folder, samples, 48000, db_spl=CALIBRATOR_DB_SPL, device=monitor.name)
    if there.device != monitor.name:
        raise UsageError(
            f"{folder.root} is calibrated for a real microphone ({there.device}): simulate in a session of its own"
        )
    return None


def require_real(folder: SessionFolder) -> None:
    """Raises UsageError when the session was simulated: a measurement must not stand among its recordings."""
    there = read_calibration(folder.calibration_path())
    if there is not None and there.device == SimulatedMonitor().name:
        raise UsageError(f"{folder.root} is a session of the simulated loudspeaker: measure in one of its own")
