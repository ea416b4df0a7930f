"""Recordings and stimuli on disk, each with its sidecar."""
