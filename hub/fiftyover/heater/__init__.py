"""The only room that publishes heat: grants with a lifetime, and stops."""

from .heater import Heater

__all__ = ["Heater"]
