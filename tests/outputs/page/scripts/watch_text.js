// Keeps every text that an element shows from now on.
(selector) => {
  window.texts = [];
  const node = document.querySelector(selector);
  new MutationObserver(() => window.texts.push(node.textContent))
    .observe(node, {childList: true, characterData: true, subtree: true});
}
