"""The nouns of the laboratory, one file per topic; constraints live in the database.

Public: every model named below. Models know their own row only: reads that join are in
`gradation.queries`, every write is in `gradation.services`.
"""

from gradation.models.certificates import Certificate
from gradation.models.checks import Attachment, Check, ReferenceLot, Tare
from gradation.models.equipment import Bench, Equipment, Nest, NestSieve, Sieve
from gradation.models.impact import ImpactAssessment, ImpactDecision
from gradation.models.instruments import Instrument, RunInstrument
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
    "Attachment",
    "Bench",
    "Certificate",
    "ChainHead",
    "Check",
    "Counter",
    "Customer",
    "DecisionRule",
    "Equipment",
    "ImpactAssessment",
    "ImpactDecision",
    "Instrument",
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
    "ReferenceLot",
    "Result",
    "Run",
    "RunInstrument",
    "RunSieve",
    "Sample",
    "Sieve",
    "Source",
    "Specification",
    "SpecificationLine",
    "SpecificationVersion",
    "Tare",
    "TestPortion",
    "User",
    "VersionState",
    "Weighing",
]
