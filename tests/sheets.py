"""Tables of runs that were recorded elsewhere, as `factories.make_sheet_form` describes them."""

RUN_HEADINGS = (
    *("Reference", "Date", "Technician", "Dry mass"),
    *("4 mm", "1 mm", "250 µm", "Pan", "Remarks"),
)


def runs_table(*rows: str) -> bytes:
    """Write rows under the headings of `make_sheet_form`, as a spreadsheet saves them."""
    return "\n".join([";".join(RUN_HEADINGS), *rows]).encode()
