"""The only room that publishes heat: grants with a lifetime, and stops."""

from .follow import follow
from .heater import Heater

__all__ = ["Heater", "follow"]
