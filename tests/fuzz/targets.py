"""What is fuzzed: a target takes any bytes, gives them to the real code, and raises when a promise is broken."""

import importlib

# name -> module and function; loaded when asked for, since a whole hub takes seconds to load
TARGETS = {
    "frame": ("contract", "frame"),
    "backlog": ("contract", "backlog"),
    "ack": ("contract", "ack"),
    "grant": ("contract", "grant"),
    "stop": ("contract", "stop"),
    "description": ("house", "description"),
    "hub-settings": ("files", "hub_toml"),
    "kit-settings": ("files", "kit_json"),
    "recipe": ("files", "recipe"),
    "http": ("house", "http"),
}


def target(name):
    """The function of a target."""
    module, function = TARGETS[name]
    return getattr(importlib.import_module(f"fuzz.{module}"), function)


def alone(name):
    """The function of a target, for a process that does nothing else: slow parts get stand-ins."""
    if TARGETS[name][0] == "house":
        importlib.import_module("fuzz.house").quick()
    return target(name)
