// A QR code as a drawing: one path, dark on light whatever the page's colours are, because readers want that.
import {encode} from 'uqr';

const SVG = 'http://www.w3.org/2000/svg';
const BORDER = 4; // modules of quiet zone (ISO/IEC 18004; from memory)

function svg(tag, attributes, ...children) {
  const node = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(attributes)) node.setAttribute(name, String(value));
  node.append(...children);
  return node;
}

/** `label`: what a screen reader says in place of the drawing. */
export function qrCode(text, label) {
  const {data, size} = encode(text, {ecc: 'M', border: BORDER});
  const path = data
    .flatMap((row, y) => row.map((dark, x) => (dark ? `M${x} ${y}h1v1h-1z` : '')))
    .join('');
  return svg(
    'svg',
    {class: 'qr', viewBox: `0 0 ${size} ${size}`, role: 'img', 'aria-label': label, 'shape-rendering': 'crispEdges'},
    svg('rect', {class: 'qr-light', width: size, height: size}),
    svg('path', {class: 'qr-dark', d: path}),
  );
}
