"""Stands for a board's `network` in a simulated kit: a WLAN that is always up; the real network is the computer's."""

# ruff: noqa: ARG002  a board's own signatures

import os

STA_IF = 0
_PASSWORD = os.getenv("FIFTYOVER_WIFI_PASSWORD") or ""  # given: no other password gets in


class WLAN:
    PM_NONE = 0xA11140

    def __init__(self, interface=STA_IF):
        return None

    _joined = True

    def active(self, on=None):
        return True

    def isconnected(self):
        return self._joined

    def connect(self, ssid=None, key=None):
        self._joined = not _PASSWORD or key == _PASSWORD

    def disconnect(self):
        return None

    def status(self, what=None):
        return -50

    def config(self, pm=0):
        return None
