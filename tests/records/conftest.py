"""The people whom the records are about."""

from tests.services.conftest import keeper, laboratory, reviewer, signatory, technician

__all__ = ["keeper", "laboratory", "reviewer", "signatory", "technician"]
