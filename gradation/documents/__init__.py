"""Documents on paper: content as data, drawn as HTML, printed as PDF.

Content is frozen data with every figure already rounded; a document made again from the same
content has the same bytes. Nothing here reads the database.
"""
