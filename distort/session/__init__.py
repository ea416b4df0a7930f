"""The folder on disk: plan, stimuli, recordings with their sidecars, calibration, results."""
