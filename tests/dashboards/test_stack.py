"""The stack's files: versions fixed, secrets made once and nobody else's; a backup of the record put back."""

import re
import shutil
import subprocess
from pathlib import Path

import yaml

from fiftyover.batch.events import Event
from fiftyover.cli import main
from fiftyover.clock import VirtualClock
from fiftyover.store import DatedFrame, Store

STACK = Path(__file__).resolve().parents[2] / "dashboards" / "stack"


def test_every_version_is_fixed_and_no_secret_is_written_down():
    stack = yaml.safe_load((STACK / "compose.yaml").read_text())
    assert set(stack["services"]) == {"mosquitto", "influxdb", "grafana"}
    for service in stack["services"].values():
        assert re.search(r":\d+\.\d+\.\d+$", service["image"]), service["image"]
        for key, value in service.get("environment", {}).items():
            assert not re.search("PASSWORD$|TOKEN$", key), f"{key}={value}"
        assert set(service.get("secrets", [])) <= set(stack["secrets"])
    provisioned = yaml.safe_load((STACK.parent / "provisioning/datasources/fiftyover.yaml").read_text())
    assert provisioned["datasources"][0]["uid"] == "fiftyover-influx"
    assert "${INFLUX_TOKEN}" in provisioned["datasources"][0]["secureJsonData"]["httpHeaderValue1"]


def test_secrets_are_made_once_random_and_private(tmp_path):
    made = []
    for _ in range(2):
        subprocess.run(["sh", STACK / "secrets.sh", tmp_path], check=True)
        made.append({file.name: file.read_text() for file in (tmp_path / "secrets").iterdir()})
    assert made[0] == made[1]
    words = [made[0][name] for name in ("influx_password", "influx_token", "grafana_password")]
    assert all(re.fullmatch("[0-9a-f]{48}", word) for word in words)
    assert len(set(words)) == 3
    assert made[0]["grafana.env"] == f"INFLUX_TOKEN={made[0]['influx_token']}\n"
    assert {file.stat().st_mode & 0o777 for file in (tmp_path / "secrets").iterdir()} == {0o600}


def test_a_backup_made_beside_a_running_hub_is_put_back(tmp_path, capsys):
    record, copy, settings = tmp_path / "record.sqlite", tmp_path / "copy.sqlite", tmp_path / "hub.toml"
    settings.write_text('[store]\npath = "record.sqlite"\n')
    store = Store(record, VirtualClock(0.0, 1_764_028_800_000), reserve_bytes=0)
    frames = [DatedFrame("kit-1", "0" * 12, n, n, 1000 + n, 0, [80.5], ["ok"], 1, 0.5, "on", True) for n in range(50)]
    store.add_frames(frames)
    store.add_event("7f2c", Event("hung", 1.0, 1000, {"chubs": [1]}))
    store.commit()
    words = ["store", "--settings", str(settings), "backup", str(copy)]
    assert main(words) == 0  # the hub has the record open
    assert main(words) == 2  # never over a backup that is there
    assert "cannot be made" in capsys.readouterr().err
    store.close()
    record.write_bytes(b"ruined")
    for rest in (f"{record}-wal", f"{record}-shm"):
        Path(rest).unlink(missing_ok=True)
    shutil.copy(copy, record)
    again = Store(record, VirtualClock(0.0, 1_764_028_800_000), reserve_bytes=0)
    assert [(f.seq, f.t) for f in again.frames("kit-1", 0, 2**60)] == [(n, [80.5]) for n in range(50)]
    assert [event.kind for event in again.events("7f2c")] == ["hung"]
    again.close()


def test_what_waits_is_told_and_can_be_forgotten(tmp_path, capsys):
    settings = tmp_path / "hub.toml"
    settings.write_text('[store]\npath = "record.sqlite"\n')
    Store(tmp_path / "record.sqlite", VirtualClock(), reserve_bytes=0).close()
    for work, says in (("waiting", "0 rows wait"), ("forget", "Nothing waits")):
        assert main(["store", "--settings", str(settings), work]) == 0
        assert says in capsys.readouterr().out
    assert main(["store", "--settings", str(settings), "backfill"]) == 2
    assert "[influx] url" in capsys.readouterr().err
