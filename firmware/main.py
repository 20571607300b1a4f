"""The kit's composition root: settings -> board -> Kit -> tasks. The relay is dropped first and on every way out."""

from fiftyover_kit import board as hardware

hardware.make_safe()  # before anything that can fail: a soft reset leaves the pin as it was

import gc  # noqa: E402
import sys  # noqa: E402

# Room for the backlog in one piece, before the imports scatter what they leave. 64-bit objects are twice as large.
ROOM_BYTES = 60000 if sys.maxsize < 1 << 32 else 16000
room = bytearray(ROOM_BYTES)
if hasattr(gc, "threshold"):
    gc.threshold(8192)

import asyncio  # noqa: E402

from fiftyover_kit import link  # noqa: E402
from fiftyover_kit.loop import GUARD_PERIOD_MS, Kit, every  # noqa: E402
from fiftyover_kit.settings import KitError, load  # noqa: E402


async def serve(kit, board, settings):
    """The guard's beat, with the recorder and the link beside it. Whatever ends the beat ends heat."""
    recorder = asyncio.create_task(every(1000, board, kit.record_or_say))
    linked = asyncio.create_task(link.run(kit, board, settings))
    try:
        await every(GUARD_PERIOD_MS, board, kit.tick)
    finally:
        recorder.cancel()
        linked.cancel()


def start():
    """Run the kit until it is interrupted. Held at the start, the button leaves the board to USB, without heat."""
    global room
    board = None
    try:
        with open("settings.json") as file:
            settings = load(file.read())
        board = hardware.Board(settings)
        if board.button():
            print("The button is held: no heat, the board is free for USB.")
            return
        room = bytearray(0)
        gc.collect()
        kit = Kit(settings, board, board.ticks_ms(), ROOM_BYTES)
        board.watchdog_start()
        asyncio.run(serve(kit, board, settings))
    except (KitError, OSError) as error:
        print("The kit does not start:", error)
    except KeyboardInterrupt:
        print("Interrupted: the element is off.")
    finally:
        if board:
            board.soft_reset_safe()


start()
