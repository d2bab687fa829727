"""The plan as a work list to print: one HTML page that needs nothing else, with the cautions first."""

from __future__ import annotations

import html
from datetime import date
from typing import Any

from analytics.judging.safety import CAUTIONS, FIRST
from analytics.past.frames import each
from analytics.scheduling.planning import Plan

STYLE = """
body { font: 11pt/1.4 sans-serif; margin: 1.5cm; color: #111; background: #fff }
h1 { font-size: 16pt; margin: 0 0 .2em } h2 { font-size: 12pt; margin: 1.2em 0 .3em }
table { border-collapse: collapse; width: 100% } thead { display: table-header-group }
th, td { border: 1px solid #777; padding: 4px 6px; text-align: left; vertical-align: top }
tr { break-inside: avoid } .box { width: 1.2cm } .small { font-size: 9.5pt }
"""


def escape(text: str) -> str:
    """Return text safe between tags and in double quotes; apostrophes stay readable."""
    return html.escape(text, quote=False).replace('"', "&quot;")


def work_list_html(plan: Plan, title: str = "Pump replacements") -> str:
    """Return the printable list: day, unit, pump, part, reason, hours and a box to tick."""
    cautions = "".join(f"<li>{escape(text)} {escape(mark)}</li>" for _, text, mark in CAUTIONS)
    days = "".join(_day(plan, day) for day in sorted(set(plan.lines["planned_on"])))
    return (
        f'<!doctype html><html lang="en"><head><meta charset="utf-8"><title>{escape(title)}</title>'
        f"<style>{STYLE}</style></head><body><h1>{escape(title)}</h1>"
        f"<p>As of {plan.as_of}, for the {plan.horizon_days} days after it.</p>"
        f"<h2>Before you start</h2><p><strong>{escape(FIRST)}</strong></p>"
        f'<ul class="small">{cautions}</ul>'
        f"{days or '<p>No replacement is planned.</p>'}"
        f"{_notes(plan)}"
        '<p class="small">After the change: capture the new pump on this stop, as its baseline.</p>'
        "</body></html>"
    )


def _day(plan: Plan, day: date) -> str:
    rows = plan.lines[plan.lines["planned_on"] == day]
    body = "".join(
        "<tr>"
        f'<td class="box"></td><td>{escape(str(r.unit))}'
        f"<br><span class=small>{escape(_vehicle(r))}</span></td>"
        f"<td>{escape(r.position)}</td>"
        f"<td>{escape(r.pump_type)}<br><span class=small>{escape(r.part)}</span></td>"
        f"<td>{escape(r.reason)}"
        + (f"<br><span class=small>Also due: {escape(r.due_work)}</span>" if r.due_work else "")
        + f"</td><td>{r.hours:.1f} h</td></tr>"
        for r in each(rows)
    )
    head = "<tr><th>done</th><th>unit</th><th>pump</th><th>part</th><th>reason</th><th>labour</th></tr>"
    depots = ", ".join(sorted({d for d in rows["depot"] if d}))
    heading = f"{day:%A %Y-%m-%d}" + (f", {escape(depots)}" if depots else "")
    return f"<h2>{heading}</h2><table><thead>{head}</thead><tbody>{body}</tbody></table>"


def _vehicle(row: Any) -> str:
    parts = [row.year, row.make, row.model]
    words = [f"{p:.0f}" if isinstance(p, float) else str(p) for p in parts if p is not None and p == p]
    return " ".join([*words, *([f"VIN {row.vin}"] if isinstance(row.vin, str) and row.vin else [])])


def _notes(plan: Plan) -> str:
    return "".join(f"<p>{escape(note)}</p>" for note in plan.notes)
