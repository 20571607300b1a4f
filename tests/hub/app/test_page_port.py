"""The page's port: a taken one is said at once, and nothing is opened to others before `fiftyover setup` ran."""

import socket
from dataclasses import replace

import httpx
import pytest

from fiftyover.app import serve
from fiftyover.app.page import Page
from fiftyover.errors import SettingsError
from fiftyover.settings import Settings, WebSettings
from fiftyover.web.live import Live


class Nobody:
    """A hub that does nothing."""

    def mark(self, kind, data, who):
        return False, "no"

    def history(self, points):
        return {"curves": []}


def test_port_in_use_is_a_sentence_with_the_port():
    with socket.create_server(("127.0.0.1", 0)) as other:
        port = other.getsockname()[1]
        with pytest.raises(SettingsError, match=f"port {port} is in use") as caught:
            Page("127.0.0.1", port, frozenset(), None)
    assert "choose another port" in str(caught.value)


def test_second_hub_is_kept_off_before_the_first_serves():
    first = Page("127.0.0.1", 0, frozenset(), None)
    try:
        with pytest.raises(SettingsError, match="in use"):
            Page("127.0.0.1", first.port, frozenset(), None)
    finally:
        first.stop()


@pytest.mark.parametrize("host", ["192.0.2.1", "no-such-host.invalid"])
def test_address_that_is_not_this_machines_is_a_sentence(host):
    with pytest.raises(SettingsError, match=f"{host}.*check host and port"):
        Page(host, 0, frozenset(), None)


def test_page_is_served_at_its_address_and_ends():
    page, live = Page("127.0.0.1", 0, frozenset(), None), Live()
    live.publish({"name": "fiftyover", "alarms": [], "chubs": [], "kit": {}, "next": "No batch is running."})
    page.start(live, Nobody(), lambda: 0.0)
    try:
        assert httpx.get(page.address + "history").json() == {"curves": []}
        assert httpx.get(page.address + "history", headers={"host": "evil.example"}).status_code == 421
    finally:
        page.stop()
    with pytest.raises(httpx.ConnectError):
        httpx.get(page.address)


def test_without_accounts_nothing_but_loopback_is_opened():
    open_to_all = replace(Settings(), web=WebSettings(host="0.0.0.0", port=0))
    with pytest.raises(SettingsError, match="run `fiftyover setup` first"):
        serve._page(open_to_all)
    page = serve._page(replace(Settings(), web=WebSettings(port=0)))
    assert page.host == "127.0.0.1"
    page.stop()
