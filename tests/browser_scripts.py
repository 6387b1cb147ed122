"""What is asked of a page that is laid out: is a text cut, do labels of a picture overlap; and the names of all pages."""

import stories

STORIES = sorted(stories.STORIES)
EVERY = [*STORIES, "many", "folder", "plan", "compare", "tune", "setup", "inspect", "volume", "trend", "fleet"]

CLIPPED = """() => [...document.querySelectorAll('h1,h2,h3,p,td,th,dt,dd,li,button,summary,label,select')].filter(e => {
  const s = getComputedStyle(e), r = e.getBoundingClientRect();
  return r.width && s.visibility !== 'hidden' && !e.closest('.hush,.scroll,thead') &&
    (e.scrollWidth > e.clientWidth + 1 && e.clientWidth > 0 && s.display !== 'inline' || r.right > innerWidth + 1 || r.left < -1);
}).map(e => e.tagName + ': ' + e.textContent.trim().slice(0, 60))"""

OVERLAPS = """() => [...document.querySelectorAll('.plot')].flatMap(plot => {
  const boxes = [...plot.querySelectorAll('svg.labels text')].filter(t => !'▼○╱×'.includes(t.textContent)).map(
    t => {  // some browsers count the halo around a label to its box
      const r = t.getBoundingClientRect(), b = t.getBBox(), x = (r.width - b.width) / 2, y = (r.height - b.height) / 2;
      return { words: t.textContent, box: { left: r.left + x, right: r.right - x, top: r.top + y, bottom: r.bottom - y, width: b.width } };
    }).filter(t => t.box.width);
  const found = [];
  boxes.forEach((a, i) => {
    if (a.box.right > innerWidth + 1 || a.box.left < -1) { found.push('outside: ' + a.words); }
    boxes.slice(i + 1).forEach(b => {
      const w = Math.min(a.box.right, b.box.right) - Math.max(a.box.left, b.box.left);
      const h = Math.min(a.box.bottom, b.box.bottom) - Math.max(a.box.top, b.box.top);
      if (w > 2 && h > 5) { found.push(plot.closest('figure').id + ': ' + a.words + ' / ' + b.words); }
    });
  });
  return found;
})"""
