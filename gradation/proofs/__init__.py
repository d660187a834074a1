"""Hash chains and Merkle trees: what proves that records are as they were written.

Only the standard library and nothing of this program is used here, so that the very same files can
travel with an audit pack and prove its records where Gradation is not installed.
"""
