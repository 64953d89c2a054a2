"""Ratios of ISO 22400-2:2014, as lines with their coverage.

Formulas as read in a university ontology of the draft text and in an open machine-tool information
model that cites the standard. Times of one call share a unit, quantities too. A ratio is None
("unknown") where its denominator is zero or one of its elements is not known; effectiveness may
exceed 1 and is not capped.
"""

from __future__ import annotations

from dataclasses import dataclass

Known = float | None


def ratio(top: Known, bottom: Known) -> Known:
    """top / bottom, None where either is unknown or the bottom is zero."""
    if top is None or bottom is None or bottom == 0:
        return None
    return top / bottom


def _sum(a: Known, b: Known) -> Known:
    return None if a is None or b is None else a + b


def _product(*factors: Known) -> Known:
    result = 1.0
    for factor in factors:
        if factor is None:
            return None
        result *= factor
    return result


@dataclass(frozen=True, slots=True, kw_only=True)
class Elements:
    """Elements of the standard by their abbreviations; None is unknown.

    Times: ``apt`` actual production (value-adding only), ``aupt`` actual unit processing
    (production + set-up), ``aubt`` actual unit busy (that + delays), ``aust`` actual unit set-up,
    ``adet`` actual unit delay, ``pbt`` planned busy, ``aoet`` order start to end, ``pri`` planned
    run time an item, ``apwt`` and ``apat`` a worker's productive and attendance time, ``cmt`` and
    ``pmt`` corrective and preventive maintenance. Quantities: ``pq`` produced, ``gq`` good, ``sq``
    scrap, ``psq`` planned scrap, ``rq`` rework, ``gp`` good at the first pass, ``ip`` inspected.
    """

    apt: Known = None
    aupt: Known = None
    aubt: Known = None
    aust: Known = None
    adet: Known = None
    pbt: Known = None
    aoet: Known = None
    pri: Known = None
    apwt: Known = None
    apat: Known = None
    cmt: Known = None
    pmt: Known = None
    pq: Known = None
    gq: Known = None
    sq: Known = None
    psq: Known = None
    rq: Known = None
    gp: Known = None
    ip: Known = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Indicators:
    """Ratios; None is unknown."""

    availability: Known
    effectiveness: Known
    quality: Known
    oee: Known
    nee: Known
    allocation_efficiency: Known
    allocation: Known
    utilisation_efficiency: Known
    setup_rate: Known
    technical_efficiency: Known
    production_process: Known
    throughput_rate: Known
    scrap: Known
    rework: Known
    actual_to_planned_scrap: Known
    first_pass_yield: Known
    worker_efficiency: Known
    corrective_maintenance: Known


def indicators(e: Elements) -> Indicators:
    """All ratios that the known elements allow."""
    availability = ratio(e.apt, e.pbt)
    effectiveness = ratio(_product(e.pri, e.pq), e.apt)
    quality = ratio(e.gq, e.pq)
    return Indicators(
        availability=availability,
        effectiveness=effectiveness,
        quality=quality,
        oee=_product(availability, effectiveness, quality),
        nee=_product(ratio(e.aupt, e.pbt), effectiveness, quality),
        allocation_efficiency=ratio(e.aubt, e.pbt),
        allocation=ratio(e.aubt, e.aoet),
        utilisation_efficiency=ratio(e.apt, e.aubt),
        setup_rate=ratio(e.aust, e.aupt),
        technical_efficiency=ratio(e.apt, _sum(e.apt, e.adet)),
        production_process=ratio(e.apt, e.aoet),
        throughput_rate=ratio(e.pq, e.aoet),
        scrap=ratio(e.sq, e.pq),
        rework=ratio(e.rq, e.pq),
        actual_to_planned_scrap=ratio(e.sq, e.psq),
        first_pass_yield=ratio(e.gp, e.ip),
        worker_efficiency=ratio(e.apwt, e.apat),
        corrective_maintenance=ratio(e.cmt, _sum(e.cmt, e.pmt)),
    )
