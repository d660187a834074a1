"""What several walks have in common: a laboratory ready to work, signing in, weighing a row."""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal

from playwright.sync_api import Page, Route, expect

from gradation.models import Bench, Material, Nest, User
from gradation.policy import Role
from tests import factories

SIZES_UM = (4750, 2360, 1180, 600, 300, 150)


@dataclass(frozen=True)
class Place:
    """A laboratory with its people, one material, one bench and one nest."""

    technician: User
    reviewer: User
    signatory: User
    material: Material
    bench: Bench
    nest: Nest


def laboratory_at_work(**procedure) -> Place:
    """Set up the laboratory; a washed sand against an envelope on six sieves."""
    factories.make_laboratory()
    version = factories.make_procedure(SIZES_UM, **procedure)
    limits = ((4750, "95", "100"), (1180, "50", "85"), (300, "5", "30"), (150, "0", "10"))
    specification = factories.make_specification(limits)
    factories.make_customer(name="Tarnholt Aggregates")
    return Place(
        technician=factories.make_person(Role.TECHNICIAN, full_name="Ingrid Solvik"),
        reviewer=factories.make_person(Role.REVIEWER, full_name="Per Aune"),
        signatory=factories.make_person(Role.SIGNATORY, full_name="Marit Hesse"),
        material=factories.make_material(version, specification, name="Concrete sand 0/4"),
        bench=factories.make_bench(name="Bench 2"),
        nest=factories.make_nest(version, factories.make_sieves([Decimal(s) for s in SIZES_UM])),
    )


def sign_in(page: Page, person: User) -> None:
    """Sign in, as somebody else if need be."""
    page.context.clear_cookies()
    page.goto("/sign-in/")
    page.get_by_label("Name").fill(person.username)
    page.get_by_label("Password").fill(factories.PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    expect(page.get_by_role("button", name="Sign out")).to_be_visible()


def row(page: Page, name: str):
    """Find the row of a sieve, of the pan or of a mass of the portion."""
    return page.locator(f'tr[data-name="{name}"]')


def type_reading(page: Page, name: str, text: str) -> None:
    """Type a reading in its row and go on with Enter."""
    field = row(page, name).locator("[data-reading]")
    field.fill(text)
    field.press("Enter")


def weigh(page: Page, name: str, text: str) -> None:
    """Type a reading and wait until the server has kept it."""
    type_reading(page, name, text)
    expect(row(page, name).get_by_role("link", name="correct")).to_be_visible()


def passing(page: Page, position: int) -> str:
    """Read the passing that the screen shows for a sieve."""
    return page.locator(f"#passing-fraction-{position}").inner_text()


def field(page: Page, name: str):
    """Find the field of a row."""
    return row(page, name).locator("[data-reading]")


def line(page: Page):
    """Find the line that says what this browser keeps."""
    return page.locator("#bench-line")


def shows(mass: str) -> re.Pattern[str]:
    """Match a mass as a row shows it, lined up with the others by zeros that are not seen."""
    return re.compile(rf"^\s*{re.escape(mass)}[.0]*\s*$")


def is_kept(page: Page, name: str, mass: str) -> None:
    """Wait until a row shows a mass as kept."""
    expect(row(page, name).locator(".weighed")).to_have_text(shows(mass))
    expect(row(page, name).get_by_role("link", name="correct")).to_be_visible()


def lose_first_answer(page: Page) -> list[int]:
    """Let the server keep the next reading and its answer get lost; give the statuses lost."""
    lost: list[int] = []

    def lose(route: Route) -> None:
        if lost:
            route.continue_()
            return
        lost.append(route.fetch().status)
        route.abort("connectionreset")

    page.route("**/readings/", lose)
    return lost
