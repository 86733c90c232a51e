// The contrast of every text and button border that is seen, after WCAG 2.2.
() => {
  const parse = (text) => { const n = text.match(/[\d.]+/g).map(Number); return {rgb: n.slice(0, 3), a: n[3] ?? 1}; };
  const part = (c) => { c /= 255; return c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4; };
  const luminance = ([r, g, b]) => 0.2126 * part(r) + 0.7152 * part(g) + 0.0722 * part(b);
  const ratio = (a, b) => { const [x, y] = [luminance(a), luminance(b)].sort((p, q) => q - p); return (x + 0.05) / (y + 0.05); };
  const ground = (e) => { for (; e; e = e.parentElement) { const c = parse(getComputedStyle(e).backgroundColor);
    if (c.a === 1) return c.rgb; } return [255, 255, 255]; };
  const out = [];
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walker.nextNode()) {
    const e = walker.currentNode.parentElement, text = walker.currentNode.textContent.trim();
    if (!text || !e.getClientRects().length || ['SCRIPT', 'NOSCRIPT'].includes(e.tagName)) continue;
    const style = getComputedStyle(e), svg = e.closest('svg');
    const colour = parse(svg ? style.fill : style.color);
    out.push([e.id || text.slice(0, 20), ratio(colour.rgb, ground(e)), parseFloat(style.fontSize)]);
  }
  for (const button of document.querySelectorAll('button')) {
    if (!button.getClientRects().length) continue;
    const style = getComputedStyle(button);
    out.push(['border ' + button.textContent, ratio(parse(style.borderTopColor).rgb, ground(button.parentElement)), 99]);
  }
  return out;
}
