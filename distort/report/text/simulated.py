"""What is said wherever no real loudspeaker was heard: by itself, since nearly everything that is shown says it."""

SIMULATED_WORDS = "Simulated loudspeaker, not a measurement"
