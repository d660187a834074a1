"""Who may do what: the whole permission matrix, and nothing else.

Roles are Django groups; one person may hold several. Every service asks `require`, every screen
asks `may` to decide what to offer. Object rules (a customer sees only its own samples) are in
`gradation.queries`, where "absent" and "not yours" answer alike.
"""

from __future__ import annotations

from enum import StrEnum

from gradation.errors import NotAllowed
from gradation.models import Run, User

__all__ = ["Action", "Role", "is_customer", "may", "may_review", "require"]


class Role(StrEnum):
    """Groups of people, as the laboratory names them."""

    TECHNICIAN = "technician"
    REVIEWER = "reviewer"
    SIGNATORY = "authorised signatory"
    EQUIPMENT_KEEPER = "equipment keeper"
    QUALITY_MANAGER = "quality manager"
    AUDITOR = "auditor"
    CUSTOMER = "customer"


class Action(StrEnum):
    """Acts, as a sentence would name them."""

    READ_RECORDS = "read the laboratory's records"
    READ_OWN_SAMPLES = "read their own samples"
    LOG_SAMPLE = "log a sample"
    CHANGE_SAMPLE = "change a sample"
    CLOSE_SAMPLE = "close a sample"
    PREPARE_PORTION = "prepare a test portion"
    RECORD_RUN = "record a run"
    SEND_BALANCE_READINGS = "send the readings of a balance"
    IMPORT_RUNS = "import runs recorded elsewhere"
    COMPARE_WITH_PAPER = "compare a run with the paper it was typed from"
    REVIEW_RUN = "review a run"
    DRAFT_CERTIFICATE = "draft a certificate"
    ISSUE_CERTIFICATE = "issue a certificate"
    LEAVE_OUT_ITEM = "leave an item out of a certificate"
    GIVE_OPINION = "give an opinion on a certificate"
    ENTER_EXTERNAL_RESULT = "enter a result of an external provider"
    RECORD_SAMPLING = "record how a sample was taken"
    KEEP_REPORT_FORMS = "keep report forms"
    WITHDRAW_CERTIFICATE = "withdraw a certificate"
    SEND_CERTIFICATE = "send a certificate to its customer"
    ACCEPT_SIGNING_POLICY = "accept the signing policy"
    SET_SIGNING_POLICY = "set the signing policy"
    KEEP_EQUIPMENT = "keep the equipment file"
    OPEN_IMPACT = "open an impact assessment"
    ASSESS_IMPACT = "decide and close an impact assessment"
    SEND_DUE_DIGEST = "send the keepers what is due"
    KEEP_PARTIES = "keep customers, sources and materials"
    KEEP_PROCEDURES = "keep procedures"
    APPROVE_PROCEDURES = "approve procedures"
    KEEP_SPECIFICATIONS = "keep specifications"
    APPROVE_SPECIFICATIONS = "approve specifications"
    KEEP_CHARTS = "keep control charts and freeze their limits"
    ANSWER_POINT = "answer a point out of control"
    KEEP_BLENDS = "keep the calculation of a blend"
    KEEP_STUDIES = "keep studies of precision and comparison"
    SET_POLICY = "set the laboratory's policies"
    MANAGE_PEOPLE = "manage people and their roles"
    MANAGE_TOKENS = "make and revoke the tokens of client systems"
    MANAGE_WEBHOOKS = "keep the webhooks that tell other systems"
    EXPORT_RECORDS = "export records"
    EXPORT_HISTORY = "export a history"
    SEAL_RECORDS = "seal the records"
    HOLD_SAMPLE = "hold what is left of a sample, or let it go"
    KEEP_OWN_ACCOUNT = "keep their own account"
    READ_OPERATIONS = "read how the installation runs"
    CLOSE_INCIDENTS = "close incidents"
    KEEP_INSTALLATION = "back up, restore and upgrade the installation"


_STAFF = frozenset(
    {
        Role.TECHNICIAN,
        Role.REVIEWER,
        Role.SIGNATORY,
        Role.EQUIPMENT_KEEPER,
        Role.QUALITY_MANAGER,
        Role.AUDITOR,
    }
)

_MATRIX: dict[Action, frozenset[Role]] = {
    Action.READ_RECORDS: _STAFF,
    Action.READ_OWN_SAMPLES: _STAFF | {Role.CUSTOMER},
    Action.LOG_SAMPLE: frozenset({Role.TECHNICIAN, Role.QUALITY_MANAGER}),
    Action.CHANGE_SAMPLE: frozenset({Role.TECHNICIAN, Role.QUALITY_MANAGER}),
    Action.CLOSE_SAMPLE: frozenset({Role.TECHNICIAN, Role.QUALITY_MANAGER}),
    Action.PREPARE_PORTION: frozenset({Role.TECHNICIAN}),
    Action.RECORD_RUN: frozenset({Role.TECHNICIAN}),
    Action.SEND_BALANCE_READINGS: frozenset({Role.TECHNICIAN, Role.EQUIPMENT_KEEPER}),
    Action.IMPORT_RUNS: frozenset({Role.TECHNICIAN, Role.QUALITY_MANAGER}),
    Action.COMPARE_WITH_PAPER: frozenset({Role.TECHNICIAN, Role.REVIEWER}),
    Action.REVIEW_RUN: frozenset({Role.REVIEWER}),
    Action.DRAFT_CERTIFICATE: frozenset({Role.REVIEWER, Role.SIGNATORY}),
    Action.ISSUE_CERTIFICATE: frozenset({Role.SIGNATORY}),
    Action.LEAVE_OUT_ITEM: frozenset({Role.SIGNATORY}),
    Action.GIVE_OPINION: frozenset({Role.SIGNATORY}),
    Action.ENTER_EXTERNAL_RESULT: frozenset({Role.TECHNICIAN, Role.QUALITY_MANAGER}),
    Action.RECORD_SAMPLING: frozenset({Role.TECHNICIAN, Role.QUALITY_MANAGER}),
    Action.KEEP_REPORT_FORMS: frozenset({Role.QUALITY_MANAGER, Role.SIGNATORY}),
    Action.WITHDRAW_CERTIFICATE: frozenset({Role.SIGNATORY}),
    Action.SEND_CERTIFICATE: frozenset({Role.REVIEWER, Role.SIGNATORY}),
    Action.ACCEPT_SIGNING_POLICY: frozenset({Role.SIGNATORY}),
    Action.SET_SIGNING_POLICY: frozenset({Role.QUALITY_MANAGER}),
    Action.KEEP_EQUIPMENT: frozenset({Role.EQUIPMENT_KEEPER}),
    Action.OPEN_IMPACT: frozenset({Role.EQUIPMENT_KEEPER, Role.QUALITY_MANAGER}),
    Action.ASSESS_IMPACT: frozenset({Role.QUALITY_MANAGER}),
    Action.SEND_DUE_DIGEST: frozenset({Role.EQUIPMENT_KEEPER, Role.QUALITY_MANAGER}),
    Action.KEEP_PARTIES: frozenset({Role.TECHNICIAN, Role.QUALITY_MANAGER}),
    Action.KEEP_PROCEDURES: frozenset({Role.QUALITY_MANAGER}),
    Action.APPROVE_PROCEDURES: frozenset({Role.QUALITY_MANAGER, Role.SIGNATORY}),
    Action.KEEP_SPECIFICATIONS: frozenset({Role.QUALITY_MANAGER}),
    Action.APPROVE_SPECIFICATIONS: frozenset({Role.QUALITY_MANAGER, Role.SIGNATORY}),
    Action.KEEP_CHARTS: frozenset({Role.QUALITY_MANAGER}),
    Action.ANSWER_POINT: frozenset({Role.REVIEWER, Role.QUALITY_MANAGER}),
    Action.KEEP_BLENDS: frozenset({Role.TECHNICIAN, Role.REVIEWER, Role.QUALITY_MANAGER}),
    Action.KEEP_STUDIES: frozenset({Role.REVIEWER, Role.QUALITY_MANAGER}),
    Action.SET_POLICY: frozenset({Role.QUALITY_MANAGER}),
    Action.MANAGE_PEOPLE: frozenset({Role.QUALITY_MANAGER}),
    Action.MANAGE_TOKENS: frozenset({Role.QUALITY_MANAGER}),
    Action.MANAGE_WEBHOOKS: frozenset({Role.QUALITY_MANAGER}),
    Action.EXPORT_RECORDS: frozenset({Role.AUDITOR, Role.QUALITY_MANAGER}),
    Action.EXPORT_HISTORY: _STAFF | {Role.CUSTOMER},
    Action.SEAL_RECORDS: frozenset({Role.SIGNATORY, Role.AUDITOR, Role.QUALITY_MANAGER}),
    Action.HOLD_SAMPLE: frozenset(
        {Role.TECHNICIAN, Role.REVIEWER, Role.SIGNATORY, Role.QUALITY_MANAGER}
    ),
    Action.KEEP_OWN_ACCOUNT: frozenset(Role),
    Action.READ_OPERATIONS: frozenset({Role.AUDITOR, Role.QUALITY_MANAGER}),
    Action.CLOSE_INCIDENTS: frozenset({Role.QUALITY_MANAGER}),
    Action.KEEP_INSTALLATION: frozenset({Role.QUALITY_MANAGER}),
}


def may(actor: User, action: Action) -> bool:
    """Say whether this person's roles include the act. A superuser gets no more than others."""
    if action is Action.KEEP_OWN_ACCOUNT:  # also of somebody whose roles were all taken away
        return actor.is_active
    return actor.is_active and not actor.role_names.isdisjoint(_MATRIX[action])


def require(actor: User, action: Action) -> None:
    """Refuse with `NotAllowed` unless the person's roles include the act."""
    if not may(actor, action):
        roles = ", ".join(sorted(_MATRIX[action]))
        msg = f"{actor} may not {action}. Ask somebody with the role: {roles}."
        raise NotAllowed(msg)


def may_review(actor: User, run: Run, *, reviewer_must_differ: bool) -> bool:
    """Say whether this person may answer for this run: never the one who made it, by default."""
    own = run.technician_id == actor.pk
    return may(actor, Action.REVIEW_RUN) and not (own and reviewer_must_differ)


def is_customer(actor: User) -> bool:
    """Say whether this person sees only one customer's samples."""
    return actor.role_names == {Role.CUSTOMER}
