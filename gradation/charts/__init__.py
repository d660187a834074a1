"""Drawings of gradations: one figure model, drawn for the screen or for paper.

Everything here takes plain data and returns text or plain dictionaries. Curves: `figure`,
`interactive` and `printed`; small pieces for tables: `strip`, `nest` and `thumbnail`.
"""
