"""Rules that raise alarms (pure) and their delivery."""
