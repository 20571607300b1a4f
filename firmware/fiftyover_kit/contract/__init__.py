"""What kit and hub agree on. Runs on both ends; device dialect; no I/O."""
