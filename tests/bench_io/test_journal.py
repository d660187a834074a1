"""The journal: on the disk before it is sent, there after a kill, and one gateway's alone."""

import signal
import subprocess
import sys
from decimal import Decimal
from pathlib import Path

import pytest

from gradation.bench_io.journal import Entry, Journal, JournalTaken, State

ROOT = Path(__file__).resolve().parents[2]
WRITER = """
import sys
from decimal import Decimal
from gradation.bench_io.journal import Entry, Journal
journal = Journal(sys.argv[1])
for number in range(10_000):
    entry = Entry(f"k{number}", "Bench 1", "B-1", f"{number} g", "2026-01-01")
    journal.keep([entry], {"B-1": Decimal(number)})
    print(number, flush=True)
"""


def entry(number, **values):
    usual = {"bench": "Bench 1", "balance": "B-1", "observed_at": "2026-01-01T00:00:00+00:00"}
    return Entry(**{"key": f"k{number}", "line": f"{number} g", **usual, **values})


def test_entries_come_back_in_order_until_they_are_settled(tmp_path):
    journal = Journal(tmp_path / "j")
    for number in range(3):
        journal.keep([entry(number)], {})

    journal.settle({"k1": (State.SENT, "placed"), "k2": (State.REFUSED, "key-reused")})

    assert [one.key for one in journal.unsent(10)] == ["k0"]
    assert [(one.key, one.answer) for one in journal.entries(State.REFUSED)] == [
        ("k2", "key-reused")
    ]


def test_a_load_is_remembered_and_forgotten_by_balance(tmp_path):
    journal = Journal(tmp_path / "j")
    journal.keep([entry(1)], {"B-1": Decimal("12.340")})
    journal.close()

    journal = Journal(tmp_path / "j")
    assert str(journal.last_load_g("B-1")) == "12.340"
    assert journal.last_load_g("B-2") is None
    journal.keep([], {"B-1": None})
    assert journal.last_load_g("B-1") is None


def test_two_gateways_do_not_share_a_journal(tmp_path):
    journal = Journal(tmp_path / "j")

    with pytest.raises(JournalTaken, match="in use by another gateway"):
        Journal(tmp_path / "j")
    journal.close()
    Journal(tmp_path / "j").close()


def test_a_place_that_cannot_be_written_is_named(tmp_path):
    with pytest.raises(JournalTaken, match="nowhere"):
        Journal(tmp_path / "nowhere" / "j")


def test_old_acknowledged_entries_are_dropped_and_no_others(tmp_path):
    journal = Journal(tmp_path / "j")
    for number, day in enumerate(("2026-01-01", "2026-01-02", "2026-03-01")):
        journal.keep([entry(number, observed_at=day)], {})
    journal.settle({"k0": (State.SENT, ""), "k2": (State.SENT, "")})

    assert journal.forget_sent_before("2026-02-01") == 1
    assert [journal.count(state) for state in (State.UNSENT, State.SENT)] == [1, 1]


def test_what_was_kept_survives_kill_9(tmp_path):
    writer = subprocess.Popen(
        [sys.executable, "-c", WRITER, str(tmp_path / "j")],
        cwd=ROOT, stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    told = [int(writer.stdout.readline()) for _ in range(20)]
    writer.send_signal(signal.SIGKILL)
    writer.wait()

    journal = Journal(tmp_path / "j")

    kept = [one.key for one in journal.unsent(10_000)]
    assert kept[: len(told)] == [f"k{number}" for number in told]
    assert kept == [f"k{number}" for number in range(len(kept))]
