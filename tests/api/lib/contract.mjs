// api-docs/openapi.json as the judge of every answer.
import assert from 'node:assert/strict';
import {packageOf, readSource} from './environment.mjs';

const {default: Ajv} = packageOf('ajv/dist/2020.js');
const {default: addFormats} = packageOf('ajv-formats');

export const document = JSON.parse(readSource('api-docs/openapi.json'));
const METHODS = ['get', 'put', 'post', 'patch', 'delete'];

/** What the transport may answer to any request before a route's handler sees it. */
const TRANSPORT_STATUSES = [304, 400, 404, 405, 406, 408, 411, 413, 415, 503];

/** Refers to the component schemas by one id, since each answer's schema is compiled by itself. */
function withAbsoluteReferences(schema) {
  return JSON.parse(
    JSON.stringify(schema).replaceAll('"#/components/schemas/', '"https://openapi.invalid/penstock#/$defs/'),
  );
}

const ajv = new Ajv({allErrors: true, allowUnionTypes: true});
addFormats(ajv);
ajv.addSchema({$id: 'https://openapi.invalid/penstock', $defs: withAbsoluteReferences(document.components.schemas)});

const validators = new Map();

function validatorOf(schema) {
  const key = JSON.stringify(schema);
  if (!validators.has(key)) {
    validators.set(key, ajv.compile(withAbsoluteReferences(schema)));
  }
  return validators.get(key);
}

/** Whether a value is what a schema of the document allows. */
export const fits = (schema, value) => validatorOf(schema)(value);

function validate(schema, value, what) {
  const check = validatorOf(schema);
  assert.ok(
    check(value),
    `${what} does not fit its schema: ${ajv.errorsText(check.errors)}\n${JSON.stringify(value).slice(0, 2000)}`,
  );
}

/** Checks a value against a named component schema. */
export function checkSchema(name, value) {
  validate({$ref: `#/components/schemas/${name}`}, value, name);
}

function rolesOf(description) {
  const [, list] = /Roles: ([^.]*)\./.exec(description) ?? [];
  return list === undefined ? [] : list.split(', ');
}

/** Every operation: {method, path, roles (["any"] for every role), isPublic, operation}. */
export const operations = Object.entries(document.paths).flatMap(([path, item]) =>
  METHODS.filter((method) => method in item).map((method) => ({
    method: method.toUpperCase(),
    path,
    isPublic: item[method].security?.length === 0,
    roles: rolesOf(item[method].description ?? ''),
    operation: item[method],
    pattern: new RegExp(`^${path.replaceAll(/\{[^}]*\}/g, '[^/]+')}$`),
  })),
);

/** A role that may use an operation: that of a clinician, where several may. */
export const roleFor = ({roles}) =>
  roles.length === 0 || roles[0] === 'any' || roles.includes('clinician') ? 'clinician' : roles.at(-1);

export function findOperation(method, path) {
  const wanted = method === 'HEAD' ? 'GET' : method;
  const candidates = operations.filter((one) => one.method === wanted && one.pattern.test(path));
  return candidates.find((one) => one.path === path) ?? candidates[0];
}

const LEAKS = [
  /\b(select|insert into|update|delete from|relation|constraint|sqlstate|libpq|postgres)\b/i,
  /penstock\.[a-z]/,
  /\.[ch]:\d/,
  /\/(usr|home|tmp|var|work|build|server)\//,
  /\b(stack|backtrace|0x[0-9a-f]{6,})\b/i,
];

/** A problem is one of RFC 9457, names what was asked for, and tells nothing of the inside. */
export function checkProblem(answer) {
  assert.equal(answer.headers.get('content-type'), 'application/problem+json');
  checkSchema('Problem', answer.json);
  assert.equal(answer.json.status, answer.status);
  // The schema lists the types; one of its own is for what a program has to tell apart.
  assert.ok(answer.json.type === 'about:blank' || [401, 403, 409].includes(answer.status));
  assert.ok(answer.json.title.length > 0);
  const told = JSON.stringify({...answer.json, instance: ''}); // instance is what the client sent
  // The path of a link is a secret.
  assert.equal(answer.json.instance, /^\/l(\/|$)/.test(answer.path) ? undefined : answer.path);
  for (const leak of LEAKS) {
    assert.doesNotMatch(told, leak);
  }
}

function checkDocumentedAnswer(found, answer) {
  const documented = found.operation.responses[answer.status];
  for (const name of Object.keys(documented.headers ?? {})) {
    assert.ok(answer.headers.has(name), `${answer.what} lacks ${name}`);
  }
  if (documented.content === undefined || answer.method === 'HEAD') {
    assert.equal(answer.text, '', `${answer.what} has a body`);
    return;
  }
  const mediaType = answer.headers.get('content-type')?.split(';')[0];
  assert.ok(mediaType in documented.content, `${answer.what} has the media type ${mediaType}`);
  if (/[/+]json$/.test(mediaType)) {
    validate(documented.content[mediaType].schema, answer.json, answer.what);
  }
}

/** Pages that the document leaves out, and that say in words why they show nothing. */
const PLAIN_PAGES = /^\/(r|referred)\//;

/** People who open a link, or follow a code, get a page, also when it shows nothing. */
function isDocumentedPage(found, answer) {
  const content = found?.operation.responses[answer.status]?.content ?? {};
  return (
    ('text/html' in content || (found === undefined && PLAIN_PAGES.test(answer.path))) &&
    answer.headers.get('content-type') === 'text/html; charset=utf-8'
  );
}

/** What any operation may answer to a session that has to do something else first. */
const owesSomething = ({status, json}) =>
  status === 403 && ['/problems/password-change-required', '/problems/second-factor-setup-required'].includes(json?.type);

/** Checks an answer of lib/client.mjs against the document. */
export function checkAnswer(answer) {
  const requestId = answer.headers.get('x-request-id');
  assert.match(requestId ?? '', /^[A-Za-z0-9._-]{1,64}$/, `${answer.what} lacks X-Request-Id`);
  const found = findOperation(answer.method, answer.path);
  const isDocumented = found !== undefined && answer.status in found.operation.responses;
  if (isDocumented) {
    checkDocumentedAnswer(found, answer);
  } else if (found !== undefined && !owesSomething(answer)) {
    assert.ok(TRANSPORT_STATUSES.includes(answer.status), `${answer.what} is not documented`);
  }
  if (answer.status >= 400 && answer.method !== 'HEAD' && !isDocumentedPage(found, answer)) {
    checkProblem(answer);
  }
  if (answer.status === 503) {
    assert.match(answer.headers.get('retry-after') ?? '', /^\d+$/, `${answer.what} lacks Retry-After`);
  }
}
