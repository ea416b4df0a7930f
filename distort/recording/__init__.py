"""May this recording be analysed? Samples in, findings out; no devices."""
