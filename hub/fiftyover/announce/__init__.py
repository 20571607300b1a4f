"""Telling home-automation software at the same broker which kits there are: read only, and off unless wanted."""

from .session import announcer_address, announcing

__all__ = ["announcer_address", "announcing"]
