"""A record with two batches, one after the other."""

from pathlib import Path

import pytest

from hub.reports.batches import put_batch


@pytest.fixture
def record_file(tmp_path: Path) -> Path:
    path = tmp_path / "record.sqlite"
    put_batch(path, "aaaa0001", 10_000.0, "9f3c1a02b7e4", "First batch")
    put_batch(path, "bbbb0002", 110_000.0, "9f3c1a02b7e5", "Second batch", pace=0.215)
    return path
