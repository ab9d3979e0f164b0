// Schemas of api-docs/openapi.json as a map of where values can be put.
import {randomUUID} from 'node:crypto';
import {document} from '../../api/lib/contract.mjs';

/** A schema without references and alternatives; the members of alternatives stand side by side. */
export function resolved(schema = {}) {
  const {$ref, allOf, anyOf, oneOf, ...own} = schema;
  const parts = [...(allOf ?? []), ...(anyOf ?? []), ...(oneOf ?? [])];
  if ($ref !== undefined) {
    parts.push(document.components.schemas[$ref.split('/').pop()]);
  }
  return parts.map(resolved).reduce(
    (sum, part) => ({
      ...part,
      ...sum,
      ...((sum.properties ?? part.properties) && {properties: {...part.properties, ...sum.properties}}),
      ...((sum.required ?? part.required) && {required: [...(part.required ?? []), ...(sum.required ?? [])]}),
    }),
    own,
  );
}

const typesOf = ({type, enum: values, const: value}) =>
  type !== undefined ? [type].flat() : [...(values ?? []), ...(value === undefined ? [] : [value])].map((one) => typeof one);

/** Every place below a schema: {path, schema}, `path` being member names and, of arrays, the first item. */
export function placesOf(schema, path = []) {
  const {properties = {}, additionalProperties, items} = resolved(schema);
  const children = Object.entries(properties).map(([name, child]) => [name, child]);
  if (typeof additionalProperties === 'object') {
    children.push(['any_name', additionalProperties]);
  }
  if (items !== undefined) {
    children.push([0, items]);
  }
  return children.flatMap(([step, child]) => [
    {path: [...path, step], schema: resolved(child)},
    ...placesOf(child, [...path, step]),
  ]);
}

export const takesText = ({schema}) => typesOf(schema).includes('string');
export const isObject = ({schema}) => typesOf(schema).includes('object') || schema.properties !== undefined;

/** The least that a schema asks for. */
export function exampleOf(schema) {
  const {enum: values, const: value, format, pattern, minimum, exclusiveMinimum, minItems, ...rest} = resolved(schema);
  const {properties = {}, required = [], items} = rest;
  if (value !== undefined || values !== undefined) {
    return value ?? values[0];
  }
  switch (typesOf(resolved(schema))[0]) {
    case 'object':
      return Object.fromEntries(required.map((name) => [name, exampleOf(properties[name])]));
    case 'array':
      return minItems > 0 ? [exampleOf(items)] : [];
    case 'string':
      if (format === 'uuid') return randomUUID();
      if (format === 'date') return '2026-03-02';
      if (format === 'date-time') return '2026-03-02T09:00:00Z';
      return pattern === undefined ? 'words' : 'cough';
    case 'boolean':
      return false;
    case 'null':
      return null;
    default:
      return minimum ?? (exclusiveMinimum ?? 0) + 1;
  }
}

function childOf(schema, step) {
  const {properties = {}, additionalProperties, items} = resolved(schema);
  return typeof step === 'number' ? items : (properties[step] ?? additionalProperties);
}

/** Also a member called __proto__ becomes one of its own. */
const define = (object, step, value) =>
  Object.defineProperty(object, step, {value, enumerable: true, configurable: true, writable: true});

/** A copy of a body with a value at a path; what is missing on the way there is made as the schema asks. */
export function withValue(json, schema, path, value) {
  const copy = structuredClone(json ?? exampleOf(schema));
  let at = copy;
  let here = schema;
  for (const step of path.slice(0, -1)) {
    here = childOf(here, step);
    if (typeof at[step] !== 'object' || at[step] === null) {
      at[step] = exampleOf(here);
    }
    at = at[step];
  }
  define(at, path.at(-1), value);
  return copy;
}

/** What stands at a path, if anything does. */
export const valueAt = (json, path) => path.reduce((at, step) => at?.[step], json);

export const pointerOf = (path) => path.map((step) => `/${step}`).join('');
