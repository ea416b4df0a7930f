"""From a calibrator's tone to dB SPL."""
