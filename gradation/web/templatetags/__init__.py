"""Template tags of the web area; the one library is `notebook`."""
