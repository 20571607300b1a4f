"""A kit over USB: find, flash, set up, check, calibrate."""
