"""Stretch of the forecast's intervals, see `finish.Calibration`.

Written by `python tests/bench/forecast --calibrate`; do not edit.
"""

PROGRESS = (0.25, 0.5, 0.75)
EARLY = (0.62, 0.59, 0.37)  # 306 chubs
LATE = (1.26, 0.33, 1.57)  # 306 chubs
EARLY_LEARNED = (0.87, 0.79, 0.44)  # 144 chubs
LATE_LEARNED = (0.67, 0.4, 1.67)  # 144 chubs
EARLY_UNPROBED = (0.79, 0.75, 0.85)  # 178 chubs
LATE_UNPROBED = (0.7, 0.77, 1.01)  # 178 chubs
