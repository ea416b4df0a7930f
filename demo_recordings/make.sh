#!/bin/sh
# Makes the demo recordings again from session.toml with the simulated loudspeaker.
# On the desk the multitone is kept at the lowest and the highest level only, and of the loose ring there are three sweeps:
# the folder stays small.
set -e
cd "$(dirname "$0")"
rm -rf stimuli recordings calibration results
# The music comes after everything else, so that it warms nothing that is measured before.
sed '/^\[programme\]/,/^$/d' session.toml > session.toml.without && mv session.toml session.toml.whole
mv session.toml.without session.toml
distort measure . --simulate --condition stand
distort measure . --simulate --condition desk
mv session.toml.whole session.toml
# 81 dB comes last: the noise of a first take would be that of the stand's first, and both recordings the same
for sweep in sweep_96dB sweep-short_96dB sweep_81dB; do
    distort measure . --simulate --condition loose --only $sweep
done
for condition in stand desk; do
    distort measure . --simulate --condition $condition --only programme_81dB
    distort measure . --simulate --condition $condition --only programme_96dB
done
rm -f recordings/desk/multitone_86dB.* recordings/desk/multitone_91dB.* recordings/desk/multitone_96dB.*
rm -f stimuli/*.wav # `distort stimuli demo_recordings` writes them again, byte for byte
(cd .. && python -m tests.demo_truth) # truth.json: what is in the loudspeaker, and what that comes to
distort analyze .
distort report .
distort report . --format wide # letters that are read at the width of a page
cp results/figures/wide/harmonics_desk_96dB.png harmonics.png # both stand in README.md
cp results/figures/wide/findings_stand.png findings.png
