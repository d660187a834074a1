"""A laboratory with benches, people and opened runs, for the scripts of this folder."""

from __future__ import annotations

from dataclasses import dataclass

from tests.load.people import Person

#: Fifteen sieves of the R 20/3 and R 10 rows (ISO 565), coarse to fine [µm].
SIEVES_UM = (
    31500, 22400, 16000, 11200, 8000, 5600, 4000, 2800, 2000, 1400, 1000, 710, 500, 250, 125,
)  # fmt: skip


@dataclass(frozen=True)
class Place:
    """A bench with its technician, a second pair of eyes, and the runs that wait there."""

    username: str
    rival: str
    runs: tuple[int, ...]

    def person(self, port: int) -> Person:
        """Give the technician's browser."""
        return _signed_in(port, self.username)

    def second(self, port: int) -> Person:
        """Give the browser of somebody else who opened the same runs."""
        return _signed_in(port, self.rival)


def _signed_in(port: int, username: str) -> Person:
    from tests import factories

    person = Person(port, username, factories.PASSWORD)
    person.sign_in()
    return person


def fill(benches: int, runs_each: int) -> list[Place]:
    """Set up the benches; every run stands on sieves of its own."""
    from tests import factories

    factories.make_laboratory()
    procedure = factories.make_procedure(apertures_um=SIEVES_UM)
    limits = [(31500, "95", "100"), (8000, "40", "70"), (1000, "10", "30"), (125, "0", "8")]
    material = factories.make_material(procedure, factories.make_specification(limits=limits))
    return [_place(material, runs_each) for _ in range(benches)]


def _place(material: object, runs_each: int) -> Place:
    from tests import factories

    actor, rival = factories.technician(), factories.technician()
    bench = factories.make_bench()
    runs = tuple(
        factories.make_run(
            actor=actor, bench=bench, sample=factories.make_sample(actor, material=material)
        ).pk
        for _ in range(runs_each)
    )
    return Place(actor.username, rival.username, runs)
