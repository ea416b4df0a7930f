"""Changes one expression at a time, as a slip of the pen would, and asks whether a test turns red.

`python -m tests.mutants --count 200 --seed 7` prints what was changed, which test told, and what no test saw.
"""
