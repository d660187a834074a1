"""The nouns of the laboratory, one file per topic; constraints live in the database.

Public: every model named below. Models know their own row only: reads that join are in
`gradation.queries`, every write is in `gradation.services`.
"""

from gradation.models.certificates import Certificate
from gradation.models.equipment import Bench, Nest, NestSieve, Sieve, SieveCheck
from gradation.models.laboratory import Laboratory, OverdueRule
from gradation.models.parties import Customer, Material, Source
from gradation.models.people import Origin, User
from gradation.models.procedures import (
    Procedure,
    ProcedureAperture,
    ProcedureVersion,
    VersionState,
)
from gradation.models.records import ChainHead, Counter, LedgerEntry
from gradation.models.runs import Assessment, Result, Run, RunSieve, Weighing
from gradation.models.samples import Sample, TestPortion
from gradation.models.specifications import (
    DecisionRule,
    Specification,
    SpecificationLine,
    SpecificationVersion,
)

__all__ = [
    "Assessment",
    "Bench",
    "Certificate",
    "ChainHead",
    "Counter",
    "Customer",
    "DecisionRule",
    "Laboratory",
    "LedgerEntry",
    "Material",
    "Nest",
    "NestSieve",
    "Origin",
    "OverdueRule",
    "Procedure",
    "ProcedureAperture",
    "ProcedureVersion",
    "Result",
    "Run",
    "RunSieve",
    "Sample",
    "Sieve",
    "SieveCheck",
    "Source",
    "Specification",
    "SpecificationLine",
    "SpecificationVersion",
    "TestPortion",
    "User",
    "VersionState",
    "Weighing",
]
