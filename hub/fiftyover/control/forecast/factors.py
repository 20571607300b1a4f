"""Stretch of the forecast's intervals, see `finish.Calibration`.

Written by `python tests/bench/forecast --calibrate`; do not edit.
"""

PROGRESS = (0.25, 0.5, 0.75)
EARLY = (0.6, 0.65, 0.37)  # 84 chubs
LATE = (0.94, 0.34, 0.78)  # 84 chubs
EARLY_UNPROBED = (0.91, 0.99, 1.43)  # 15 chubs
LATE_UNPROBED = (0.22, 0.33, 0.9)  # 15 chubs
