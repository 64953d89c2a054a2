"""What an example shop holds, asked of its database file in plain SQL: imports nothing of ours."""

from __future__ import annotations

import sqlite3
from pathlib import Path
from typing import Any

# Net area of the parts on a run's sheet; the sheet, less the end that stayed whole as a remnant.
_USED = """
SELECT (SELECT sum(c.net_area_mm2) FROM shopfloor_contour c WHERE c.revision_id = r.revision_id)
         AS parts,
       s.area_mm2 - coalesce((SELECT sum(e.area_mm2) FROM shopfloor_sheet e
         WHERE e.parent_id = s.id AND e.note NOT LIKE 'skeleton%'), 0) AS used
FROM shopfloor_run r JOIN shopfloor_sheet s ON s.id = r.sheet_id WHERE r.state = 'finished'
"""
ASKED = {
    "share of the sheets": f"SELECT sum(parts) / sum(used) FROM ({_USED})",
    "least share of a sheet": f"SELECT min(parts / used) FROM ({_USED})",
    "greatest share of a sheet": f"SELECT max(parts / used) FROM ({_USED})",
    "skeletons sold": """
        SELECT count(*) FROM shopfloor_sheet s JOIN shopfloor_sheet p ON p.id = s.parent_id
        JOIN shopfloor_material m ON m.id = s.material_id JOIN shopfloor_shop shop
        WHERE s.note = 'skeleton, sold by weight' AND s.state = 'cut' AND s.owner_id IS NULL
        AND abs(s.cost_minor
          - s.area_mm2 * s.thickness_mm * m.density_kg_m3 / 1e9 * shop.scrap_minor_kg) <= 1""",
    "sheets of two jobs": """
        SELECT count(*) FROM shopfloor_run r WHERE r.state = 'finished' AND 2 = (
        SELECT count(DISTINCT l.job_id) FROM shopfloor_contour c
        JOIN shopfloor_jobline l ON l.id = c.line_id WHERE c.revision_id = r.revision_id)""",
    "runs on a customer's plate": """
        SELECT count(*) FROM shopfloor_run r JOIN shopfloor_sheet s ON s.id = r.sheet_id
        WHERE s.owner_id IS NOT NULL""",
    "of these paid for or somebody else's": """
        SELECT count(*) FROM shopfloor_run r JOIN shopfloor_sheet s ON s.id = r.sheet_id
        JOIN shopfloor_contour c ON c.revision_id = r.revision_id
        JOIN shopfloor_jobline l ON l.id = c.line_id JOIN shopfloor_job j ON j.id = l.job_id
        WHERE s.owner_id IS NOT NULL AND (s.cost_minor <> 0 OR s.owner_id <> j.customer_id)""",
    "drops given back": """
        SELECT count(*) FROM shopfloor_sheet WHERE owner_id IS NOT NULL AND parent_id IS NOT NULL
        AND state = 'returned'""",
    "quotes won": "SELECT count(*) FROM shopfloor_quote WHERE state = 'won' AND job_id NOT NULL",
    "quotes lost": "SELECT count(*) FROM shopfloor_quote WHERE state = 'lost' AND why <> ''",
    "quotes open": "SELECT count(*) FROM shopfloor_quote WHERE state = 'open'",
    "quotes to hold against their cost": """
        SELECT count(*) FROM shopfloor_quote q JOIN shopfloor_job j ON j.id = q.job_id
        WHERE j.state = 'closed' AND q.cost_minor > 0 AND q.price_minor > 0 AND 0 < (
        SELECT sum(p.amount_minor) FROM shopfloor_posting p
        JOIN shopfloor_jobline l ON l.id = p.line_id WHERE l.job_id = j.id)""",
    "crashes": """
        SELECT count(*) FROM shopfloor_stoppage s JOIN shopfloor_reason r ON r.id = s.reason_id
        WHERE r.code = 'crash' AND s.ended_at > s.started_at""",
    "parts a crash spoilt": "SELECT sum(quantity) FROM shopfloor_partresult WHERE cause = 'crash'",
    "pieces that crashed": "SELECT count(*) FROM shopfloor_piece WHERE state = 'crashed'",
    "pieces lost": "SELECT count(*) FROM shopfloor_piece WHERE state = 'lost'",
    "pairs of which one had failed": """
        SELECT count(*) FROM (SELECT incident FROM shopfloor_fitting WHERE incident NOT NULL
        GROUP BY incident HAVING count(*) = 2 AND sum(removal_state = 'failed') = 1
        AND sum(removal_state = 'retired') = 1)""",
    "kinds with a second rate": """
        SELECT count(*) FROM (SELECT kind FROM shopfloor_rate WHERE table_id IS NULL
        GROUP BY kind HAVING count(*) = 2 AND min(amount_minor) < max(amount_minor)
        AND max(valid_from) > (SELECT date(min(opened_at), '+10 days') FROM shopfloor_run)
        AND max(valid_from) < (SELECT date(max(opened_at), '-10 days') FROM shopfloor_run))""",
    "parts set aside for rework": """
        SELECT sum(quantity) FROM shopfloor_partresult WHERE outcome = 'rework' AND quantity > 0""",
    "of these reamed since": """
        SELECT -sum(quantity) FROM shopfloor_partresult WHERE outcome = 'rework'
        AND quantity < 0""",
    "minutes of reaming": "SELECT sum(minutes) FROM shopfloor_benchentry WHERE kind = 'holes'",
    "remnants lying": """
        SELECT count(*) FROM shopfloor_sheet WHERE parent_id NOT NULL AND state = 'in_stock'
        AND cost_minor > 0""",
    "remnants used": """
        SELECT count(*) FROM shopfloor_run r JOIN shopfloor_sheet s ON s.id = r.sheet_id
        WHERE s.parent_id NOT NULL AND s.received_at < r.opened_at""",
    "runs cut fine that no drawing asked to be": """
        SELECT count(*) FROM shopfloor_run r WHERE EXISTS (
        SELECT 1 FROM shopfloor_runday d JOIN shopfloor_wearset w ON w.id = d.wear_set_id
        WHERE d.run_id = r.id AND w.duty = 'fine' AND d.cut_mm > 0) AND NOT EXISTS (
        SELECT 1 FROM shopfloor_contour c JOIN shopfloor_jobline l ON l.id = c.line_id
        WHERE c.revision_id = r.revision_id
        AND (l.u_range_asked NOT NULL OR l.must_be_fine))""",
    "of these dearer than cut fast": """
        SELECT count(*) FROM shopfloor_run r
        JOIN shopfloor_nestrevision v ON v.id = r.revision_id
        JOIN shopfloor_nest n ON n.id = v.nest_id
        JOIN shopfloor_wearset w ON w.id = n.wear_set_id AND w.duty = 'fine'
        WHERE NOT EXISTS (SELECT 1 FROM shopfloor_contour c JOIN shopfloor_jobline l
          ON l.id = c.line_id WHERE c.revision_id = r.revision_id AND l.u_range_asked NOT NULL)
        AND (SELECT sum(value) FROM shopfloor_nestplan p, json_each(p.costs_minor)
          WHERE p.revision_id = v.id AND p.table_id = r.table_id AND p.wear_set_id = w.id)
        > (SELECT min(cost) FROM (SELECT (SELECT sum(value) FROM json_each(p.costs_minor)) AS cost
          FROM shopfloor_nestplan p JOIN shopfloor_wearset f ON f.id = p.wear_set_id
          WHERE p.revision_id = v.id AND p.table_id = r.table_id AND p.problem = ''
          AND f.duty = 'fast'))""",
    # One is begun at 06:00 or 14:30 by the shop's clock and is eight hours long.
    "hours queued": """
        SELECT max(hours) FROM (SELECT sum(p.total_s + p.load_s) / 3600 AS hours
        FROM shopfloor_queueitem q JOIN shopfloor_nest n ON n.id = q.nest_id
        JOIN shopfloor_nestrevision v ON v.nest_id = n.id
        JOIN shopfloor_nestplan p ON p.revision_id = v.id AND p.table_id = q.table_id
        AND p.wear_set_id = n.wear_set_id WHERE q.state = 'waiting' GROUP BY q.table_id)""",
    "tables with work waiting": """
        SELECT count(DISTINCT table_id) FROM shopfloor_queueitem WHERE state = 'waiting'""",
    "closed jobs": "SELECT count(*) FROM shopfloor_job WHERE state = 'closed'",
    "of these late": """
        SELECT count(*) FROM shopfloor_job WHERE state = 'closed' AND closed_at > due_at""",
    "open jobs past due": """
        SELECT count(*) FROM shopfloor_job WHERE state = 'open'
        AND due_at < (SELECT max(opened_at) FROM shopfloor_run)""",
    "charts not marked as examples": """
        SELECT count(*) FROM shopfloor_chartrow WHERE NOT example
        OR note NOT LIKE '%not for cutting%'""",
}


def facts(database: Path) -> dict[str, Any]:
    """Each asked once; a sum of nothing is 0."""
    with sqlite3.connect(f"file:{database}?mode=ro", uri=True) as asked:
        return {name: asked.execute(sql).fetchone()[0] or 0 for name, sql in ASKED.items()}
