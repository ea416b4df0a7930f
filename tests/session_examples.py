"""One made-up recording and what is known of it, for tests of the session folder."""

from distort.session.calibration.in_force import CalibrationInForce
from distort.session.plan.keys import Loudspeaker, Setup
from distort.session.recordings.sidecar import Quality, Sidecar
from signals import Sweep, framed

SWEEP = Sweep(seconds=1.0, drive_dbfs=-31.7, lowest_hz=40.0)

SIDECAR = Sidecar(
    stimulus_name="sweep",
    level_db_spl=86.0,
    condition="desk",
    take=1,
    after=False,
    drive_dbfs=-31.7,
    stimulus=SWEEP,
    reel=framed(SWEEP),
    stimulus_start_sample=160_934.123456789,
    sample_rate=48000,
    channel=1,
    turned_db=None,
    calibration=CalibrationInForce(calibrator_dbfs=-26.31, calibrator_db_spl=94.0, sha256="c" * 64),
    loudspeaker=Loudspeaker(name="Nearfield monitor", unit="left", note="grille off\nport open"),
    setup=Setup(distance_m=1.0, radiation="room", conditions=("stand", "desk")),
    date="2024-05-01T12:30:00+00:00",
    rest_s=20.0,
    clock_difference_ppm=-12.5,
    device="simulated loudspeaker",
    simulated=True,
    stimulus_sha256="a" * 64,
    recording_sha256="b" * 64,
    quality=Quality(verdict="usable", findings=("A door slammed at 3.1 s.",)),
)
