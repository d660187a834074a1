"""Records taken out: which table, in which form, of which period."""

from __future__ import annotations

from datetime import datetime, time, timedelta
from typing import ClassVar

from django.utils.timezone import get_current_timezone

from gradation.documents.table_files import MEDIA_TYPES
from gradation.queries.exports import Table, Wanted
from gradation.queries.laboratory import customer_list, material_list
from gradation.web.forms.base import DayField, NotebookForm, RowField, WordChoiceField

TABLE_WORDS = {
    Table.SAMPLES: "samples",
    Table.RUNS: "runs",
    Table.RESULTS_LONG: "results, one row a figure",
    Table.RESULTS_WIDE: "results, one row a run",
}
FORM_WORDS = {"csv": "CSV", "xlsx": "workbook (XLSX)", "json": "JSON", "parquet": "Parquet"}


class ExportForm(NotebookForm):
    """What is taken out."""

    table = WordChoiceField("Table", [(table.value, words) for table, words in TABLE_WORDS.items()])
    form = WordChoiceField("Form", [(form, FORM_WORDS[form]) for form in MEDIA_TYPES])
    first_day = DayField("First day", required=False, help_text="Of receipt or of the run.")
    last_day = DayField("Last day", required=False)
    material = RowField("Material", material_list, required=False)
    customer = RowField("Customer", customer_list, required=False)

    groups: ClassVar[tuple[tuple[str, tuple[str, ...]], ...]] = (
        ("What", ("table", "form")),
        ("Only", ("first_day", "last_day", "material", "customer")),
    )

    def wanted(self) -> Wanted:
        """Give the query what was asked for; days are the laboratory's."""
        told, zone = self.cleaned_data, get_current_timezone()
        first, last = told["first_day"], told["last_day"]
        return Wanted(
            since=datetime.combine(first, time(), zone) if first else None,
            until=datetime.combine(last + timedelta(days=1), time(), zone) if last else None,
            material=told["material"],
            customer=told["customer"],
        )
