"""Audio files in and out, checked; what a recorder wrote beside the sound; no plan, no sidecar."""
