// Elements without markup strings: text only ever enters as text nodes.

/**
 * Makes an element. `properties`: `class`, `dataset`, `on` (event name -> listener), everything else
 * is an attribute; null, undefined and false leave it out, true gives an empty one.
 * Children: nodes, strings, numbers, nested lists; null and false are skipped.
 */
export function element(tag, properties = {}, ...children) {
  const node = document.createElement(tag);
  for (const [name, value] of Object.entries(properties)) {
    if (name === 'dataset') {
      Object.assign(node.dataset, value);
    } else if (name === 'on') {
      for (const [type, listener] of Object.entries(value)) node.addEventListener(type, listener);
    } else if (value !== null && value !== undefined && value !== false) {
      node.setAttribute(name, value === true ? '' : String(value));
    }
  }
  append(node, children);
  return node;
}

export function append(node, children) {
  for (const child of children.flat(Infinity)) {
    if (child !== null && child !== undefined && child !== false) {
      node.append(child instanceof Node ? child : String(child));
    }
  }
}

/** Replaces everything inside a node. */
export function fill(node, ...children) {
  node.replaceChildren();
  append(node, children);
}

const CAN_HAVE_FOCUS = 'button, a[href], summary, [tabindex]';

/** fill() for what changes while it is read: the focus stays on the same place, and a list stays scrolled. */
export function refill(node, ...children) {
  const all = () => [...node.querySelectorAll(CAN_HAVE_FOCUS)];
  const focused = all().indexOf(document.activeElement);
  const scrolled = [...node.children].map((child) => child.scrollTop);
  fill(node, ...children);
  [...node.children].forEach((child, index) => {
    if (scrolled[index]) child.scrollTop = scrolled[index];
  });
  if (focused >= 0) all()[focused]?.focus({preventScroll: true});
}

/** A list of term and description; entries without a description are left out. */
export function descriptionList(className, entries) {
  return element(
    'dl',
    {class: className},
    entries
      .filter(([, value]) => value !== null && value !== undefined && value !== '')
      .map(([term, value]) =>
        element('div', {}, element('dt', {}, term), element('dd', {}, value)),
      ),
  );
}
