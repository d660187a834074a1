"""Printing in child processes with limits, so that no document can harm the process that asks.

`pool` is the side of the one who asks, `child` the program on the other side, `press` what it
prints with, `wire` how the two speak, `reading` how a file from outside is read.
"""
