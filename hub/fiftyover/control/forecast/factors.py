"""Stretch of the forecast's intervals, see `finish.Calibration`.

Written by `python tests/bench/forecast --calibrate`; do not edit.
"""

PROGRESS = (0.25, 0.5, 0.75)
EARLY = (0.66, 0.69, 0.42)  # 84 chubs
LATE = (1.08, 0.47, 1.88)  # 84 chubs
EARLY_UNPROBED = (0.93, 1.01, 1.43)  # 15 chubs
LATE_UNPROBED = (1.08, 0.47, 1.88)  # 15 chubs
