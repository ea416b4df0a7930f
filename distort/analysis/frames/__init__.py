"""Why a loudspeaker loses level: its gain while a frame (quiet, loud, quiet) plays, and what takes it."""
