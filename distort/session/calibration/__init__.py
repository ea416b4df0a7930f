"""What calibration/ holds: levels, drives, responses."""
