"""What lies behind distortion and compression: one explanation a place, held against every curve."""
