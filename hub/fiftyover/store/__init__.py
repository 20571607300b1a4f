"""SQLite: every frame and event, committed once a second, and the readers of it."""
