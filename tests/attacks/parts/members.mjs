// Members that nobody documented, names that mean something to some language, and values of every wrong type
// in every place. It works when what the document forbids is accepted or passed over, or the server fails.
import {fits} from '../../api/lib/contract.mjs';
import {isObject, placesOf, pointerOf, resolved, withValue} from '../lib/schema.mjs';
import {Deck, each} from '../lib/tally.mjs';

export const kind = 'mass assignment, types';

/** Members that an answer has, or a table's column, or a language; as JSON. */
const UNKNOWN = Object.entries({
  clinic_id: '"00000000-0000-4000-8000-000000000000"',
  is_admin: 'true',
  admin: '1',
  version: '99',
  revision: '99',
  created_by: '"00000000-0000-4000-8000-000000000000"',
  created_at: '"2000-01-01T00:00:00Z"',
  updated_at: 'null',
  password_hash: '"$argon2id$x"',
  subject: '"x"',
  secret_hash: '"00"',
  state: '"complete"',
  reach: '"clinic"',
  scopes: '"accounts:create"',
  __proto__2: '{}',
  constructor: '{"prototype": {"is_admin": true}}',
  prototype: '{}',
  toString: '"x"',
  hasOwnProperty: 'false',
  $where: '"1"',
  'patient.id': '"x"',
  'roles[]': '"administrator"',
  '': '1',
  ' id': '"x"',
  ID: '"00000000-0000-4000-8000-000000000000"',
}).concat([['__proto__', '{"is_admin": true, "roles": ["administrator"]}']]);

/** Values as they are written in JSON, some as no serialiser would. */
const VALUES = [
  'null', 'true', 'false', '0', '-1', '-0', '1e308', '-1e308', '5e-324', '9007199254740993', '2147483648', '-2147483649',
  '18446744073709551616', '9223372036854775808', '0.1', '1e-9', '""', '"1"', '"null"', '[]', '[[]]', '[null]', '{}',
  '{"$ne": null}', '[1, "x"]', '{"length": 1}', `"${'x'.repeat(5000)}"`, `"${'\\u00e9'.repeat(3000)}"`, '"\\ud800"', '"a\\u0000b"',
  '"\\u202ex"', '"2026-02-30T25:00:00Z"', '"00000000-0000-0000-0000-000000000000"',
];

/** Numbers beyond what a double holds, and texts that are none. */
const UNSOUND = ['1e400', '-1e400', '01', '+1', 'NaN', 'Infinity', '.5', '0x10', "'x'", 'undefined', '"\\x41"', '"\t"'];

const MARKED = '\u0001here';

/** JSON text with a value as it is written at a place. */
function written(json, schema, path, text) {
  return JSON.stringify(withValue(json, schema, path, MARKED)).replace(JSON.stringify(MARKED), () => text);
}

const parsed = (text) => {
  try {
    return JSON.parse(text);
  } catch {
    return undefined;
  }
};

/** JSON whose object at `path` has one member more, which JSON.stringify would not write. */
function withMember(json, schema, path, name, text) {
  const member = `${JSON.stringify(name)}:${text}`;
  if (path.length === 0) {
    const rest = JSON.stringify(json).slice(1);
    return `{${member}${rest === '}' ? '' : ','}${rest}`;
  }
  const whole = JSON.stringify(withValue(json, schema, [...path, MARKED], 0));
  return whole.replace(`${JSON.stringify(MARKED)}:0`, () => member);
}

const sendText = (world, client, operation, request, body) =>
  world.send(client, operation, request, {
    json: undefined,
    body,
    headers: {...request.headers, 'content-type': 'application/json'},
  });

/** What a body says: a member that is null is as good as one left out, wherever that is allowed. */
const withoutNull = (text) => JSON.parse(text, (_, value) => (value === null ? undefined : value));

const isAllowed = (schema, text) => {
  const json = parsed(text);
  return json !== undefined && (fits(schema, json) || fits(schema, withoutNull(text)));
};

const isClientFault = ({status}) => status >= 400 && status < 500;

const told = (answer) => `${answer.status} ${answer.text.slice(0, 200)}`;

/** Unknown members: refused, and each named. */
async function unknownMembers(world, tally, deck, operation, client, request) {
  const places = [{path: [], schema: resolved(operation.schema)}, ...placesOf(operation.schema)];
  const objects = places.filter((place) => isObject(place) && typeof place.schema.additionalProperties !== 'object');
  for (const {path, schema} of objects) {
    const cards = deck.deal(path.length === 0 ? 12 : 4).filter(([name]) => !Object.hasOwn(schema.properties ?? {}, name));
    for (const [name, text] of cards) {
      await tally.attempt(`${operation.key} ${pointerOf(path)}/${name}`, async () => {
        const answer = await sendText(world, client, operation, request, withMember(request.json, operation.schema, path, name, text));
        const pointer = `${pointerOf(path)}/${name.replaceAll('~', '~0').replaceAll('/', '~1')}`;
        const isNamed = (answer.json?.errors ?? []).some((error) => error.pointer === pointer);
        return isClientFault(answer) && isNamed ? undefined : `${pointer} is not refused: ${told(answer)}`;
      });
    }
  }
}

/** The same member twice: no reader may see another one than the next. */
async function twice(world, tally, operation, client, request) {
  for (const name of Object.keys(request.json)) {
    for (const text of [JSON.stringify(request.json[name]), 'null']) {
      await tally.attempt(`${operation.key} /${name} twice`, async () => {
        const answer = await sendText(world, client, operation, request, withMember(request.json, operation.schema, [], name, text));
        return isClientFault(answer) ? undefined : told(answer);
      });
    }
  }
}

async function deep(world, tally, operation, client, request) {
  for (const [open, close] of [['[', ']'], ['{"a":', '}']]) {
    for (const depth of [100, 20_000]) {
      const nest = open.repeat(depth) + (open === '[' ? '' : '1') + close.repeat(depth);
      await tally.attempt(`${operation.key} ${depth} times ${open}`, async () => {
        const answer = await sendText(world, client, operation, request, withMember(request.json, operation.schema, [], 'x', nest));
        return isClientFault(answer) ? undefined : told(answer);
      });
    }
  }
}

/** Every place with values of other types; what the document's schema allows may be accepted. */
async function wrongTypes(world, tally, decks, operation, client) {
  let request = await world.prepare(operation);
  for (const {path} of placesOf(operation.schema)) {
    const cards = [...decks.values.deal(6).map((text) => [text, true]), ...decks.unsound.deal(1).map((text) => [text, false])];
    for (const [text, isSound] of cards) {
      await tally.attempt(`${operation.key} ${pointerOf(path)} ${text.slice(0, 40)}`, async () => {
        const body = written(request.json, operation.schema, path, text);
        const answer = await sendText(world, client, operation, request, body);
        if (answer.status < 400) {
          request = await world.prepare(operation);
        }
        return isClientFault(answer) || (isSound && answer.status < 400 && isAllowed(operation.schema, body)) ? undefined : told(answer);
      });
    }
  }
}

export async function attack(world, tally) {
  const decks = {values: new Deck(VALUES), unsound: new Deck(UNSOUND)};
  const deck = new Deck(UNKNOWN);
  const taking = world.operations.filter(({schema}) => schema !== undefined);
  const prepared = [];
  for (const operation of taking) {
    prepared.push([operation, await world.allowedPerson(operation), await world.prepare(operation)]);
  }
  await world.unchanged(tally, () =>
    each(prepared, async ([operation, client, request]) => {
      await unknownMembers(world, tally, deck, operation, client, request);
      await twice(world, tally, operation, client, request);
      await deep(world, tally, operation, client, request);
    }),
  );
  await each(prepared, ([operation, client]) => wrongTypes(world, tally, decks, operation, client));
  deck.checkAllDealt(kind);
  decks.values.checkAllDealt(kind);
  decks.unsound.checkAllDealt(kind);
}
