// Other verbs, other spellings of a path, and parameters given twice. It works when somebody is served whom
// the plain form refuses, when a value passes that the plain form refuses, or when something changes.
import {ROLES} from '../../api/lib/clinic.mjs';
import {Deck, each} from '../lib/tally.mjs';
import {ask, fieldsOf} from '../lib/wire.mjs';

export const kind = 'verbs, paths, parameters';

const VERBS = [
  'GET', 'HEAD', 'POST', 'PUT', 'PATCH', 'DELETE', 'OPTIONS', 'TRACE', 'TRACK', 'CONNECT', 'PROPFIND', 'MOVE', 'COPY', 'LINK', 'DEBUG',
  'get', 'post', 'Get', 'GETS', 'GE', 'QUERY', 'PURGE', 'X',
];

/** Paths that some router takes for the plain one. */
const SPELLINGS = [
  (path) => `${path}/`,
  (path) => `${path}//`,
  (path) => `/${path}`,
  (path) => `//${path}`,
  (path) => path.replace(/\/(?=[^/]*$)/, '//'),
  (path) => `${path}/.`,
  (path) => `/.${path}`,
  (path) => `${path}/..`,
  (path) => `/x/..${path}`,
  (path) => `/healthz/..${path}`,
  (path) => `/assets/..${path}`,
  (path) => `/assets/%2e%2e${path}`,
  (path) => `/assets/..%2f${path.slice(1)}`,
  (path) => `/assets/..%5c${path.slice(1)}`,
  (path) => `/assets/..%252f${path.slice(1)}`,
  (path) => path.replaceAll(/\/(?=.)/g, '%2f').replace('%2f', '/'),
  (path) => path.replace('/v1/', '/%76%31/'),
  (path) => path.replace('/v1/', '/V1/'),
  (path) => path.replace('/v1/', '/v1;x/'),
  (path) => path.replace('/v1/', '/v1/./'),
  (path) => path.replace('/v1/', '/v1%2f'),
  (path) => path.replace('/v1/', '\\v1\\'),
  (path) => path.toUpperCase(),
  (path) => `${path};x=1`,
  (path) => `${path}%20`,
  (path) => `${path}%00`,
  (path) => `${path}%00.css`,
  (path) => `${path}.json`,
  (path) => `${path}.css`,
  (path) => `${path}/x.css`,
  (path) => `${path}%2fx.css`,
  (path) => `${path}?`,
  (path) => `${path}??x`,
  (path) => `${path}#x`,
  (path) => `${path}%3f`,
  (path) => `${path}%23`,
  (path) => `http://evil.example${path}`,
  (path) => `https://x:443${path}`,
  (path) => `http://x${path}/../healthz`,
  (path) => `/healthz?${path}`,
  (path) => `*${path}`,
  (path) => path.slice(1),
  (path) => `${path}\u00a0`,
  (path) => `${path}%c0%af`,
  (path) => `%2f${path.slice(1)}`,
];

const WITH_BODY = ['POST', 'PUT', 'PATCH'];

/** Answers that give nothing: a refusal, the way to the sign-in page, or which verbs there are. */
function isNothing(answer, method, publicTexts) {
  if (answer === undefined || answer.status >= 300) {
    return answer?.status >= 500 && answer.status !== 501 ? `${answer.status}` : undefined;
  }
  const isPublic = (answer.status === 204 && method === 'OPTIONS') || publicTexts.has(answer.text);
  return isPublic ? undefined : `${answer.status} ${answer.text.slice(0, 200)}`;
}

/** What anybody may read, which an odd path may lead to as well. */
async function publicTexts(world) {
  const texts = new Set(['']);
  for (const {path} of world.routes.filter((route) => route.isPublic && route.method === 'GET')) {
    texts.add((await ask(world.url, {method: 'GET', target: path})).text);
  }
  return texts;
}

/** Everybody whom the plain form refuses: a stranger, and a role that the access table leaves out. */
function strangers(world, operation) {
  const role = ROLES.find((one) => world.rolesAgainst(operation).includes(one));
  return {stranger: {}, ...(role && {[role]: world.own.as(role).headers})};
}

async function spelled(world, tally, decks, {operation, request}, texts) {
  const json = request.json === undefined ? undefined : JSON.stringify(request.json);
  for (const [who, credential] of Object.entries(operation.isPublic ? {} : strangers(world, operation))) {
    const send = (method, target) => {
      const body = WITH_BODY.includes(method.toUpperCase()) ? (json ?? '{}') : undefined;
      const fields = fieldsOf({...credential, ...(body && {'content-type': 'application/json'}), 'if-match': '"1"', ...request.headers});
      return ask(world.url, {method, target, fields, body});
    };
    const plain = await send(operation.method, request.target);
    if (![401, 403].includes(plain.status)) {
      tally.worked(`${operation.key} by a ${who}`, `the plain form is ${plain.status}`);
    }
    for (const spell of decks.spellings.deal(12)) {
      const target = spell(request.target);
      await tally.attempt(`${operation.key} as ${target} by a ${who}`, async () =>
        isNothing(await send(operation.method, target), operation.method, texts),
      );
    }
    for (const verb of decks.verbs.deal(6)) {
      const isServed = world.routes.some(({key, roles}) => key === `${verb.replace('HEAD', 'GET')} ${operation.path}` && roles.includes(who));
      if (!isServed) {
        await tally.attempt(`${verb} ${operation.path} by a ${who}`, async () => isNothing(await send(verb, request.target), verb, texts));
      }
    }
  }
}

/** Verbs that nobody documented, by who may do everything that is. */
async function undocumented(world, tally, {operation, request}) {
  const {headers: credential} = world.allowed(operation);
  for (const verb of VERBS) {
    const documented = world.routes.some(({method, path}) => path === operation.path && (method === verb || (method === 'GET' && verb === 'HEAD')));
    if (documented || verb === 'OPTIONS') {
      continue;
    }
    await tally.attempt(`${verb} ${operation.path}`, async () => {
      const answer = await ask(world.url, {method: verb, target: request.target, fields: fieldsOf({...credential, 'if-match': '"1"'})});
      const isRefused = answer === undefined || (answer.status >= 400 && (answer.status < 500 || answer.status === 501));
      return isRefused ? undefined : `${answer.status}`;
    });
  }
}

/** A parameter given twice, one value of which alone is refused; and one that nobody documented. */
async function twice(world, tally, {operation, request}) {
  const client = world.allowed(operation);
  const send = (query) => world.send(client, operation, request, {target: `${request.target}?${query}`});
  for (const name of operation.isSafe ? operation.queryNames : []) {
    const bad = encodeURIComponent("'\u2028");
    for (const query of [`${name}=1&${name}=${bad}`, `${name}=${bad}&${name}=1`, `${name}=1&${name}=1`, `${name}[]=1&${name}=1`, `${name}=1;${name}=2`, `${name}=1&${name.toUpperCase()}=2`, `${name}=1&%${name.charCodeAt(0).toString(16)}${name.slice(1)}=2`]) {
      await tally.attempt(`${operation.key} ?${query}`, async () => {
        const answer = await send(query);
        return answer.status >= 500 || (answer.status < 400 && !/;/.test(query)) ? `${answer.status} ${answer.text.slice(0, 100)}` : undefined;
      });
    }
  }
  for (const query of operation.isSafe ? ['clinic_id=1', 'role=administrator', 'roles[]=administrator', '__proto__=1', 'fields=*', 'include=all', 'debug=1'] : []) {
    await tally.attempt(`${operation.key} ?${query}`, async () => {
      const [answer, plain] = [await send(query), await world.send(client, operation, request)];
      const isSame = answer.status >= 400 || Object.keys(answer.json ?? {}).join() === Object.keys(plain.json ?? {}).join();
      return answer.status < 500 && isSame ? undefined : `${answer.status} ${answer.text.slice(0, 100)}`;
    });
  }
}

export async function attack(world, tally) {
  const decks = {spellings: new Deck(SPELLINGS), verbs: new Deck(VERBS)};
  const texts = await publicTexts(world);
  const prepared = [];
  for (const operation of world.operations) {
    prepared.push({operation, request: await world.prepare(operation)});
  }
  await world.unchanged(tally, () =>
    each(prepared, async (one) => {
      await spelled(world, tally, decks, one, texts);
      await undocumented(world, tally, one);
      await twice(world, tally, one);
    }),
  );
  decks.spellings.checkAllDealt(kind);
  decks.verbs.checkAllDealt(kind);
}
