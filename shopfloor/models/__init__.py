"""The shop's records. One file a subject; import from here."""

from shopfloor.models.air import AirReading
from shopfloor.models.backups import BackupPlan, BackupRun
from shopfloor.models.chart import ChartRow, ChartTrial, Dross, Material, ThicknessAnswer
from shopfloor.models.drawings import Drawing, DrawingPlan, DrawingRevision
from shopfloor.models.entered import EnteredCount
from shopfloor.models.equipment import (
    Duty,
    Fitting,
    Inspection,
    Piece,
    PieceKind,
    PieceOutlook,
    PieceState,
    SetPart,
    Table,
    Torch,
    Tray,
    WearSet,
)
from shopfloor.models.joblists import HeadingMap, JobList
from shopfloor.models.jobs import (
    Contour,
    Job,
    JobLine,
    JobState,
    Nest,
    NestPlan,
    NestRevision,
)
from shopfloor.models.money import Month, Posting, PostingKind, RunVariance
from shopfloor.models.papers import Paper
from shopfloor.models.people import (
    Action,
    ActionState,
    Role,
    ScreenSignIn,
    SignInEnd,
    Terminal,
    Units,
    User,
)
from shopfloor.models.runs import (
    ArcAssignment,
    BenchEntry,
    Check,
    Evidence,
    PartResult,
    QueueItem,
    Run,
    RunState,
    Segment,
    Stoppage,
)
from shopfloor.models.security import SecurityEvent, SecurityNotice
from shopfloor.models.shop import Rate, RateKind, Reason, Shift, Shop
from shopfloor.models.stock import Customer, Heat, Sheet, SheetState
from shopfloor.models.sureness import Factor, FactorState, Quote, QuoteLine, QuoteState
from shopfloor.models.throttle import Throttle
from shopfloor.models.usage import PieceUse, RunDay, Summary
from shopfloor.models.verification import Verification
from shopfloor.models.work import Change, Incoming, Watermark, Work

__all__ = [
    "Action",
    "ActionState",
    "AirReading",
    "ArcAssignment",
    "BackupPlan",
    "BackupRun",
    "BenchEntry",
    "Change",
    "ChartRow",
    "ChartTrial",
    "Check",
    "Contour",
    "Customer",
    "Drawing",
    "DrawingPlan",
    "DrawingRevision",
    "Dross",
    "Duty",
    "EnteredCount",
    "Evidence",
    "Factor",
    "FactorState",
    "Fitting",
    "HeadingMap",
    "Heat",
    "Incoming",
    "Inspection",
    "Job",
    "JobLine",
    "JobList",
    "JobState",
    "Material",
    "Month",
    "Nest",
    "NestPlan",
    "NestRevision",
    "Paper",
    "PartResult",
    "Piece",
    "PieceKind",
    "PieceOutlook",
    "PieceState",
    "PieceUse",
    "Posting",
    "PostingKind",
    "QueueItem",
    "Quote",
    "QuoteLine",
    "QuoteState",
    "Rate",
    "RateKind",
    "Reason",
    "Role",
    "Run",
    "RunDay",
    "RunState",
    "RunVariance",
    "ScreenSignIn",
    "SecurityEvent",
    "SecurityNotice",
    "Segment",
    "SetPart",
    "Sheet",
    "SheetState",
    "Shift",
    "Shop",
    "SignInEnd",
    "Stoppage",
    "Summary",
    "Table",
    "Terminal",
    "ThicknessAnswer",
    "Throttle",
    "Torch",
    "Tray",
    "Units",
    "User",
    "Verification",
    "Watermark",
    "WearSet",
    "Work",
]
