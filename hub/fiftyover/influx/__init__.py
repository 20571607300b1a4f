"""The record copied to a time-series database of the household's own: InfluxDB, or what takes its write API."""
