"""Two balances send by themselves: connected by their form, a gateway's token, what came."""

from typing import Any
from uuid import UUID

from gradation.management.demo_scenario.cast import KEEPER, QUALITY, SAND_BENCH, STONE_BENCH
from gradation.management.demo_scenario.timeline import Story
from gradation.management.demo_scenario.world import World
from gradation.models import BalanceLink, Scope
from gradation.services import balance_links, balance_readings, tokens

#: Working days since the balances were connected.
CONNECTED_AGO = 8
Sends, Parity = BalanceLink.Sends, BalanceLink.Parity
#: What came at the end of the last day, when nobody was at a field: two loads, and one that
#: had not come to rest.
LAST_LINES = ("412.64 g", "87.3", "118.42 g")


def balance_story(world: World) -> Story:
    """Let the keeper connect the balances and the quality manager make the gateway's token."""
    day = world.days.ago(CONNECTED_AGO)
    yield world.days.moment(day, 15, 10)
    sand = _connect(world, "NB-01", SAND_BENCH, form="number_unit", sends=Sends.STREAM)
    _connect(
        world,
        "NB-02",
        STONE_BENCH,
        form="mark_number_unit",
        baud=2400,
        data_bits=7,
        parity=Parity.EVEN,
    )
    yield world.days.moment(day, 15, 30)
    wanted = tokens.Wanted(
        "Gateway beside the balances", world.people[KEEPER], [Scope.WRITE_BENCH_READINGS], 365
    )
    tokens.create_token(actor=world.people[QUALITY], wanted=wanted)
    last = world.days.ago(0)
    for number, line in enumerate(LAST_LINES):
        yield world.days.moment(last, 16, 41 + number)
        sent = balance_readings.BalanceLine(sand.bench, "NB-01", line, UUID(int=number + 1))
        balance_readings.take_balance_reading(actor=world.people[KEEPER], sent=sent)


def _connect(
    world: World, serial: str, bench: str, *, form: str, sends: str = Sends.PRINT, **port: Any
) -> BalanceLink:
    link = BalanceLink(
        balance=world.instruments[serial],
        bench=world.benches[bench],
        form=form,
        sends=sends,
        **port,
    )
    return balance_links.connect_balance(actor=world.people[KEEPER], link=link)
