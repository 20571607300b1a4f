"""Six short cooks of the year bench: everything written is there, its size is bounded, and the page's questions answer.

The long form is `python tests/bench/year`. Bounds here are several times what that measured, so that an index too many
or a question that reads every frame fails, and a crowded machine does not.
"""

import sqlite3
import sys
from contextlib import closing
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent / "year"))

import questions  # noqa: E402
import weeks  # noqa: E402

WEEKS, COOK_S = 6, 1200
FRAME_MAX_BYTES = 400  # 12 probes: some 270
LIST_MAX_MS, CURVES_MAX_MS = 100.0, 100.0  # processor time, the best of several


@pytest.fixture(scope="module")
def record(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("year") / "record.sqlite"
    weeks.put_weeks(path, WEEKS, COOK_S, 2 * COOK_S)
    return path


def rows(path: Path) -> dict[str, int]:
    with closing(sqlite3.connect(path)) as base:
        tables = [name for (name,) in base.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")]
        return {name: base.execute(f"SELECT count(*) FROM {name}").fetchone()[0] for name in tables}


def test_weeks_of_batches_are_small_and_quickly_read(record: Path) -> None:
    frames = (WEEKS + 1) * COOK_S
    assert record.stat().st_size / frames <= FRAME_MAX_BYTES
    asked = questions.ask(record, WEEKS)
    assert asked["list of batches"].things == WEEKS
    assert asked["24 h of 12 series"].things == weeks.PROBES * -(-2 * COOK_S // 180)  # buckets of 3 min
    # 20 min are drawn from single frames; the target's column is one more
    assert asked["curves of an old batch"].things >= weeks.PROBES * 400
    assert asked["an old batch's record"].things >= 5
    assert asked["list of batches"].cpu_ms <= LIST_MAX_MS
    assert asked["24 h of 12 series"].cpu_ms <= CURVES_MAX_MS


def test_a_backup_is_as_whole_as_the_record(record: Path, tmp_path: Path) -> None:
    copy = tmp_path / "copy.sqlite"
    questions.back_up(record, copy)
    assert rows(copy) == rows(record)
    assert rows(copy)["frames"] == (WEEKS + 1) * COOK_S
