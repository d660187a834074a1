"""How figures, dates, states and verdicts are written on a page; no arithmetic of the trade."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from django import forms, template
from django.utils import timezone
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString, mark_safe

from gradation.charts.strip import Strip, envelope_strip
from gradation.language import LANGUAGES
from gradation.models import Run, SpecificationLine
from gradation.science.apertures import designation

register = template.Library()

THIN_SPACE = "\u2009"
TRUE_MINUS = "\u2212"
NOTHING = "\u2013"  # printed only for 'not specified' or 'not known'
_GROUPED_FROM = 10_000  # four figures read well without a space

_STATE_MARKS: Mapping[str, str] = {
    "logged": "",
    "under test": "half",
    "reported": "full",
    "closed": "shut",
    "cancelled": "void",
    "open": "",
    "weighed": "half",
    "accepted": "full",
    "returned": "back",
    "invalid": "void",
    "draft": "",
    "issued": "full",
    "superseded": "shut",
    "withdrawn": "void",
    "given up": "void",
    "released": "full",
    "retired": "shut",
    "in service": "full",
    "out of service": "back",
    "looked through": "half",
    "taking in": "half",
    "taken in": "full",
    "stopped": "back",
}


@register.filter
def figure(value: Decimal | float | str | None) -> str:
    """Write a figure: thin space between thousands, true minus, '–' when there is none."""
    if value is None or value == "":
        return NOTHING
    text = str(value)
    sign, digits = (TRUE_MINUS, text[1:]) if text[:1] in "-\u2212" else ("", text)
    whole, point, rest = digits.partition(".")
    if whole.isdigit() and int(whole) >= _GROUPED_FROM:
        whole = f"{int(whole):,}".replace(",", THIN_SPACE)
    return f"{sign}{whole}{point}{rest}"


@register.filter
def plain(value: Decimal | None) -> str:
    """Write a stored decimal without the zeros that the column added."""
    if value is None:
        return NOTHING
    text = f"{value:f}"
    return figure(text.rstrip("0").rstrip(".") if "." in text else text)


@register.filter
def on_day(value: date | datetime | None) -> str:
    """Write a day as 24 Nov 2026."""
    if value is None:
        return NOTHING
    local = timezone.localtime(value) if isinstance(value, datetime) else value
    return f"{local.day} {local:%b %Y}"


@register.filter
def at_time(value: datetime | None) -> str:
    """Write a moment in the laboratory's zone as 24 Nov 2026 14:05."""
    if value is None:
        return NOTHING
    return f"{on_day(value)} {timezone.localtime(value):%H:%M}"


_DIGEST = re.compile(r"[0-9a-f]{64}")
_DIGEST_SHOWN = 12


@register.filter
def told(value: str) -> str:
    """Write a value of the records as a person reads it: moments and days, digests shortened."""
    if _DIGEST.fullmatch(value):
        return f"{value[:_DIGEST_SHOWN]}…"
    try:
        moment = datetime.fromisoformat(value) if len(value) >= len("2026-11-24") else None
    except ValueError:
        return value
    if moment is None:
        return value
    return on_day(moment.date()) if len(value) == len("2026-11-24") else at_time(moment)


@register.filter
def clock(value: datetime) -> str:
    """Write the time of day alone."""
    return f"{timezone.localtime(value):%H:%M}"


@register.filter
def initials(value: object) -> str:
    """Shorten a person's name to its initials, for columns; the full name stands near by.

    Titles keep out of it: 'Dr Maren Oakholm' is MO.
    """
    words = [word for word in re.split(r"[\s-]+", str(value)) if word[:1].isalpha()]
    names = [word for word in words if word.rstrip(".").lower() not in _TITLES] or words
    return "".join(word[0].upper() for word in names)


_TITLES = frozenset({"dr", "prof", "mr", "mrs", "ms"})

STRIP_PX = (200.0, 22.0)


def stretched(picture: str) -> SafeString:
    """Let a drawing of our own fill its cell, whatever the row's height."""
    return mark_safe(picture.replace("<svg ", '<svg preserveAspectRatio="none" ', 1))  # noqa: S308


@register.simple_tag
def state(word: str) -> SafeString:
    """Write a state as its word with the drawn mark that belongs to it."""
    mark = _STATE_MARKS.get(word, "")
    return format_html('<span class="state{}">{}</span>', f" state--{mark}" if mark else "", word)


@register.simple_tag
def from_paper(run: Run) -> SafeString:
    """Mark a run whose readings are typed from paper; others have no mark."""
    if run.on_paper is None:
        return SafeString()
    return mark_safe('<span class="state state--paper">from paper</span>')


@register.simple_tag
def verdict(kind: str, words: str = "", side: str = "") -> SafeString:
    """Write a verdict tag: within, outside (with its side), undecided, untested or look."""
    return format_html(
        '<span class="verdict verdict--{}" data-side="{}">{}</span>', kind, side, words or kind
    )


_OUTCOMES: Mapping[str, tuple[str, str]] = {
    "conforms": ("within", "within"),
    "within": ("within", "within"),
    "does not conform": ("outside", "outside"),
    "outside": ("outside", "outside"),
    "undecided": ("undecided", "undecided"),
    "not decidable": ("undecided", "undecided"),
    "not determined": ("undecided", "undecided"),
    "not tested": ("untested", "not tested"),
    "untested": ("untested", "not tested"),
}


@register.simple_tag
def outcome(word: str) -> SafeString:
    """Write the outcome of a comparison as its verdict tag."""
    kind, said = _OUTCOMES.get(word.replace("_", " "), ("untested", word.replace("_", " ")))
    return verdict(kind, said)


@register.filter
def aperture(aperture_um: Decimal | None) -> str:
    """Write an aperture as the trade does."""
    return NOTHING if aperture_um is None else designation(aperture_um)


@register.filter
def words(value: str) -> str:
    """Write a name of our own as words."""
    return value.replace("_", " ")


@register.filter
def language_name(code: str) -> str:
    """Write a language of documents by its own name."""
    return LANGUAGES.get(code, code)


@register.simple_tag
def limits_strip(line: SpecificationLine) -> SafeString:
    """Draw a limit on the line from 0 to 100 %, without a measured value."""
    low, high, target = (
        None if limit is None else float(limit)
        for limit in (line.minimum, line.maximum, line.target)
    )
    name = aperture(line.aperture_um)
    return stretched(envelope_strip(Strip(name, None, low, high, target), *STRIP_PX))


@register.filter
def initial(value: str) -> str:
    """Begin a sentence with a capital; the rest stays as it is."""
    return value[:1].upper() + value[1:]


@dataclass(frozen=True)
class FieldLook:
    """What a field's template needs beyond what Django's bound field knows."""

    classes: str
    unit: str
    unit_width: int
    free: bool


@register.filter
def look_of(field: forms.BoundField) -> FieldLook:
    """Say how a field is drawn: its width, its unit, whether it may stay empty."""
    inner = field.field
    tick = isinstance(inner, forms.BooleanField)
    widths = ["tick"] if tick else [*getattr(inner, "look", "").split()]
    unit = getattr(inner, "unit", "")
    return FieldLook(
        classes=" ".join(f"field--{width}" for width in widths),
        unit=unit,
        unit_width=min(3, (len(unit) + 1) // 2),
        free=not (inner.required or tick or getattr(inner, "says_when", False)),
    )


@dataclass(frozen=True)
class ShownFault:
    """One line of the summary above a form."""

    label: str
    message: str
    target: str


@register.filter
def faults_of(form: forms.BaseForm) -> list[ShownFault]:
    """List every fault of a form, those of no field first."""
    return [
        _in_field(form, name, str(message))
        if name in form.fields
        else _on_page(getattr(form, "elsewhere", {}).get(str(message), ""), str(message))
        for name, messages in sorted(form.errors.items(), key=lambda item: item[0] != "__all__")
        for message in messages
    ]


def _in_field(form: forms.BaseForm, name: str, message: str) -> ShownFault:
    field = form[name]
    return ShownFault(str(field.label), message, field.id_for_label or field.auto_id)


#: A row of a run's sheet, by its name: what was weighed and at which place.
_ROW = re.compile(r"(.+?)-(\d+)")


def _on_page(place: str, message: str) -> ShownFault:
    """Lead to the row that a fault is about, where it is about one."""
    row = _ROW.fullmatch(place)
    if row is None:
        return ShownFault("", message, "")
    slot = row[1].replace("-", " ").capitalize()
    label = slot if row[2] == "0" else f"{slot} {row[2]}"
    return ShownFault(label, message, f"cell-{place}")


#: Numbers of samples, portions and runs, certificates, studies and blends, sieves; sizes.
_NUMBER = re.compile(
    r"\b(?:[A-Z]{1,3}\d{0,2}-|\d{2}-)\d{4,}(?:-[A-Z]+)?(?:/\d+)?|\b\d[\d.]* (?:µm|mm)\b"
)


@register.filter
def whole_numbers(text: object) -> SafeString:
    """Write a sentence so that no line ends within the number of a sample or run, or a size."""
    kept: list[SafeString] = []
    words, place = str(text), 0
    for found in _NUMBER.finditer(words):
        plain = words[place : found.start()]
        kept.append(format_html('{}<span class="nowrap">{}</span>', plain, found.group()))
        place = found.end()
    kept.append(format_html("{}", words[place:]))
    return mark_safe("".join(kept))  # noqa: S308 - every part was escaped


@register.filter
def coded(text: str) -> SafeString:
    """Set what stands between backticks as code, as the contract marks names and addresses.

    >>> coded("Send `If-Match` & wait.")
    'Send <code class="serial">If-Match</code> &amp; wait.'
    >>> coded("A ` alone stays.")
    'A ` alone stays.'
    """
    parts = re.split(r"`([^`\n]+)`", str(text))
    words = zip(parts[::2], [*parts[1::2], ""], strict=True)
    return format_html_join(
        "",
        "{}{}",
        ((plain, _code(name)) for plain, name in words),
    )


def _code(name: str) -> str:
    return format_html('<code class="serial">{}</code>', name) if name else ""
