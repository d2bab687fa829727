"""The plan as work lists to print, one sheet per depot and day: HTML that needs nothing else, cautions
once.
"""

from __future__ import annotations

import html
from datetime import date
from typing import Any

import pandas as pd

from analytics.judging.safety import CAUTIONS, FIRST
from analytics.past.frames import each
from analytics.scheduling.lines import outcome
from analytics.scheduling.planning import Plan
from ingest.units import format_quantity

STYLE = """
body { font: 11pt/1.4 sans-serif; margin: 1.5cm; color: #111; background: #fff }
h1 { font-size: 16pt; margin: 0 0 .2em } h2 { font-size: 12pt; margin: 1.2em 0 .3em }
table { border-collapse: collapse; width: 100% } thead { display: table-header-group }
th, td { border: 1px solid #777; padding: 4px 6px; text-align: left; vertical-align: top }
tr { break-inside: avoid } .box { width: 1.2cm } .small { font-size: 9.5pt }
.room { height: 1.6cm } section + section { break-before: page } ol { margin: .2em 0 .2em 1.2em; padding: 0 }
"""
BOX = "☐"


def escape(text: str) -> str:
    """Return text safe between tags and in double quotes; apostrophes stay readable."""
    return html.escape(text, quote=False).replace('"', "&quot;")


def work_list_html(plan: Plan, title: str = "Work list") -> str:
    """Return the printable lists: jobs by depot and day with steps, part, hours, boxes and room for
    findings.
    """
    cautions = "".join(f"<li>{escape(text)} {escape(mark)}</li>" for _, text, mark in CAUTIONS)
    by_day: Any = plan.jobs.groupby(["depot", "planned_on"], sort=True)
    sheets = [_sheet(plan, depot, day, rows) for (depot, day), rows in by_day]
    return (
        f'<!doctype html><html lang="en"><head><meta charset="utf-8"><title>{escape(title)}</title>'
        f"<style>{STYLE}</style></head><body><h1>{escape(title)}</h1>"
        f"<p>As of {plan.as_of}, for the {plan.horizon_days} days from {plan.today}.</p>"
        f"<h2>Before you start</h2><p><strong>{escape(FIRST)}</strong></p>"
        f'<ul class="small">{cautions}</ul>'
        f"{''.join(sheets) or '<p>No work is planned.</p>'}"
        f"{_notes(plan)}"
        "</body></html>"
    )


def _sheet(plan: Plan, depot: str, day: date, rows: pd.DataFrame) -> str:
    picks = plan.picks
    mine = picks[(picks["depot"] == depot) & (picks["planned_on"] == day)] if len(picks) else picks
    lay_out = "; ".join(
        f"{r.parts} × {escape(r.pump_type)} ({100 * r.p_used:.0f} % likely used, "
        f"about {r.returns:.1f} to go back)"
        for r in each(mine)
    )
    head = "<tr><th>done</th><th>unit</th><th>job and steps</th><th>part</th><th>hours</th></tr>"
    where = f", {escape(depot)}" if depot else ""
    return (
        f"<section><h2>{day:%A %Y-%m-%d}{where}</h2>"
        + (f"<p>Parts to lay out: {lay_out}.</p>" if lay_out else "")
        + f"<table><thead>{head}</thead><tbody>{''.join(_job(plan, r) for r in each(rows))}</tbody></table>"
        "</section>"
    )


def _job(plan: Plan, row: Any) -> str:
    steps = "".join(f"<li>{BOX} {escape(step)}</li>" for step in row.steps)
    ends = f" {outcome(row)}." if outcome(row) else ""
    own = " A stop of its own." if row.own_stop else ""
    where = f"{row.clamp_point}" if isinstance(row.clamp_point, str) and row.clamp_point else ""
    details = [
        escape(_vehicle(row)),
        escape(_distance(row, plan.distance_unit)),
        f"Clamp: {escape(where)}" if where else "",
        escape(row.last_reading),
    ]
    return (
        f'<tr><td class="box">{BOX}</td><td>{escape(str(row.unit))}, {escape(row.position)}'
        f"<br><span class=small>{'<br>'.join(d for d in details if d)}</span></td>"
        f"<td><strong>{escape(row.job_number)}: {escape(row.job)}.</strong>{ends}{own}"
        f"<br><span class=small>{escape(row.reason)}</span><ol>{steps}</ol>"
        + (f"<span class=small>Also due: {escape(row.due_work)}</span>" if row.due_work else "")
        + "<div class=room>Found:</div></td>"
        f"<td>{escape(row.pump_type)}<br><span class=small>{escape(row.part)}<br>"
        f"Bring: {escape(row.bring)}</span></td><td>{row.hours:.1f} h</td></tr>"
    )


def _vehicle(row: Any) -> str:
    parts = [row.year, row.make, row.model]
    words = [f"{p:.0f}" if isinstance(p, float) else str(p) for p in parts if p is not None and p == p]
    return " ".join([*words, *([f"VIN {row.vin}"] if isinstance(row.vin, str) and row.vin else [])])


def _distance(row: Any, unit: str) -> str:
    km = row.odometer_km
    return "" if km is None or km != km else f"Odometer about {format_quantity(float(km), unit)}"


def _notes(plan: Plan) -> str:
    return "".join(f"<p>{escape(note.text)}</p>" for note in plan.notes)
