"""The facts a certificate states beside its figures: laboratory, customer, sample, method."""

from __future__ import annotations

import base64
from collections.abc import Iterable, Sequence
from datetime import datetime
from decimal import Decimal
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as _noop

from gradation.documents import certificate_content as content
from gradation.language import localized
from gradation.models import (
    Customer,
    ExternalResult,
    Laboratory,
    ReportForm,
    Run,
    RunSieve,
    Sample,
    SamplingRecord,
    Weighing,
)
from gradation.queries.readings import latest_of
from gradation.science.apertures import designation
from gradation.science.rounding import Rounding, RoundingMode

__all__ = [
    "corrections_of",
    "customer_facts",
    "external_values",
    "form_facts",
    "laboratory_facts",
    "lines_of",
    "method_facts",
    "moment_text",
    "sample_facts",
]

_BASIS = {
    "initial_dry": _noop("Per cent of the dry mass before washing"),
    "sum_of_fractions": _noop("Per cent of the sum of the fractions"),
}
_ROUNDING = {
    RoundingMode.HALF_EVEN: _noop("halves to even"),
    RoundingMode.HALF_UP: _noop("halves up"),
}
_INTERPOLATION = {
    "log_linear": _noop("straight line on the logarithm of the aperture"),
    "linear": _noop("straight line on the aperture"),
    "pchip_log": _noop("monotone cubic on the logarithm of the aperture"),
    "log_probability": _noop("straight line on logarithmic probability paper"),
    "rrsb": _noop("straight line on RRSB paper"),
}
_SAMPLED_BY = (_noop("customer"), _noop("laboratory"), _noop("not stated"))
_SUPPLIED = ("description", "lot", "source", "sampled_on", "sampled_by", "sampling_method")


def laboratory_facts(laboratory: Laboratory, places: Sequence[str]) -> content.Laboratory:
    """Give the laboratory as it stands; the place of work is every place where a run was made."""
    return content.Laboratory(
        name=laboratory.name,
        address=tuple(laboratory.address.splitlines()),
        place_of_work="; ".join(dict.fromkeys(places)) or laboratory.work_place,
        time_zone=laboratory.time_zone,
        accreditation=laboratory.accreditation,
        contact=laboratory.contact,
    )


def customer_facts(customer: Customer, order_reference: str) -> content.Customer:
    """Give the customer as it stands."""
    return content.Customer(
        name=customer.name,
        contact=customer.contact_name or customer.email,
        address=tuple(customer.address.splitlines()),
        order_reference=order_reference,
    )


def form_facts(form: ReportForm) -> content.ReportForm:
    """Give the report form as it stands, with its picture."""
    logo = ""
    if form.logo:
        logo = f"data:{form.logo_type};base64,{base64.b64encode(bytes(form.logo)).decode()}"
    return content.ReportForm(
        name=form.name,
        paper=form.paper,
        columns=tuple(form.columns),
        logo=logo,
        is_simplified=form.is_simplified,
        agreement=form.agreement,
    )


def sample_facts(sample: Sample, zone: ZoneInfo) -> content.SampleItem:
    """Give the sample; what the customer said of it is marked, what we sampled has its record."""
    by_laboratory = sample.sampled_by == Sample.SampledBy.LABORATORY
    record = SamplingRecord.objects.filter(sample=sample).first() if by_laboratory else None
    sampled_on = _day(sample.sampled_at, zone) or _("not stated")
    return content.SampleItem(
        number=sample.number,
        description=sample.description or sample.material.name,
        material=sample.material.name,
        source=str(sample.source) if sample.source else "",
        lot=sample.lot,
        condition_on_receipt=sample.condition,
        sampled_on=record.sampled_on.isoformat() if record else sampled_on,
        sampled_by=", ".join(filter(None, [sample.sampler_name, _(sample.sampled_by)])),
        sampling_method=record.plan if record else sample.sampling_method or _("not stated"),
        received_on=_day(sample.received_at, zone),
        sampled_by_laboratory=by_laboratory,
        sampling_place=record.place if record else "",
        sampling_conditions=record.conditions if record else "",
        sampled_item=record.item if record else "",
        sampling_uncertainty=record.uncertainty if record else "",
        supplied_by_customer=() if by_laboratory else _supplied(sample),
    )


def _supplied(sample: Sample) -> tuple[str, ...]:
    """Name what is stated on the customer's word alone."""
    said = {
        "description": sample.description,
        "lot": sample.lot,
        "source": sample.source,
        "sampled_on": sample.sampled_at,
        "sampled_by": sample.sampler_name or sample.sampled_by,
        "sampling_method": sample.sampling_method,
    }
    return tuple(name for name in _SUPPLIED if said[name])


def method_facts(run: Run, rounding: Rounding) -> content.Method:
    """Give the method with the edition that the run was made by."""
    procedure = run.procedure_version
    return content.Method(
        reference=procedure.standard_reference,
        edition=procedure.edition,
        title=f"{procedure}: {procedure.procedure.title}",
        basis=_(_BASIS[procedure.basis]),
        loss_treatment=_("stated, not distributed; tolerance %(limit)s %%")
        % {"limit": localized(_plain(procedure.loss_limit_pct))},
        rounding=_rounding_words(rounding),
        interpolation=_(_INTERPOLATION[procedure.interpolation]),
    )


def _rounding_words(rounding: Rounding) -> str:
    words = [_("to %(step)s %%") % {"step": _step(rounding.passing_decimals)}]
    words += [
        _("%(size)s below %(below)s %% to %(step)s %%")
        % {
            "size": localized(designation(rule.aperture_um)),
            "below": localized(_plain(rule.below_pct)),
            "step": _step(rule.decimals),
        }
        for rule in rounding.finer
    ]
    return ", ".join([*words, _(_ROUNDING[rounding.mode])])


def _step(decimals: int) -> str:
    return localized(str(Decimal(1).scaleb(-decimals)))


def _plain(value: Decimal) -> str:
    return f"{value.normalize():f}"


def external_values(
    rows: Iterable[ExternalResult], *, names_sample: bool
) -> tuple[content.Characteristic, ...]:
    """Give the results of other laboratories, each marked on its own row (7.8.2.1 p)."""
    return tuple(
        content.Characteristic(
            name=row.name,
            value=row.value,
            unit=row.unit,
            formula=_("%(method)s, by %(provider)s, report %(report)s")
            % {"method": row.method, "provider": row.provider, "report": row.report},
            uncertainty=row.uncertainty,
            external=True,
            provider=row.provider,
            run=row.sample.number if names_sample else "",
        )
        for row in rows
    )


def lines_of(texts: Iterable[str]) -> list[str]:
    """Give the lines of texts that say something."""
    return [line for text in texts for line in text.splitlines() if line.strip()]


def corrections_of(runs: Sequence[Run], zone: ZoneInfo) -> Iterable[content.Correction]:
    """Give every reading that was changed after its first entry."""
    for run in runs:
        rows = list(run.weighings.all())
        places = {place.position: place for place in run.places.all()}
        for last in latest_of(rows):
            if last.revision > 1:
                first = next(row for row in rows if _same_place(row, last) and row.revision == 1)
                yield content.Correction(
                    what=f"{run}: {_place_words(last, places)}",
                    first_value=f"{localized(str(first.mass_as_entered))} g",
                    value=f"{localized(str(last.mass_as_entered))} g",
                    changed_by=last.made_by.full_name,
                    changed_at=moment_text(last.made_at, zone),
                    reason=last.reason,
                )


def _same_place(one: Weighing, other: Weighing) -> bool:
    return (one.slot, one.position, one.increment) == (other.slot, other.position, other.increment)


def _place_words(weighing: Weighing, places: dict[int, RunSieve]) -> str:
    more = weighing.increment > 1
    further = _(", increment %(number)s") % {"number": weighing.increment} if more else ""
    slot = _(weighing.slot)
    if weighing.position not in places:
        return f"{slot}{further}"
    size = localized(places[weighing.position].sieve.designation)
    if weighing.slot == Weighing.Slot.FRACTION:
        return _("mass on %(sieve)s") % {"sieve": size} + further
    return f"{slot}, {size}{further}"


_SLOTS = (
    _noop("dry mass"),
    _noop("dry mass after washing"),
    _noop("pan"),
    _noop("passing at split"),
    _noop("reduced at split"),
    _noop("washed at split"),
    _noop("passed at end point"),
)


def moment_text(moment: datetime, zone: ZoneInfo) -> str:
    """Write a moment in the laboratory's zone, with its offset."""
    return moment.astimezone(zone).isoformat(timespec="minutes")


def _day(moment: datetime | None, zone: ZoneInfo) -> str:
    return moment.astimezone(zone).date().isoformat() if moment else ""
