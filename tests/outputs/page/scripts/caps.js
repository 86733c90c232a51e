// How high the capitals of an element are, in CSS px: by the letters H, E and T as the browser draws them.
(selector) => {
  const style = getComputedStyle(document.querySelector(selector));
  const context = document.createElement('canvas').getContext('2d');
  context.font = `${style.fontWeight} ${style.fontSize} ${style.fontFamily}`;
  return Math.min(...['H', 'E', 'T'].map((letter) => context.measureText(letter).actualBoundingBoxAscent));
}
