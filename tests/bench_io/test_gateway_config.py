"""What a gateway is told: read as a whole, every fault named with where it stands."""

import pytest

from gradation.bench_io.gateway_config import ConfigFaults, parse_config, parse_toml

GOOD = """
server = "https://lab.example.org/"
token_file = "bench.token"
journal = "bench.journal"

[[balance]]
serial = "B-1"
bench = "Sand bench"
port = "/dev/ttyUSB0"
form = "number_unit"
streams = true
baud = 2400
data_bits = 7
parity = "even"

[[balance]]
serial = "B-2"
bench = "Stone bench"
port = "socket://192.0.2.7:4001"
form = "own"
pattern = "N {mark} {number} {unit}"
stable_marks = ["OK"]
"""


def changed(**top):
    return {**parse_toml(GOOD), **top}


def faults(given):
    with pytest.raises(ConfigFaults) as refused:
        parse_config(given)
    return refused.value.faults


def test_a_file_of_settings_is_read():
    config = parse_config(parse_toml(GOOD))

    one, two = config.balances
    assert config.server == "https://lab.example.org"
    assert (one.serial, one.bench, one.port, one.form.name) == (
        "B-1", "Sand bench", "/dev/ttyUSB0", "number_unit",
    )  # fmt: skip
    assert one.settling.streams
    assert not two.settling.streams
    assert (one.serial_settings.baud, one.serial_settings.parity) == (2400, "even")
    assert two.form.stable_marks == {"OK"}


@pytest.mark.parametrize(
    "server", ["http://lab.example.org", "lab.example.org", "ftp://lab.example.org", "https://"]
)
def test_a_token_does_not_travel_in_the_open(server):
    assert faults(changed(server=server)) == [
        f"'{server}' is no https:// address. The token could be read on its way; http:// is taken "
        "for this machine only."
    ]


def test_this_machine_is_reached_without_tls():
    assert parse_config(changed(server="http://127.0.0.1:8000")).server == "http://127.0.0.1:8000"


def test_every_fault_is_named_at_once():
    found = faults(
        {
            "sever": "x",
            "balance": [
                {"serial": "B-1", "bench": "b", "port": "p", "form": "fax", "baud": 9600},
                {"serial": "B-2", "bench": "b", "port": "q", "form": "own", "pattern": "x"},
                {"serial": "B-3", "port": "r", "form": "number", "baud": True, "parity": "mark"},
                "nothing",
            ],
        }
    )

    assert len(found) == 8
    assert "'sever' is no setting" in found[0]
    assert "No server is named" in found[1]
    assert found[2].startswith("balance 1: There is no line form fax")
    assert found[3].startswith("balance 2: The line needs {number}")
    assert {line.split(":")[0] for line in found[4:7]} == {"balance 3"}
    assert found[7].startswith("balance 4")


def test_a_balance_or_port_named_twice_is_refused():
    row = parse_toml(GOOD)["balance"][0]

    assert faults(changed(balance=[row, row])) == [
        "Balance B-1 is named twice.", "Port /dev/ttyUSB0 is named twice.",
    ]  # fmt: skip


def test_what_is_no_toml_is_said_with_its_line():
    with pytest.raises(ConfigFaults, match="line 1"):
        parse_toml("server = \n")
