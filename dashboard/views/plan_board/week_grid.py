"""One element on the page: weeks across, depots down, jobs in their cell.

It gives back which job was put into which week; all it shows arrives as data and is set as text, never as
markup.
"""

from __future__ import annotations

from typing import Any

import streamlit as st

CSS = """
.scroll { overflow-x: auto; }
.narrow { display: none; }
table { border-collapse: collapse; min-width: 100%; color: var(--st-text-color); font: inherit; }
caption { text-align: left; padding: 0 0 .5rem; }
th, td { border: 1px solid var(--st-border-color); padding: .4rem; text-align: left; vertical-align: top;
         min-width: 8.5rem; font-size: .875rem; font-weight: 400; }
th { font-weight: 600; background: var(--st-secondary-background-color); }
button { display: block; width: 100%; min-height: 2.75rem; margin: .25rem 0; padding: .3rem .4rem;
         text-align: left; font: inherit; color: inherit; background: var(--st-background-color);
         border: 1px solid var(--st-border-color); border-radius: .25rem; cursor: pointer;
         white-space: pre-line; }
button:focus-visible { outline: 3px solid var(--st-primary-color); outline-offset: 1px; }
button[aria-pressed="true"] { border: 3px double var(--st-text-color); font-weight: 600; }
button.put { border-style: dashed; }
button[hidden] { display: none; }
.over { font-weight: 600; }
@media print { .scroll { overflow: visible; } th, td { min-width: 0; font-size: .7rem; padding: .2rem; }
  button { min-height: 0; } button.put, caption { display: none; } }
@media (max-width: 640px) { .scroll { display: none; } .narrow { display: block; } }
"""

JS = """
export default function ({ parentElement, data, setTriggerValue }) {
  const root = parentElement.querySelector('.place');
  root.replaceChildren();
  let chosen = null;
  const make = (tag, text, name) => {
    const made = document.createElement(tag);
    if (text !== undefined) made.textContent = text;
    if (name) made.className = name;
    return made;
  };
  const narrow = make('p', data.narrow, 'narrow');
  const scroll = make('div', undefined, 'scroll');
  const table = make('table');
  table.appendChild(make('caption', data.caption));
  const head = table.createTHead().insertRow();
  const corner = make('th', data.corner); corner.scope = 'col'; head.appendChild(corner);
  for (const week of data.weeks) { const th = make('th', week.text); th.scope = 'col'; head.appendChild(th); }
  const body = table.createTBody();
  const puts = [];
  const choose = (button, row) => {
    const same = chosen && chosen.button === button;
    if (chosen) chosen.button.setAttribute('aria-pressed', 'false');
    chosen = same ? null : { button, row };
    if (chosen) button.setAttribute('aria-pressed', 'true');
    for (const put of puts) put.hidden = !(chosen && put.dataset.row === String(row));
  };
  data.rows.forEach((row, r) => {
    const line = body.insertRow();
    const name = make('th', row.depot); name.scope = 'row'; line.appendChild(name);
    row.cells.forEach((cell, c) => {
      const td = line.insertCell();
      td.appendChild(make('div', cell.room, cell.over ? 'over' : ''));
      for (const job of cell.jobs) {
        const button = make('button', job.text);
        button.type = 'button';
        button.setAttribute('aria-pressed', 'false');
        button.dataset.at = r + ',' + c;
        button.disabled = !data.may;
        button.addEventListener('click', () => choose(button, r));
        button.job = job.id;
        td.appendChild(button);
      }
      if (cell.more) td.appendChild(make('div', cell.more));
      const put = make('button', data.put + ' ' + data.weeks[c].text, 'put');
      put.type = 'button';
      put.hidden = true;
      put.dataset.row = String(r);
      put.dataset.at = r + ',' + c;
      put.setAttribute('aria-label', data.put + ' ' + data.weeks[c].text + ', ' + row.depot);
      put.addEventListener('click', () => {
        if (chosen) setTriggerValue('moved', { job: chosen.button.job, week: data.weeks[c].key });
      });
      puts.push(put);
      td.appendChild(put);
    });
  });
  const steps = { ArrowLeft: [0, -1], ArrowRight: [0, 1], ArrowUp: [-1, 0], ArrowDown: [1, 0] };
  table.addEventListener('keydown', (event) => {
    if (event.key === 'Escape' && chosen) {
      const back = chosen.button;
      choose(back, chosen.row);
      back.focus();
    }
    const step = steps[event.key];
    const at = event.target.dataset ? event.target.dataset.at : undefined;
    if (!step || !at) return;
    event.preventDefault();
    const [r, c] = at.split(',').map(Number);
    for (let k = 1; k < 64; k += 1) {
      const there = (r + k * step[0]) + ',' + (c + k * step[1]);
      const found = [...table.querySelectorAll('button')].filter((b) => b.dataset.at === there && !b.hidden);
      if (found.length) { found[chosen ? found.length - 1 : 0].focus(); return; }
    }
  });
  scroll.appendChild(table);
  root.append(narrow, scroll);
}
"""

_GRID = st.components.v2.component("pumpledger_week_grid", html='<div class="place"></div>', css=CSS, js=JS)


def week_grid(data: dict[str, Any], *, key: str) -> dict[str, Any] | None:
    """Draw the grid; return {job, week} when a job has just been put into a week, else None.

    data: caption, corner, put, narrow (texts), may (bool), weeks [{key, text}], rows [{depot, cells [{room,
    over, jobs [{id, text}], more (text, where jobs are left out)}]}].
    """
    told = _GRID(key=key, data=data, on_moved_change=lambda: None)
    moved = told.moved
    return dict(moved) if moved else None
