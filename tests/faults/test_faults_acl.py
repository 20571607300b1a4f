"""The access matrix sees a list that lets too much through, and one that lets too little."""

import os

import pytest

from faults import acl
from fiftyover.broker import mosquitto


@pytest.mark.system
def test_list_that_is_too_wide_or_too_narrow_is_seen():
    if mosquitto.program() is None and os.environ.get("CI") != "true":
        pytest.skip("mosquitto is not installed here")

    def change(text):
        narrow = text.replace("topic read homie/5/kit-1/heater/stop/set\n", "")
        assert narrow != text
        look = "user home_automation\n"
        narrow = narrow.replace(
            look, f"{look}topic read homie/5/+/heater/grant/set\ntopic write homeassistant/switch/#\n"
        )
        return narrow.replace("user kit-1\n", "user kit-1\ntopic read homie/5/kit-2/sys/+\n").replace(
            "user kit-2\n", "user kit-2\ntopic write homie/5/kit-1/heater/grant/set\n"
        )

    told = acl.run(change)
    wrong = {(reader, text) for reader, text in told["wrong"]}
    assert ("kit-1", "kit-2 homie/5/kit-2/sys/cap False") in wrong
    assert ("kit-1", "kit-2 homie/5/kit-1/heater/grant/set False") in wrong
    assert ("kit-1", "kit-2 homie/5/kit-1/heater/grant/set will") in wrong
    assert ("home_automation", "hub homie/5/kit-1/heater/grant/set True") in wrong
    assert ("home_automation", "home_automation homeassistant/switch/kit-1/heater-grant/config False") in wrong
    assert ["kit-1", "hub homie/5/kit-1/heater/stop/set False"] in told["missing"]
