"""What can be wrong with a notebook that ran in JupyterLab: failed cells, too wide, too faint to read."""

from __future__ import annotations

from typing import Any

FAILED = """() => [...document.querySelectorAll('.jp-OutputArea-output')]
  .filter(o => /stderr|error/.test(o.dataset.mimeType || '') || o.querySelector('.jp-RenderedError'))
  .map(o => o.innerText.slice(0, 300))"""
TOO_WIDE = """() => {
  const cells = [...document.querySelectorAll('.jp-Cell')], found = [];
  cells.forEach((cell, n) => {
    for (const box of cell.querySelectorAll('.jp-OutputArea-output, .pianolab, .widget-box, .jp-RenderedMarkdown'))
      if (box.clientWidth && box.scrollWidth > box.clientWidth + 1)
        found.push(`cell ${n}, ${box.className.split(' ')[0]}: ${box.scrollWidth} px in ${box.clientWidth}`);
  });
  return found;
}"""
TOO_FAINT = """least => {
  const channels = text => (text.match(/[\\d.]+/g) || []).map(Number);
  const light = ([r, g, b]) => {
    const [x, y, z] = [r, g, b].map(c => c / 255).map(c => c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4);
    return 0.2126 * x + 0.7152 * y + 0.0722 * z;
  };
  const paper = e => {
    for (let at = e; at; at = at.parentElement) {
      const c = channels(getComputedStyle(at).backgroundColor);
      if (c.length === 3 || c[3] > 0.99) return c;
    }
    return [255, 255, 255];
  };
  const found = new Set();
  for (const e of document.querySelectorAll('.jp-OutputArea-output *')) {
    const own = [...e.childNodes].filter(n => n.nodeType === 3).map(n => n.textContent.trim()).join('');
    if (!own || !e.offsetParent || e.closest('svg, [disabled], style, script, .modebar, [data-mime-type*=error]')) continue;
    const [a, b] = [light(channels(getComputedStyle(e).color)), light(paper(e))];
    const ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
    if (ratio < least) found.add(`${ratio.toFixed(1)} to 1: ${own.slice(0, 60)}`);
  }
  return [...found];
}"""
LEAST_CONTRAST = 4.5
"""WCAG 2, level AA, for text of ordinary size."""


def wrong_with(page: Any) -> list[str]:
    """Everything that is wrong with the outputs of the notebook on the page, one line each."""
    failed = [f"failed: {text}" for text in page.evaluate(FAILED)]
    wide = [f"too wide: {text}" for text in page.evaluate(TOO_WIDE)]
    return failed + wide + [f"too faint: {text}" for text in page.evaluate(TOO_FAINT, LEAST_CONTRAST)]


def charts_drawn(page: Any) -> int:
    """How many charts the page shows."""
    count: int = page.evaluate(
        "[...document.querySelectorAll('.js-plotly-plot')].filter(p => p.querySelector('.main-svg')).length"
    )
    return count
