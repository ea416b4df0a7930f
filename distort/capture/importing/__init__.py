"""Recordings and sweeps that were made elsewhere."""
