"""Targets of what a person writes: the hub's settings (TOML), the kit's (JSON), a batch's recipe (TOML)."""

import tomllib
from pathlib import Path

from fiftyover import settings as hub_settings
from fiftyover.batch.recipe import recipe_from_data
from fiftyover.batch.sheet import make_sheet
from fiftyover.errors import HubError, SettingsError
from fiftyover_kit import settings as kit_settings
from fuzz.contract import is_name, is_number, is_whole, promise

LOOPBACK = ("127.0.0.1", "localhost", "::1")


def hub_toml(data):
    """hub.toml: SettingsError or settings that hold together."""
    try:
        told = hub_settings.parse(data.decode("utf-8", "replace"), Path("folder"))
    except SettingsError:
        return
    web, broker, cook = told.web, told.broker, told.cook
    inside = web.host in LOOPBACK or web.host.startswith(("127.", "::ffff:127."))
    promise(inside or web.accounts_file is not None, f"open to others without accounts: {web.host!r}")
    promise(is_whole(broker.port, 0, 65535) and is_whole(web.port, 0, 65535), "ports")
    promise(is_number(cook.lift_kelvin, 5, 60), "lift")
    promise(cook.cap_degC is None or is_number(cook.cap_degC, 50, 107.2), "cap")
    promise(told.kit.id == "" or is_name(told.kit.id), "kit")


def kit_json(data):
    """settings.json of the kit: KitError, or settings of which none raises the cut-off."""
    try:
        given = kit_settings.load(data.decode("utf-8", "replace"))
    except kit_settings.KitError:
        return
    promise(is_number(given.cap_degC, 40, 107.222), f"cap {given.cap_degC!r}")
    promise(2 <= len(given.channels) <= 31 and is_name(given.kit), "channels, kit")
    promise(given.hub == "" or is_name(given.hub), "hub")
    inputs = [one.input for one in given.channels]
    promise(len(set(inputs)) == len(inputs), "two probes at one input")


def recipe(data):
    """A recipe: HubError, or a sheet that is not over the ceiling of nitrite (9 CFR 424.21) without a word."""
    try:
        told = tomllib.loads(data.decode("utf-8", "replace"))
    except (tomllib.TOMLDecodeError, RecursionError):
        return
    try:
        made = make_sheet(recipe_from_data(told))
    except HubError:
        return
    cure = made.recipe.cure
    promise(cure.number == 1 and cure.nitrate == 0 and made.recipe.starter is None, "a sausage for drying was planned")
    promise(made.mix.nitrite_ppm <= 156.26 or made.notices, "over the ceiling, and nothing said")
