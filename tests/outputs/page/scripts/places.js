// Where each button of the marks stands: name, left, top, width, height.
() => [...document.querySelectorAll('#hands button')].map((button) => {
  const box = button.getBoundingClientRect();
  return [button.dataset.mark ?? button.id, box.left, box.top, box.width, box.height];
})
