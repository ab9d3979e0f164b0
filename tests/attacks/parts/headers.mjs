// Line breaks, and what becomes one where characters are cut to bytes, in everything that an answer's header
// could repeat. It works when a header field appears that was sent, or an answer is split.
import {randomUUID} from 'node:crypto';
import {INJECTED, LINE_BREAKS} from '../lib/payloads.mjs';
import {placesOf, pointerOf, takesText, withValue} from '../lib/schema.mjs';
import {Deck, each} from '../lib/tally.mjs';
import {ask, fieldsOf} from '../lib/wire.mjs';

export const kind = 'header injection';

const ECHOED = ['x-request-id', 'idempotency-key', 'if-match', 'if-none-match', 'origin', 'accept', 'content-type', 'host', 'cookie'];

function isSplit(answer) {
  if (answer === undefined) {
    return undefined; // closed without an answer
  }
  const names = answer.fields.map(([name]) => name);
  if (names.some((name) => name.includes(INJECTED)) || answer.isBroken || answer.hasMore) {
    return `the answer's head is ${JSON.stringify(answer.fields)}`;
  }
  if (answer.fields.some(([, value]) => /x-injected: 1/i.test(value) && /[\r\n\0\x85]/.test(value))) {
    return 'a header field holds what was sent';
  }
  return answer.status >= 500 ? `${answer.status} ${answer.text}` : undefined;
}

/** What a client that honours the rules would put into a target. */
const encoded = encodeURIComponent;
/** The bytes as they are, but for those that end a request line. */
const raw = (payload) => payload.replaceAll(' ', '%20').replaceAll('\r\n', '\r').replaceAll('\n', '%0A');

function targets(world, operation, request, deck) {
  const path = operation.pathNames.flatMap((name) =>
    deck.deal(2).map((payload) => ({
      what: `{${name}} ${JSON.stringify(payload)}`,
      target: operation.path.replaceAll(/\{([^}]*)\}/g, (_, one) => (one === name ? encoded(payload) : encoded(request.id ?? '0'))),
    })),
  );
  const query = [...operation.queryNames, 'next'].flatMap((name) =>
    deck.deal(2).map((payload, i) => ({
      what: `?${name}=${JSON.stringify(payload)}`,
      target: `${request.target}?${name}=${(i % 2 ? raw : encoded)(payload)}`,
    })),
  );
  return [...path, ...query];
}

/** In a request's own field a full CRLF would only be another field of the request. */
const inField = (payload) => payload.replace(/\r\n(?! )/g, '\r');

function fields(operation, deck) {
  return [...new Set([...ECHOED, ...operation.headerNames])].flatMap((name) =>
    deck.deal(2).map((payload) => ({what: `${name}: ${JSON.stringify(payload)}`, field: [name, `a${inField(payload)}`]})),
  );
}

function bodies(operation, request, deck) {
  const texts = placesOf(operation.schema ?? {}).filter(takesText);
  return texts.flatMap(({path}) =>
    deck.deal(2).map((payload) => ({
      what: `${pointerOf(path)} ${JSON.stringify(payload)}`,
      body: JSON.stringify(withValue(request.json, operation.schema, path, `a${payload}`)),
    })),
  );
}

/** Every attack goes out twice with one key, so that the replayed answer is looked at as well. */
async function tryOne(world, operation, request, credential, {target, field, body}) {
  const json = body ?? (request.json === undefined ? undefined : JSON.stringify(request.json));
  const own = {
    ...(json === undefined ? {} : {'content-type': 'application/json'}),
    ...(operation.headerNames.includes('idempotency-key') ? {'idempotency-key': `key-${randomUUID()}`} : {}),
    ...request.headers,
    ...credential,
  };
  if (field !== undefined) {
    delete own[field[0]];
  }
  const asked = {
    method: operation.method,
    target: target ?? request.target,
    fields: [...fieldsOf(own), ...(field === undefined ? [] : [field])],
    body: json,
  };
  const times = operation.headerNames.includes('idempotency-key') && body !== undefined ? 2 : 1;
  for (let time = 0; time < times; time++) {
    const how = isSplit(await ask(world.url, asked));
    if (how !== undefined) {
      return how;
    }
  }
  return undefined;
}

export async function attack(world, tally) {
  const deck = new Deck(LINE_BREAKS);
  await each(world.operations, async (operation) => {
    const request = await world.prepare(operation);
    const {headers: credential} = world.allowed(operation);
    const attacks = [
      ...targets(world, operation, request, deck),
      ...fields(operation, deck),
      ...bodies(operation, request, deck),
    ];
    for (const one of attacks) {
      await tally.attempt(`${operation.key} ${one.what}`, () => tryOne(world, operation, request, credential, one));
    }
  });
  // Pages tell the sign-in page where to go back to.
  for (const {key, path} of world.routes.filter((route) => route.method === 'GET' && !route.path.startsWith('/v1'))) {
    for (const payload of LINE_BREAKS) {
      for (const target of [`${path.replaceAll(/\{[^}]*\}/g, encoded(payload))}`, `${path}?next=${encoded(payload)}`, `${path}?${raw(payload)}`]) {
        await tally.attempt(`${key} as ${JSON.stringify(target)}`, async () =>
          isSplit(await ask(world.url, {method: 'GET', target})),
        );
      }
    }
  }
  deck.checkAllDealt(kind);
}
