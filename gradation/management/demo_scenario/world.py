"""What every story of the scenario shares: who and what there is, and which bench is free when."""

from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

from gradation.management.demo_scenario.timeline import Workdays
from gradation.models import (
    Bench,
    Customer,
    Instrument,
    Material,
    Nest,
    Procedure,
    ReferenceLot,
    Sieve,
    Source,
    Specification,
    User,
)


@dataclass
class Diary:
    """Who has which bench when: one run after the other from half past seven."""

    days: Workdays
    free_from: dict[tuple[str, date], datetime] = field(default_factory=dict)

    def take(self, bench: str, day: date, length: timedelta) -> datetime:
        """Give the next free moment of a bench on a day, and take the time that follows."""
        start = self.free_from.get((bench, day)) or self.days.moment(day, 7, 30)
        self.free_from[bench, day] = start + length
        return start


@dataclass
class World:
    """The laboratory as it fills, by the keys of the scenario's tables."""

    today: date
    days: Workdays
    diary: Diary
    people: dict[str, User] = field(default_factory=dict)
    customers: dict[str, Customer] = field(default_factory=dict)
    sources: dict[str, Source] = field(default_factory=dict)
    benches: dict[str, Bench] = field(default_factory=dict)
    procedures: dict[str, Procedure] = field(default_factory=dict)
    specifications: dict[str, Specification] = field(default_factory=dict)
    materials: dict[str, Material] = field(default_factory=dict)
    sieves: dict[str, Sieve] = field(default_factory=dict)
    reference_lot: ReferenceLot = field(init=False)
    instruments: dict[str, Instrument] = field(default_factory=dict)
    weighed: set[tuple[str, date]] = field(default_factory=set)
    """Balances and the days their check-weights were put on."""
    nests: dict[str, list[Nest]] = field(default_factory=dict)
