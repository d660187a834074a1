"""The REST interface: parse, call one service or query, render. Prefix `api/v1/`."""
