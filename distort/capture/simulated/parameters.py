"""Every number of the simulated loudspeaker, its room and its microphone, in one table.

An invented two-way active nearfield monitor: a woofer of about six and a half inches in a vented box, a one inch dome,
active crossover. The values are of the size that such drivers have (common practice, no source); none is of a product.
"""

from dataclasses import dataclass, field

AIR_DENSITY_KG_M3 = 1.204
"""At 20 degC and 1013 hPa."""

COPPER_PER_K = 0.00393
"""Temperature coefficient of the resistance of copper at 20 degC."""


@dataclass(frozen=True, kw_only=True)
class Coil:
    """How a voice coil heats: two thermal resistances in series, each with its own time constant."""

    resistance_ohm: float
    """Direct current resistance at 20 degC."""
    coil_k_per_w: float
    """From the coil to the magnet."""
    coil_s: float
    """Time constant of the coil."""
    magnet_k_per_w: float
    """From the magnet to the air."""
    magnet_s: float
    """Time constant of the magnet."""


@dataclass(frozen=True, kw_only=True)
class Curve:
    """A curve without memory, for the wave z in Pa at 1 m: what it adds to z."""

    lowpass_hz: float
    """It sees the wave after this first-order low-pass: displacement counts more than force."""
    second: float
    """Coefficient of z^2, per Pa."""
    third: float
    """Coefficient of z^3, per Pa^2."""
    fourth: float
    """Coefficient of z^4, per Pa^3."""
    fifth: float
    """Coefficient of z^5, per Pa^4."""
    iron: float
    """Coefficient of z |z|, per Pa: the iron's hysteresis at small fields, odd orders that a quiet signal keeps."""


@dataclass(frozen=True, kw_only=True)
class Woofer:
    """The woofer as an electrodynamic driver whose parameters depend on its displacement (positive: outwards)."""

    coil: Coil = Coil(resistance_ohm=5.6, coil_k_per_w=6.0, coil_s=9.0, magnet_k_per_w=2.0, magnet_s=240.0)
    inductance_h: float = 0.25e-3
    """Voice coil inductance at rest."""
    inductance_slope_m: float = 0.025
    """Le(x) = inductance exp(-x / slope): less inductance where the coil leaves the iron."""
    force_factor_tm: float = 7.0
    """Bl at the top of its bell."""
    force_factor_width_m: float = 0.0115
    """Bl(x) = Bl exp(-((x - offset) / width)^2): down to 82 % at 5.1 mm."""
    force_factor_offset_m: float = 0.0004
    """The coil sits this far from the middle of the gap: the source of even orders."""
    flux_per_a: float = 0.006
    """Flux modulation: the force factor is multiplied by 1 + flux i + flux2 i^2."""
    flux2_per_a2: float = -0.0006
    """Second-order flux modulation."""
    moving_mass_kg: float = 0.0141
    """Cone, coil and the air they carry."""
    stiffness_n_m: float = 980.0
    """K at rest: 42 Hz in free air."""
    stiffness_slope_per_m: float = -18.0
    """K(x) = stiffness (1 + slope x + curve x^2): softer outwards."""
    stiffness_curve_per_m2: float = 32e3
    """Stiffness rises by 80 % at 5 mm."""
    resistance_ns_m: float = 0.93
    """Mechanical losses: mechanical Q of 4."""
    area_m2: float = 0.0137
    """Effective piston area."""


@dataclass(frozen=True, kw_only=True)
class Box:
    """The vented box."""

    volume_m3: float = 0.014
    """Net volume."""
    tuning_hz: float = 48.0
    """Helmholtz frequency of box and port."""
    loss_q: float = 12.0
    """Q of the port at small flow, from friction."""
    leak_q: float = 20.0
    """Q of the box from leaks and damping material."""
    port_area_m2: float = 0.00196
    """Cross-section: a tube of 50 mm."""
    port_loss: float = 1.3
    """k of the pressure loss k rho/2 |v| v of both ends: what makes the port compress at high flow."""


@dataclass(frozen=True, kw_only=True)
class Cone:
    """What the cone and its surround add to a stiff piston."""

    breakup_hz: float = 4600.0
    """The cone's own bell mode."""
    breakup_db: float = 8.0
    """Height of its peak."""
    breakup_q: float = 5.0
    """Its Q."""
    rolloff_hz: float = 10000.0
    """Above it the cone decouples, 12 dB an octave."""
    edge_hz: float = 400.0
    """Resonance of the surround; its third order comes out at 1.2 kHz."""
    edge_q: float = 4.0
    """Its Q."""
    edge_per_pa2: float = -0.004
    """Cubic curvature of the surround, for the wave in Pa at 1 m that the edge resonance passes."""
    curve: Curve = Curve(lowpass_hz=2000.0, second=0.0008, third=0.0, fourth=0.00018, fifth=-0.00008, iron=-0.0035)
    """Iron and cone in the middle band."""


@dataclass(frozen=True, kw_only=True)
class Tweeter:
    """The dome: a curve of its own between two filters."""

    coil: Coil = Coil(resistance_ohm=5.0, coil_k_per_w=4.0, coil_s=2.5, magnet_k_per_w=2.0, magnet_s=90.0)
    resonance_hz: float = 850.0
    """Fundamental resonance; distortion products below it are not radiated."""
    resonance_q: float = 0.9
    """Its Q."""
    sensitivity_db_spl: float = 90.3
    """Level at 1 m for 2.83 V; it only sets how warm a given level makes the coil."""
    curve: Curve = Curve(lowpass_hz=4000.0, second=0.0035, third=-0.0012, fourth=0.0002, fifth=-0.0001, iron=-0.002)
    """Of dome, surround and iron."""
    dome_hz: float = 26000.0
    """Break-up of the dome."""
    dome_db: float = 5.0
    """Height of its peak."""
    dome_q: float = 4.0
    """Its Q."""


@dataclass(frozen=True, kw_only=True)
class Limiter:
    """The limiter of the low band: a quasi-peak detector on the square of the woofer's signal."""

    threshold_db_spl: float = 98.5
    """Level at 1 m of a tone whose peak just reaches the threshold; ripple lets a steady tone pass about 1 dB more."""
    ratio: float = 20.0
    """Decibels in for one decibel out, well above the threshold."""
    knee_db: float = 3.0
    """Width of the soft knee."""
    attack_s: float = 0.005
    """Time constant of the rising detector."""
    release_s: float = 0.1
    """Time constant of the falling detector."""


@dataclass(frozen=True, kw_only=True)
class Electronics:
    """Input, crossover and amplifiers."""

    full_scale_db_spl: float = 112.0
    """Level at 1 m in the middle band for a sine of 0 dBFS, while everything is linear and cold."""
    highpass_hz: float = 38.0
    """Fourth-order Butterworth that protects the woofer below the tuning of the box."""
    crossover_hz: float = 2200.0
    """Fourth-order Linkwitz-Riley, acoustically."""
    coil_equaliser_hz: float = 15000.0
    """Up to here the woofer's inductance is equalised."""


@dataclass(frozen=True, kw_only=True)
class Room:
    """From the loudspeaker to the microphone."""

    distance_m: float = 1.0
    """Of the microphone."""
    temperature_c: float = 20.0
    """Of the air."""
    desk_path_difference_m: float = 0.143
    """How much longer the way over the desk is: first dip at 1.2 kHz."""
    desk_amplitude: float = 0.78
    """Amplitude of the reflection re the direct sound, mid band."""
    desk_low_hz: float = 150.0
    """Below it the desk is too small to reflect."""
    desk_high_hz: float = 12000.0
    """Above it the edges of the desk smear the reflection."""
    rt60_s: float = 0.3
    """Reverberation time."""
    direct_to_reverberant_db: float = 13.0
    """Energy of the direct sound re the reverberant tail, mid band."""
    first_reflection_s: float = 0.006
    """The tail begins this long after the direct sound."""
    tail_lowpass_hz: float = 5000.0
    """First-order loss of the tail: air, curtains, and a loudspeaker that beams."""
    noise_db_spl: float = 17.0
    """Room noise, 20 Hz to 20 kHz, pink: a treated studio at night."""
    hum_hz: float = 50.0
    """Mains frequency."""
    hum_db_spl: tuple[float, ...] = (10.0, 13.0, 7.0)
    """Hum at the mains frequency and its multiples."""


@dataclass(frozen=True, kw_only=True)
class LoosePart:
    """A trim ring that came loose; it strikes only in the condition "loose"."""

    resonance_hz: float = 68.0
    """At which it is shaken most."""
    q: float = 4.0
    """Of that resonance."""
    reaches_db_spl: float = 92.0
    """Level at 1 m of a tone at the resonance that just makes it strike."""
    ring_db_spl: float = 62.0
    """Level of a sine as strong as the start of a strike, where the motion is twice what makes it strike."""
    ring_hz: tuple[float, ...] = (1370.0, 2150.0, 3640.0)
    """What rings after a strike."""
    ring_s: float = 0.003
    """Time constant of the ringing."""
    misses: float = 0.2
    """Share of cycles in which it does not strike."""
    uneven: float = 0.5
    """Standard deviation of the logarithm of a strike's strength."""
    jitter_s: float = 4e-4
    """How much later than its turn a strike comes, about."""


@dataclass(frozen=True, kw_only=True)
class NoisyPort:
    """A port with sharp edges; its air is heard only in the condition "noisy-port"."""

    db_spl: float = 60.0
    """Level at 1 m of its noise while the air has the speed `at_m_s`."""
    at_m_s: float = 10.0
    power: float = 3.0
    """Of the speed: what the sound pressure grows with (a jet of small Mach number near an edge; Curle, Proc. R. Soc.
    Lond. A 231, 1955, from memory)."""
    middle_hz: float = 900.0
    """Where most of it lies."""
    q: float = 0.7
    """Of that band."""


@dataclass(frozen=True, kw_only=True)
class RubbingCoil:
    """A voice coil that touches its magnet at the same place of every cycle; only in the condition "rubbing-coil"."""

    touches_m: float = 1.7e-3
    """Displacement outwards from which on it touches."""
    ring_db_spl: float = 70.0
    """Level of a sine as strong as the start of a touch, where the cone goes twice as far as where it touches."""
    ring_hz: tuple[float, ...] = (2600.0, 4300.0, 6900.0)
    """What rings after a touch."""
    ring_s: float = 0.001
    """Time constant of the ringing."""


@dataclass(frozen=True, kw_only=True)
class Microphone:
    """Microphone, preamplifier and converter."""

    full_scale_db_spl: float = 128.0
    """Level of a sine that just reaches digital full scale."""
    noise_db_spl: float = 13.0
    """Self noise, 20 Hz to 20 kHz, white."""
    converter_bits: int = 20
    """Resolution that the converter really has."""
    calibrator_noise_db_spl: float = 30.0
    """What leaks past the calibrator's seal, 20 Hz to 20 kHz, pink."""
    latency_s: tuple[float, float] = (0.02, 0.06)
    """Latency of a take lies between these, at a fraction of a sample."""


@dataclass(frozen=True, kw_only=True)
class Parameters:
    """The whole table."""

    woofer: Woofer = field(default_factory=Woofer)
    box: Box = field(default_factory=Box)
    cone: Cone = field(default_factory=Cone)
    tweeter: Tweeter = field(default_factory=Tweeter)
    limiter: Limiter = field(default_factory=Limiter)
    electronics: Electronics = field(default_factory=Electronics)
    loose_part: LoosePart = field(default_factory=LoosePart)
    noisy_port: NoisyPort = field(default_factory=NoisyPort)
    rubbing_coil: RubbingCoil = field(default_factory=RubbingCoil)
    room: Room = field(default_factory=Room)
    microphone: Microphone = field(default_factory=Microphone)
