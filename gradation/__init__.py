"""Particle-size testing by sieving, from the delivered sample to the certificate.

Imports point down only: web, api, management > services > documents > charts,
bench_io > queries > policy > models > errors > science.
"""

__version__ = "0.1.0"
