"""The gateway on a real pair of terminals and a real socket: noise, pulled cables, a full load."""

import sqlite3
import threading
import time
from contextlib import contextmanager

import pytest

from gradation.bench_io import form_named
from gradation.bench_io.gateway import Gateway
from gradation.bench_io.gateway_config import BalancePlan
from gradation.bench_io.journal import Journal, State
from gradation.bench_io.settling import Settling
from tests.bench_io.balances import PtyBalance, TcpBalance
from tests.bench_io.test_sender import Server

PATIENCE_S = 30
STREAM, PRESSED = Settling(streams=True), Settling()


@pytest.fixture
def pty_balance(tmp_path):
    balance = PtyBalance(tmp_path / "tty")
    yield balance
    balance.close()


@pytest.fixture
def tcp_balance():
    balance = TcpBalance()
    yield balance
    balance.close()


@pytest.fixture
def journal(tmp_path):
    made = Journal(tmp_path / "journal")
    yield made
    made.close()


def plan(port, settling=PRESSED, serial="B-1", form="number_unit"):
    return BalancePlan(serial, "Bench 1", str(port), form_named(form), settling)


class Told(list):
    """What the gateway told, by event."""

    def __call__(self, event, **facts):
        self.append((event, facts))

    def count_of(self, event):
        return sum(1 for name, _ in self if name == event)


@contextmanager
def working(plans, journal, server):
    stop, told = threading.Event(), Told()
    gateway = Gateway(plans, journal, server, told)
    worker = threading.Thread(target=gateway.run, args=(stop,), daemon=True)
    worker.start()
    try:
        until(lambda: told.count_of("port open") >= len(plans))
        yield told
    finally:
        stop.set()
        worker.join(PATIENCE_S)
        assert not worker.is_alive()


def until(seen):
    end = time.monotonic() + PATIENCE_S
    while not seen():
        assert time.monotonic() < end, "waited in vain"
        time.sleep(0.01)


def lines_of(server):
    return [line.strip() for line in server.taken.values()]


def test_presses_of_a_serial_balance_arrive_in_order(pty_balance, journal):
    server = Server()
    with working([plan(pty_balance.path)], journal, server):
        pty_balance.send("12.34 g", "0.00 g", "56.78 g")
        until(lambda: len(server.taken) == 3)

    assert lines_of(server) == ["12.34 g", "0.00 g", "56.78 g"]


def test_a_balance_behind_a_socket_is_read_as_well(tcp_balance, journal):
    server = Server()
    with working([plan(tcp_balance.url)], journal, server):
        tcp_balance.send("12.34 g")
        until(lambda: len(server.taken) == 1)

    assert lines_of(server) == ["12.34 g"]


def test_two_balances_are_read_side_by_side(pty_balance, tcp_balance, journal):
    server = Server()
    plans = [plan(pty_balance.path), plan(tcp_balance.url, serial="B-2")]
    with working(plans, journal, server):
        pty_balance.send("1.0 g")
        tcp_balance.send("2.0 g")
        until(lambda: len(server.taken) == 2)

    assert sorted(lines_of(server)) == ["1.0 g", "2.0 g"]


def test_lines_in_pieces_are_put_together(pty_balance, journal):
    server = Server()
    with working([plan(pty_balance.path)], journal, server):
        for byte in b"  12.34 g\r\n 5.00 g\r\n":
            pty_balance.send_bytes(bytes([byte]))
            time.sleep(0.002)
        until(lambda: len(server.taken) == 2)

    assert lines_of(server) == ["12.34 g", "5.00 g"]


def test_a_spell_of_noise_is_told_once_and_hides_no_reading(pty_balance, journal):
    server = Server()
    with working([plan(pty_balance.path)], journal, server) as told:
        pty_balance.send_bytes(b"\xff\xfe\x00garbled\r\n" * 40)
        pty_balance.send("12.34 g")
        until(lambda: "12.34 g" in lines_of(server))

    assert told.count_of("unreadable") == 1
    assert lines_of(server)[0] == "\\xff\\xfe\\x00garbled"
    assert len(server.taken) == 2


def test_unsettled_and_overloaded_lines_are_no_readings(pty_balance, journal):
    server = Server()
    with working([plan(pty_balance.path)], journal, server) as told:
        pty_balance.send("12.3", "12.4", "OL", "OL", "12.34 g")
        until(lambda: "12.34 g" in lines_of(server))

    assert told.count_of("overloaded") == 1
    assert told.count_of("reading kept") == 1


def test_a_streaming_balance_gives_one_reading_a_load(tcp_balance, journal):
    server = Server()
    with working([plan(tcp_balance.url, STREAM)], journal, server):
        for load in ("12.34", "12.34", "99.00"):
            tcp_balance.send("0.00 g", f"{float(load) / 2:.2f} g", *[f"{load} g"] * 300)
        until(lambda: len(server.taken) == 3)

    assert lines_of(server) == ["12.34 g", "12.34 g", "99.00 g"]


def test_a_port_opened_amid_a_line_gives_no_half_mass(tcp_balance, journal):
    server = Server()
    with working([plan(tcp_balance.url, STREAM)], journal, server):
        tcp_balance.send_bytes(b"2.34 g\r\n")  # the end of 12.34 g
        tcp_balance.send("12.34 g", "12.34 g", "12.34 g")
        until(lambda: len(server.taken) == 1)

    assert lines_of(server) == ["12.34 g"]


def test_a_pulled_cable_is_waited_for_and_nothing_is_doubled(pty_balance, journal):
    server = Server()
    with working([plan(pty_balance.path, STREAM)], journal, server) as told:
        pty_balance.send(*["12.34 g"] * 9)
        until(lambda: len(server.taken) == 1)
        pty_balance.send_bytes(b"99.9")  # pulled in the middle of a line
        pty_balance.unplug()
        until(lambda: told.count_of("port gone"))
        pty_balance.plug()
        until(lambda: told.count_of("port open") == 2)
        pty_balance.send(*["12.34 g"] * 9)  # the load still stands there
        pty_balance.send("0.00 g", *["56.78 g"] * 9)
        until(lambda: len(server.taken) == 2)

    assert lines_of(server) == ["12.34 g", "56.78 g"]


def test_a_device_server_that_hangs_up_is_called_again(tcp_balance, journal):
    server = Server()
    with working([plan(tcp_balance.url)], journal, server) as told:
        tcp_balance.send("1.0 g")
        until(lambda: len(server.taken) == 1)
        tcp_balance.hang_up()
        until(lambda: told.count_of("port open") == 2)
        tcp_balance.send("2.0 g")
        until(lambda: len(server.taken) == 2)

    assert lines_of(server) == ["1.0 g", "2.0 g"]


def test_while_the_server_is_away_readings_are_kept_and_come_in_order(pty_balance, journal):
    server = Server("lost", "answer lost", "lost")
    with working([plan(pty_balance.path)], journal, server) as told:
        pty_balance.send("1.0 g", "2.0 g", "3.0 g")
        until(lambda: journal.count(State.SENT) == 3)

    assert lines_of(server) == ["1.0 g", "2.0 g", "3.0 g"]
    assert told.count_of("server unreachable") == 3


@pytest.mark.parametrize("kind", ["serial", "tcp"])
def test_a_thousand_readings_at_once_arrive_exactly_once(kind, pty_balance, tcp_balance, journal):
    """Issue of speed: a thousand within seconds, sixteen times the rate that is asked for."""
    balance, port = (
        (pty_balance, pty_balance.path) if kind == "serial" else (tcp_balance, tcp_balance.url)
    )
    sent = [f"{number}.{number % 100:02d} g" for number in range(1, 1001)]
    server = Server("answer lost", None, "lost", None, "answer lost")
    with working([plan(port)], journal, server):
        began = time.monotonic()
        for line in sent:
            balance.send(line)
        assert time.monotonic() - began < 60
        until(lambda: journal.count(State.SENT) == 1000)

    assert lines_of(server) == sent


def test_a_journal_that_cannot_be_written_ends_the_gateway_aloud(pty_balance, tmp_path):
    journal = Journal(tmp_path / "journal")
    stop, told = threading.Event(), Told()
    gateway = Gateway([plan(pty_balance.path)], journal, Server(), told)
    journal.keep = lambda *_: (_ for _ in ()).throw(sqlite3.OperationalError("disk full"))
    worker = threading.Thread(target=gateway.run, args=(stop,), daemon=True)
    worker.start()
    until(lambda: told.count_of("port open"))
    pty_balance.send("1.0 g")
    worker.join(PATIENCE_S)
    stop.set()

    assert gateway.is_broken
    assert told.count_of("reader broken") == 1
