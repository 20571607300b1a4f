"""Errors of the hub, all under one root.

HubError            whoever called the hub: something cannot go on
├── PlanError       whoever planned the batch or marked it: it cannot be cooked so, or the mark does not fit
├── BrokerError     whoever set the broker up: it cannot be reached, started or signed in to
├── SettingsError   whoever wrote hub.toml: a line of it cannot be used
├── StoreError      whoever keeps the machine: the record on disk cannot be opened or written
└── ProcessError    whoever typed the number: it makes no physical sense
"""


class HubError(Exception):
    """Root of everything the hub raises on purpose; its text is one sentence for a person."""


class ProcessError(HubError, ValueError):
    """A number that makes no physical sense: the text names it, and the nearest possible one where there is one."""


class BrokerError(HubError):
    """The broker cannot be started, reached or signed in to, or its accounts and files are not in order."""


class SettingsError(HubError):
    """A line of hub.toml, or a file that it names, cannot be used: the text says which, and what to write instead."""


class StoreError(HubError):
    """The record on disk cannot be opened or written just now; the text says why and what to do."""


class PlanError(HubError):
    """A batch plan, or a mark made during the cook, that cannot be: the text says what and what to change."""
