"""Stands for a board's `network` in a simulated kit: a WLAN that is always up; the real network is the computer's."""

# ruff: noqa: ARG002  a board's own signatures

STA_IF = 0


class WLAN:
    PM_NONE = 0xA11140

    def __init__(self, interface=STA_IF):
        return None

    def active(self, on=None):
        return True

    isconnected = active

    def connect(self, ssid=None, key=None):
        return None

    def disconnect(self):
        return None

    def status(self, what=None):
        return -50

    def config(self, pm=0):
        return None
