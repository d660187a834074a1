"""One module of views per area; each view parses, calls one service or query, and renders."""
