"""The laboratory's particulars and its people."""

from __future__ import annotations

from django.db.models import QuerySet

from gradation.models import Customer, Laboratory, Material, Source, User

__all__ = [
    "active_person",
    "active_person_named",
    "customer_list",
    "laboratory",
    "material_list",
    "people_list",
    "source_list",
]


def laboratory() -> Laboratory | None:
    """Give the laboratory, once it is set up."""
    return Laboratory.objects.first()


def people_list() -> QuerySet[User]:
    """List accounts with their roles."""
    return User.objects.prefetch_related("groups").select_related("customer", "second_factor")


def active_person(pk: int) -> User | None:
    """Give an account that is still open."""
    return User.objects.filter(pk=pk, is_active=True).first()


def active_person_named(username: str) -> User | None:
    """Give the account of a name, if it is still open."""
    return User.objects.filter(username=username, is_active=True).first()


def customer_list() -> QuerySet[Customer]:
    """List the customers worked for."""
    return Customer.objects.filter(is_active=True)


def source_list() -> QuerySet[Source]:
    """List pits, plants and lines with their customers."""
    return Source.objects.select_related("customer")


def material_list() -> QuerySet[Material]:
    """List materials with their defaults."""
    return Material.objects.select_related("default_procedure", "default_specification")
