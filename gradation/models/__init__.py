"""The nouns of the laboratory, one file per topic; constraints live in the database.

Public: every model named below. Models know their own row only: reads that join are in
`gradation.queries`, every write is in `gradation.services`.
"""

from gradation.models.balances import BalanceLink, BalanceReading, BenchPlace
from gradation.models.blends import BlendRecord
from gradation.models.certificate_acts import (
    AskTally,
    CertificateMail,
    CertificateSignature,
    IssueBatch,
    IssueBatchItem,
    PolicyAcceptance,
    SigningPolicy,
)
from gradation.models.certificates import (
    Certificate,
    CertificateOmission,
    CertificateOpinion,
    ExternalResult,
)
from gradation.models.charts import ChartNote, ControlChart, FrozenLimits, ResultFigure
from gradation.models.checks import Attachment, Check, ReferenceLot, Tare
from gradation.models.competence import Competence
from gradation.models.doors import (
    PersonSession,
    RecoveryCode,
    SecondFactor,
    SetUpCode,
    SignInTally,
)
from gradation.models.drying import Drying, DryingContainer, DryingMass
from gradation.models.equipment import Bench, Equipment, Nest, NestSieve, Sieve
from gradation.models.impact import ImpactAssessment, ImpactDecision
from gradation.models.imports import RunImport, SheetForm
from gradation.models.instruments import Instrument, RunInstrument
from gradation.models.interface import InterfaceKey, InterfaceUse
from gradation.models.laboratory import Laboratory, OverdueRule
from gradation.models.operations import Incident, Maintenance
from gradation.models.parties import Customer, Material, Source
from gradation.models.people import Origin, User
from gradation.models.procedures import (
    EditionDecision,
    EndPointForm,
    OnDisagreement,
    OutlierRule,
    Procedure,
    ProcedureAperture,
    ProcedureVersion,
    VersionState,
)
from gradation.models.records import ChainHead, Counter, LedgerEntry, Seal, SealedHead
from gradation.models.report_forms import Language, Paper, ReportForm
from gradation.models.reviews import TrailReview
from gradation.models.run_checks import (
    RunCheckAnswer,
    RunCheckFinding,
    RunCheckPolicy,
    Severity,
    Stage,
)
from gradation.models.runs import Assessment, Result, Run, RunSieve, Shaking, Weighing
from gradation.models.samples import Division, Sample, SampleHold, SamplingRecord, TestPortion
from gradation.models.specifications import (
    DecisionRule,
    LotRule,
    Specification,
    SpecificationLine,
    SpecificationVersion,
)
from gradation.models.studies import Study, StudyFollowUp
from gradation.models.tokens import ApiToken, Scope
from gradation.models.transcriptions import PaperComparison, Scan, Transcription
from gradation.models.webhooks import Announcement, Delivery, DeliveryTry, Event, Webhook

__all__ = [
    "Announcement",
    "ApiToken",
    "AskTally",
    "Assessment",
    "Attachment",
    "BalanceLink",
    "BalanceReading",
    "Bench",
    "BenchPlace",
    "BlendRecord",
    "Certificate",
    "CertificateMail",
    "CertificateOmission",
    "CertificateOpinion",
    "CertificateSignature",
    "ChainHead",
    "ChartNote",
    "Check",
    "Competence",
    "ControlChart",
    "Counter",
    "Customer",
    "DecisionRule",
    "Delivery",
    "DeliveryTry",
    "Division",
    "Drying",
    "DryingContainer",
    "DryingMass",
    "EditionDecision",
    "EndPointForm",
    "Equipment",
    "Event",
    "ExternalResult",
    "FrozenLimits",
    "ImpactAssessment",
    "ImpactDecision",
    "Incident",
    "Instrument",
    "InterfaceKey",
    "InterfaceUse",
    "IssueBatch",
    "IssueBatchItem",
    "Laboratory",
    "Language",
    "LedgerEntry",
    "LotRule",
    "Maintenance",
    "Material",
    "Nest",
    "NestSieve",
    "OnDisagreement",
    "Origin",
    "OutlierRule",
    "OverdueRule",
    "Paper",
    "PaperComparison",
    "PersonSession",
    "PolicyAcceptance",
    "Procedure",
    "ProcedureAperture",
    "ProcedureVersion",
    "RecoveryCode",
    "ReferenceLot",
    "ReportForm",
    "Result",
    "ResultFigure",
    "Run",
    "RunCheckAnswer",
    "RunCheckFinding",
    "RunCheckPolicy",
    "RunImport",
    "RunInstrument",
    "RunSieve",
    "Sample",
    "SampleHold",
    "SamplingRecord",
    "Scan",
    "Scope",
    "Seal",
    "SealedHead",
    "SecondFactor",
    "SetUpCode",
    "Severity",
    "Shaking",
    "SheetForm",
    "Sieve",
    "SignInTally",
    "SigningPolicy",
    "Source",
    "Specification",
    "SpecificationLine",
    "SpecificationVersion",
    "Stage",
    "Study",
    "StudyFollowUp",
    "Tare",
    "TestPortion",
    "TrailReview",
    "Transcription",
    "User",
    "VersionState",
    "Webhook",
    "Weighing",
]
