"""Tables of runs and orders, as the forms of `factories` describe them."""

RUN_HEADINGS = (
    *("Reference", "Date", "Technician", "Dry mass"),
    *("4 mm", "1 mm", "250 µm", "Pan", "Remarks"),
)


def runs_table(*rows: str) -> bytes:
    """Write rows under the headings of `make_sheet_form`, as a spreadsheet saves them."""
    return "\n".join([";".join(RUN_HEADINGS), *rows]).encode()


ORDER_HEADINGS = (
    *("Order", "Client", "Product", "Pit", "Batch", "Sampled", "Received"),
    *("Mass", "Due", "Remarks"),
)


def orders_table(*rows: str) -> bytes:
    """Write rows under the headings of `make_order_form`, as a spreadsheet saves them."""
    return "\n".join([";".join(ORDER_HEADINGS), *rows]).encode()
