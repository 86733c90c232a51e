// What is wider than its room.
() => {
  const wide = document.documentElement.scrollWidth > innerWidth;
  const cut = [...document.querySelectorAll('main *')].filter(e => e.children.length === 0
    && e.textContent.trim() && !e.closest('svg') && e.clientWidth && e.scrollWidth > e.clientWidth + 2)
    .map(e => e.id || e.textContent);
  const outside = [...document.querySelectorAll('button')].filter(b => {
    const r = b.getBoundingClientRect(); return r.left < 0 || r.right > innerWidth; }).length;
  return {wide, cut, outside};
}
