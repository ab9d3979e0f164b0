// SQL in every text of a body, every parameter and every header. It works when the server fails, when an
// answer is not the one that harmless text gets, takes longer, or when rows or the schema are not what the
// answers say.
import {SQL} from '../lib/payloads.mjs';
import {placesOf, pointerOf, takesText, valueAt, withValue} from '../lib/schema.mjs';
import {Deck, each} from '../lib/tally.mjs';

export const kind = 'SQL injection';

const SLEEP_MS = 2990; // of the 3 s that payloads ask for
const HEADERS = ['cookie', 'authorization', 'x-request-id', 'if-none-match', 'range', 'accept', 'user-agent'];
const HARMLESS = 'qqqq';

const isLatin1 = (text) => [...text].every((character) => character.codePointAt(0) < 0x100);

/** What of an answer must not depend on the SQL in a parameter. */
const shapeOf = ({status, json}) => `${status}, ${json?.items?.length ?? 'no'} items`;

/** Whether a payload's sleep was waited for: slow by chance is not slow again and again. */
async function slept(act, ms) {
  for (let again = 0; ms >= SLEEP_MS && again < 3; again++) {
    ({ms} = await act());
  }
  return ms >= SLEEP_MS;
}

async function judged(act, judge) {
  const answer = await act();
  if (answer.status >= 500) {
    return `${answer.status} ${answer.text.slice(0, 300)}`;
  }
  return (await slept(act, answer.ms)) ? 'it slept' : judge(answer);
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
      .deal(1)
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

/** What is stored is what was sent; or what an answer of that name tells is not what was sent at all. */
const stored = (answer, path, payload, harmless) => {
  const value = valueAt(answer.json, path);
  return answer.status < 400 && typeof value === 'string' && ![payload, valueAt(harmless, path)].includes(value)
    ? `${pointerOf(path)} became ${JSON.stringify(value)}`
    : undefined;
};

function inBody(operation, {json: harmless}, deck) {
  const texts = placesOf(operation.schema ?? {}).filter(takesText);
  return texts.flatMap(({path}) =>
    deck.deal(2).map((payload) => ({
      what: `${pointerOf(path)} ${payload}`,
      changes: ({json}) => ({json: withValue(json, operation.schema, path, payload)}),
      judge: (answer) => stored(answer, path, payload, harmless),
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

/** What preparing a request and sending it change; nothing else may be going on. */
async function usualChanges(world, operation) {
  const start = await world.installation.contents();
  const request = await world.prepare(operation);
  const prepared = await world.installation.contents();
  await world.send(world.allowed(operation), operation, request);
  const sent = await world.installation.contents();
  return {operation, preparing: difference(start, prepared), sending: difference(prepared, sent)};
}

/** Operations that change something. `expected` gains what the answers say that the tables must gain. */
async function changing(world, tally, {operation, preparing, sending}, deck, expected) {
  const client = world.allowed(operation);
  const prepare = async () => {
    add(expected, preparing);
    return world.prepare(operation);
  };
  let request = await prepare();
  const attacks = [
    ...inPath(world, operation, request, deck),
    ...inQuery(operation, deck),
    ...inHeaders(operation, deck),
    ...inBody(operation, request, deck),
  ];
  const send = async ({changes, remembers}) => {
    const answer = await world.send(client, operation, request, changes(request));
    if (answer.status < 400) {
      add(expected, sending);
      add(expected, {idempotency: remembers ? 1 : 0});
      request = await prepare();
    }
    return answer;
  };
  for (const one of attacks) {
    await tally.attempt(`${operation.key} ${one.what}`, () => judged(() => send(one), one.judge ?? (() => undefined)));
  }
}

/** The tables must gain what as many harmless requests bring. */
async function allChanging(world, tally, deck) {
  const usual = [];
  for (const operation of world.operations.filter(({isSafe}) => !isSafe)) {
    usual.push(await usualChanges(world, operation));
  }
  const start = await world.installation.contents();
  const expected = {};
  await each(usual, (one) => changing(world, tally, one, deck, expected));
  for (const [name, count] of Object.entries(difference(start, await world.installation.contents()))) {
    if (count !== (expected[name] ?? 0)) {
      tally.worked('after all attempts', `${name} changed by ${count}, and the answers say ${expected[name]}`);
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
  await allChanging(world, tally, deck);
  if ((await world.schemaDigest()) !== before) {
    tally.worked('after all attempts', 'tables, rights or roles are not what they were');
  }
  deck.checkAllDealt(kind);
}
