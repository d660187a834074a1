"""Commands: read the arguments, call one service or calculation, print."""
