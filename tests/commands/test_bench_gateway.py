"""The gateway as it is started beside the balances: a process of its own against the real site."""

import json
import os
import signal
import subprocess
import sys
import time
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from threading import Thread

import pytest

from gradation.bench_io.journal import Journal, State
from gradation.models import BalanceReading, Weighing
from gradation.services import balance_readings
from gradation.services.balance_readings import Field
from tests import factories
from tests.bench_io.balances import PtyBalance, TcpBalance

ROOT = Path(__file__).resolve().parents[2]
PATIENCE_S = 240  # of a busy machine: it costs time only where a test fails


@pytest.fixture
def balance(tmp_path):
    made = PtyBalance(tmp_path / "tty")
    yield made
    made.close()


@pytest.fixture
def tcp_balance():
    made = TcpBalance()
    yield made
    made.close()


@pytest.fixture
def link(live_server):
    factories.make_laboratory()
    instrument = factories.make_instrument("balance", serial="B-7")
    return factories.make_balance_link(instrument, factories.make_bench(name="Sand bench"))


@pytest.fixture
def token(link, tmp_path):
    path = tmp_path / "token"
    path.write_text(factories.make_token(factories.keeper(), bench=link.bench).text)
    path.chmod(0o600)
    return path


class Process:
    """A running gateway with the lines that it told."""

    def __init__(self, *arguments, **environment):
        kept = {k: v for k, v in os.environ.items() if k != "DJANGO_ALLOW_ASYNC_UNSAFE"}
        self.told = []
        self.process = subprocess.Popen(
            [sys.executable, "manage.py", "bench_gateway", *map(str, arguments)],
            cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
            env={**kept, **environment},
        )  # fmt: skip
        self._listener = Thread(target=self._listen, daemon=True)
        self._listener.start()

    def _listen(self):
        for line in self.process.stdout:
            self.told.append(line)

    def events(self, name):
        return [one for one in map(json.loads, self.told) if one["event"] == name]

    def wait_for(self, name, count=1):
        until(lambda: len(self.events(name)) >= count or self.process.poll() is not None)
        assert len(self.events(name)) >= count, self.process.stderr.read()

    def end(self, how=signal.SIGTERM):
        self.process.send_signal(how)
        self.process.wait(PATIENCE_S)
        self._listener.join(PATIENCE_S)
        return self.process.returncode


def until(seen):
    end = time.monotonic() + PATIENCE_S
    while not seen():
        assert time.monotonic() < end, "waited in vain"
        time.sleep(0.05)


@contextmanager
def gateway(*arguments, **environment):
    running = Process(*arguments, **environment)
    try:
        running.wait_for("port open")
        yield running
    finally:
        if running.process.poll() is None:
            running.end(signal.SIGKILL)


def options(server, token, tmp_path, port, *more):
    return (
        "--server", server, "--token-file", token, "--journal", tmp_path / "journal",
        "--balance", "B-7", "--bench", "Sand bench", "--port", port, "--form", "number_unit",
        *more,
    )  # fmt: skip


def name(link, run, position):
    field = Field(run, "fraction", position)
    balance_readings.name_place(actor=run.technician, bench=link.bench, field=field)


def lines_kept():
    return [it.raw_text.strip() for it in BalanceReading.objects.order_by("id")]


def test_a_reading_goes_from_the_balance_into_the_named_field(
    live_server, link, token, tmp_path, balance
):
    run = factories.make_run(bench=link.bench)
    name(link, run, 2)
    with gateway(*options(live_server.url, token, tmp_path, balance.path)) as running:
        balance.send("12.34 g")
        running.wait_for("reading delivered")
        assert running.end() == 0

    weighing = Weighing.objects.get()
    assert (weighing.position, str(weighing.mass_as_entered)) == (2, "12.34")
    assert weighing.raw_text == "12.34 g"
    assert running.events("reading delivered")[0]["outcome"] == "placed"
    assert running.events("gateway stopped")[0]["unsent"] == 0


def test_a_thousand_readings_in_seconds_are_all_there_exactly_once(
    live_server, link, token, tmp_path, tcp_balance
):
    run = factories.make_run(bench=link.bench)
    name(link, run, 1)
    sent = [f"{number}.{number % 100:02d} g" for number in range(1, 1001)]
    with gateway(*options(live_server.url, token, tmp_path, tcp_balance.url)) as running:
        for begin in range(0, 1000, 50):
            tcp_balance.send(*sent[begin : begin + 50])
        running.wait_for("reading kept", 1000)
        running.wait_for("reading delivered", 1000)

    assert lines_kept() == sent
    outcomes = list(BalanceReading.objects.order_by("id").values_list("outcome", flat=True))
    assert outcomes == ["placed"] + ["waiting"] * 999
    assert Weighing.objects.count() == 1


class Between:
    """A line to the server that loses answers: what was sent has arrived, nobody is told."""

    def __init__(self, server):
        outer = self
        self.lost, self.passed = 1, []

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self):
                from urllib.request import Request, urlopen

                body = self.rfile.read(int(self.headers["Content-Length"]))
                names = ("Authorization", "Content-Type")
                asked = Request(
                    server + self.path, body, {name: self.headers[name] for name in names}
                )
                answer = urlopen(asked).read()
                outer.passed.append(json.loads(body))
                if outer.lost:
                    outer.answered = False
                    time.sleep(30)
                    return
                self.send_response(200)
                self.send_header("Content-Length", str(len(answer)))
                self.end_headers()
                self.wfile.write(answer)

            def log_message(self, *_):
                pass

        self.httpd = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.httpd.daemon_threads = True
        self.url = f"http://127.0.0.1:{self.httpd.server_address[1]}"
        Thread(target=self.httpd.serve_forever, daemon=True).start()


def test_kill_9_between_journal_and_answer_loses_and_doubles_nothing(
    live_server, link, token, tmp_path, balance
):
    between = Between(live_server.url)
    with gateway(*options(between.url, token, tmp_path, balance.path)) as running:
        balance.send("12.34 g", "56.78 g")
        running.wait_for("reading kept", 2)
        until(lambda: between.passed)  # the server has it; the answer never comes
        running.end(signal.SIGKILL)
    between.lost = 0
    with gateway(*options(between.url, token, tmp_path, balance.path)) as running:
        running.wait_for("reading delivered", 2)

    assert lines_kept() == ["12.34 g", "56.78 g"]
    assert between.passed[0][0]["key"] == between.passed[1][0]["key"]


def test_a_load_that_stands_there_while_the_gateway_restarts_is_one_reading(
    live_server, link, token, tmp_path, tcp_balance
):
    arguments = options(live_server.url, token, tmp_path, tcp_balance.url, "--streams")
    with gateway(*arguments) as running:
        tcp_balance.send(*["12.34 g"] * 20)
        running.wait_for("reading delivered")
        running.end(signal.SIGKILL)
    tcp_balance.hang_up()
    with gateway(*arguments) as running:
        tcp_balance.send(*["12.34 g"] * 20)
        tcp_balance.send("0.00 g", *["56.78 g"] * 20)
        running.wait_for("reading delivered")

    assert lines_kept() == ["12.34 g", "56.78 g"]


def test_while_the_server_is_down_readings_wait_on_the_disk(
    live_server, link, token, tmp_path, balance
):
    nowhere = "http://127.0.0.1:9"  # the discard port: nobody listens
    with gateway(*options(nowhere, token, tmp_path, balance.path)) as running:
        balance.send("12.34 g")
        running.wait_for("server unreachable")
        assert running.end() == 0
    assert running.events("gateway stopped")[0]["unsent"] == 1
    with gateway(*options(live_server.url, token, tmp_path, balance.path)) as running:
        running.wait_for("reading delivered")

    assert lines_kept() == ["12.34 g"]


def test_a_pulled_cable_is_survived(live_server, link, token, tmp_path, balance):
    with gateway(*options(live_server.url, token, tmp_path, balance.path)) as running:
        balance.send("1.00 g")
        running.wait_for("reading delivered")
        balance.unplug()
        running.wait_for("port gone")
        balance.plug()
        running.wait_for("port open", 2)
        balance.send("2.00 g")
        running.wait_for("reading delivered", 2)

    assert lines_kept() == ["1.00 g", "2.00 g"]


def test_a_revoked_token_keeps_the_readings_and_says_whom_to_ask(
    live_server, link, token, tmp_path, balance
):
    token.write_text(token.read_text()[:-1] + "?")
    with gateway(*options(live_server.url, token, tmp_path, balance.path)) as running:
        balance.send("1.00 g")
        running.wait_for("token refused")
        running.end()

    journal = Journal(tmp_path / "journal")
    assert journal.count(State.UNSENT) == 1
    assert "quality manager" in running.events("token refused")[0]["why"]
    journal.close()


def test_a_dry_run_prints_and_sends_nothing(balance):
    arguments = ("--dry-run", "--balance", "B-7", "--bench", "b", "--port", balance.path,
                 "--form", "number_unit")  # fmt: skip
    with gateway(*arguments) as running:
        balance.send("12.34 g", "evil\x1b[2J\\n g")
        running.wait_for("reading kept")
        running.wait_for("unreadable")
        assert running.end() == 0

    assert running.events("reading kept")[0]["mass_g"] == "12.34"
    assert all("\x1b" not in line for line in running.told)


def run_once(*arguments, **environment):
    kept = {k: v for k, v in os.environ.items() if k != "DJANGO_ALLOW_ASYNC_UNSAFE"}
    return subprocess.run(
        [sys.executable, "manage.py", "bench_gateway", *map(str, arguments)],
        cwd=ROOT, capture_output=True, text=True, check=False, env={**kept, **environment},
    )  # fmt: skip


def test_forms_are_listed_by_what_a_line_looks_like():
    done = run_once("--list-forms")

    assert done.returncode == 0
    assert "number_unit" in done.stdout
    assert "123.45 g" in done.stdout


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        ((), "No server is named"),
        (("--server", "http://lab.example.org"), "no https:// address"),
        (("--config", "/nowhere/x.toml"), "cannot be read"),
    ],
)
def test_bad_settings_end_with_a_sentence_and_no_traceback(arguments, says):
    done = run_once(*arguments)

    assert done.returncode == 1
    assert says in done.stderr
    assert "Traceback" not in done.stderr


def test_a_token_that_others_may_read_is_refused(tmp_path, balance):
    token = tmp_path / "token"
    token.write_text("x")
    token.chmod(0o644)

    done = run_once(*options("http://127.0.0.1:9", token, tmp_path, balance.path))

    assert done.returncode == 1
    assert f"chmod 600 {token}" in done.stderr


def test_a_token_comes_from_the_environment_too(live_server, link, token, tmp_path, balance):
    config = tmp_path / "gateway.toml"
    config.write_text(
        f'server = "{live_server.url}"\njournal = "{tmp_path / "journal"}"\n[[balance]]\n'
        f'serial = "B-7"\nbench = "Sand bench"\nport = "{balance.path}"\nform = "number_unit"\n'
    )
    secret = token.read_text()
    with gateway("--config", config, GRADATION_BENCH_TOKEN=secret) as running:
        balance.send("1.00 g")
        running.wait_for("reading delivered")

    assert lines_kept() == ["1.00 g"]
    assert all(secret not in line for line in running.told)


def test_what_the_journal_holds_is_shown(tmp_path, balance):
    from gradation.bench_io.journal import Entry

    journal = Journal(tmp_path / "journal")
    journal.keep([Entry("k", "Sand bench", "B-7", "1.00 g", "2026-01-01")], {})
    journal.close()

    done = run_once("--show-journal", *options("http://127.0.0.1:9", "x", tmp_path, balance.path))

    assert "unsent: 1" in done.stdout
    assert "1.00 g" in done.stdout
