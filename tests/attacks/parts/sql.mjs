// SQL in every text of a body, every parameter and every header. It works when the server fails, when an
// answer is not the one that harmless text gets, takes longer, or when rows or the schema are not what the
// answers say.
import {SQL} from '../lib/payloads.mjs';
import {placesOf, pointerOf, takesText, valueAt, withValue} from '../lib/schema.mjs';
import {Deck, each} from '../lib/tally.mjs';

export const kind = 'SQL injection';

const SLEEP_MS = 3000;
const SLOW_MS = 1000; // what the payloads' SLEEP_MS would exceed
const HEADERS = ['cookie', 'authorization', 'x-request-id', 'if-none-match', 'range', 'accept', 'user-agent'];
const HARMLESS = 'qqqq';

const isLatin1 = (text) => [...text].every((character) => character.codePointAt(0) < 0x100);

/** What of an answer must not depend on the SQL in a parameter. */
const shapeOf = ({status, json}) => `${status}, ${json?.items?.length ?? 'no'} items`;

/** Slow by chance is not slow again. */
async function isSlow(act, ms) {
  for (let again = 0; ms > SLOW_MS && again < 3; again++) {
    const began = performance.now();
    await act();
    ms = performance.now() - began;
  }
  return ms > SLOW_MS && ms >= SLEEP_MS * 0.9;
}

async function judged(act, judge) {
  const answer = await act();
  if (answer.status >= 500) {
    return `${answer.status} ${answer.text.slice(0, 300)}`;
  }
  return (await isSlow(act, answer.ms)) ? 'it slept' : judge(answer);
}

function inHeader(name, payload) {
  return {[name]: name === 'authorization' ? `Bearer ${payload}` : name === 'cookie' ? `penstock_session=${payload}` : payload};
}

function inPath(world, operation, request, deck) {
  return operation.pathNames.flatMap((name) =>
    deck.deal(3).map((payload) => ({
      what: `{${name}} ${payload}`,
      changes: () => ({target: world.targetWith(operation, request, name, payload)}),
      judge: ({status}) => (status < 400 ? `${status}` : undefined),
    })),
  );
}

function inQuery(operation, deck) {
  return operation.queryNames.flatMap((name) =>
    deck.deal(4).map((payload) => ({
      what: `?${name}=${payload}`,
      changes: ({target}) => ({target: `${target}?${name}=${encodeURIComponent(payload)}`}),
      control: ({target}) => ({target: `${target}?${name}=${HARMLESS}`}),
    })),
  );
}

function inHeaders(operation, deck) {
  return [...new Set([...HEADERS, ...operation.headerNames])].flatMap((name) =>
    deck
      .deal(2)
      .filter(isLatin1)
      .map((payload) => ({
        what: `${name}: ${payload}`,
        changes: ({headers}) => ({headers: {...headers, ...inHeader(name, payload)}}),
        remembers: name === 'idempotency-key',
        judge: ({status}) =>
          name === 'authorization' && !operation.isPublic && status !== 401 ? `${status}` : undefined,
      })),
  );
}

const stored = (answer, path, payload) => {
  const value = valueAt(answer.json, path);
  return answer.status < 400 && typeof value === 'string' && value !== payload
    ? `${pointerOf(path)} became ${JSON.stringify(value)}`
    : undefined;
};

function inBody(operation, deck) {
  const texts = placesOf(operation.schema ?? {}).filter(takesText);
  return texts.flatMap(({path}) =>
    deck.deal(3).map((payload) => ({
      what: `${pointerOf(path)} ${payload}`,
      changes: ({json}) => ({json: withValue(json, operation.schema, path, payload)}),
      judge: (answer) => stored(answer, path, payload),
    })),
  );
}

/** Operations that read: an answer must have the shape that a harmless text gives. */
async function reading(world, tally, operation, deck) {
  const request = await world.prepare(operation);
  const client = world.allowed(operation);
  const attacks = [...inPath(world, operation, request, deck), ...inQuery(operation, deck), ...inHeaders(operation, deck)];
  for (const {what, changes, control, judge} of attacks) {
    await tally.attempt(`${operation.key} ${what}`, async () => {
      const wanted = control && shapeOf(await world.send(client, operation, request, control(request)));
      const hasShape = (answer) =>
        answer.status < 400 && shapeOf(answer) !== wanted ? `${shapeOf(answer)}, not ${wanted}` : undefined;
      return judged(() => world.send(client, operation, request, changes(request)), judge ?? hasShape);
    });
  }
}

/** How the contents differ, as numbers that can be added. */
const difference = (before, after) =>
  Object.fromEntries(Object.keys(after).map((name) => [name, Number(after[name]) - Number(before[name])]));

function add(sum, more) {
  for (const [name, count] of Object.entries(more)) {
    sum[name] = (sum[name] ?? 0) + count;
  }
}

/** What preparing a request and sending it change. */
async function usualChanges(world, client, operation) {
  const start = await world.installation.contents();
  const request = await world.prepare(operation);
  const prepared = await world.installation.contents();
  await world.send(client, operation, request);
  const sent = await world.installation.contents();
  return {preparing: difference(start, prepared), sending: difference(prepared, sent)};
}

/** Operations that change something: the tables must gain what as many harmless requests bring. */
async function changing(world, tally, operation, deck) {
  const client = world.allowed(operation);
  const {preparing, sending} = await usualChanges(world, client, operation);
  const start = await world.installation.contents();
  const expected = {...preparing};
  let request = await world.prepare(operation);
  const attacks = [
    ...inPath(world, operation, request, deck),
    ...inQuery(operation, deck),
    ...inHeaders(operation, deck),
    ...inBody(operation, deck),
  ];
  const send = async ({changes, remembers}) => {
    const answer = await world.send(client, operation, request, changes(request));
    if (answer.status < 400) {
      add(expected, sending);
      add(expected, {idempotency: remembers ? 1 : 0});
      request = await world.prepare(operation);
      add(expected, preparing);
    }
    return answer;
  };
  for (const one of attacks) {
    await tally.attempt(`${operation.key} ${one.what}`, () => judged(() => send(one), one.judge ?? (() => undefined)));
  }
  for (const [name, count] of Object.entries(difference(start, await world.installation.contents()))) {
    if (count !== expected[name]) {
      tally.worked(operation.key, `${name} changed by ${count}, and its answers say ${expected[name]}`);
    }
  }
}

export async function attack(world, tally) {
  const deck = new Deck(SQL);
  const before = await world.schemaDigest();
  await each(
    world.operations.filter(({isSafe}) => isSafe),
    (operation) => reading(world, tally, operation, deck),
  );
  for (const operation of world.operations.filter(({isSafe}) => !isSafe)) {
    await changing(world, tally, operation, deck);
  }
  if ((await world.schemaDigest()) !== before) {
    tally.worked('after all attempts', 'tables, rights or roles are not what they were');
  }
  deck.checkAllDealt(kind);
}
