"""The difference between two certificates, computed from their content."""

import dataclasses
from collections import Counter
from collections.abc import Iterator

from gradation.documents.certificate_content import CertificateContent, Change

# These tell one issue from another; they differ by nature and are no change of what is certified.
_IDENTITY = frozenset(
    {
        "number",
        "version",
        "draft",
        "file_signed_by",
        "seal",
        "issued_at",
        "signatures",
        "amendment",
        "verification_code",
        "verification_address",
        "form",
        # The reader's copy of the masses that the tables print: the tables tell what changed.
        "runs",
    }
)
_KEYS = ("designation", "serial", "label", "name", "portion", "what", "specification", "item")
_ABSENT = "(absent)"


def changes_between(old: CertificateContent, new: CertificateContent) -> tuple[Change, ...]:
    """Return every difference of content, in the order of the certificate.

    Rows are matched by what they are (a sieve by its designation), not by where they stand, so
    that a row added at the top is one row of changes and not a change of every row below it.
    """
    was, now = dict(_flat(old)), dict(_flat(new))
    places = [*now, *(place for place in was if place not in now)]
    return tuple(
        Change(" · ".join(place), was.get(place, _ABSENT), now.get(place, _ABSENT))
        for place in places
        if was.get(place) != now.get(place)
    )


def _flat(content: CertificateContent) -> Iterator[tuple[tuple[str, ...], str]]:
    for field in dataclasses.fields(content):
        if field.name not in _IDENTITY:
            yield from _leaves((_spoken(field.name),), getattr(content, field.name))


def _leaves(place: tuple[str, ...], value: object) -> Iterator[tuple[tuple[str, ...], str]]:
    if isinstance(value, tuple):
        yield from _items(place, value)
    elif dataclasses.is_dataclass(value) and not isinstance(value, type):
        for field in dataclasses.fields(value):
            yield from _leaves((*place, _spoken(field.name)), getattr(value, field.name))
    elif isinstance(value, bool):
        yield place, "yes" if value else "no"
    else:
        yield place, "" if value is None else str(value)


def _items(
    place: tuple[str, ...], items: tuple[object, ...]
) -> Iterator[tuple[tuple[str, ...], str]]:
    met: Counter[str] = Counter()
    for i, item in enumerate(items, start=1):
        name = _key(item) or str(i)
        met[name] += 1
        again = f" ({met[name]})" if met[name] > 1 else ""
        yield from _leaves((*place, name + again), item)


def _key(item: object) -> str:
    name = next((str(getattr(item, key)) for key in _KEYS if getattr(item, key, "")), "")
    run = getattr(item, "run", "")
    return f"{name}, {run}" if name and run else name


def _spoken(name: str) -> str:
    """Return a field's name as people say it: passing_pct becomes 'passing, %'."""
    for ending, unit in (("_pct", "%"), ("_mm", "mm"), ("_g", "g")):
        if name.endswith(ending):
            return f"{name.removesuffix(ending).replace('_', ' ')}, {unit}"
    return name.replace("_", " ")
