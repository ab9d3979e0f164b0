// Requests that another site makes a visitor's browser send, cookie and all. It works when one that changes
// something is not refused, when reading changes something, or when another site may read an answer.
import {Client} from '../../api/lib/client.mjs';
import {each} from '../lib/tally.mjs';
import {ask, fieldsOf} from '../lib/wire.mjs';

export const kind = 'requests of other sites';

/** Where a request says it comes from: what no page of this server sends. */
function origins(url) {
  const {host, hostname, port} = new URL(url);
  return [
    {},
    {origin: 'null'},
    {origin: 'http://evil.example'},
    {origin: `http://${host}.evil.example`},
    {origin: `http://evil.example/${host}`},
    {origin: `http://evil@${host}`},
    {origin: `http://${hostname}:${Number(port) + 1}`},
    {origin: `http://${hostname}`},
    {origin: `${url}, http://evil.example`},
    {origin: `http://evil.example, ${url}`},
    {origin: `${url}/`},
    {origin: host},
    {referer: `${url}/today`},
    {'sec-fetch-site': 'cross-site'},
    {'sec-fetch-site': 'cross-site', origin: url},
    {'sec-fetch-site': 'same-site', origin: url},
    {'sec-fetch-site': 'none', origin: url},
    {'sec-fetch-site': 'same-origin, cross-site', origin: url},
    {'sec-fetch-site': 'Same-Origin', origin: url},
  ];
}

/** What a form, or a script without asking first, can send (Fetch Standard, "CORS-safelisted"). */
const SIMPLE_TYPES = [
  'text/plain',
  'text/plain; charset=utf-8',
  'application/x-www-form-urlencoded',
  'multipart/form-data; boundary=x',
  'text/plain; application/json',
  'application/json, text/plain',
];

/** Ways of saying that a request is of another method than it is. */
const OVERRIDES = ['x-http-method-override', 'x-http-method', 'x-method-override'];

const refusedBy = (statuses) => (answer) =>
  answer === undefined || statuses.includes(answer.status) ? undefined : `${answer.status} ${answer.text.slice(0, 200)}`;

/** Signing in needs no cookie, so a program without a browser is not refused; another site is. */
const mayBeUnmarked = (operation, url, from) =>
  operation.isPublic && [undefined, url].includes(from.origin) && (from['sec-fetch-site'] ?? 'none') === 'none';

async function asBrowser(world, operation) {
  const request = await world.prepare(operation);
  const role = world.roleFor(operation) ?? 'clinician';
  const {cookie} = await world.session(role);
  const json = request.json === undefined ? undefined : JSON.stringify(request.json);
  const send = (headers, more = {}) =>
    ask(world.url, {
      method: operation.method,
      target: request.target,
      body: json,
      ...more,
      fields: fieldsOf({cookie, ...(json !== undefined && {'content-type': 'application/json'}), ...request.headers, ...headers}),
    });
  return {request, send, json};
}

async function changing(world, tally, operation, {request, send, json}) {
  for (const from of origins(world.url).filter((one) => !mayBeUnmarked(operation, world.url, one))) {
    await tally.attempt(`${operation.key} from ${JSON.stringify(from)}`, async () => refusedBy([403])(await send(from)));
  }
  for (const type of json === undefined ? [] : SIMPLE_TYPES) {
    for (const from of [{}, {origin: world.url}, {'sec-fetch-site': 'same-origin'}]) {
      await tally.attempt(`${operation.key} as ${type} from ${JSON.stringify(from)}`, async () =>
        refusedBy([400, 403, 415])(await send({'content-type': type, ...from})),
      );
    }
  }
  for (const name of OVERRIDES) {
    for (const [method, query] of [['GET', ''], ['POST', ''], ['GET', `?_method=${operation.method}`], ['POST', `?_method=${operation.method}`]]) {
      if (method === operation.method) {
        continue;
      }
      await tally.attempt(`${operation.key} as ${method}${query} with ${name}`, async () => {
        const content = method === 'GET' ? {body: undefined} : {};
        const answer = await send({[name]: operation.method, origin: 'http://evil.example'}, {method, target: request.target + query, ...content});
        return answer.status >= 500 ? `${answer.status}` : undefined; // whether it changed anything is seen at the end
      });
    }
  }
}

/** Reading is not refused, but no script elsewhere may see it, and nothing changes. */
async function reading(tally, operation, {request, send}) {
  for (const from of [{origin: 'http://evil.example'}, {'sec-fetch-site': 'cross-site', origin: 'http://evil.example'}, {origin: 'null'}]) {
    await tally.attempt(`${operation.key} from ${JSON.stringify(from)}`, async () => {
      const answer = await send(from);
      const allowed = answer.fields.filter(([name]) => name.startsWith('access-control-'));
      return allowed.length > 0 ? JSON.stringify(allowed) : undefined;
    });
  }
  await tally.attempt(`${operation.key}, asking first`, async () => {
    const answer = await send(
      {origin: 'http://evil.example', 'access-control-request-method': 'PUT', 'access-control-request-headers': 'if-match'},
      {method: 'OPTIONS', target: request.target},
    );
    const allowed = answer.fields.filter(([name]) => name.startsWith('access-control-'));
    return allowed.length > 0 ? JSON.stringify(allowed) : undefined;
  });
}

/** Each session must work from this server's own pages, or the refusals would say nothing. */
async function isSignedIn(world, operation) {
  const {cookie} = await world.session(world.roleFor(operation) ?? 'clinician');
  await Client.withSession(world.url, cookie).get('/v1/sessions/current');
}

export async function attack(world, tally) {
  const prepared = [];
  for (const operation of world.operations) {
    await isSignedIn(world, operation);
    prepared.push([operation, await asBrowser(world, operation)]);
  }
  await world.unchanged(tally, () =>
    each(prepared, ([operation, browser]) =>
      operation.isSafe ? reading(tally, operation, browser) : changing(world, tally, operation, browser),
    ),
  );
}
