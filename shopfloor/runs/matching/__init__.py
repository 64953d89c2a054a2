"""Which run each arc belonged to, and which contour it was. Pure: instants are integer
microseconds, nothing is read or written here.

Rules, per table and torch:

- an arc belongs to the segment it begins in; one already burning when a segment was opened
  belongs to it too, unless another segment held it;
- an end that a person pressed holds. Without one a segment ends at its last arc once nothing has
  burnt for the shop's gap; time a person gave a reason for (a halt) is not counted in the gap;
- what a person said of an arc is never changed;
- what cannot be known stays unknown: a misfire is seen only where the source reports pierces, a
  contour burnt again within a segment only where lengths can tell it from the next one, and arcs
  beyond the last planned contour have no number.
"""

from shopfloor.runs.matching.decide import clusters, match, overlap_us, union_us
from shopfloor.runs.matching.types import (
    ArcInput,
    Cluster,
    Decision,
    Ended,
    Matched,
    Planned,
    SilentSpan,
    Span,
    StoppageSpan,
)

__all__ = [
    "ArcInput",
    "Cluster",
    "Decision",
    "Ended",
    "Matched",
    "Planned",
    "SilentSpan",
    "Span",
    "StoppageSpan",
    "clusters",
    "match",
    "overlap_us",
    "union_us",
]
