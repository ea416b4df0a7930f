"""Device families, written from physics alone, on which the findings are tried: `python -m tests.families --help`."""
