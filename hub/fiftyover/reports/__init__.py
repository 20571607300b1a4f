"""Batch sheet and batch record."""
