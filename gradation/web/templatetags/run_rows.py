"""Pieces of a run's rows, written alike by the page and by the answer to a reading."""

from __future__ import annotations

from django import template
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from gradation.web.run_sheet.rows import Offer, Row
from gradation.web.templatetags.notebook import verdict

register = template.Library()
NOTHING = SafeString("")


@register.simple_tag
def row_offers(row: Row, writes: bool) -> SafeString:
    """Write what is remarked on a row, and what can be done there by who may write."""
    remark = (
        format_html('<span class="fine remark">{}</span>', row.remark) if row.remark else NOTHING
    )
    if not writes or not row.offers:
        return remark
    links = format_html_join("", "{}", ((_link(row, offer),) for offer in row.offers))
    return format_html('{}<span class="offers fine">{}</span>', remark, links)


def _link(row: Row, offer: Offer) -> SafeString:
    """Write an offer; one that adds a row says before which row."""
    if not offer.is_row:
        return format_html('<a href="{}">{}</a>', offer.url, offer.words)
    above = f"fraction-{row.place.position}" if row.place.sieve else row.name
    return format_html('<a href="{}" data-before="{}-end">{}</a>', offer.url, above, offer.words)


@register.simple_tag
def row_load(row: Row, writes: bool) -> SafeString:
    """Write that a sieve is nearly full or overloaded, and the remedies to who may write."""
    load = row.load
    if load is None:
        return NOTHING
    said: SafeString = verdict("look", load.words)
    remedies = format_html(" <span>{}</span>", load.remedies) if writes else NOTHING
    offers = load.offers if writes else ()
    links = format_html_join("", ' <a href="{}">{}</a>', ((it.url, it.words) for it in offers))
    over = " load--over" if load.is_over else ""
    return format_html('<p class="load{}">{}{}{}</p>', over, said, remedies, links)


@register.simple_tag
def row_verdict(row: Row) -> SafeString:
    """Write the verdict of a row, where there is one."""
    if row.verdict is None:
        return NOTHING
    said: SafeString = verdict(row.verdict.kind, row.verdict.words, row.verdict.side)
    return said
