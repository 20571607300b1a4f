"""A board on USB: a real MicroPython's raw REPL on a pseudo-terminal."""

import pytest

from fiftyover.rehearse.usb_board import UsbBoard
from hub.bench.usb_stage import SECRET


@pytest.fixture
def board(micropython):
    made = UsbBoard(button_pin=17, wifi_password=SECRET)
    made.power(True)
    yield made
    made.close()
