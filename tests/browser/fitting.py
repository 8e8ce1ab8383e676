"""What of a page is cut, runs out of its place or lies over something else, measured in the browser itself."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

# Width, height, whether it is a phone, whether its owner likes it dark.
LOOKS = (
    *((390, 844, True, False), (844, 390, True, False), (1280, 900, False, False)),
    *((390, 844, True, True), (844, 390, True, True), (1280, 900, False, True)),
)

# Every piece of text that is seen (a line of a paragraph, a cell, a word in a picture) as a box. Wider than the window
# or than an ancestor that hides what hangs over: cut. Two boxes that share more than the air around letters: over each
# other. Tables and pictures may not need scrolling sideways either: half a number is as good as none.
_FAULTS = """(() => {
  const faults = [], boxes = [], air = 2;
  const seen = e => { const s = getComputedStyle(e); return s.visibility !== 'hidden' && s.opacity !== '0'; };
  const clips = e => getComputedStyle(e).overflowX !== 'visible';
  const told = (what, text) => faults.push(what + ': ' + text.trim().replace(/\\s+/g, ' ').slice(0, 50));
  const add = (box, node, text) => {
    if (box.width < 1 || box.height < 1) return;
    if (box.left < -0.5 || box.right > document.documentElement.clientWidth + 0.5) told('cut by the window', text);
    const picture = node.closest('svg');
    if (picture && node !== picture) {
      const frame = picture.getBoundingClientRect();
      if (box.left < frame.left - 1 || box.right > frame.right + 1 || box.top < frame.top - 1
          || box.bottom > frame.bottom + 1) told('cut by its picture', text);
    }
    boxes.push([box, node, text]);
  };
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walk.nextNode()) {
    const node = walk.currentNode, parent = node.parentElement;
    if (!node.data.trim() || !parent || !seen(parent)) continue;
    if (parent.closest('style, script, svg, option, textarea')) continue;
    const range = document.createRange();
    range.selectNodeContents(node);
    for (const box of range.getClientRects()) add(box, parent, node.data);
  }
  for (const e of document.querySelectorAll('svg text, svg g[id*="text_"]'))
    if (!e.parentElement.closest('g[id*="text_"]')) add(e.getBoundingClientRect(), e, e.textContent.trim() || e.id);
  for (const e of document.querySelectorAll('input, select, textarea, button'))
    if (seen(e)) add(e.getBoundingClientRect(), e, e.value || e.textContent || e.name);
  for (const e of document.querySelectorAll('body *'))
    if (!e.closest('svg') && clips(e) && e.scrollWidth > e.clientWidth + 1 && e.clientWidth
        && !e.matches('input, textarea, select'))
      told('runs out of its place by ' + (e.scrollWidth - e.clientWidth), e.textContent);
  if (document.documentElement.scrollWidth > document.documentElement.clientWidth)
    told('scrolls sideways', String(document.documentElement.scrollWidth));
  const above = e => { const fixed = e.closest('.bar, dialog'); return fixed ? 1 : 0; };
  boxes.sort((a, b) => a[0].top - b[0].top);
  for (let i = 0; i < boxes.length; i++) for (let j = i + 1; j < boxes.length; j++) {
    const [a, one, first] = boxes[i], [b, other, second] = boxes[j];
    if (b.top > a.bottom - air) break;
    if (one === other || one.contains(other) || other.contains(one) || above(one) !== above(other)) continue;
    const wide = Math.min(a.right, b.right) - Math.max(a.left, b.left);
    const high = Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top);
    if (wide > air && high > Math.max(air, 0.3 * Math.min(a.height, b.height)))
      told('over each other', first.trim().slice(0, 24) + ' | ' + second.trim().slice(0, 24));
  }
  return [...new Set(faults)];
})()"""


def faults(run: Callable[[str], Any]) -> list[str]:
    """What does not fit in the page that is open, in words; nothing where all is well. `run` runs a script in it."""
    return list(run(_FAULTS))
