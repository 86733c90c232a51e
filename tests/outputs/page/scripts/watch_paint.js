// Keeps when each text of an element was painted first: [text, seconds since 1970].
(selector) => {
  window.painted = [];
  const node = document.querySelector(selector);
  new MutationObserver(() => {
    const text = node.textContent;
    requestAnimationFrame(() => requestAnimationFrame(() => window.painted.push([text, Date.now() / 1000])));
  }).observe(node, {childList: true, characterData: true, subtree: true});
}
