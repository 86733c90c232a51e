// Keeps the page's sound contexts, and lets taking the sound back be refused.
(() => {
  window.contexts = [];
  const Real = window.AudioContext;
  window.AudioContext = class extends Real {
    constructor() { super(); window.contexts.push(this); }
    resume() { return window.refuse ? Promise.reject(new Error("refused")) : super.resume(); }
  };
})();
