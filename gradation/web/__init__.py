"""The pages: each view parses a form, calls one service or query, and renders.

Nothing here computes a figure of the trade or writes a row. Refusals from below are translated in
one place (`refusals`, `middleware`): beside the field when a form was sent, else as a page.
"""
