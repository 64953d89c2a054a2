"""Which rows are copied, and how often."""

from __future__ import annotations

from django.apps import apps
from django.db import models

# Made once a table: copied sideways, never in time.
BY_TABLE = (
    "shopfloor.Table", "shopfloor.Torch", "shopfloor.Terminal", "shopfloor.Tray",
    "telemetry.Feed", "telemetry.FeedVersion", "telemetry.ClockOffset", "telemetry.Cursor",
    "telemetry.SourcePosition", "telemetry.Health", "telemetry.CountedSpan",
)  # fmt: skip
# What work leaves behind: copied sideways and in time. Rows come after those they point at.
BY_TIME = (
    "shopfloor.Heat", "shopfloor.Sheet", "shopfloor.JobList", "shopfloor.Job",
    "shopfloor.JobLine", "shopfloor.Nest",
    "shopfloor.NestRevision", "shopfloor.Contour", "shopfloor.PartPlace",
    "shopfloor.NestPlan", "shopfloor.QueueItem",
    "shopfloor.Run", "shopfloor.Action", "shopfloor.Segment", "shopfloor.Stoppage",
    "shopfloor.TableDown", "shopfloor.HandOver",
    "shopfloor.PartResult", "shopfloor.Check", "shopfloor.BenchEntry", "shopfloor.Piece",
    "shopfloor.Fitting", "shopfloor.Inspection", "shopfloor.PieceOutlook", "shopfloor.PieceUse",
    "shopfloor.RunDay", "shopfloor.RunVariance", "shopfloor.Posting", "shopfloor.AirReading",
    "shopfloor.EnteredCount", "shopfloor.Paper", "shopfloor.Quote", "shopfloor.QuoteLine",
    "shopfloor.ArcAssignment", "shopfloor.Work", "shopfloor.SecurityEvent",
    "shopfloor.SecurityNotice", "shopfloor.Change",
    "telemetry.Arc", "telemetry.GoneArc", "telemetry.Rollup", "telemetry.Stray",
    "telemetry.Reject", "telemetry.Repeat", "telemetry.Gap", "telemetry.Alarm", "telemetry.Event",
)  # fmt: skip
# Made anew for the whole span, by the migrations, as people sign in, or in the night.
MADE_HERE = (
    "shopfloor.Month", "shopfloor.Summary", "shopfloor.TableTime", "shopfloor.Statement",
    "shopfloor.ShopNote", "shopfloor.NoteSweep",
    "shopfloor.User", "shopfloor.ScreenSignIn",
    "shopfloor.Throttle", "shopfloor.BackupRun", "shopfloor.Verification", "auth.Permission",
    "auth.Group", "contenttypes.ContentType", "sessions.Session",
)  # fmt: skip
# Of the whole shop, as they are.
ONCE = (
    "shopfloor.Shop", "shopfloor.BackupPlan", "shopfloor.Shift", "shopfloor.Rate",
    "shopfloor.ClosedDay", "shopfloor.Absence",
    "shopfloor.Reason",
    "shopfloor.Customer", "shopfloor.Material", "shopfloor.WearSet", "shopfloor.SetPart",
    "shopfloor.PartOrder", "shopfloor.PartReceipt",
    "shopfloor.ChartRow", "shopfloor.ChartTrial", "shopfloor.ThicknessAnswer",
    "shopfloor.Drawing", "shopfloor.DrawingRevision", "shopfloor.DrawingPlan",
    "shopfloor.KnownPart", "shopfloor.LikePart",
    "shopfloor.HeadingMap", "shopfloor.Factor", "shopfloor.Watermark", "shopfloor.Incoming",
    "telemetry.PushToken",
)  # fmt: skip
EACH_TABLE = ("shopfloor.NestPlan", "shopfloor.DrawingPlan")  # a row for every table there is


def model(label: str) -> type[models.Model]:
    return apps.get_model(label)


def unsorted() -> list[str]:
    """Models this module says nothing of: a new one must be put into one of its lists."""
    known = {*BY_TABLE, *BY_TIME, *MADE_HERE, *ONCE}
    return sorted(one._meta.label for one in apps.get_models() if one._meta.label not in known)
