"""From the records to the content of a certificate: everything it prints, as of now."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import groupby
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as _noop

from gradation import __version__
from gradation.documents import certificate_content as content
from gradation.documents.certificate_content import CertificateContent
from gradation.documents.content_changes import changes_between
from gradation.errors import Invalid
from gradation.language import speaking
from gradation.models import (
    Certificate,
    ExternalResult,
    Laboratory,
    ReportForm,
    Sample,
    SampleHold,
    SpecificationVersion,
)
from gradation.queries.certificates import runs_of_samples
from gradation.queries.determination_set import determinations_of
from gradation.queries.report_forms import form_of
from gradation.services.certificate_facts import (
    corrections_of,
    customer_facts,
    external_values,
    form_facts,
    laboratory_facts,
    lines_of,
    method_facts,
    moment_text,
    sample_facts,
)
from gradation.services.certificate_tables import (
    days_of_work,
    mean_table,
    place_of,
    result_table,
    table_label,
)
from gradation.services.certificate_values import characteristic_values
from gradation.services.certificate_verdicts import (
    Computed,
    computed_run,
    conformity_of,
    record_of,
    why_stated,
)

__all__ = ["Signing", "certificate_content", "draft_content"]


@dataclass(frozen=True)
class Signing:
    """Who signs, when, meaning what."""

    name: str
    at: datetime
    meaning: str


@dataclass(frozen=True)
class _Drawing:
    """What a certificate is drawn up from."""

    certificate: Certificate
    laboratory: Laboratory
    form: ReportForm
    samples: Sequence[Sample]
    computed: Sequence[Computed]

    @property
    def zone(self) -> ZoneInfo:
        """Give the laboratory's time zone."""
        return ZoneInfo(self.laboratory.time_zone)

    @property
    def has_several_runs(self) -> bool:
        """Say whether values must name their run."""
        return len(self.computed) > 1


def certificate_content(
    certificate: Certificate, signing: Signing | None, form: ReportForm | None = None
) -> CertificateContent:
    """Draw up the content of a certificate from its runs; unsigned it is a marked draft.

    It is written in the language of its report form; `form` shows it on another one.
    """
    form = form or form_of(certificate)
    with speaking(form.language):
        drawing = _drawing(certificate, form)
        drawn = _drawn(drawing, signing)
        drawn = replace(drawn, statements=content.standard_statements(drawn))
        return replace(drawn, amendment=_amendment(certificate, drawn))


def draft_content(certificate: Certificate, form: ReportForm | None = None) -> CertificateContent:
    """Give the content of a draft as it would be issued now: unsigned, unnumbered, marked."""
    return certificate_content(certificate, None, form)


def _drawing(certificate: Certificate, form: ReportForm) -> _Drawing:
    samples = [certificate.sample, *certificate.further_samples.order_by("id")]
    chosen = set(certificate.runs.values_list("pk", flat=True))
    order = {sample.pk: place for place, sample in enumerate(samples)}
    rows = sorted(runs_of_samples(samples), key=lambda run: order[run.portion.sample_id])
    runs = [run for run in rows if run.pk in chosen]
    if not runs:
        msg = "The runs of this draft are no longer accepted. Discard it and draft anew."
        raise Invalid.one("runs", msg, code="not-accepted")
    computed = [computed_run(run, form) for run in runs]
    return _Drawing(certificate, Laboratory.objects.get(), form, samples, computed)


def _drawn(drawing: _Drawing, signing: Signing | None) -> CertificateContent:
    certificate, laboratory, zone = drawing.certificate, drawing.laboratory, drawing.zone
    runs = [each.run for each in drawing.computed]
    days = [day for run in runs for day in days_of_work(run, zone)]
    sample, form = certificate.sample, drawing.form
    stated = why_stated(drawing.computed, form, asked=certificate.uncertainty_asked)
    first = drawing.computed[0]
    return CertificateContent(
        title=form.title or _said(laboratory.certificate_title),
        number=certificate.number or "",
        version=_version(certificate),
        draft=signing is None,
        laboratory=laboratory_facts(
            laboratory, [place_of(run, laboratory.work_place) for run in runs]
        ),
        customer=customer_facts(sample.customer, sample.customer_reference),
        sample=sample_facts(sample, zone),
        method=method_facts(first.run, first.worksheet.rounding),
        results=tuple(_tables(drawing, states_uncertainty=bool(stated))),
        tested_first=min(days).isoformat(),
        tested_last=max(days).isoformat(),
        issued_at=moment_text(signing.at, zone) if signing else "",
        software_version=__version__,
        science_version=first.result.science_version,
        verification_code=certificate.verification_code,
        language=form.language,
        chart=content.Chart(form.scale, form.direction, form.retained_axis),
        characteristics=tuple(_values(drawing, states_uncertainty=bool(stated))),
        conformity=tuple(conformity_of(drawing.computed, _further_specifications(certificate))),
        uncertainty_statement=stated,
        deviations=(*_answered_doubts(drawing), *lines_of(run.deviations for run in runs)),
        remarks=tuple(lines_of([certificate.remarks])),
        corrections=tuple(corrections_of(runs, zone)),
        omissions=tuple(_omissions(certificate)),
        opinions=tuple(_opinions(certificate)),
        signatures=_signatures(signing, zone),
        report_form=form_facts(form),
        runs=tuple(record_of(each, table_label(each.run)) for each in drawing.computed),
        further_samples=tuple(sample_facts(each, zone) for each in drawing.samples[1:]),
        required_items=_required(drawing),
    )


def _answered_doubts(drawing: _Drawing) -> Iterator[str]:
    """Say of each doubt that was answered before the work what the customer was told and answered.

    ISO/IEC 17025:2017, 7.4.3: a report says which results such a departure may affect.
    """
    began = min(each.run.opened_at for each in drawing.computed)
    queries = SampleHold.objects.filter(
        sample__in=drawing.samples, cause=SampleHold.Cause.QUERY, lifted_at__lte=began
    )
    for query in queries.select_related("sample"):
        yield _(
            "Sample %(sample)s was in doubt when it was received: %(doubt)s The customer was asked "
            "and answered: %(answer)s All results of this sample may be affected."
        ) % {"sample": query.sample, "doubt": query.reason, "answer": query.lift_reason}


def _required(drawing: _Drawing) -> tuple[str, ...]:
    demanded = [*drawing.form.required_items]
    for each in drawing.computed:
        demanded += each.run.procedure_version.report_items
    return tuple(dict.fromkeys(demanded))


def _tables(drawing: _Drawing, *, states_uncertainty: bool) -> Iterator[content.ResultTable]:
    """Give a table for each run, and after those of one sample their mean."""
    work_place = drawing.laboratory.work_place
    by_sample = groupby(drawing.computed, key=lambda each: each.run.portion.sample_id)
    for _key, group in by_sample:
        computed = list(group)
        for each in computed:
            yield result_table(
                each, drawing.zone, work_place, states_uncertainty=states_uncertainty
            )
        counting = [each for each in computed if each.run.counts]
        mean = mean_table(counting) if _reports_mean(counting) else None
        if mean is not None:
            yield mean


def _reports_mean(counting: Sequence[Computed]) -> bool:
    if len(counting) < 2:
        return False
    return determinations_of(counting[0].run.portion.sample).reports == "mean"


def _values(drawing: _Drawing, *, states_uncertainty: bool) -> Iterator[content.Characteristic]:
    """Give each run's characteristic values, then what other laboratories found."""
    for each in drawing.computed:
        yield from characteristic_values(
            each.values,
            run=str(each.run) if drawing.has_several_runs else "",
            sizes_um=each.uncertainty.sizes_um if states_uncertainty else None,
        )
    rows = ExternalResult.objects.filter(sample__in=drawing.samples).select_related("sample")
    yield from external_values(rows, names_sample=drawing.has_several_runs)


def _further_specifications(certificate: Certificate) -> list[SpecificationVersion]:
    rows = certificate.further_specifications.select_related("specification")
    return list(rows.prefetch_related("lines").order_by("id"))


def _version(certificate: Certificate) -> int:
    version, former = 1, certificate.amends
    while former is not None:
        version, former = version + 1, former.amends
    return version


def _omissions(certificate: Certificate) -> Iterable[content.Omission]:
    for row in certificate.omissions.select_related("authorised_by"):
        yield content.Omission(row.item, row.authorised_by.full_name, row.reason)


def _opinions(certificate: Certificate) -> Iterable[content.Opinion]:
    for row in certificate.opinions.select_related("given_by"):
        yield content.Opinion(row.text, row.given_by.full_name, row.basis)


def _signatures(signing: Signing | None, zone: ZoneInfo) -> tuple[content.Signature, ...]:
    if signing is None:
        return ()
    role, at = _("authorised signatory"), moment_text(signing.at, zone)
    return (content.Signature(signing.name, role, at, _said(signing.meaning)),)


#: Words of the laboratory that have their place in the catalogues; others are printed as typed.
_KNOWN = (
    _noop("Authorised for issue: I have reviewed the records behind these results."),
    _noop("Certificate of analysis: particle size by sieving"),
)


def _said(words: str) -> str:
    return _(words) if words in _KNOWN else words


def _amendment(certificate: Certificate, drawn: CertificateContent) -> content.Amendment | None:
    former = certificate.amends
    if former is None:
        return None
    old = CertificateContent.from_json(_stored(former))
    return content.Amendment(
        replaces=former.number or "",
        replaced_issued_on=old.issued_at[:10],
        reason=certificate.reason,
        changes=changes_between(old, drawn),
    )


def _stored(former: Certificate) -> str:
    return json.dumps(former.content, ensure_ascii=False)
