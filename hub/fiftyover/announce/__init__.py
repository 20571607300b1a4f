"""Telling home-automation software at the same broker which kits there are: read only, and off unless wanted."""

from .announcer import announcing

__all__ = ["announcing"]
