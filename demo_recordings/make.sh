#!/bin/sh
# Makes the demo recordings again from session.toml: simulated loudspeaker, seeded, the same samples each time.
set -e
cd "$(dirname "$0")"
rm -rf stimuli recordings calibration results
distort measure . --simulate
rm -f stimuli/*.wav # `distort stimuli demo_recordings` writes them again, byte for byte
