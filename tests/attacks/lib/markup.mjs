// Whether a text that somebody entered became markup in an HTML document.
import {packageOf} from '../../api/lib/environment.mjs';
import {MARK} from './payloads.mjs';

const {parse} = packageOf('parse5');

/** Attributes that may hold a person's words: browsers only show them. */
const WORDS = ['alt', 'title', 'aria-label', 'value', 'placeholder', 'content', 'data-label'];

/** Elements whose text is not shown but read as something else. */
const READ_AS_CODE = ['script', 'style', 'template', 'noscript', 'iframe', 'xmp', 'noembed'];

function* elementsOf(node) {
  yield node;
  for (const child of [...(node.childNodes ?? []), ...(node.content ? [node.content] : [])]) {
    yield* elementsOf(child);
  }
}

/** Where the mark stands in a document though no reader sees it as text; undefined when nowhere. */
export function markAsMarkup(html) {
  for (const node of elementsOf(parse(html))) {
    const name = node.nodeName;
    if (name.includes(MARK) || node.data?.includes(MARK)) {
      return `it is in ${name}`;
    }
    if (node.value?.includes(MARK) && READ_AS_CODE.includes(node.parentNode?.nodeName)) {
      return `it is read by ${node.parentNode.nodeName}`;
    }
    for (const {name: attribute, value} of node.attrs ?? []) {
      if (attribute.includes(MARK) || (value.includes(MARK) && !WORDS.includes(attribute))) {
        return `it is in the attribute ${attribute} of ${name}`;
      }
    }
  }
  return undefined;
}

/** The elements of a document and their attributes' names, in order; what people enter must not change it. */
export const skeletonOf = (html) =>
  [...elementsOf(parse(html))]
    .filter(({nodeName}) => nodeName !== '#text')
    .map(({nodeName, attrs = []}) => [nodeName, ...attrs.map(({name}) => name)].join(' '))
    .join('\n');
