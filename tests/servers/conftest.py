"""Real database servers on free ports, as Debian packages them; each ends with its test."""

import json
import os
import urllib.parse
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import pytest

from servers.running import Process, folder_in, free_port, program, running

ROOT = Path(__file__).resolve().parents[2]
SNIPPET = ROOT / "dashboards" / "stack" / "influx1-nginx.conf"
DATABASE = "fiftyover"


def get(url: str, **form: str) -> dict:
    with urllib.request.urlopen(f"{url}?{urllib.parse.urlencode(form)}", timeout=10) as answer:
        return json.load(answer)


class Influx(Process):
    """influxd 1.6 behind nginx with the documented snippet; `url` is what [influx] url names."""

    def __init__(self, folder: Path) -> None:
        self.port, self.front, inside = free_port(), free_port(), free_port()
        (folder / "influx.conf").write_text(
            f'bind-address = "127.0.0.1:{inside}"\nreporting-disabled = true\n'
            f'[meta]\n dir = "{folder}/meta"\n[data]\n dir = "{folder}/data"\n wal-dir = "{folder}/wal"\n'
            f'[http]\n bind-address = "127.0.0.1:{self.port}"\n log-enabled = false\n'
            "[monitor]\n store-enabled = false\n"
        )
        super().__init__([program("influxd"), "-config", str(folder / "influx.conf")], self.port, folder / "influx.log")
        snippet = SNIPPET.read_text().replace("127.0.0.1:8086", f"127.0.0.1:{self.port}")
        snippet = snippet.replace("127.0.0.1:8087", f"127.0.0.1:{self.front}")
        user = "user root;\n" if os.getuid() == 0 else ""  # else its workers may not write in the test's folder
        (folder / "nginx.conf").write_text(
            f"{user}daemon off;\npid {folder}/nginx.pid;\nerror_log {folder}/nginx-error.log;\nevents {{}}\n"
            f"http {{\naccess_log off;\nclient_body_temp_path {folder}/body;\nproxy_temp_path {folder}/proxy;\n"
            f"fastcgi_temp_path {folder}/f;\nuwsgi_temp_path {folder}/u;\nscgi_temp_path {folder}/s;\n{snippet}}}\n"
        )
        self.proxy = Process(
            [program("nginx"), "-c", str(folder / "nginx.conf"), "-e", str(folder / "nginx-error.log")],
            self.front,
            folder / "nginx.log",
        )
        self.url = f"http://127.0.0.1:{self.front}"

    def command(self, text: str) -> None:
        """A statement that changes something, asked of the server itself; an error fails the test."""
        form = urllib.parse.urlencode({"q": text}).encode()
        with urllib.request.urlopen(f"http://127.0.0.1:{self.port}/query", form, timeout=10) as answer:
            told = answer.read()
        assert b"error" not in told, told

    def query(self, text: str) -> list[dict]:
        """Series of an InfluxQL query, asked through the proxy; an error fails the test."""
        (result,) = get(f"{self.url}/query", db=DATABASE, q=text)["results"]
        assert "error" not in result, result
        return result.get("series", [])


@pytest.fixture
def influx(tmp_path: Path) -> Iterator[Influx]:
    server = Influx(folder_in(tmp_path, "influx"))
    with running(server, server.proxy):
        server.command(f"CREATE DATABASE {DATABASE}")
        yield server


class Victoria(Process):
    """VictoriaMetrics, asked by its export."""

    def __init__(self, folder: Path) -> None:
        port = free_port()
        words = [program("victoria-metrics"), f"-storageDataPath={folder}/data", f"-httpListenAddr=127.0.0.1:{port}"]
        words += ["-dedup.minScrapeInterval=1ms", "-retentionPeriod=100y", "-memory.allowedBytes=200MB"]
        super().__init__(words, port, folder / "victoria.log")
        self.url = f"http://127.0.0.1:{port}"

    def series(self, name: str) -> dict[str, list[tuple[int, float]]]:
        """Every row of a metric by its `probe` (or "")."""
        get_url = f"{self.url}/api/v1/export?" + urllib.parse.urlencode({"match[]": name})
        found: dict[str, list[tuple[int, float]]] = {}
        with urllib.request.urlopen(get_url, timeout=10) as answer:
            for line in answer:
                row = json.loads(line)
                pairs = zip(row["timestamps"], row["values"], strict=True)
                found.setdefault(row["metric"].get("probe", ""), []).extend(pairs)
        return found


@pytest.fixture
def victoria(tmp_path: Path) -> Iterator[Victoria]:
    server = Victoria(folder_in(tmp_path, "victoria"))
    with running(server):
        yield server
