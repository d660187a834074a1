"""Reads that screens, API, documents and services share. Nothing here writes.

Lists come as pages of frozen dataclasses or querysets with their joins made, so that a page costs
the same number of queries for ten rows as for a thousand. Where a person may see only some rows,
`visible_to` decides, and "absent" and "not yours" answer alike.
"""
